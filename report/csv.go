package report

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"

	"undersheet/logbook"
	"undersheet/logbook/words"
)

// Columns are the columns of the CSV file (RFC 4180, UTF-8, times in RFC 3339
// UTC): section names the table that a row is of (treatment, hour, day, line,
// distribution, forecast, alarm, gate, air, act, finding, refused, log), place the
// line, air point or store, item what the value is.
var Columns = []string{"section", "time", "place", "item", "value", "unit", "text"}

// WriteCSV writes the report as one table of Columns, a fact a row.
func (r *Report) WriteCSV(w io.Writer) error {
	t := table{csv.NewWriter(w)}
	t.w.UseCRLF = true
	t.text(Columns...)
	r.csvTreatment(&t)
	for _, l := range r.Lines {
		l.csv(&t)
	}
	for _, d := range r.Days {
		t.value("distribution", 0, fmt.Sprintf("day %d", d.Number), "lowest/highest", d.Ratio, "", "")
	}
	for _, f := range r.Forecasts {
		for _, q := range []struct {
			name string
			v    logbook.Number
		}{{"p05", f.PPM.P05}, {"p50", f.PPM.P50}, {"p95", f.PPM.P95}} {
			t.value("forecast", f.Time, "lowest line", q.name, float64(q.v), "ppm", "for "+f.For.String())
		}
		t.value("forecast", f.Time, "lowest line", "chance met", float64(f.ChanceMet), "", "for "+f.For.String())
	}
	r.csvRecords(&t)
	t.w.Flush()
	if err := t.w.Error(); err != nil {
		return fmt.Errorf("write csv: %w", err)
	}
	return nil
}

// table writes rows; the writer keeps the first error.
type table struct{ w *csv.Writer }

func (t *table) text(fields ...string) { _ = t.w.Write(fields) } // Flush and Error tell

func (t *table) value(section string, at logbook.Time, place, item string, v float64, unit, text string) {
	t.text(section, at.String(), place, item, strconv.FormatFloat(v, 'g', 6, 64), unit, text)
}

func (t *table) say(section string, at logbook.Time, place, item, text string) {
	t.text(section, at.String(), place, item, "", "", text)
}

func (r *Report) csvTreatment(t *table) {
	for _, f := range [][2]string{{"site", r.Site.Name}, {"store", r.Stack.Store}, {"stack", r.Stack.Name}, {"treatment", r.Stack.Treatment},
		{"phase", r.Stack.Phase}, {"verdict", r.Stack.Verdict}, {"protocol", r.Given.Protocol}, {"commodity", r.Given.Commodity}, {"form", r.Given.Form}, {"by", r.Given.By}} {
		t.say("treatment", 0, "", f[0], f[1])
	}
	for _, f := range []struct {
		name, unit string
		v          float64
	}{{"tonnes", "t", r.Given.Tonnes}, {"volume", "m3", r.Given.VolumeM3}, {"phosphine", "g", r.Stack.PhosphineG}, {"grain temperature", "C", r.Given.GrainTempC}, {"end level", "ppm", r.Stack.EndLevelPPM}} {
		t.value("treatment", 0, "", f.name, f.v, f.unit, "")
	}
	for _, f := range []struct {
		name string
		at   logbook.Time
	}{{"dosing started", r.Dosed}, {"t = 0", r.Stack.Started}, {"planned end", r.Stack.PlannedEnd}, {"airing started", r.AiringFirst}} {
		t.say("treatment", f.at, "", f.name, "")
	}
	t.say("log", r.Made, "", "log id", r.LogID)
	t.say("log", r.Made, "", "hash", r.Head)
	t.value("log", r.Made, "", "first seq", float64(r.FirstSeq), "", strconv.FormatUint(r.FirstSeq, 10))
	t.value("log", r.Made, "", "last seq", float64(r.LastSeq), "", strconv.FormatUint(r.LastSeq, 10))
}

func (l *Line) csv(t *table) {
	for _, h := range l.Hours {
		h.csv(t, l.Name)
	}
	for _, d := range l.Days {
		place := fmt.Sprintf("%s, day %d", l.Name, d.Number)
		t.value("day", 0, place, "lowest", d.Lowest, "ppm", "")
		t.value("day", 0, place, "mean", d.Mean, "ppm", "")
		t.value("day", 0, place, "highest", d.Highest, "ppm", "")
	}
	t.value("line", 0, l.Name, "CTP", l.View.CTPPPMh, "ppm·h", "")
	t.value("line", 0, l.Name, "CTP", l.View.CTPGhM3, "g·h/m3", "")
	t.value("line", 0, l.Name, "hours not covered", l.View.GapHours, "h", "")
	for _, e := range l.View.EndLevels {
		t.value("line", 0, l.Name, "end level at "+e.Moment, float64(e.PPM), "ppm", e.Shown)
	}
}

func (h *Hour) csv(t *table, place string) {
	t.value("hour", h.At, place, "lowest", h.Lowest, "ppm", "")
	t.value("hour", h.At, place, "mean", h.Mean, "ppm", "")
	t.value("hour", h.At, place, "highest", h.Highest, "ppm", "")
}

func (r *Report) csvRecords(t *table) {
	for _, a := range r.Alarms {
		headline, _ := words.Alarm("en", &a)
		t.value("alarm", a.Time, a.Line+a.Point, a.Alarm+" "+a.State, float64(a.Value), "", headline)
	}
	for _, g := range r.Gates {
		text := ""
		for _, x := range g.Reasons {
			text += words.Reason("en", x) + " "
		}
		t.value("gate", g.Time, g.Store, g.State, float64(g.LimitPPM), "ppm", text)
	}
	for _, p := range r.Air {
		for _, h := range p.Hours {
			h.csv(t, p.Name)
		}
		t.value("air", p.HighestAt, p.Name, "highest", p.Highest, "ppm", p.Where)
		t.value("air", 0, p.Name, "highest 8 h average", p.HighestTWA8h, "ppm", p.Where)
		t.value("air", 0, p.Name, "highest 15 min mean", p.Highest15min, "ppm", p.Where)
	}
	for _, a := range r.Acts {
		t.say("act", a.At, "", string(a.Kind), fmt.Sprintf("%s; by %s; identity %s", a.Detail, a.By, a.Identity))
	}
	for _, f := range r.Findings {
		t.say("finding", f.Time, f.Stack+" "+f.Line, f.Code, fill(f))
	}
	for _, f := range r.Refused {
		t.say("refused", f.Time, f.Store+f.Stack, string(f.Entry), fill(f))
	}
}

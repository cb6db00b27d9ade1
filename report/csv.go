package report

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"strings"

	"undersheet/logbook"
	"undersheet/logbook/words"
)

// Columns are the columns of the CSV file (RFC 4180, UTF-8, times in RFC 3339
// UTC): section names the table that a row is of (treatment, hour, day, line, gap,
// fit, distribution, criterion, published, forecast, hand, phase, alarm, gate, air, act, finding,
// refused, log), place the line, air point or store, item what the value is.
var Columns = []string{"section", "time", "place", "item", "value", "unit", "text"}

// WriteCSV writes the report as one table of Columns, a fact a row.
func (r *Report) WriteCSV(w io.Writer) error {
	t := table{csv.NewWriter(w)}
	t.w.UseCRLF = true
	t.text(Columns...)
	r.csvTreatment(&t)
	r.csvFit(&t)
	for i := range r.Lines {
		r.Lines[i].csv(&t)
	}
	for _, d := range r.Days {
		t.value("distribution", 0, fmt.Sprintf("day %d", d.Number), "lowest/highest", d.Ratio, "", "")
	}
	r.Success.csv(&t, r.Stack.Name)
	r.csvForecasts(&t)
	r.csvHands(&t)
	r.csvRecords(&t)
	r.csvAir(&t)
	r.csvLog(&t)
	t.w.Flush()
	if err := t.w.Error(); err != nil {
		return fmt.Errorf("write csv: %w", err)
	}
	return nil
}

// table writes rows; the writer keeps the first error.
type table struct{ w *csv.Writer }

func (t *table) text(fields ...string) { _ = t.w.Write(fields) } // Flush and Error tell

// value writes a figure with 6 significant digits.
func (t *table) value(section string, at logbook.Time, place, item string, v float64, unit, text string) {
	t.text(section, at.String(), place, item, strconv.FormatFloat(v, 'g', 6, 64), unit, text)
}

// say writes a fact that is no figure.
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
	}{{"tonnes", "t", r.Given.Tonnes}, {"volume", "m3", r.Given.VolumeM3}, {"gas space", "m3", r.gasSpace()}, {"phosphine", "g", r.Given.PhosphineG},
		{"phosphine with added doses", "g", r.Stack.PhosphineG}, {"grain temperature", "C", r.Given.GrainTempC}, {"end level", "ppm", r.Stack.EndLevelPPM}} {
		t.value("treatment", 0, "", f.name, f.v, f.unit, "")
	}
	for _, f := range []struct {
		name string
		at   logbook.Time
	}{{"dosing started", r.Dosed}, {"t = 0", r.Stack.Started}, {"planned end", r.Stack.PlannedEnd}, {"airing started", r.Aired.First},
		{"store cleared", r.Aired.Cleared}, {"second treatment due from", r.Aired.SecondFrom}, {"second treatment due until", r.Aired.SecondUntil}} {
		if f.at != 0 {
			t.say("treatment", f.at, "", f.name, "")
		}
	}
	for _, x := range r.Aired.Extra {
		t.value("treatment", x.At, "", "phosphine added", x.Grams, "g", "")
	}
}

func (r *Report) csvFit(t *table) {
	f := r.Stack.Fit
	if f == nil {
		return
	}
	t.value("fit", 0, r.Stack.Name, "loss", f.LossPerDay, "1/d", fmt.Sprintf("standard error %.6g", f.LossSE))
	t.value("fit", 0, r.Stack.Name, "half-life", f.HalfLifeHours, "h", "ln 2 / loss")
	t.value("fit", 0, r.Stack.Name, "release", f.ReleasePerDay, "1/d", fmt.Sprintf("standard error %.6g", f.ReleSE))
	t.value("fit", 0, r.Stack.Name, "yield", f.YieldPPM, "ppm", fmt.Sprintf("standard error %.6g", f.YieldSE))
}

func (l *Line) csv(t *table) {
	for _, h := range l.Hours {
		h.csv(t, l.Name)
	}
	for _, d := range l.Days {
		place, over := fmt.Sprintf("%s, day %d", l.Name, d.Number), ""
		if d.Over {
			over = "top of the range: at least that much"
		}
		t.value("day", 0, place, "lowest", d.Lowest, "ppm", "")
		t.value("day", 0, place, "mean", d.Mean, "ppm", "")
		t.value("day", 0, place, "highest", d.Highest, "ppm", over)
		t.value("day", 0, place, "readings", float64(d.Readings), "", "")
	}
	t.value("line", 0, l.Name, "CTP", l.Product.PPMh, "ppm·h", "")
	t.value("line", 0, l.Name, "CTP", l.Product.GhM3, "g·h/m3", "")
	t.value("line", 0, l.Name, "hours not covered", l.Product.GapHours, "h", "")
	for _, g := range l.Product.Gaps {
		t.value("gap", g.From, l.Name, "not counted", g.To.Hours(g.From), "h", "until "+g.To.String())
	}
	for _, e := range l.View.EndLevels {
		text := e.Shown
		if e.ByHand {
			text += ", by hand"
		}
		if e.Shown == logbook.NotShown {
			t.say("line", 0, l.Name, "end level at "+e.Moment, text)
			continue
		}
		t.value("line", 0, l.Name, "end level at "+e.Moment, float64(e.PPM), "ppm", text)
	}
}

func (h *Hour) csv(t *table, place string) {
	t.value("hour", h.At, place, "lowest", h.Lowest, "ppm", "")
	t.value("hour", h.At, place, "mean", h.Mean, "ppm", fmt.Sprintf("of %d readings", h.Readings))
	t.value("hour", h.At, place, "highest", h.Highest, "ppm", "")
}

func (r *Report) csvForecasts(t *table) {
	for _, f := range r.Forecasts {
		for _, q := range []struct {
			name string
			v    logbook.Number
		}{{"p05", f.PPM.P05}, {"p50", f.PPM.P50}, {"p95", f.PPM.P95}} {
			t.value("forecast", f.Time, "lowest line", q.name, float64(q.v), "ppm", "for "+f.For.String())
		}
		t.value("forecast", f.Time, "lowest line", "chance met", float64(f.ChanceMet), "", "for "+f.For.String())
	}
}

func (r *Report) csvHands(t *table) {
	for _, p := range r.Hands {
		t.value("hand", p.Act.At, p.Place, "by hand", p.PPM, "ppm", fmt.Sprintf("%s; by %s; identity %s", p.Act.Detail, p.Act.By, p.Act.Identity))
		if p.Fixed != nil {
			t.value("hand", p.Fixed.At, p.Place, "fixed", p.Fixed.PPM, "ppm", "beside the hand reading of "+p.Act.At.String())
		}
	}
}

func (r *Report) csvRecords(t *table) {
	for _, p := range r.Phases {
		t.say("phase", p.Time, r.Stack.Name, p.Phase, p.Verdict)
	}
	for _, a := range r.Alarms {
		headline, _ := words.Alarm("en", &a)
		t.value("alarm", a.Time, joined(a.Store, a.Stack, a.Line, a.Point), a.Alarm+" "+a.State, float64(a.Value), "", headline+" Priority "+a.Priority+", since "+a.Onset.String()+".")
	}
	for _, g := range r.Gates {
		t.value("gate", g.Time, g.Store, g.State, float64(g.LimitPPM), "ppm", "limit of: "+g.LimitOf)
		for _, x := range g.Reasons {
			t.say("gate", g.Time, g.Store, "reason "+x.Code, words.Reason("en", x))
		}
	}
	for _, a := range r.Acts {
		text := fmt.Sprintf("by %s; identity %s", a.By, a.Identity)
		for _, more := range []string{a.Detail, a.Note} {
			if more != "" {
				text += "; " + more
			}
		}
		if a.Refused != "" {
			text += "; refused: " + a.Refused
		}
		t.say("act", a.At, "", string(a.Kind), text)
	}
	for _, f := range r.Findings {
		t.say("finding", f.Time, joined(f.Store, f.Stack, f.Line), f.Code, fill(f))
	}
	for _, f := range r.Refused {
		t.say("refused", f.Time, joined(f.Store, f.Stack), string(f.Entry), fill(f))
	}
}

func (r *Report) csvAir(t *table) {
	for _, p := range r.Air {
		for _, h := range p.Hours {
			h.csv(t, p.Name)
		}
		if p.Readings == 0 {
			t.say("air", 0, p.Name, "not read", p.Where)
			continue
		}
		t.value("air", p.HighestAt, p.Name, "highest", p.Highest, "ppm", p.Where)
		t.value("air", p.TWAAt, p.Name, "highest 8 h average", p.HighestTWA8h, "ppm", fmt.Sprintf("%s; readings cover %.3g h of the 8", p.Where, p.TWACovered))
		t.value("air", 0, p.Name, "highest 15 min mean", p.Highest15min, "ppm", p.Where)
	}
}

func (r *Report) csvLog(t *table) {
	t.say("log", r.Made, "", "log id", r.LogID)
	t.say("log", r.Made, "", "hash", r.Head)
	t.text("log", r.Made.String(), "", "first seq", strconv.FormatUint(r.FirstSeq, 10), "", "")
	t.text("log", r.Made.String(), "", "last seq", strconv.FormatUint(r.LastSeq, 10), "", "")
	for _, p := range r.Programs {
		t.say("log", r.Made, "", "records made by", p)
	}
}

// joined names a place by what is known of it.
func joined(parts ...string) string {
	var known []string
	for _, p := range parts {
		if p != "" {
			known = append(known, p)
		}
	}
	return strings.Join(known, ", ")
}

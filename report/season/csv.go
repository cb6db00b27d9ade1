package season

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"

	"undersheet/logbook"
	"undersheet/report"
)

// table writes rows; the writer keeps the first error.
type table struct{ w *csv.Writer }

func (t table) say(section string, at logbook.Time, place, item, text string) {
	_ = t.w.Write([]string{section, at.String(), place, item, "", "", text}) // Error tells
}

func (t table) value(section string, at logbook.Time, place, item string, v float64, unit, text string) {
	_ = t.w.Write([]string{section, at.String(), place, item, strconv.FormatFloat(v, 'g', 6, 64), unit, text})
}

func (t table) count(section, place, item string, n int, unit string) {
	t.value(section, 0, place, item, float64(n), unit, "")
}

// proportion writes a proportion with its interval.
func (t table) proportion(section, place, item string, p Proportion) {
	low, high := p.Interval()
	t.count(section, place, item, p.Of, "")
	t.count(section, place, item+": of", p.N, "")
	t.value(section, 0, place, item+": 95 % lower bound", low, "", "Clopper-Pearson")
	t.value(section, 0, place, item+": 95 % upper bound", high, "", "Clopper-Pearson")
}

// WriteCSV writes the summary as one table (RFC 4180, UTF-8, times in RFC 3339 UTC), a fact a
// row. Its columns are those of a treatment's report, [report.Columns]: section names the table
// that a row is of (season, treatment, sheet, leak, stock, register, forecast, alarm, log), place
// the treatment, stack, product or alarm, item what the value is.
func (s *Season) WriteCSV(w io.Writer) error {
	t := table{csv.NewWriter(w)}
	t.w.UseCRLF = true
	_ = t.w.Write(report.Columns)
	t.say("season", 0, "", "site", s.Site)
	t.say("season", s.From, "", "from", s.Zone.String())
	t.say("season", s.To, "", "until", s.Zone.String())
	t.value("season", 0, "", "days told of", s.Days(), "d", "")
	t.proportion("season", "", "treatments held", s.Held())
	for i := range s.Treatments {
		s.Treatments[i].csv(t)
	}
	for _, x := range s.Sheets() {
		place := x.Store + ", " + x.Stack
		t.count("sheet", place, "treatments fitted", x.Treatments, "")
		t.count("sheet", place, "leaks told", x.Leaks, "")
		if x.Treatments > 0 {
			t.value("sheet", 0, place, "mean loss", x.Mean, "1/d", "")
			t.value("sheet", x.WorstAt, place, "highest loss", x.Worst, "1/d", "")
		}
	}
	for _, p := range s.Leaks {
		for i, at := range p.Times {
			t.value("leak", at, p.Store+", "+p.Stack, "leak at this place, number", float64(i+1), "", p.Line)
		}
	}
	s.csvStock(t)
	leads, unmatched := s.Forecasts()
	for _, l := range leads {
		place := fmt.Sprintf("%d days before the end", l.Days)
		if l.Days == MostLead {
			place = fmt.Sprintf("%d days or more before the end", l.Days)
		}
		t.value("forecast", 0, place, "root mean square error", l.RMS, "ln C", "")
		t.value("forecast", 0, place, "mean error", l.Bias, "ln C", "")
		t.proportion("forecast", place, "inside the 90 % interval", l.Inside)
	}
	t.count("forecast", "", "not compared", unmatched, "")
	for _, k := range s.Alarms.Kinds {
		t.count("alarm", k.Name, "raised", k.Raised, "")
		t.count("alarm", k.Name, "acknowledged", k.Acknowledged, "")
	}
	if s.Alarms.Busiest != "" {
		t.value("alarm", 0, "", "raised on the busiest day", float64(s.Alarms.OnBusiest), "", s.Alarms.Busiest)
	}
	t.say("log", 0, "", "log id", s.LogID)
	t.say("log", s.Made, "", "head", s.Head)
	t.count("log", "", "entries", s.Entries, "")
	t.say("log", s.Made, "", "written by", s.Program)
	t.say("log", s.Made, "", "statement", s.Statement("en"))
	t.w.Flush()
	if err := t.w.Error(); err != nil {
		return fmt.Errorf("write csv: %w", err)
	}
	return nil
}

func (x *Treatment) csv(t table) {
	place := x.Name
	for _, f := range [][2]string{{"store", x.Store}, {"stack", x.Stack}, {"protocol", x.Protocol}, {"commodity", x.Commodity}, {"phase", x.Phase}, {"verdict", x.Verdict}} {
		t.say("treatment", x.Begun, place, f[0], f[1])
	}
	for _, f := range []struct {
		item, unit string
		v          float64
	}{{"tonnes", "t", x.Tonnes}, {"volume", "m3", x.VolumeM3}, {"phosphine", "g", x.Grams}, {"over the plan", "d", x.Over()}, {"airing over the least", "d", x.Slow()}} {
		t.value("treatment", x.Begun, place, f.item, f.v, f.unit, "")
	}
	if x.LossPerDay > 0 {
		t.value("treatment", x.Begun, place, "loss", x.LossPerDay, "1/d", fmt.Sprintf("standard error %.6g", x.LossSE))
	}
	for _, f := range []struct {
		item string
		at   logbook.Time
	}{{"planned end", x.PlannedEnd}, {"airing started", x.Aired}, {"store cleared", x.Cleared}} {
		if f.at != 0 {
			t.say("treatment", f.at, place, f.item, "")
		}
	}
}

func (s *Season) csvStock(t table) {
	for _, x := range s.Stock {
		for _, f := range []struct {
			item string
			n    int
		}{{"opening stock", x.Opening}, {"received", x.Received}, {"used", x.Used}, {"put right by count", x.Off}, {"closing balance", x.Closing}, {"residue taken", x.Taken}, {"residue disposed of", x.Disposed}} {
			t.count("stock", x.Form, f.item, f.n, "pieces")
		}
	}
	for _, m := range s.Moves {
		for _, f := range []struct {
			item string
			n    int
		}{{"received", m.In}, {"used", m.Used}, {"put right by count", m.Off}} {
			if f.n != 0 || m.Counted && f.item == "put right by count" {
				t.value("register", m.At, m.Form, f.item, float64(f.n), "pieces", m.About)
			}
		}
		t.value("register", m.At, m.Form, "closing balance", float64(m.Left), "pieces", m.By)
	}
}

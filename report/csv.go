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
// UTC): section names the table that a row is of (treatment, given, hour, day, line,
// gap, fit, distribution, criterion, published, forecast, leak, instrument, check,
// hand, phase, alarm, gate, air, limit, exposed, product, act, follow-up, finding, refused,
// person, photo, log), place the line, air point or store, item what the value is.
// Only the words in text are of a language.
var Columns = []string{"section", "time", "place", "item", "value", "unit", "text"}

// WriteCSV writes the report as one table of Columns, a fact a row.
func (r *Report) WriteCSV(w io.Writer, lang string) error {
	t := table{csv.NewWriter(w), r.voice(lang)}
	t.w.UseCRLF = true
	t.row(Columns...)
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
	r.csvLeaks(&t)
	r.csvInstruments(&t)
	r.csvHands(&t)
	r.csvRecords(&t)
	r.csvActs(&t)
	r.csvAir(&t)
	r.csvPeople(&t)
	r.csvLog(&t)
	t.w.Flush()
	if err := t.w.Error(); err != nil {
		return fmt.Errorf("write csv: %w", err)
	}
	return nil
}

// table writes rows; the writer keeps the first error.
type table struct {
	w *csv.Writer
	voice
}

func (t *table) row(fields ...string) { _ = t.w.Write(fields) } // Flush and Error tell

// value writes a figure with 6 significant digits.
func (t *table) value(section string, at logbook.Time, place, item string, v float64, unit, text string) {
	t.row(section, at.String(), place, item, strconv.FormatFloat(v, 'g', 6, 64), unit, text)
}

// say writes a fact that is no figure.
func (t *table) say(section string, at logbook.Time, place, item, text string) {
	t.row(section, at.String(), place, item, "", "", text)
}

func (r *Report) csvTreatment(t *table) {
	for _, f := range [][2]string{{"site", r.Site.Name}, {"store", r.Stack.Store}, {"stack", r.Stack.Name}, {"treatment", r.Stack.Treatment},
		{"phase", r.Stack.Phase}, {"verdict", r.Stack.Verdict}, {"protocol", r.Given.Protocol}, {"commodity", r.Given.Commodity}, {"form", r.Given.Form}, {"by", r.Given.By}} {
		t.say("treatment", 0, "", f[0], t.recorded(f[1]))
	}
	for _, f := range []struct {
		name, unit string
		v          float64
	}{{"gas space", "m3", r.gasSpace()}, {"phosphine", "g", r.Given.PhosphineG},
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
	for _, f := range [][2]string{{"lot", r.Given.Lot}, {"destination", r.Given.Destination}, {"pests", r.Given.Pests}, {"sheet", r.Given.Sheet},
		{"dose source", r.Given.DoseSource}, {"fumigator", r.Given.Fumigator}, {"second", r.Given.Second}} {
		t.say("given", 0, "", f[0], t.recorded(f[1]))
	}
	for _, f := range []struct {
		section, name, unit string
		v                   float64
	}{{"treatment", "tonnes", "t", r.Given.Tonnes}, {"treatment", "volume", "m3", r.Given.VolumeM3}, {"given", "bags", "", float64(r.Given.Bags)}, {"given", "moisture", "%", r.Given.GrainMoisturePct},
		{"given", "length", "m", r.Given.LengthM}, {"given", "width", "m", r.Given.WidthM}, {"given", "height", "m", r.Given.HeightM}} {
		if f.v == 0 {
			t.say(f.section, 0, "", f.name, t.recorded(""))
			continue
		}
		t.value(f.section, 0, "", f.name, f.v, f.unit, "")
	}
	for _, f := range []struct {
		name, unit string
		v          *float64
	}{{"dose by weight", "g/t", r.Dose.GPerTonne}, {"dose by volume", "g/m3", r.Dose.GPerVolume}, {"dose by gas space", "g/m3", r.Dose.GPerGas}} {
		if f.v != nil {
			t.value("given", 0, "", f.name, *f.v, f.unit, "")
		}
	}
	for _, x := range r.Aired.Extra {
		t.value("treatment", x.At, "", "phosphine added", x.Grams, "g", "")
	}
}

func (r *Report) csvFit(t *table) {
	if f := r.Stack.Fit; f != nil {
		t.value("fit", 0, r.Stack.Name, "yield", f.YieldPPM, "ppm", fmt.Sprintf("standard error %.6g", f.YieldSE))
	}
	t.loss(r.Stack.Name, r.Loss)
	for _, l := range r.Lines {
		t.loss(l.Name, l.Loss)
	}
}

// loss writes how fast the gas of a place went.
func (t *table) loss(place string, l *Loss) {
	if l == nil {
		return
	}
	for _, f := range []struct {
		name, unit string
		v, se      float64
	}{{"loss", "1/d", l.PerDay, l.PerDaySE}, {"half-life", "h", l.HalfLife, l.HalfLifeSE}, {"release", "1/d", l.Release, l.ReleaseSE}} {
		t.value("fit", 0, place, f.name, f.v, f.unit, fmt.Sprintf("standard error %.6g", f.se))
	}
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
	t.value("line", 0, l.Name, "CTP", l.CTP.PPMh, "ppm·h", "")
	t.value("line", 0, l.Name, "CTP", l.CTP.GhM3, "g·h/m3", "")
	t.value("line", 0, l.Name, "hours not covered", l.CTP.GapHours, "h", "")
	for _, g := range l.CTP.Gaps {
		t.value("gap", g.From, l.Name, "not counted", g.To.Hours(g.From), "h", "until "+g.To.String())
	}
	t.value("line", 0, l.Name, "at or above the end level", l.AboveHours, "h", "")
	for _, e := range l.EndLevels {
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
		text := "for " + f.For.String()
		for _, q := range []struct {
			name string
			v    float64
		}{{"p05", f.P05}, {"p50", f.P50}, {"p95", f.P95}} {
			t.value("forecast", f.At, "lowest line", q.name, q.v, "ppm", text)
		}
		t.value("forecast", f.At, "lowest line", "chance met", f.Chance, "", text)
		if f.Came != nil {
			if f.Added {
				text += ", phosphine added after the forecast"
			}
			t.value("forecast", f.At, "lowest line", "came", *f.Came, "ppm", text)
		}
	}
}

func (r *Report) csvLeaks(t *table) {
	for _, l := range r.Leaks {
		place := joined(r.Stack.Name, l.Line)
		t.say("leak", l.Raised, place, "told", "since "+l.Onset.String())
		t.value("leak", l.Onset, place, "loss before", l.Before, "1/d", "")
		t.value("leak", l.Onset, place, "loss after", l.After, "1/d", "")
		if l.OnsetFrom != 0 {
			t.say("leak", l.OnsetFrom, place, "onset from", "95 %")
			t.say("leak", l.OnsetTo, place, "onset to", "95 %")
		}
		if l.Cleared != 0 {
			t.say("leak", l.Cleared, place, "over", "")
		}
	}
}

func (r *Report) csvInstruments(t *table) {
	for _, x := range r.Instruments {
		for _, f := range []struct {
			name, unit string
			v          float64
		}{{"range", x.Unit, x.Range}, {"resolution", x.Unit, x.Resolution}, {"detection limit", x.Unit, x.DetectionLimit}, {"accuracy", "", x.Accuracy}} {
			t.value("instrument", 0, x.Place, f.name, f.v, f.unit, x.Channel)
		}
		for _, c := range x.Checks {
			if c.What == Swapped {
				t.say("check", c.At, x.Place, c.What, joined(c.Serial, c.By))
				continue
			}
			t.value("check", c.At, x.Place, c.What+" applied", c.Applied, c.Unit, c.By)
			t.value("check", c.At, x.Place, c.What+" read", c.Read, c.Unit, map[bool]string{true: "passed", false: "not passed"}[c.Passed])
		}
		for _, s := range x.States {
			t.say("check", s.Newest, x.Place, s.What+" at t = 0", s.AtStart)
			t.say("check", s.Newest, x.Place, s.What+" at the end", s.AtEnd)
		}
	}
}

func (r *Report) csvHands(t *table) {
	for _, p := range r.Hands {
		if p.Bags {
			p.Place += ", inside bags"
		}
		t.value("hand", p.At, p.Place, "by hand", p.PPM, "ppm", joined(p.By, p.Method, p.Serial))
		if p.Fixed != nil {
			t.value("hand", p.Fixed.At, p.Place, "fixed", p.Fixed.PPM, "ppm", "beside the hand reading of "+p.At.String())
		}
	}
}

func (r *Report) csvRecords(t *table) {
	for _, p := range r.Phases {
		t.say("phase", p.Time, r.Stack.Name, p.Phase, p.Verdict)
	}
	for _, a := range r.Alarms {
		headline, _ := words.Alarm(t.lang, &a)
		t.value("alarm", a.Time, joined(a.Store, a.Stack, a.Line, a.Point), a.Alarm+" "+a.State, float64(a.Value), "", headline+" ("+a.Priority+", "+a.Onset.String()+")")
	}
	for _, g := range r.Gates {
		t.value("gate", g.Time, g.Store, g.State, float64(g.LimitPPM), "ppm", "limit of: "+g.LimitOf)
		for _, x := range g.Reasons {
			t.say("gate", g.Time, g.Store, "reason "+x.Code, words.Reason(t.lang, x))
		}
	}
	for i := range r.Findings {
		f := r.Findings[i]
		words.Fill(t.lang, &f)
		t.say("finding", f.Time, joined(f.Store, f.Stack, f.Line), f.Code, f.Text)
	}
	for i := range r.Refused {
		f := &r.Refused[i]
		t.say("refused", f.Time, joined(f.Store, f.Stack), string(f.Entry), t.why(*f))
	}
}

func (r *Report) csvActs(t *table) {
	for i := range r.Acts {
		a := &r.Acts[i]
		text := t.recorded(a.By) + ", " + t.identity(a.Identity)
		if more := t.did(a); more != "" {
			text = t.list([]string{text, more})
		}
		t.say("act", a.At, "", string(a.Kind), text)
	}
	for _, f := range r.FollowUps {
		t.say("follow-up", f.Due, f.By, f.FollowUp+" "+f.State, joined(t.code("follow", f.Result), f.Owner))
	}
	for _, p := range r.Product {
		for _, f := range []struct {
			name string
			v    int
		}{{"placed", p.Placed}, {"taken out", p.Taken}, {"not shown spent", p.Live}, {"disposed", p.Disposed}} {
			t.value("product", 0, p.Form, f.name, float64(f.v), "pieces", "")
		}
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
		for _, x := range p.Against {
			t.value("air", x.At, p.Name, x.Level+" "+x.State, x.Found, "ppm", fmt.Sprintf("limit %.6g ppm; %s", x.Limit, r.LimitSets[x.Set].Source))
		}
	}
}

func (r *Report) csvPeople(t *table) {
	for _, s := range r.LimitSets {
		for _, l := range s.Levels {
			t.value("limit", s.From, "", l.Name, l.PPM, "ppm", s.Source)
		}
	}
	for _, x := range r.Exposed {
		place := map[bool]string{true: "at the door", false: "inside"}[x.AtDoor]
		t.value("exposed", x.In, place, x.Name, x.PPM, "ppm", "until "+x.Out.String())
		t.value("exposed", x.Out, place, x.Name+", limit", x.Limit, "ppm", "")
		t.value("exposed", x.Out, place, x.Name+", 8 h average", x.TWA8PPM, "ppm", map[bool]string{true: "air known", false: "air not known all the time"}[x.Known])
	}
	for i := range r.People {
		t.say("person", 0, r.People[i].Name, "licence", t.licence(&r.People[i]))
	}
	for _, p := range r.Photos {
		t.say("photo", p.At, p.By, p.Name, p.SHA256)
	}
}

func (r *Report) csvLog(t *table) {
	t.say("log", r.Made, "", "log id", t.recorded(r.LogID))
	t.say("log", r.Made, "", "hash", t.recorded(r.Head))
	t.row("log", r.Made.String(), "", "first seq", strconv.FormatUint(r.FirstSeq, 10), "", "")
	t.row("log", r.Made.String(), "", "last seq", strconv.FormatUint(r.LastSeq, 10), "", "")
	for _, p := range r.Programs {
		t.say("log", r.Made, "", "records made by", p)
	}
	t.say("log", r.Made, "", "written by", r.Program)
	t.say("log", r.Made, "", "statement", r.Statement(t.lang))
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

package words

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"undersheet/logbook"
)

// moment is how times are written in sentences, in the reader's zone.
const moment = "Mon 2 Jan 15:04"

// Forecast says in one sentence what is expected of the lowest line at the planned
// end of an exposure, and how likely the end level (ppm) is then met by all.
func Forecast(lang string, f *logbook.Forecast, endPPM float64, zone *time.Location) string {
	c := of(lang)
	return c.fill("forecast", "{when}", Moment(f.For, zone), "{p50}", ppm(float64(f.PPM.P50)), "{p05}", ppm(float64(f.PPM.P05)),
		"{p95}", ppm(float64(f.PPM.P95)), "{end}", ppm(endPPM), "{chance}", chance(float64(f.ChanceMet)))
}

// Grounds says in one sentence what a leak was told from: since when, how much
// faster the gas goes, and the test against its threshold. It is empty for other
// alarms, and for records of older programs, which do not say.
func Grounds(lang string, a *logbook.Alarm, zone *time.Location) string {
	g := a.Grounds
	if g == nil || a.State == logbook.AlarmCleared {
		return ""
	}
	c := of(lang)
	key := "lost-stack"
	if a.Line != "" {
		key = "lost-line"
	}
	s := c.fill(key, "{since}", Moment(a.Onset, zone), "{from}", near(g.From, a.Onset, zone), "{to}", near(g.To, a.Onset, zone),
		"{line}", a.Line, "{stack}", a.Stack, "{faster}", c.faster(float64(a.Limit), float64(a.Value)))
	if g.Statistic > 0 {
		return s + " " + c.fill("statistic", "{z}", decimals(float64(g.Statistic), 1), "{threshold}", decimals(float64(g.Threshold), 1))
	}
	return s + " " + c.fill("fell-at-once")
}

// faster says by how much a loss rate (per day) rose.
func (c *catalogue) faster(before, after float64) string {
	rates := []string{"{before}", decimals(before, 2), "{after}", decimals(after, 2)}
	if !(before >= 0.005) {
		return c.fill("faster-than-nothing", rates...)
	}
	digits := 1
	if after/before >= 10 {
		digits = 0
	}
	return c.fill("faster", append(rates, "{times}", decimals(after/before, digits))...)
}

// Outlook says what can still be done for an end level that is not sure to hold, a
// paragraph each. Nothing where it is. What adds gas is followed by who decides, and
// how people go in.
func Outlook(lang string, o *logbook.Outlook, zone *time.Location) []string {
	if o == nil || o.Chance >= o.Want {
		return nil
	}
	c := of(lang)
	values := []string{"{want}", chance(o.Want), "{end}", ppm(o.EndPPM)}
	var out []string
	say := func(key string, pairs ...string) { out = append(out, c.fill(key, append(pairs, values...)...)) }
	if o.HeldUntil != 0 {
		say("held-until", "{when}", Moment(o.HeldUntil, zone))
	}
	if o.Longer != 0 {
		say("longer", "{when}", Moment(o.Longer, zone))
	} else {
		say("no-longer")
	}
	if p := o.Other; p.Protocol != "" {
		say("other-protocol", "{protocol}", p.Protocol, "{level}", ppm(p.EndPPM), "{when}", Moment(p.End, zone), "{chance}", chance(p.Chance))
	}
	switch up := o.TopUp; {
	case !up.Known:
	case up.Grams == 0:
		say("top-up-none", "{most}", ppm(up.Most))
	default:
		say("top-up", "{grams}", ppm(up.Grams), "{pieces}", c.pieces(up), "{until}", Moment(up.Until, zone), "{most}", ppm(up.Most))
		if o.Leaking {
			say("as-it-leaks")
		}
		say("who-tops-up", "{airing}", Moment(up.Airing, zone))
	}
	return out
}

// pieces says how many pieces a top-up is, rounded up.
func (c *catalogue) pieces(up logbook.TopUp) string {
	if !(up.Piece > 0) {
		return ""
	}
	n := math.Ceil(up.Grams/up.Piece - 1e-9)
	return " " + c.fill("pieces", "{count}", plain(n, 3), "{form}", up.Form, "{piece}", plain(up.Piece, 3))
}

// Text returns the sentence or label of a key with values put in the place of their
// names: pairs are "{name}", value, … A key without a sentence is shown as it is.
func Text(lang, key string, pairs ...string) string {
	if s := of(lang).fill(key, pairs...); s != "" {
		return s
	}
	return key
}

// fill puts values in the place of their names in a sentence. They are put in one
// pass, so a name that looks like a value stays what it is.
func (c *catalogue) fill(key string, pairs ...string) string {
	s, ok := c.texts[key]
	if !ok {
		s = english.texts[key]
	}
	return strings.TrimSpace(strings.NewReplacer(pairs...).Replace(s))
}

// Moment writes a time as sentences do, in a zone.
func Moment(t logbook.Time, zone *time.Location) string { return t.Std().In(zone).Format(moment) }

// near writes a time that stands beside another: the day only where it differs.
func near(t, beside logbook.Time, zone *time.Location) string {
	if a, b := t.Std().In(zone), beside.Std().In(zone); a.YearDay() == b.YearDay() && a.Year() == b.Year() {
		return a.Format("15:04")
	}
	return Moment(t, zone)
}

// ppm writes a concentration with up to three significant digits; from 100 on whole.
func ppm(v float64) string {
	if v >= 100 {
		return plain(math.Round(v), 3)
	}
	return plain(v, 3)
}

func decimals(v float64, n int) string { return strconv.FormatFloat(v, 'f', n, 64) }

// chance writes a probability in per cent, never as certain.
func chance(p float64) string {
	switch {
	case !(p >= 0 && p <= 1):
		return "—"
	case p < 0.01:
		return "<1 %"
	case p > 0.99:
		return ">99 %"
	}
	return fmt.Sprintf("%.0f %%", math.Floor(100*p+1e-9))
}

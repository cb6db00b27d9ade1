package words

import (
	"math"
	"strconv"
	"strings"
	"time"

	"undersheet/logbook"
)

// Forecast says in one sentence what is expected of the lowest line at the planned
// end of an exposure, and how likely the end level (ppm) is then met by all.
func Forecast(lang string, f *logbook.Forecast, endPPM float64, zone *time.Location) string {
	c := of(lang)
	return c.fill("forecast", "{when}", c.moment(f.For, zone), "{p50}", c.ppm(float64(f.PPM.P50)), "{p05}", c.ppm(float64(f.PPM.P05)),
		"{p95}", c.ppm(float64(f.PPM.P95)), "{end}", c.ppm(endPPM), "{chance}", c.chance(float64(f.ChanceMet)))
}

// halfDay is the case of a leak that was told by what a stack lost in half a day.
const halfDay = "half-day"

// Missed says in one sentence when nobody watched, and which stacks were at work then; empty for any
// other alarm, and once it is over.
func Missed(lang string, a *logbook.Alarm, zone *time.Location) string {
	m := a.Missed
	if m == nil || a.State == logbook.AlarmCleared {
		return ""
	}
	c, key := of(lang), "missed"
	if a.Code != "" {
		key = "missed-set"
	}
	return c.fill(key, "{from}", c.moment(m.From, zone), "{until}", c.moment(m.Until, zone), "{store}", a.Store, "{stacks}", strings.Join(m.Stacks, ", "))
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
	if a.Code == halfDay {
		return c.fill("lost-half-day", "{stack}", a.Stack, "{after}", c.decimals(float64(g.Statistic), 2), "{threshold}", c.decimals(float64(g.Threshold), 2), "{to}", c.moment(g.To, zone))
	}
	key := "lost-stack"
	if a.Line != "" {
		key = "lost-line"
	}
	s := c.fill(key, "{since}", c.moment(a.Onset, zone), "{from}", c.near(g.From, a.Onset, zone), "{to}", c.near(g.To, a.Onset, zone),
		"{line}", a.Line, "{stack}", a.Stack, "{faster}", c.faster(float64(a.Limit), float64(a.Value)))
	if g.Statistic > 0 {
		key := "statistic"
		if g.Statistic < g.Threshold { // told by how steadily the line falls
			key = "statistic-helps"
		}
		return s + " " + c.fill(key, "{z}", c.decimals(float64(g.Statistic), 1), "{threshold}", c.decimals(float64(g.Threshold), 1))
	}
	return s + " " + c.fill("fell-at-once")
}

// faster says by how much a loss rate (per day) rose.
func (c *catalogue) faster(before, after float64) string {
	rates := []string{"{before}", c.decimals(before, 2), "{after}", c.decimals(after, 2)}
	if !(before >= 0.005) {
		return c.fill("faster-than-nothing", rates...)
	}
	digits := 1
	if after/before >= 10 {
		digits = 0
	}
	return c.fill("faster", append(rates, "{times}", c.decimals(after/before, digits))...)
}

// Outlook says what can still be done for an end level that is not sure to hold, a
// paragraph each. Nothing where it is. What adds gas is followed by who decides, and
// how people go in.
func Outlook(lang string, o *logbook.Outlook, zone *time.Location) []string {
	if o == nil || o.Chance >= o.Want {
		return nil
	}
	c := of(lang)
	values := []string{"{want}", c.chance(o.Want), "{end}", c.ppm(o.EndPPM)}
	var out []string
	say := func(key string, pairs ...string) { out = append(out, c.fill(key, append(pairs, values...)...)) }
	if o.HeldUntil != 0 {
		say("held-until", "{when}", c.moment(o.HeldUntil, zone))
	}
	if o.Longer != 0 {
		say("longer", "{when}", c.moment(o.Longer, zone))
	} else {
		say("no-longer")
	}
	if p := o.Other; p.Protocol != "" {
		say("other-protocol", "{protocol}", c.word("protocol", p.Protocol), "{level}", c.ppm(p.EndPPM), "{when}", c.moment(p.End, zone), "{chance}", c.chance(p.Chance))
	}
	switch up := o.TopUp; {
	case !up.Known:
	case up.Grams == 0:
		say("top-up-none", "{most}", c.ppm(up.Most))
	default:
		say("top-up", "{grams}", c.ppm(up.Grams), "{pieces}", c.pieces(up), "{until}", c.moment(up.Until, zone), "{most}", c.ppm(up.Most))
		if o.Leaking {
			say("as-it-leaks")
		}
		say("who-tops-up", "{airing}", c.moment(up.Airing, zone))
	}
	return out
}

// pieces says how many pieces a top-up is, rounded up.
func (c *catalogue) pieces(up logbook.TopUp) string {
	if !(up.Piece > 0) {
		return ""
	}
	n := math.Ceil(up.Grams/up.Piece - 1e-9)
	return " " + c.fill("pieces", "{count}", c.figure(plain(n, 3)), "{form}", c.word("product", up.Form), "{piece}", c.figure(plain(up.Piece, 3)))
}

// word is Word in a language.
func (c *catalogue) word(kind, code string) string {
	if s := c.fill(kind + "/" + code); s != "" {
		return s
	}
	return code
}

// Word returns the word for a code of a kind: "reading", "where", "phase", "verdict",
// "state" and others. A code without a word is shown as it is.
func Word(lang, kind, code string) string { return of(lang).word(kind, code) }

// Consequence returns what an alarm's record names as following from it, in words: the
// alarm, and its place where it has one.
func Consequence(lang, name string) string {
	code, place, _ := strings.Cut(name, " ")
	return strings.TrimSpace(Word(lang, "alarm", code) + " " + place)
}

// Text returns the sentence or label of a key with values put in the place of their
// names: pairs are "{name}", value, … A key without a sentence is shown as it is.
func Text(lang, key string, pairs ...string) string {
	if s := of(lang).fill(key, pairs...); s != "" {
		return s
	}
	return key
}

// First returns the sentence of the first key that has one; empty where none has.
func First(lang string, keys ...string) string {
	c := of(lang)
	for _, key := range keys {
		if s := c.fill(key); s != "" {
			return s
		}
	}
	return ""
}

// fill puts values in the place of their names in a sentence. They are put in one
// pass, so a name that looks like a value stays what it is.
func (c *catalogue) fill(key string, pairs ...string) string {
	return strings.TrimSpace(strings.NewReplacer(pairs...).Replace(c.texts[key]))
}

// near writes a time that stands beside another: the day only where it differs.
func (c *catalogue) near(t, beside logbook.Time, zone *time.Location) string {
	if a, b := t.Std().In(zone), beside.Std().In(zone); a.YearDay() == b.YearDay() && a.Year() == b.Year() {
		return a.Format("15:04")
	}
	return c.moment(t, zone)
}

// ppm writes a concentration as Quantity does.
func (c *catalogue) ppm(v float64) string {
	switch {
	case math.IsNaN(v) || math.IsInf(v, 0):
		return "—"
	case math.Abs(v) >= 100:
		return strconv.FormatFloat(v, 'f', 0, 64)
	}
	return c.figure(plain(v, 3))
}

// Quantity writes a measured or reckoned quantity with up to three significant digits,
// from 100 on whole, without an exponent; "—" when it is not finite.
func Quantity(lang string, v float64) string { return of(lang).ppm(v) }

func (c *catalogue) decimals(v float64, n int) string {
	return c.figure(strconv.FormatFloat(v, 'f', n, 64))
}

// Event says what happened to a stack: an act and who said so, or an alarm, its state
// and its line (kind and text of the event, as the rules keep them).
func Event(lang, kind, text string) string {
	c := of(lang)
	name := c.texts["kind/"+kind]
	if name == "" {
		state, line, _ := strings.Cut(text, " ")
		name, text = c.word("alarm", kind), strings.TrimSpace(c.word("state", state)+" "+line)
	}
	if text == "" {
		return name
	}
	return c.fill("page/about", "{name}", name, "{what}", text)
}

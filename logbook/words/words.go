package words

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"undersheet/logbook"
)

// catalogue is one language.
type catalogue struct {
	reasons  map[string]string   // of gates and refusals, by code
	refused  map[string]string   // why an act took no effect, by code
	findings map[string]string   // by code
	alarms   map[string]sentence // by name, or name/code
	gates    map[string]string   // by state
	plans    map[string]string   // words of a plan, by code
	criteria map[string]string   // for success: what each asks by its code, how it stands by code/state or code/why, else by why
	texts    map[string]string   // all other sentences and labels, by key
	phrase   map[string]string   // small parts
	style    style
}

// sentence is what an alarm says.
type sentence struct {
	headline string // one line: what is the matter, and where
	advice   string // what to do about it
}

// catalogues are the languages there are, by their codes (ISO 639-1).
var catalogues = map[string]*catalogue{"en": &english, "fr": french.over(&english)}

// Languages lists the codes of the languages there are.
func Languages() []string { return slices.Sorted(maps.Keys(catalogues)) }

// joined is all sentences of some maps in one. It panics at a key that two of them
// have, at the start of the program: one of the two would be lost.
func joined[V any](parts ...map[string]V) map[string]V {
	all := map[string]V{}
	for _, p := range parts {
		for key, s := range p {
			if _, twice := all[key]; twice {
				panic(fmt.Sprintf("words: two sentences for the key %q", key))
			}
			all[key] = s
		}
	}
	return all
}

// over is a catalogue with the sentences of another one wherever it has none of its
// own, and its own with the spaces of its language.
func (c catalogue) over(base *catalogue) *catalogue {
	spaced := func(own, base map[string]string) map[string]string {
		all := maps.Clone(base)
		for k, s := range own {
			all[k] = c.style.space(s)
		}
		return all
	}
	alarms := maps.Clone(base.alarms)
	for k, s := range c.alarms {
		alarms[k] = sentence{c.style.space(s.headline), c.style.space(s.advice)}
	}
	return &catalogue{
		reasons: spaced(c.reasons, base.reasons), refused: spaced(c.refused, base.refused), findings: spaced(c.findings, base.findings),
		alarms: alarms, gates: spaced(c.gates, base.gates), plans: spaced(c.plans, base.plans), criteria: spaced(c.criteria, base.criteria),
		texts: spaced(c.texts, base.texts), phrase: spaced(c.phrase, base.phrase), style: c.style,
	}
}

// of returns the catalogue of a language; English stands in for one that is missing.
func of(lang string) *catalogue {
	if c := catalogues[lang]; c != nil {
		return c
	}
	return &english
}

// Fill writes the sentences of a record into it. Other entries stay as they are,
// and so does a finding that has no sentence here but brought its own.
func Fill(lang string, e logbook.Entry) {
	c := of(lang)
	switch r := e.(type) {
	case *logbook.Gate:
		c.fillReasons(r.Reasons)
	case *logbook.Refused:
		c.fillReasons(r.Reasons)
		r.Why = c.why(r)
	case *logbook.Finding:
		v := values{Store: r.Store, Stack: r.Stack, Line: r.Line, Channel: r.Channel, About: r.About, Value: float64(r.Value), Limit: float64(r.Limit)}
		code := r.Code
		if _, known := c.findings[code+"/"+r.About]; known && len(r.About) > 1 { // a case of it; shorter ones stand for values
			code += "/" + r.About
		}
		if _, known := c.findings[code]; known || r.Text == "" {
			r.Text = c.say(c.findings, code, v)
		}
	case *logbook.Alarm:
		headline, advice := Alarm(lang, r)
		r.Text = headline + " " + advice
	case *logbook.Criteria:
		for i := range r.Criteria {
			asks, stands := Criterion(lang, r.Criteria[i])
			r.Criteria[i].Text = asks + " " + stands
		}
	}
}

// Criterion returns what a criterion for success asks, and how the treatment stands
// against it.
func Criterion(lang string, x logbook.Criterion) (asks, stands string) {
	c := of(lang)
	v := values{About: x.Code, Value: float64(x.Value), Limit: float64(x.Limit), Hours: float64(x.Hours), Within: float64(x.Within)}
	key := x.Code + "/" + x.State
	if x.Why != "" {
		key = x.Code + "/" + x.Why
		if _, ok := c.criteria[key]; !ok {
			key = x.Why
		}
	}
	state := c.criteria[x.State]
	return c.say(c.criteria, x.Code, v), strings.TrimSpace(state + " " + c.say(c.criteria, key, v))
}

// fillReasons writes the sentence of each reason into it.
func (c *catalogue) fillReasons(rs []logbook.Reason) {
	for i := range rs {
		rs[i].Text = c.reason(rs[i])
	}
}

// reason says one reason.
func (c *catalogue) reason(r logbook.Reason) string {
	code, of, _ := strings.Cut(r.Code, "/") // a follow-up that is owed stands behind the slash
	return c.say(c.reasons, code, values{About: r.About, Follow: of, Value: float64(r.Value), Limit: float64(r.Limit)})
}

// why says why an act took no effect, with all that stood against it.
func (c *catalogue) why(r *logbook.Refused) string {
	parts := []string{c.say(c.refused, r.Code, values{Store: r.Store, Stack: r.Stack, About: string(r.Entry)})}
	for _, reason := range r.Reasons {
		parts = append(parts, c.reason(reason))
	}
	return strings.Join(parts, " ")
}

// Reason returns the sentence of one reason.
func Reason(lang string, r logbook.Reason) string { return of(lang).reason(r) }

// Alarm returns what an alarm says: one line for a subject or a list, and what
// to do about it.
func Alarm(lang string, a *logbook.Alarm) (headline, advice string) {
	c := of(lang)
	v := values{Store: a.Store, Stack: a.Stack, Line: a.Line, Point: a.Point, Channel: a.Channel, About: a.Code,
		Value: float64(a.Value), Limit: float64(a.Limit)}
	s, ok := sentence{}, false
	for _, key := range keys(a.Alarm, a.Code, v.Value) {
		if s, ok = c.alarms[key]; ok {
			break
		}
	}
	if !ok {
		s = sentence{c.phrase["unknown-alarm"], c.phrase["unknown-advice"]}
		v.About = a.Alarm
	}
	if o := a.Owed; o != nil {
		v.About = cmp.Or(o.Treatment, o.Person)
	}
	headline, advice = c.put(s.headline, v), strings.TrimSpace(c.put(s.advice, v))
	if a.Owed != nil {
		headline = c.pressing(a, headline)
	}
	if a.State == logbook.AlarmCleared {
		if past, ok := c.phrase["over/"+a.Alarm]; ok { // the figure with which it was raised no longer holds
			headline = c.put(past, v)
		}
		return c.phrase["over"] + headline, cmp.Or(c.phrase["over-advice/"+a.Alarm], c.phrase["over-advice"])
	}
	if a.State == logbook.AlarmSeen {
		headline = c.put(c.phrase["seen"], values{About: a.By}) + headline
	}
	return headline, advice
}

// pressing says before what is owed how long until it is due, or since.
func (c *catalogue) pressing(a *logbook.Alarm, what string) string {
	key := "follow/due"
	switch {
	case a.Value < 0:
		key = "follow/ahead"
	case a.Value >= a.Limit:
		key = "follow/overdue"
	}
	return c.fill(key, "{span}", c.lapse(math.Abs(float64(a.Value))), "{what}", what)
}

// lapse writes a stretch of time (hours); from two days on in whole days.
func (c *catalogue) lapse(hours float64) string {
	if hours < 48 {
		return c.fill("follow/hours", "{count}", c.figure(plain(hours, 2)))
	}
	return c.fill("follow/days", "{count}", whole(hours/24))
}

// Gate returns where the gate of a store stands, in one line, and what its air
// points last read. The reasons, what is still owed, are beside it.
func Gate(lang string, g *logbook.Gate) (headline, read string) {
	c := of(lang)
	v := values{Store: g.Store, About: g.State, Limit: float64(g.LimitPPM)}
	headline = c.say(c.gates, g.State, v)
	var parts []string
	for _, p := range g.Read {
		w := values{Point: p.Point, Value: float64(p.PPM), Limit: float64(p.Upper)}
		parts = append(parts, c.put(c.phrase["point-read"], w))
	}
	if len(parts) == 0 {
		return headline, c.put(c.phrase["nothing-read"], v)
	}
	return headline, c.put(c.phrase["read"], v) + strings.Join(parts, "; ") + "."
}

// values are what a sentence may name.
type values struct {
	Store, Stack, Line, Point, Channel, About string
	Follow                                    string // a follow-up; empty: About is one
	Value, Limit                              float64
	Hours, Within                             float64 // of exposure
}

// keys lists where a code's sentence may stand, the closest first: for the case
// of an alarm, for a value that is missing (0), one (1) or negative (-), for the code.
func keys(code, variant string, value float64) []string {
	var ks []string
	if variant != "" {
		ks = append(ks, code+"/"+variant)
	}
	switch {
	case value == 0:
		ks = append(ks, code+"/0")
	case value == 1:
		ks = append(ks, code+"/1")
	case value < 0:
		ks = append(ks, code+"/-")
	}
	return append(ks, code)
}

// say returns the sentence of a code, or the bare code with its values.
func (c *catalogue) say(from map[string]string, code string, v values) string {
	for _, k := range keys(code, "", v.Value) {
		if s, ok := from[k]; ok {
			return c.put(s, v)
		}
	}
	s := fmt.Sprintf("%q: %s", code, c.place(v))
	return strings.TrimSpace(s) + fmt.Sprintf(" (%s, %s).", c.number(v.Value, v.Limit), c.number(v.Limit, v.Value))
}

// put puts values in the place of their names. Values are put in one pass, so a
// name that looks like "{value}" stays what it is.
func (c *catalogue) put(s string, v values) string {
	about := v.About
	if about == "" {
		about = c.phrase["not-named"]
	}
	return strings.NewReplacer(
		"{store}", v.Store, "{stack}", v.Stack, "{line}", v.Line, "{point}", v.Point, "{channel}", v.Channel, "{about}", about, "{kind}", c.kind(v.About), "{follow}", c.word("follow", cmp.Or(v.Follow, about)), "{product}", c.word("product", about), "{check}", c.word("check", about), "{checks}", c.checks(about),
		"{place}", c.place(v),
		"{value}", c.number(v.Value, v.Limit), "{limit}", c.number(v.Limit, v.Value),
		"{abs}", c.number(math.Abs(v.Value), v.Limit),
		"{tenths}", c.figure(strconv.FormatFloat(math.Round(10*v.Value)/10, 'f', -1, 64)),
		"{whole}", whole(v.Value), "{wholelimit}", whole(v.Limit),
		"{percent}", whole(100*v.Value), "{chance}", c.chance(v.Value), "{hours}", c.figure(plain(v.Hours, 3)), "{within}", c.figure(plain(v.Within, 3)),
	).Replace(s)
}

// checks are what codes of checks before dosing, with spaces between them, ask for.
func (c *catalogue) checks(codes string) string {
	asked := strings.Fields(codes)
	for i, code := range asked {
		if s, ok := c.plans[code]; ok {
			asked[i] = s
		}
	}
	return strings.Join(asked, " · ")
}

// kind is what a kind of entry or an alarm is called.
func (c *catalogue) kind(code string) string {
	if s := c.texts["kind/"+code]; s != "" {
		return s
	}
	return c.word("alarm", code)
}

// place says where: a stack and its line, a store and its point, else a channel.
func (c *catalogue) place(v values) string {
	var parts []string
	add := func(key, name string) {
		if name != "" {
			parts = append(parts, strings.ReplaceAll(c.phrase[key], "{}", name))
		}
	}
	if v.Stack != "" {
		add("in-stack", v.Stack)
		add("in-line", v.Line)
	} else {
		add("in-store", v.Store)
		add("in-point", v.Point)
	}
	if len(parts) == 0 {
		add("in-channel", v.Channel)
	}
	return strings.Join(parts, ", ")
}

// number is number in the language's figures.
func (c *catalogue) number(v, against float64) string { return c.figure(number(v, against)) }

// number writes v plainly with 3 significant digits; with up to 6 where fewer
// would make it look like the figure that it is held against.
func number(v, against float64) string {
	s := plain(v, 3)
	for digits := 4; digits <= 6 && v != against && s == plain(against, 3); digits++ {
		if t := plain(v, digits); t != plain(against, digits) {
			return t
		}
	}
	return s
}

// plain writes v with so many significant digits, without an exponent; whole
// numbers below a million keep all their digits.
func plain(v float64, digits int) string {
	if v == 0 || math.IsNaN(v) || math.IsInf(v, 0) {
		return strconv.FormatFloat(v+0, 'f', -1, 64)
	}
	if v == math.Trunc(v) && math.Abs(v) < 1e6 {
		return strconv.FormatFloat(v, 'f', 0, 64)
	}
	r, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'e', digits-1, 64), 64)
	return strconv.FormatFloat(r, 'f', -1, 64)
}

// whole writes the whole part of v: 119.7 of 120 minutes are not yet 120.
func whole(v float64) string {
	return strconv.FormatFloat(math.Floor(v)+0, 'f', 0, 64)
}

package alert

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/logbook/words"
	"undersheet/rules"
)

// Sentences that messages carry.
const (
	notAlone = "Do not enter alone: two trained people, breathing protection, daylight; else wait."
	atNight  = "It is night: nobody goes in; wait for daylight."
	lawFirst = "Local law and the licensed fumigator's word come before this message."
	goingIn  = "If somebody has to go in: two trained people with breathing protection, in daylight. " +
		"Otherwise keep everybody out and wait. " + lawFirst
	goingInLater = atNight + " If somebody has to go in then: two trained people with breathing protection; otherwise keep everybody out. " + lawFirst
	noEmergency  = "Emergency: no line is set in the site file. Call the public emergency number."
)

// opensWithCare are the alarms at which people are tempted to go in and mend
// something: what is asked of them opens with notAlone.
var opensWithCare = []string{"leak", "line-off", "line-blocked", "end-level-at-risk"}

// careful reports whether news is of one of these.
func (n *news) careful() bool { return n.Alarm != nil && slices.Contains(opensWithCare, n.Alarm.Alarm) }

// writer returns what a text is written with now.
func (p *Planner) writer() *writer {
	return &writer{zone: p.zone(), lang: p.opts.Language, night: p.isNight()}
}

// subject heads a message.
func (p *Planner) subject(priority, what string) string {
	return oneLine(fmt.Sprintf("[%s] %s: %s", p.Site.Name, strings.ToUpper(priority), what))
}

// emergency is the line that ends every message.
func (p *Planner) emergency() string {
	if line := oneLine(p.Site.Emergency); line != "" {
		return "Emergency: " + line
	}
	return noEmergency
}

// compose writes subject and text of an e-mail.
func (p *Planner) compose(n *news, v *rules.View, h sqlite.Head) (subject, text string) {
	w := p.writer()
	subject = w.news(n)
	var store, stack string
	if n.Alarm != nil {
		store, stack = n.Alarm.Store, n.Alarm.Stack
	} else {
		store = n.Gate.Store
	}
	w.stack(v, stack)
	w.outlook(n, v)
	w.store(v, storeOf(v, store, stack))
	w.goingIn()
	w.para("Written at " + w.time(p.Now) + ". " + headLine(h))
	w.para(p.emergency())
	return p.subject(n.Priority, subject), w.b.String()
}

// say writes subject and text of what a program is told: the record alone.
func (p *Planner) say(n *news) (subject, text string) {
	w := p.writer()
	subject = w.news(n)
	if w.night || n.Gate == nil || n.Gate.State != logbook.GateCleared {
		w.goingIn()
	}
	w.para(p.emergency())
	return p.subject(n.Priority, subject), w.b.String()
}

// headLine says where the logbook stood, for verify --head.
func headLine(h sqlite.Head) string {
	if h.Hash == "" {
		return "The logbook's head could not be read."
	}
	return fmt.Sprintf("The logbook (id %s) stood at entry %d; check it with: undersheet verify --head %s", h.LogID, h.Seq, h.Hash)
}

// zone is the time zone of the site.
func (p *Planner) zone() *time.Location {
	p.isNight() // looks it up when the site has changed
	return p.night.zone
}

// storeOf returns the store, which an alarm of a stack may leave out.
func storeOf(v *rules.View, store, stack string) string {
	for _, s := range v.Stores {
		for _, k := range s.Stacks {
			if store == "" && k.Name == stack {
				return s.Name
			}
		}
	}
	return store
}

// writer puts the text of a message together.
type writer struct {
	b     strings.Builder
	zone  *time.Location
	lang  string
	night bool // nobody is to go in now
}

// oneBreak keeps a name with a line break in it from making lines of its own.
var oneBreak = strings.NewReplacer("\r", " ", "\n", " ")

func (w *writer) line(format string, args ...any) {
	w.b.WriteString(oneBreak.Replace(fmt.Sprintf(format, args...)) + "\n")
}

// para writes a paragraph: an empty line before it unless it is the first.
func (w *writer) para(s string) {
	if w.b.Len() > 0 {
		w.b.WriteByte('\n')
	}
	w.line("%s", s)
}

// time writes t in the site's zone and in UTC.
func (w *writer) time(t logbook.Time) string {
	if t == 0 {
		return "an unknown time"
	}
	u := t.Std()
	return fmt.Sprintf("%s (%s)", u.In(w.zone).Format("2006-01-02 15:04 MST"), u.Format("2006-01-02 15:04 UTC"))
}

// news writes what is told and returns its headline.
func (w *writer) news(n *news) string {
	if n.careful() {
		w.para(notAlone)
		if w.night {
			w.line(atNight)
		}
	}
	switch {
	case n.What == toldFell:
		return w.fell(n.Gate)
	case n.Gate != nil:
		return w.gate(n.Gate)
	}
	if n.Alarm.State != logbook.AlarmSeen {
		return w.alarm(n)
	}
	by := oneLine(n.Alarm.By)
	w.para(by + " has acknowledged this alarm and takes charge of it. It stands until it is said to be over.")
	return "taken by " + by + ": " + w.alarm(n)
}

// goingIn writes what holds for whoever thinks of going in.
func (w *writer) goingIn() {
	if w.night {
		w.para(goingInLater)
		return
	}
	w.para(goingIn)
}

// advice fits what is to be done to the hour: said once where the message opens
// with it, and at night nobody is told how to go in.
func (w *writer) advice(n *news, advice string) string {
	if n.careful() {
		advice = strings.TrimSpace(strings.TrimPrefix(advice, notAlone))
	}
	if w.night {
		advice = strings.ReplaceAll(advice, notAlone, atNight)
	}
	return advice
}

// alarm writes what an alarm says and returns its headline.
func (w *writer) alarm(n *news) string {
	a := n.Alarm
	headline, advice := words.Alarm(w.lang, standing(a))
	w.para(headline)
	if grounds := words.Grounds(w.lang, a, w.zone); grounds != "" {
		w.para(grounds)
	}
	if advice = w.advice(n, advice); advice != "" {
		w.para(advice)
	}
	w.para("Alarm: " + a.Alarm + place(a))
	if a.Onset != 0 {
		w.line("Began: %s", w.time(a.Onset))
	}
	if a.State == logbook.AlarmCleared && n.Since != 0 {
		w.line("Raised first: %s", w.time(n.Since))
		if n.Times > 1 {
			w.line("It came %d times in that span; this message speaks for all of them.", n.Times)
		}
	}
	if len(a.Also) > 0 {
		w.line("Of the same cause: %s", strings.Join(a.Also, ", "))
	}
	return headline
}

// standing returns an alarm as it is worded while it stands: who acknowledged it
// is said apart.
func standing(a *logbook.Alarm) *logbook.Alarm {
	if a.State != logbook.AlarmSeen {
		return a
	}
	b := *a
	b.State = logbook.AlarmRaised
	return &b
}

// gate writes where a gate stands and returns the headline.
func (w *writer) gate(g *logbook.Gate) string {
	headline, read := words.Gate(w.lang, g)
	w.para(headline)
	w.reasons(g.Reasons)
	w.line("%s", read)
	return headline
}

func place(a *logbook.Alarm) string {
	var s string
	for _, part := range [][2]string{{"", a.Store}, {"stack ", a.Stack}, {"line ", a.Line}, {"point ", a.Point}, {"channel ", a.Channel}} {
		if part[1] != "" {
			s += ", " + part[0] + part[1]
		}
	}
	return s
}

// fell writes that a clearance no longer holds and returns the headline.
func (w *writer) fell(g *logbook.Gate) string {
	headline := fellHeadline(g)
	state, read := words.Gate(w.lang, g)
	w.para(headline + ".")
	w.para("Whoever is inside comes out. " + state)
	w.reasons(g.Reasons)
	w.line("%s", read)
	return headline
}

// fellHeadline says that a clearance no longer holds.
func fellHeadline(g *logbook.Gate) string { return "The clearance of " + g.Store + " no longer holds" }

func (w *writer) reasons(rs []logbook.Reason) {
	for _, r := range rs {
		w.line("- %s", words.Reason(w.lang, r))
	}
}

// stack writes what was read under the sheet and what is expected.
func (w *writer) stack(v *rules.View, name string) {
	k := stackView(v, name)
	if k == nil || len(k.Lines) == 0 {
		return
	}
	w.para(fmt.Sprintf("Stack %s, treatment %s, read last under the sheet:", k.Name, given(k.Treatment)))
	for _, l := range k.Lines {
		w.line("- %s: %s", l.Name, w.sample(l.Last))
	}
	if f := k.Lowest; f != nil && k.Phase == logbook.PhaseExposure {
		w.line("%s", words.Forecast(w.lang, f, k.EndLevelPPM, w.zone))
	}
}

// outlook writes what can still be done for an end level at risk. How people go in
// is said where the message opens; at night that nobody does.
func (w *writer) outlook(n *news, v *rules.View) {
	if n.Alarm == nil || n.Alarm.Alarm != "end-level-at-risk" || n.Alarm.State == logbook.AlarmCleared {
		return
	}
	k := stackView(v, n.Alarm.Stack)
	if k == nil {
		return
	}
	instead := ""
	if w.night {
		instead = atNight
	}
	for i, s := range words.Outlook(w.lang, k.Outlook, w.zone) {
		s = strings.TrimSpace(strings.ReplaceAll(s, notAlone, instead))
		if i == 0 {
			w.para(s)
		} else {
			w.line("%s", s)
		}
	}
}

// store writes where the gate stands and what was read in the air.
func (w *writer) store(v *rules.View, name string) {
	for i := range v.Stores {
		s := &v.Stores[i]
		if s.Name != name {
			continue
		}
		headline, _ := words.Gate(w.lang, &s.Gate)
		w.para("Gate: " + headline)
		w.reasons(s.Gate.Reasons)
		for _, a := range s.Air {
			w.line("- %s (%s): %s", a.Name, a.Where, w.sample(a.Last))
		}
	}
}

func stackView(v *rules.View, name string) *rules.StackView {
	for i := range v.Stores {
		for k := range v.Stores[i].Stacks {
			if s := &v.Stores[i].Stacks[k]; name != "" && s.Name == name {
				return s
			}
		}
	}
	return nil
}

// sample writes a reading as it was judged.
func (w *writer) sample(s rules.Sample) string {
	if s.At == 0 {
		return "nothing read yet"
	}
	unit := s.Unit
	switch unit {
	case logbook.PPM, logbook.MgM3, logbook.GM3:
		unit = logbook.PPM
	}
	return fmt.Sprintf("%s %s (%s) at %s", figure(s.PPM), unit, s.State, w.time(s.At))
}

func given(s string) string {
	if s == "" {
		return "without a name yet"
	}
	return s
}

// figure writes v with about three significant digits.
func figure(v float64) string {
	switch a := max(v, -v); {
	case a >= 100:
		return strconv.FormatFloat(v, 'f', 0, 64)
	case a >= 10:
		return strconv.FormatFloat(v, 'f', 1, 64)
	}
	return strconv.FormatFloat(v, 'f', 2, 64)
}

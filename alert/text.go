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
	"undersheet/rules/alarm"
)

// opensWithCare are the alarms that tempt people to go in and mend something: messages about
// them begin with who may go in, and how.
var opensWithCare = []string{alarm.Leak, alarm.LineOff, alarm.LineBlocked, alarm.AtRisk}

// careful reports whether news is of one of these.
func (n *news) careful() bool { return n.Alarm != nil && slices.Contains(opensWithCare, n.Alarm.Alarm) }

// voice writes messages in one language.
type voice struct {
	*Planner
	lang string
}

// text returns the sentence of a key, see [words.Text].
func (p voice) text(key string, pairs ...string) string { return words.Text(p.lang, key, pairs...) }

// writer returns what a text is written with now.
func (p voice) writer() *writer { return &writer{voice: p, zone: p.zone(), night: p.dark()} }

// subject heads a message.
func (p voice) subject(priority, what string) string {
	return oneLine(p.text("mail/subject", "{site}", p.Site.Name, "{priority}", words.Word(p.lang, "mail", priority), "{what}", what))
}

// emergency is the line that ends every message: the site's own, or none if the site file gives
// none.
func (p voice) emergency(none string) string {
	if line := oneLine(p.Site.Emergency); line != "" {
		return p.text("mail/emergency", "{line}", line)
	}
	return p.text(none)
}

// compose writes subject and text of an e-mail.
func (p voice) compose(n *news, v *rules.View, h sqlite.Head) (subject, text string) {
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
	w.written(h, w.at(n))
	return p.subject(n.Priority, subject), w.b.String()
}

// written ends an e-mail: when it was written, where the logbook stood, and whom to call.
func (w *writer) written(h sqlite.Head, at logbook.Time) {
	w.para(w.text("mail/written", "{when}", w.time(at), "{head}", w.head(h)))
	w.para(w.emergency("mail/no-emergency"))
}

// record writes subject and text of what a program is told: the record alone.
func (p voice) record(n *news) (subject, text string) {
	w := p.writer()
	subject = w.news(n)
	if w.night || n.Gate == nil || n.Gate.State != logbook.GateCleared {
		w.goingIn()
	}
	w.para(p.emergency("mail/no-emergency"))
	return p.subject(n.Priority, subject), w.b.String()
}

// head says where the logbook stood, for verify --head.
func (p voice) head(h sqlite.Head) string {
	if h.Hash == "" {
		return p.text("mail/no-head")
	}
	return p.text("mail/head", "{id}", h.LogID, "{entry}", strconv.FormatUint(h.Seq, 10), "{hash}", h.Hash)
}

// zone is the time zone of the site.
func (p *Planner) zone() *time.Location { return p.nights().Zone() }

// storeOf returns the store, which an alarm of a stack may leave out.
func storeOf(v *rules.View, store, stack string) string {
	if s, _ := v.Stack(stack); store == "" && s != nil {
		return s.Name
	}
	return store
}

// writer puts the text of a message together.
type writer struct {
	voice
	b     strings.Builder
	zone  *time.Location
	night bool // nobody is to go in now
}

// oneBreak keeps a name with a line break in it from making lines of its own.
var oneBreak = strings.NewReplacer("\r", " ", "\n", " ")

func (w *writer) line(s string) { w.b.WriteString(oneBreak.Replace(s) + "\n") }

// para writes a paragraph: an empty line before it unless it is the first.
func (w *writer) para(s string) {
	if w.b.Len() > 0 {
		w.b.WriteByte('\n')
	}
	w.line(s)
}

// time writes t in the site's zone and in UTC.
func (w *writer) time(t logbook.Time) string {
	if t == 0 {
		return w.text("mail/no-time")
	}
	u := t.Std()
	return fmt.Sprintf("%s (%s)", u.In(w.zone).Format("2006-01-02 15:04 MST"), u.Format("2006-01-02 15:04 UTC"))
}

// news writes what is told and returns its headline.
func (w *writer) news(n *news) string {
	if n.careful() {
		w.para(w.text("two-people"))
		if w.night {
			w.line(w.text("mail/night"))
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
	if by == "" {
		by = w.text("mail/somebody")
	}
	w.para(w.text("mail/charge", "{by}", by))
	return w.text("mail/taken", "{by}", by, "{what}", w.alarm(n))
}

// goingIn writes what holds for whoever thinks of going in.
func (w *writer) goingIn() {
	if w.night {
		w.para(w.text("mail/going-in-later"))
		return
	}
	w.para(w.text("mail/going-in"))
}

// advice fits advice to the hour and the message: what the message says at its beginning is not
// said again, and at night nobody is told how to go in.
func (w *writer) advice(n *news, advice string) string {
	if n.careful() {
		advice = strings.TrimSpace(strings.TrimPrefix(advice, w.text("two-people")))
	}
	if w.night {
		advice = strings.ReplaceAll(advice, w.text("two-people"), w.text("mail/night"))
	}
	return advice
}

// alarm writes what an alarm says and returns its headline.
func (w *writer) alarm(n *news) string {
	a := n.Alarm
	headline, advice := words.Alarm(w.lang, standing(a))
	w.para(headline)
	for _, more := range []string{words.Grounds(w.lang, a, w.zone), words.Missed(w.lang, a, w.zone)} {
		if more != "" {
			w.para(more)
		}
	}
	if advice = w.advice(n, advice); advice != "" {
		w.para(advice)
	}
	w.para(w.text("mail/alarm", "{alarm}", words.Word(w.lang, "alarm", a.Alarm)) + w.place(a))
	switch {
	case a.Owed != nil:
		w.owed(a.Owed)
	case a.Onset != 0:
		w.line(w.text("mail/began", "{when}", w.time(a.Onset)))
	}
	if a.State == logbook.AlarmCleared && n.Since != 0 {
		w.line(w.text("mail/raised-first", "{when}", w.time(n.Since)))
		if n.Times > 1 {
			w.line(w.text("mail/came", "{times}", strconv.Itoa(n.Times)))
		}
	}
	if len(a.Also) > 0 {
		also := make([]string, len(a.Also))
		for i, name := range a.Also {
			also[i] = words.Consequence(w.lang, name)
		}
		w.line(w.text("mail/same-cause", "{alarms}", strings.Join(also, ", ")))
	}
	return headline
}

// owed writes when something is due, and who does it.
func (w *writer) owed(o *logbook.Owed) {
	w.line(w.text("mail/due", "{when}", w.time(o.Due)))
	if o.Until != 0 {
		w.line(w.text("mail/until", "{when}", w.time(o.Until)))
	}
	if o.Owner != "" {
		w.line(w.text("mail/owner", "{name}", o.Owner))
	}
}

// standing returns an alarm as if nobody had acknowledged it, since the text says that apart.
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
	w.line(read)
	return headline
}

// place says where an alarm is, part by part.
func (w *writer) place(a *logbook.Alarm) string {
	var s string
	if a.Store != "" {
		s = ", " + a.Store
	}
	for _, part := range [][2]string{{"mail/of-stack", a.Stack}, {"mail/of-line", a.Line}, {"mail/of-point", a.Point}, {"mail/of-channel", a.Channel}} {
		if part[1] != "" {
			s += ", " + w.text(part[0], "{name}", part[1])
		}
	}
	return s
}

// fell writes that a clearance no longer holds and returns the headline.
func (w *writer) fell(g *logbook.Gate) string {
	headline := w.text("mail/fell", "{store}", g.Store)
	state, read := words.Gate(w.lang, g)
	w.para(headline + ".")
	w.para(w.text("mail/come-out", "{gate}", state))
	w.reasons(g.Reasons)
	w.line(read)
	return headline
}

func (w *writer) reasons(rs []logbook.Reason) {
	for _, r := range rs {
		w.line("- " + words.Reason(w.lang, r))
	}
}

// stack writes what was read under the sheet and what is expected.
func (w *writer) stack(v *rules.View, name string) {
	_, k := v.Stack(name)
	if k == nil || len(k.Lines) == 0 {
		return
	}
	treatment := k.Treatment
	if treatment == "" {
		treatment = w.text("mail/no-name")
	}
	w.para(w.text("mail/stack", "{stack}", k.Name, "{treatment}", treatment))
	for _, l := range k.Lines {
		w.line(w.text("mail/item", "{name}", l.Name, "{what}", w.sample(l.Last)))
	}
	if f := k.Lowest; f != nil && k.Phase == logbook.PhaseExposure {
		w.line(words.Forecast(w.lang, f, k.EndLevelPPM, w.zone))
	}
}

// outlook writes what can still be done for an end level at risk. How people go in
// is said where the message opens; at night that nobody does.
func (w *writer) outlook(n *news, v *rules.View) {
	if n.Alarm == nil || n.Alarm.Alarm != alarm.AtRisk || n.Alarm.State == logbook.AlarmCleared {
		return
	}
	_, k := v.Stack(n.Alarm.Stack)
	if k == nil {
		return
	}
	instead := ""
	if w.night {
		instead = w.text("mail/night")
	}
	for i, s := range words.Outlook(w.lang, k.Outlook, w.zone) {
		s = strings.TrimSpace(strings.ReplaceAll(s, w.text("two-people"), instead))
		if i == 0 {
			w.para(s)
		} else {
			w.line(s)
		}
	}
}

// store writes where the gate stands and what was read in the air.
func (w *writer) store(v *rules.View, name string) {
	s := v.Store(name)
	if s == nil {
		return
	}
	headline, _ := words.Gate(w.lang, &s.Gate)
	w.para(w.text("mail/gate", "{gate}", headline))
	w.reasons(s.Gate.Reasons)
	for _, a := range s.Air {
		w.line(w.text("mail/item", "{name}", a.Name+" ("+words.Word(w.lang, "where", a.Where)+")", "{what}", w.sample(a.Last)))
	}
}

// sample writes a reading as it was judged.
func (w *writer) sample(s rules.Sample) string {
	if s.At == 0 {
		return w.text("mail/no-sample")
	}
	unit := s.Unit
	switch unit {
	case logbook.PPM, logbook.MgM3, logbook.GM3:
		unit = logbook.PPM
	}
	return w.text("mail/sample", "{value}", words.Figure(w.lang, figure(s.PPM)), "{unit}", unit, "{state}", words.Word(w.lang, "reading", s.State), "{when}", w.time(s.At))
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

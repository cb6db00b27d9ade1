package alert

import (
	"fmt"
	"strings"

	"undersheet/logbook/words"
)

// laterIn stands in for notAlone at night: a telephone may be read before light.
const laterIn = atNight + " Then: two trained people, breathing protection, never alone."

// shorts is the one thing to do about each alarm, by its name or name/code. What
// would take somebody in is not among it.
var shorts = map[string]string{
	"leak":                 "Keep the store shut; read the air at the door; ask the licensed fumigator.",
	"end-level-at-risk":    "Ask the licensed fumigator now, while it can be mended.",
	"end-level-missed":     "Do not start airing; ask the licensed fumigator.",
	"uneven-gas":           "Ask the licensed fumigator for a longer exposure.",
	"air-gas":              "Everybody out, upwind, now; count the people; nobody goes back.",
	"air-gas/office":       "Everybody out of the office, upwind, now; count the people; nobody goes back.",
	"air-gas/dwelling":     "Call everybody out, upwind, now, at any hour; count the people; nobody goes back.",
	"gate-rebound":         "Everybody out, now; count the people; shut and guard the door; nobody goes back.",
	"line-silent":          "Look at the instrument, its power and cable from outside the store only.",
	"line-off":             "Keep the store shut; plan the repair with the licensed fumigator.",
	"line-blocked":         "Look at pump, filter and water trap outside the store only.",
	"lines-swapped":        "Look at the connections of both lines at the cabinet outside the store only.",
	"instrument-drift":     "Take a hand reading of this line at the cabinet outside the store; test zero and span.",
	"instrument-fault":     "Its values are not used. Have it looked at from outside the store only.",
	"instrument-silent":    "Look at its power, cable and port from outside the store only.",
	"point-silent":         "Look at the instrument from outside the store only. The gate stays shut.",
	"door-opened":          "Call out from the door whoever went in; shut and guard it; nobody goes in to look.",
	"door-opened/overdue":  "Call them from the door, now. No answer: call the emergency line; nobody follows.",
	"power-lost":           "Keep the stores shut and guarded until power is back.",
	"fire-risk":            "Nobody goes in; no switches, flames or water; call the fire service and the licensed fumigator.",
	"fire-risk/over-range": "Nobody goes in; no switches, flames or water; ask the licensed fumigator, else the fire service.",
	"fire-risk/attention":  "Nobody goes in; keep flames and switches away; tell the licensed fumigator.",
	"sensor-silent":        "Look at the sensor, its power and cable from outside the store only.",
	"pump-off/by-gas":      "Look at the sampling pump from outside the store only. If it runs: hold it for an open sheet, keep the store shut.",
	"leak/or-drift":        "Keep the store shut; read the air at the door; a hand reading at the cabinet outside tells leak from drift.",
	"pump-off":             "Look at the sampling pump from outside the store only; start it again.",
	"too-cold":             "Leave the sheet shut; ask the licensed fumigator.",
	"masked-entry-overdue": "Call them from the door, now. No answer: call the emergency line; nobody follows.",
	"follow-up-due":        "Look at the page of the stack for what is owed.",
	"watch-stopped":        "Nothing is watched: restart the program. Every gate stays shut.",
}

// do says the one thing to do about news, and whether notAlone goes before it.
func (n *news) do() (do string, care bool) {
	switch {
	case n.What == toldOver:
		return "That lets nobody in: look at the gate of the store.", false
	case n.What == toldFell:
		return "Whoever is inside comes out; nobody goes in.", false
	}
	if s, ok := shorts[n.Alarm.Alarm+"/"+n.Alarm.Code]; ok {
		return s, n.careful()
	}
	if s, ok := shorts[n.Alarm.Alarm]; ok {
		return s, n.careful()
	}
	return "Ask whoever is in charge of the treatment.", true
}

// what says what is the matter, and where, without the full stop.
func (p *Planner) what(n *news) string {
	if n.Gate != nil {
		s := fellHeadline(n.Gate)
		if len(n.Gate.Reasons) > 0 {
			s += ": " + words.Reason(p.opts.Language, n.Gate.Reasons[0])
		}
		return strings.TrimSuffix(oneLine(s), ".")
	}
	headline, _ := words.Alarm(p.opts.Language, n.Alarm)
	return strings.TrimSuffix(oneLine(headline), ".")
}

// standing says since when and in whose charge it is, where that is not plain.
func (p *Planner) standing(n *news) string {
	var s string
	if n.Late {
		s = "since " + p.since(n.Since)
	}
	if ep := p.Known[n.Key]; ep != nil && n.What == toldRaised && ep.Taken != "" {
		s += ", taken by " + cut(ep.Taken, 24)
	}
	if s = strings.TrimPrefix(s, ", "); s != "" {
		return " (" + s + ")"
	}
	return ""
}

// brief writes subject and text of an SMS: what is the matter, what to do, who
// goes in how, and the emergency line.
func (p *Planner) brief(items []*news) (subject, text string) {
	if len(items) > 1 {
		return p.digest(items)
	}
	n := items[0]
	what, still := p.what(n), ""
	if n.What == toldStill {
		still = "still not acknowledged since " + p.since(n.Since) + ": "
	}
	do, care := n.do()
	b := brief{head: cut(p.Site.Name, 30) + " " + strings.ToUpper(n.Priority) + ": " + still, tail: p.standing(n), care: p.care(care),
		end: p.shortEmergency()}
	return p.subject(n.Priority, still+what), b.fit(what, do)
}

// care is the sentence about going in, as the hour has it; empty unless it is wanted.
func (p *Planner) care(wanted bool) string {
	switch {
	case !wanted:
		return ""
	case p.isNight():
		return laterIn
	}
	return notAlone
}

// shortEmergency is the emergency line of an SMS. It is never cut.
func (p *Planner) shortEmergency() string {
	if line := p.emergency(); line != noEmergency {
		return line
	}
	return "Emergency: call the public emergency number."
}

// brief is the text of an SMS but for what may be shortened.
type brief struct{ head, tail, care, end string }

// with puts the text together.
func (b *brief) with(what, do string) string {
	s := b.head + what + b.tail
	if !strings.HasSuffix(s, "...") {
		s += "."
	}
	for _, part := range []string{b.care, do} {
		if part != "" {
			s += " " + part
		}
	}
	return plainer.Replace(oneLine(s)) + "\n" + plainer.Replace(b.end)
}

// Letters that are left of what is the matter, when it has to be shortened.
const (
	whatGood  = 60
	whatLeast = 24
)

// fit writes the text within two parts, if it can: what is the matter is cut
// first, then what to do is left out where the sentence about going in remains.
func (b *brief) fit(what, do string) string {
	least := len([]rune(what))
	for n := least; n >= min(whatGood, least); n -= 4 {
		if s := b.with(cut(what, n), do); fits(s) {
			return s
		}
	}
	if b.care != "" {
		do = ""
	}
	for n := least; n > whatLeast; n -= 4 {
		if s := b.with(cut(what, n), do); fits(s) {
			return s
		}
	}
	return b.with(cut(what, whatLeast), do)
}

// digest writes one SMS of several news, the gravest first. Those for which there
// is no room are counted.
func (p *Planner) digest(items []*news) (subject, text string) {
	since := items[0].Since
	noun := "alarms"
	for _, n := range items {
		since = min(since, n.Since)
		if n.What == toldOver || n.What == toldFell {
			noun = "messages"
		}
	}
	count := fmt.Sprintf("%d %s since %s", len(items), noun, p.since(since))
	b := brief{head: cut(p.Site.Name, 30) + " " + strings.ToUpper(highest(items)) + ": " + count + ": ", care: p.care(true), end: p.shortEmergency()}
	for told := len(items); told > 0; told-- {
		for _, most := range []int{200, 70, 50, 36} {
			if text = b.with(p.list(items, told, most), ""); fits(text) {
				return p.subject(highest(items), count), text
			}
		}
	}
	return p.subject(highest(items), count), b.with(p.list(items, 1, 36), "")
}

// list names the first of several news, each with at most so many letters.
func (p *Planner) list(items []*news, told, most int) string {
	var parts []string
	for i, n := range items[:told] {
		s := cut(p.what(n), most)
		if n.What == toldStill {
			s += " (not acknowledged)"
		}
		parts = append(parts, fmt.Sprintf("%d) %s", i+1, s))
	}
	s := strings.Join(parts, "; ")
	if rest := len(items) - told; rest > 0 {
		s += fmt.Sprintf("; and %d more, see the pages", rest)
	}
	return s
}

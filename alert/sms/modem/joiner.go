package modem

import (
	"strings"

	"undersheet/alert/sms/pdu"
)

// mostOpen is how many messages may wait for parts; the oldest is then dropped.
const mostOpen = 32

// joiner puts messages of several parts together, as a telephone does.
type joiner struct {
	open  []*waiting
	taken int // parts so far, for the message reference
}

// waiting is a message of which parts are missing.
type waiting struct {
	to        string
	reference byte
	parts     []string
	has       []bool
	missing   int
}

// count returns the next message reference, 1 to 255.
func (j *joiner) count() int {
	j.taken = j.taken%255 + 1
	return j.taken
}

// add takes a part and returns the message once it is whole. A part that came
// before replaces the earlier one.
func (j *joiner) add(p pdu.Submit) (Message, bool) {
	if p.Parts == 0 {
		return Message{To: p.Number, Text: p.Text, Parts: 1}, true
	}
	w := j.find(p)
	if !w.has[p.Part-1] {
		w.missing--
	}
	w.has[p.Part-1], w.parts[p.Part-1] = true, p.Text
	if w.missing > 0 {
		return Message{}, false
	}
	for i := range j.open {
		if j.open[i] == w {
			j.open = append(j.open[:i], j.open[i+1:]...)
			break
		}
	}
	return Message{To: w.to, Text: strings.Join(w.parts, ""), Parts: len(w.parts)}, true
}

// find returns the message that p is a part of.
func (j *joiner) find(p pdu.Submit) *waiting {
	for _, w := range j.open {
		if w.to == p.Number && w.reference == p.Reference && len(w.parts) == p.Parts {
			return w
		}
	}
	w := &waiting{to: p.Number, reference: p.Reference, parts: make([]string, p.Parts), has: make([]bool, p.Parts), missing: p.Parts}
	j.open = append(j.open, w)
	j.open = j.open[max(0, len(j.open)-mostOpen):]
	return w
}

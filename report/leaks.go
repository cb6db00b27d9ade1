package report

import (
	"undersheet/logbook"
	"undersheet/rules/alarm"
)

// Leak is one leak as it was told.
type Leak struct {
	Line      string       `json:"line,omitempty"` // empty: the whole stack
	Raised    logbook.Time `json:"told_at"`
	Onset     logbook.Time `json:"onset"`
	OnsetFrom logbook.Time `json:"onset_from,omitzero"` // with 95 % it began between these
	OnsetTo   logbook.Time `json:"onset_to,omitzero"`
	Before    float64      `json:"loss_before_per_day"`
	After     float64      `json:"loss_after_per_day"`
	Cleared   logbook.Time `json:"over_at,omitzero"` // 0 = it stood to the end
	Acts      []int        `json:"acts"`             // what people did then, as numbers in the list of acts, from 1
}

// leaks lists the leaks that were told in the exposure, and what was done at the stack
// and its store from then on until the next was told, or airing started.
func (r *Report) leaks() []Leak {
	var out []Leak
	for i := range r.Alarms {
		a := &r.Alarms[i]
		if a.Alarm != alarm.Leak || a.Stack != r.Stack.Name {
			continue
		}
		switch a.State {
		case logbook.AlarmRaised:
			l := Leak{Line: a.Line, Raised: a.Time, Onset: a.Onset, Before: float64(a.Limit), After: float64(a.Value)}
			if a.Grounds != nil {
				l.OnsetFrom, l.OnsetTo = a.Grounds.From, a.Grounds.To
			}
			out = append(out, l)
		case logbook.AlarmCleared:
			for k := range out {
				if out[k].Line == a.Line && out[k].Cleared == 0 {
					out[k].Cleared = a.Time
				}
			}
		}
	}
	for i := range out {
		until := r.end()
		if i+1 < len(out) {
			until = min(until, out[i+1].Raised)
		}
		out[i].Acts = r.done(out[i].Raised, until)
	}
	return out
}

// done lists by their numbers the acts from one moment to another that may have to do
// with a leak: readings by hand, entries, doses, photos, what was acknowledged.
func (r *Report) done(from, until logbook.Time) []int {
	var out []int
	for i, a := range r.Acts {
		if a.At >= from && a.At <= until && a.Refused == "" {
			out = append(out, i+1)
		}
	}
	return out
}

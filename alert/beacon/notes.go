package beacon

import (
	"encoding/json"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/rules"
)

// Gate is the payload of a gate: the logbook's record as it stands, its reasons
// with their sentences, and until when it may be believed.
type Gate struct {
	logbook.Gate
	Site         string       `json:"site"`
	Text         string       `json:"text"`                 // the state, for people
	At           logbook.Time `json:"at,omitzero"`          // published
	ValidUntil   logbook.Time `json:"valid_until,omitzero"` // from then on the gate is to be taken for shut
	ValidSeconds float64      `json:"valid_seconds"`        // the same, counted from At
}

// Alarm is the payload of an alarm that stands: the logbook's record and its
// sentences.
type Alarm struct {
	logbook.Alarm
	Site      string       `json:"site"`
	Since     logbook.Time `json:"since,omitzero"` // raised
	Headline  string       `json:"headline"`
	Advice    string       `json:"advice"`
	Emergency string       `json:"emergency,omitempty"` // the site's emergency line
	At        logbook.Time `json:"at,omitzero"`         // published
}

// Stack is the payload of a stack and its current or last treatment.
type Stack struct {
	Site        string       `json:"site"`
	Store       string       `json:"store"`
	Stack       string       `json:"stack"`
	Treatment   string       `json:"treatment,omitempty"`
	Phase       string       `json:"phase,omitempty"` // empty: not under treatment
	Verdict     string       `json:"verdict,omitempty"`
	Protocol    string       `json:"protocol,omitempty"`
	Started     logbook.Time `json:"started,omitzero"` // t = 0
	PlannedEnd  logbook.Time `json:"planned_end,omitzero"`
	AiringSince logbook.Time `json:"airing_since,omitzero"`
	Lowest      *Forecast    `json:"lowest,omitempty"` // in exposure: the lowest line at the planned end
	At          logbook.Time `json:"at,omitzero"`      // published
}

// Forecast is what is expected of the lowest line of a stack.
type Forecast struct {
	For       logbook.Time      `json:"for"`
	PPM       logbook.Quantiles `json:"ppm"`
	EndPPM    logbook.Number    `json:"end_level_ppm"`
	ChanceMet logbook.Number    `json:"chance_met"`
}

// note is one topic and what is to stand there.
type note struct {
	topic string
	say   func(at logbook.Time) []byte // payload published at; at = 0: all but the times of publishing
}

// writer makes notes of a view.
type writer struct {
	prefix, site, lang string
	valid              time.Duration
}

// gates returns the notes of all gates of v.
func (w *writer) gates(v *rules.View) []note {
	var ns []note
	for i := range v.Stores {
		s := &v.Stores[i]
		g := s.Gate
		g.Store = s.Name
		ns = append(ns, w.gate(&g))
	}
	return ns
}

// gate returns the note of one gate. A state that is none of the contract's is
// shut, and so is a gate whose numbers cannot be written.
func (w *writer) gate(g *logbook.Gate) note {
	c := *g
	c.Kind = logbook.KindGate
	switch c.State {
	case logbook.GateAiring, logbook.GateCheckOwed, logbook.GateCleared:
	default:
		c.State = logbook.GateShut
	}
	c.Reasons = []logbook.Reason{}
	for _, r := range g.Reasons {
		r.Text = words.Reason(w.lang, r)
		c.Reasons = append(c.Reasons, r)
	}
	return note{gateTopic(w.prefix, c.Store), func(at logbook.Time) []byte {
		b, err := json.Marshal(w.stamp(c, at))
		if err != nil {
			b, _ = json.Marshal(w.stamp(unreadable(c), at)) // strings and times only
		}
		return b
	}}
}

// stamp says until when a gate may be believed.
func (w *writer) stamp(g logbook.Gate, at logbook.Time) Gate {
	text, _ := words.Gate(w.lang, &g)
	p := Gate{Gate: g, Site: w.site, Text: text, ValidSeconds: w.valid.Seconds()}
	if at != 0 {
		p.At, p.ValidUntil = at, at.Add(w.valid)
	}
	return p
}

// unreadable is a gate without its numbers: shut.
func unreadable(g logbook.Gate) logbook.Gate {
	g.State, g.LimitPPM, g.Read = logbook.GateShut, 0, nil
	reasons := make([]logbook.Reason, len(g.Reasons))
	for i, r := range g.Reasons {
		reasons[i] = logbook.Reason{Code: r.Code, About: r.About, Text: r.Text}
	}
	g.Reasons = reasons
	return g
}

// shut returns the note of a gate that is shut for code, whatever it was.
func (w *writer) shut(store, code string) note {
	return w.gate(&logbook.Gate{Store: store, State: logbook.GateShut, Reasons: []logbook.Reason{{Code: code}}})
}

// alarms returns the notes of all alarms that stand in v.
func (w *writer) alarms(v *rules.View) []note {
	var ns []note
	for i := range v.Alarms {
		p := Alarm{Alarm: v.Alarms[i].Alarm, Site: w.site, Since: v.Alarms[i].Since}
		if v.Config != nil {
			p.Emergency = v.Config.Emergency
		}
		p.Headline, p.Advice = words.Alarm(w.lang, &p.Alarm)
		ns = append(ns, note{alarmTopic(w.prefix, &p.Alarm), func(at logbook.Time) []byte {
			p.At = at
			b, err := json.Marshal(p)
			if err != nil {
				p.Value, p.Limit = 0, 0
				b, _ = json.Marshal(p)
			}
			return b
		}})
	}
	return ns
}

// stacks returns the notes of all stacks of v.
func (w *writer) stacks(v *rules.View) []note {
	var ns []note
	for i := range v.Stores {
		for k := range v.Stores[i].Stacks {
			ns = append(ns, w.stack(&v.Stores[i].Stacks[k]))
		}
	}
	return ns
}

func (w *writer) stack(k *rules.StackView) note {
	p := Stack{Site: w.site, Store: k.Store, Stack: k.Name, Treatment: k.Treatment, Phase: k.Phase, Verdict: k.Verdict, Protocol: k.Protocol,
		Started: k.Started, PlannedEnd: k.PlannedEnd, AiringSince: k.AiringSince}
	if f := k.Lowest; f != nil && k.Phase == logbook.PhaseExposure {
		p.Lowest = &Forecast{For: f.For, PPM: f.PPM, EndPPM: logbook.Number(k.EndLevelPPM), ChanceMet: f.ChanceMet}
	}
	return note{w.prefix + "/" + topicStacks + "/" + escape(k.Name), func(at logbook.Time) []byte {
		p.At = at
		b, err := json.Marshal(p)
		if err != nil {
			p.Lowest = nil
			b, _ = json.Marshal(p)
		}
		return b
	}}
}

// online returns the note that the program is there, or not.
func (w *writer) online(word string) note {
	return note{w.prefix + "/" + topicOnline, func(logbook.Time) []byte { return []byte(word) }}
}

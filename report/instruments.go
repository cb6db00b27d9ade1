package report

import (
	"cmp"
	"slices"

	"undersheet/logbook"
	"undersheet/rules/proof"
)

// Swapped is the check that is none: another instrument reads the channel from then on.
const Swapped = "swapped"

// Check is one zero, bump test, calibration or swap of an instrument.
type Check struct {
	What    string       `json:"what"` // zero, bump, calibration or swapped
	At      logbook.Time `json:"at"`
	By      string       `json:"by"`
	Applied float64      `json:"applied"` // in Unit
	Read    float64      `json:"read"`    // in Unit
	Unit    string       `json:"unit,omitempty"`
	Passed  bool         `json:"passed"` // as signed, and within the channel's accuracy
	Due     logbook.Time `json:"next_due,omitzero"`
	Serial  string       `json:"serial,omitempty"` // of the instrument that came in
}

// Instrument is what reads one line or air point, and what shows that it reads true.
type Instrument struct {
	Place          string       `json:"place"` // line, or air point
	Channel        string       `json:"channel"`
	Unit           string       `json:"unit"`
	Range          float64      `json:"range"`
	Resolution     float64      `json:"resolution"`
	DetectionLimit float64      `json:"detection_limit"`
	Accuracy       float64      `json:"accuracy_fraction"`
	Proved         logbook.Time `json:"line_proved,omitzero"` // newest proof of the line; 0 = none
	ProofHeld      bool         `json:"line_proof_held"`
	Checks         []Check      `json:"checks"`   // the newest of each sort before t = 0, and all since
	States         []CheckState `json:"validity"` // of zero, bump test and calibration
}

// CheckState is what the newest check of a sort was worth at t = 0, and at the end of
// the exposure.
type CheckState struct {
	What    string       `json:"what"`
	AtStart string       `json:"at_t0"` // a code
	AtEnd   string       `json:"at_end"`
	Newest  logbook.Time `json:"newest,omitzero"` // at the end
}

// What a check is worth at a moment.
const (
	CheckNone    = "none"    // none is on record
	CheckFailed  = "failed"  // the newest did not pass
	CheckOverdue = "overdue" // the next one was due before
	CheckOpen    = "open"    // the newest passed, and says not when the next is due
	CheckValid   = "valid"   // the newest passed, and the next was not due yet
)

// instruments gathers what reads the stack's lines and the store's air.
func (r *Report) instruments(checks map[string][]Check) []Instrument {
	var out []Instrument
	add := func(place, channel string, last *proof.Proof) {
		c := r.Site.Channels[channel]
		x := Instrument{Place: place, Channel: channel, Unit: c.Unit, Range: c.Range, Resolution: c.Resolution, DetectionLimit: c.DetectionLimit, Accuracy: c.Accuracy}
		if last != nil {
			x.Proved, x.ProofHeld = last.At, last.OK
		}
		x.checks(checks[channel], r.Stack.Started, r.end())
		out = append(out, x)
	}
	for _, l := range r.Lines {
		add(l.Name, l.Channel, l.View.Proved)
	}
	for _, p := range r.Air {
		add(p.Name, p.Channel, nil)
	}
	return out
}

// checks keeps the checks that tell of an exposure, and what they were worth.
func (x *Instrument) checks(all []Check, started, end logbook.Time) {
	all = slices.Clone(all)
	slices.SortStableFunc(all, func(a, b Check) int { return cmp.Compare(a.At, b.At) })
	before := map[string]Check{}
	for _, c := range all {
		if c.At <= started {
			before[c.What] = c
		}
	}
	for _, c := range all {
		if c.At > started && c.At <= end || before[c.What] == c {
			x.Checks = append(x.Checks, c)
		}
	}
	for _, what := range []string{logbook.CheckZero, logbook.CheckBump, logbook.CheckCalibration} {
		s := CheckState{What: what}
		s.AtStart, _ = worth(x.Checks, what, started)
		s.AtEnd, s.Newest = worth(x.Checks, what, end)
		x.States = append(x.States, s)
	}
}

// worth is what the newest check of a sort is worth at a moment, and when it was; one of an
// instrument that was taken out since says nothing of the one that was put in.
func worth(checks []Check, what string, at logbook.Time) (state string, newest logbook.Time) {
	state = CheckNone
	for _, c := range checks {
		if c.At > at {
			break // they are in order of time
		}
		if c.What == Swapped {
			state, newest = CheckNone, 0
		}
		if c.What != what {
			continue
		}
		switch newest = c.At; {
		case !c.Passed:
			state = CheckFailed
		case c.Due == 0:
			state = CheckOpen
		case at > c.Due:
			state = CheckOverdue
		default:
			state = CheckValid
		}
	}
	return state, newest
}

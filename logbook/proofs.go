package logbook

import (
	"errors"
	"fmt"
)

// AlarmAcknowledged: a person has seen an alarm and takes charge of it. It names
// the alarm by the words of its record.
type AlarmAcknowledged struct {
	Header
	Alarm   string `json:"alarm"`
	Store   string `json:"store,omitempty"`
	Stack   string `json:"stack,omitempty"`
	Line    string `json:"line,omitempty"`
	Point   string `json:"point,omitempty"`
	Channel string `json:"channel,omitempty"`
	Owed    string `json:"owed,omitempty"` // of follow-up-due: what Alarm.Which returns
	Act
}

// Place implements Acting.
func (a *AlarmAcknowledged) Place() (store, stack string) { return a.Store, a.Stack }

// Validate implements Entry.
func (a *AlarmAcknowledged) Validate() error { return need("alarm", a.Alarm, "by", a.By) }

// Ways of testing a line from its far end.
const (
	EndTestSpan   = "span gas"   // gas of a known concentration is let in at the end of the line
	EndTestBreath = "breath-out" // breath is blown in at the end; a carbon dioxide or humidity channel, or the pump's flow, shows it
)

// LineProved: a sampling line, or the line of an air point, was proved before
// dosing. What was found is stated; rules judge it.
type LineProved struct {
	Header
	Stack   string   `json:"stack,omitempty"`
	Line    string   `json:"line,omitempty"`
	Store   string   `json:"store,omitempty"`
	Point   string   `json:"point,omitempty"`
	Zero    *float64 `json:"zero,omitempty"`    // read in clean air, in Unit; nil: not tested
	Flow    *float64 `json:"flow,omitempty"`    // L/min at the end of the line; nil: not tested
	EndTest string   `json:"end_test"`          // span gas or breath-out
	Span    float64  `json:"span,omitempty"`    // concentration of the span gas, in Unit
	Read    float64  `json:"read,omitempty"`    // what the channel showed of it, in Unit
	Unit    string   `json:"unit,omitempty"`    // of Zero, Span and Read
	Seen    bool     `json:"seen"`              // this channel, and no other, answered to the test at the end
	Lag     Duration `json:"lag,omitempty"`     // from letting in to the answer
	Channel string   `json:"channel,omitempty"` // that answered
	Act
}

// Place implements Acting.
func (l *LineProved) Place() (store, stack string) { return l.Store, l.Stack }

// Validate implements Entry.
func (l *LineProved) Validate() error {
	onLine, inAir := l.Stack != "" && l.Line != "", l.Store != "" && l.Point != ""
	if onLine == inAir {
		return errors.New("a proof names either \"stack\" and \"line\" or \"store\" and \"point\"")
	}
	switch l.EndTest {
	case EndTestBreath:
	case EndTestSpan:
		if err := errors.Join(need("unit", l.Unit), positive("span", l.Span)); err != nil {
			return err
		}
	default:
		return fmt.Errorf("the field \"end_test\" is %q: want %q or %q", l.EndTest, EndTestSpan, EndTestBreath)
	}
	if (l.Zero != nil) && l.Unit == "" {
		return errors.New("the field \"unit\" is missing")
	}
	if l.Flow != nil {
		if err := notNegative("flow", *l.Flow); err != nil {
			return err
		}
	}
	return notNegative("read", l.Read, "lag", l.Lag.Std().Seconds())
}

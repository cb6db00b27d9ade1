package rules

import (
	"time"

	"undersheet/logbook"
	"undersheet/rules/efficacy"
	"undersheet/rules/exposure"
	"undersheet/rules/gas"
	"undersheet/rules/instrument"
	"undersheet/rules/ledger"
	"undersheet/rules/people"
	"undersheet/rules/proof"
)

// View is a copy of the state for those who show it. It shares nothing with the
// State it was made from.
type View struct {
	Config    *logbook.Site // as last configured; not to be changed; nil before
	Site      string
	Now       logbook.Time
	Seq       uint64 // last entry folded
	Stores    []StoreView
	Mains     []ContactView // 1 = power is there; in the site's order
	Pumps     []PumpView    // in the site's order
	Wind      *WindView     // nil: the site reads no wind
	Channels  []ChannelView // sorted by name
	Alarms    []AlarmView   // raised, oldest first
	Findings  []logbook.Finding
	Stock     []ledger.FormStock // product in stock, by form
	FollowUps []FollowUpView     // by when they are due; what waits for something comes last
}

// Store returns the store of a name, nil where there is none.
func (v *View) Store(name string) *StoreView {
	for i := range v.Stores {
		if v.Stores[i].Name == name {
			return &v.Stores[i]
		}
	}
	return nil
}

// Stack returns the stack of a name with its store, nil where there is none.
func (v *View) Stack(name string) (*StoreView, *StackView) {
	for i := range v.Stores {
		s := &v.Stores[i]
		for j := range s.Stacks {
			if s.Stacks[j].Name == name {
				return s, &s.Stacks[j]
			}
		}
	}
	return nil, nil
}

// StoreView is one building.
type StoreView struct {
	Name       string
	Gate       logbook.Gate // as last decided; its Time is when it last changed
	Air        []AirView
	Doors      []ContactView // on = open
	Water      []ContactView // on = wet
	Stacks     []StackView
	People     []people.Day  // who was in by masked entry in the last 24 hours
	Inside     string        // who is in by masked entry; empty = nobody
	Masked     people.Inside // the same, one by one, with since when
	Protection ProtectionView
	AiringH    float64 // hours of airing that count for the gate so far
	AirTWA8h   float64 // worst inside or door point, ppm over 8 h
	Air15min   float64 // worst, ppm over 15 min
}

// ProtectionView is the least breathing protection that the air inside a store asks
// for as it is read now. It is no word that anybody may go in.
type ProtectionView struct {
	exposure.Step
	Known    bool         // false: the air is not known, and the step is the highest
	UpperPPM float64      // what the worst point may hold: reading × (1 + accuracy) + zero error
	Point    string       // that point, or the one for which the air is not known; empty: no point reads the air inside
	At       logbook.Time // of its reading
}

// AirView is one air point.
type AirView struct {
	Name, Where, Channel string
	Last                 Sample
	TWA8h, Mean15min     float64      // ppm
	Read8h               float64      // hours of the 8 that readings cover; the others add nothing to TWA8h
	Proved               *proof.Proof // newest proof of its line; nil = none on record
}

// ContactView is a door contact, a water sensor or a relay on the mains.
type ContactView struct {
	Name, Channel string
	Known         bool         // it was read at least once; On stays as last read when nobody reads it any more, see Last.State
	On            bool         // open, wet, power there
	Since         logbook.Time // since when it is so
	Last          Sample
}

// States of a pump.
const (
	PumpRuns       = "running"
	PumpOff        = "off"
	PumpNotKnown   = "not-known"   // its own channel says nothing, or nothing to be trusted
	PumpNotWatched = "not-watched" // it has no channel
)

// PumpView is a sampling pump.
type PumpView struct {
	Name, Channel, Returns string
	State                  string       // running, off, not-known or not-watched
	Since                  logbook.Time // since when it runs or is off; 0 = not known
	Flow                   float64      // L/min that it draws when it runs, by the site file
	Least                  float64      // L/min under which it counts as off
	Draws                  []string     // channels; not to be changed
	Last                   Sample       // of its own channel
}

// WindView is the wind of the site.
type WindView struct {
	Speed     Sample // m/s; State none where it is not read
	Direction Sample // degrees from north from which it blows
}

// Sample is the newest reading of a channel, as judged.
type Sample struct {
	At    logbook.Time // 0 = none yet
	PPM   float64      // ppm for gas; else the value in Unit
	Raw   float64      // as it was sent
	Unit  string       // of Raw
	State string       // ok, below-detection, over-range, fault, stuck, silent, future, late, retained, none
}

// StackView is one stack and its current or last treatment.
type StackView struct {
	Name, Store  string
	Treatment    string // empty = none yet, or dosing
	Phase        string // empty = not under treatment
	Verdict      string
	Protocol     string
	Commodity    string
	Started      logbook.Time  // t = 0
	Skipped      time.Duration // what a clock that was set ahead skipped of the exposure
	ShortestEnd  logbook.Time  // when the shortest exposure has passed
	PlannedEnd   logbook.Time
	AiringSince  logbook.Time
	EndLevelPPM  float64
	PhosphineG   float64
	GrainTempC   float64
	Lines        []LineView
	Product      []ledger.FormAccount // under the sheet, by form
	Lowest       *logbook.Forecast    // of the lowest line
	Fit          *FitView
	Leak         LeakView
	Efficacy     *efficacy.Exposure // how even the gas was, and how long it stood; nil before t = 0
	Outlook      *logbook.Outlook   // what can still be done for the end level; nil = not known, or the exposure is over
	LowHighRatio float64            // lowest line / highest line now; 0 = not known
	Events       []EventView
	NotToIssue   bool         // grain of the stack is held back
	IssueFrom    logbook.Time // until then; 0 = not known yet
}

// LineView is one sampling line.
type LineView struct {
	Name, Channel string
	Last          Sample
	Proved        *proof.Proof // newest proof; nil = none on record
	CTPPPMh       float64      // ppm·h since t = 0
	CTPGhM3       float64      // g·h/m³ at the grain's temperature
	GapHours      float64      // hours of exposure that no reading covers
	Forecast      *logbook.Forecast
	CTPByEnd      float64 // ppm·h expected from t = 0 to the planned end; 0 = not known
	EndLevels     []logbook.EndLevel
	Curve         []gas.CurvePoint // fitted median and 90 % fan, evenly spaced from t = 0 to the planned end
}

// FitView is what the fit says of a stack.
type FitView struct {
	YieldPPM, YieldSE     float64
	ReleasePerDay, ReleSE float64
	LossPerDay, LossSE    float64 // all of it
	SamplingPerDay        float64 // what of it the sampling pump takes, as the site file has it
	HalfLifeHours         float64
}

// LeakView is the sequential test's statistic against its threshold.
type LeakView struct {
	Statistic, Threshold float64
	Live                 bool
	Trail                []gas.Mark  // every half hour, oldest first
	Found                []gas.Found // oldest first
}

// AlarmView is one raised alarm.
type AlarmView struct {
	Alarm        logbook.Alarm // Also: what it speaks for by now
	Since        logbook.Time
	Acknowledged logbook.Time // when a person took charge of it; 0 = nobody did
	By           string       // who
}

// EventView is something that happened to a stack, for the curve's margin.
type EventView struct {
	At   logbook.Time
	Kind string // kind of act or alarm
	Text string // name of person, line or code
}

// ChannelView is one channel and what is known of its health.
type ChannelView struct {
	Name, Instrument, Feeds string // Feeds: "B north top" or "Store 2 west gate"; empty = nothing, or what has no name
	Signal                  string // what it shows where it is no gas: door, water, mains, pump, wind, wind direction or grain temperature
	Last                    Sample
	UsualSeconds            float64                // usual interval between readings
	Checks                  []instrument.KindCheck // newest zero, bump test and calibration
	Owes                    string                 // code of the check that it owes before it counts for a gate; empty = none
}

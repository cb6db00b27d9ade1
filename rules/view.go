package rules

import "undersheet/logbook"

// View is a copy of the state for those who show it. It shares nothing with the
// State it was made from.
type View struct {
	Config   *logbook.Site // as last configured; not to be changed; nil before
	Site     string
	Timezone string
	Now      logbook.Time
	Seq      uint64 // last entry folded
	Stores   []StoreView
	Channels []ChannelView // sorted by name
	Alarms   []AlarmView   // raised, oldest first
	Findings []logbook.Finding
}

// StoreView is one building.
type StoreView struct {
	Name     string
	Gate     logbook.Gate // as last decided; its Time is when it last changed
	Air      []AirView
	Stacks   []StackView
	Inside   string // who is in by masked entry; empty = nobody
	AiringH  float64
	AirTWA8h float64 // worst inside or door point, ppm over 8 h
	Air15min float64 // worst, ppm over 15 min
}

// AirView is one air point.
type AirView struct {
	Name, Where, Channel string
	Last                 Sample
	TWA8h, Mean15min     float64 // ppm
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
	Started      logbook.Time // t = 0
	PlannedEnd   logbook.Time
	AiringSince  logbook.Time
	EndLevelPPM  float64
	PhosphineG   float64
	GrainTempC   float64
	Lines        []LineView
	Lowest       *logbook.Forecast // of the lowest line
	Fit          *FitView
	Leak         LeakView
	LowHighRatio float64 // lowest line / highest line now; 0 = not known
	Events       []EventView
}

// LineView is one sampling line.
type LineView struct {
	Name, Channel string
	Last          Sample
	CTPPPMh       float64 // ppm·h since t = 0
	CTPGhM3       float64 // g·h/m³ at the grain's temperature
	GapHours      float64 // hours of exposure that no reading covers
	Forecast      *logbook.Forecast
	EndLevels     []logbook.EndLevel
	Curve         []CurvePoint // fitted median and 90 % fan, hourly from t = 0 to the planned end
}

// CurvePoint is one hour of the fit or forecast of a line.
type CurvePoint struct {
	Hours         float64
	P05, P50, P95 float64 // ppm
}

// FitView is what the fit says of a stack.
type FitView struct {
	YieldPPM, YieldSE     float64
	ReleasePerDay, ReleSE float64
	LossPerDay, LossSE    float64
	HalfLifeHours         float64
}

// LeakView is the sequential test's statistic against its threshold.
type LeakView struct {
	Statistic, Threshold float64
	Live                 bool
}

// AlarmView is one raised alarm.
type AlarmView struct {
	Alarm logbook.Alarm
	Since logbook.Time
}

// EventView is something that happened to a stack, for the curve's margin.
type EventView struct {
	At   logbook.Time
	Kind string // kind of act or alarm
	Text string // name of person, line or code
}

// ChannelView is one channel and what is known of its health.
type ChannelView struct {
	Name, Instrument, Feeds string // Feeds: "B north top" or "Store 2 door"; empty = nothing
	Last                    Sample
	UsualSeconds            float64 // usual interval between readings
}

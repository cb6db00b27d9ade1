package report

import (
	"encoding/json"

	"undersheet/logbook"
	"undersheet/rules"
	"undersheet/rules/efficacy"
	"undersheet/rules/treatment"
)

// Schema names the JSON form of a [Report]. It changes when a field changes its
// meaning or goes; fields may come without a change.
const Schema = "undersheet-report/1"

// Source says which log a report was made of, and by which program.
type Source struct {
	LogID    string `json:"log_id,omitempty"`    // empty for entries from a file
	FirstSeq uint64 `json:"first_seq,omitempty"` // range of the log that tells of the treatment; 0 for a file
	LastSeq  uint64 `json:"last_seq,omitempty"`
	Head     string `json:"hash,omitempty"` // of the block of the log that holds LastSeq, hexadecimal
	Program  string `json:"program"`        // version that wrote the report
}

// Report is everything that is written of one treatment. It is also its own JSON form
// ([Report.WriteJSON]): units stand in the names, times are RFC 3339 in UTC, shares are
// fractions of 1. What was not recorded is left out, or null where a figure would stand.
type Report struct {
	Schema      string                   `json:"schema"`
	Source      `json:"source"`          //
	Stated      string                   `json:"statement"` // see Statement; filled in when the JSON form is written
	Made        logbook.Time             `json:"as_of"`     // the moment that the report tells up to, by the log
	Place       Place                    `json:"place"`
	Site        logbook.Site             `json:"-"`
	Stack       rules.StackView          `json:"-"` // phase and verdict as they were recorded
	Course      Course                   `json:"treatment"`
	Given       logbook.TreatmentStarted `json:"given"` // what was entered at t = 0
	Dose        Dose                     `json:"dose"`
	Dosed       logbook.Time             `json:"-"` // when dosing started; 0 = not recorded
	Aired       Aired                    `json:"-"`
	Loss        *Loss                    `json:"loss,omitempty"` // of the stack, by the fit
	Lines       []Line                   `json:"lines"`
	Days        []Distribution           `json:"distribution"`
	Success     Success                  `json:"success"`
	Instruments []Instrument             `json:"instruments"`
	Leaks       []Leak                   `json:"leaks"`
	Air         []AirPoint               `json:"air"`
	Limit       Limit                    `json:"re_entry_limit"`
	LimitSets   []LimitSet               `json:"occupational_limits"` // that held meanwhile, in order
	Exposed     []Exposed                `json:"people_exposed"`
	Acts        []Act                    `json:"acts"` // in the order in which they happened
	Hands       []HandPair               `json:"hand_readings"`
	Forecasts   []Forecast               `json:"forecasts"`
	Product     []Product                `json:"product"`
	People      []Person                 `json:"people"`
	Photos      []Photo                  `json:"photos"`
	FollowUps   []logbook.FollowUp       `json:"follow_ups"` // what is owed after it, each as last recorded
	Records     `json:"records"`
	ended       bool // withholding has ended; what is said of it later may still come
}

// Place is where the stack stands.
type Place struct {
	Site     string `json:"site"`
	Timezone string `json:"timezone"` // IANA name, of the times on paper
	Store    string `json:"store"`
	Stack    string `json:"stack"`
	Outdoors bool   `json:"outdoors"` // on a plinth in the open
}

// Course is the treatment in short.
type Course struct {
	Name          string       `json:"name"`
	Phase         string       `json:"phase"`
	Verdict       string       `json:"verdict"`
	Protocol      string       `json:"protocol"`
	EndLevelPPM   float64      `json:"end_level_ppm"`
	DosingStarted logbook.Time `json:"dosing_started,omitzero"`
	Started       logbook.Time `json:"t0"`
	ShortestEnd   logbook.Time `json:"shortest_end"` // when the protocol's shortest exposure had passed
	ShortestHours float64      `json:"shortest_h"`   // that the protocol asks for
	PlannedEnd    logbook.Time `json:"planned_end"`
	AiringStarted logbook.Time `json:"airing_started,omitzero"`
	ExposureHours float64      `json:"exposure_h"`         // from t = 0 to airing, or to as_of, without skipped_h
	SkippedHours  float64      `json:"skipped_h,omitzero"` // over which the clock was set ahead then: nobody lived through them
	Cleared       logbook.Time `json:"store_cleared,omitzero"`
	SecondFrom    logbook.Time `json:"second_treatment_from,omitzero"`
	SecondUntil   logbook.Time `json:"second_treatment_until,omitzero"`
	GrainTempC    float64      `json:"grain_temp_c"`        // g·h/m³ are of gas at it
	Measured      bool         `json:"grain_temp_measured"` // under the sheet in exposure, else entered
}

// Dose is the phosphine that was laid.
type Dose struct {
	PhosphineG float64  `json:"phosphine_g"` // g of phosphine that it gives off, at t = 0
	AddedG     float64  `json:"added_g"`     // later
	GasSpaceM3 float64  `json:"gas_space_m3"`
	GPerTonne  *float64 `json:"g_per_t"`       // of PhosphineG; null: the weight is not known
	GPerVolume *float64 `json:"g_per_m3"`      // of the volume under the sheet
	GPerGas    *float64 `json:"g_per_m3_gas"`  // of the gas space
	FullPPM    *float64 `json:"full_dose_ppm"` // what all of it would give in the gas space without loss
}

// Records are the records that a report quotes, in the order of the log.
type Records struct {
	Alarms   []logbook.Alarm   `json:"alarms"` // those first that stood when the treatment began
	Gates    []logbook.Gate    `json:"gates"`  // the first is where the gate stood when the treatment began
	Phases   []logbook.Phase   `json:"phases"`
	Findings []logbook.Finding `json:"findings"`
	Refused  []logbook.Refused `json:"refused"`
	Programs []string          `json:"programs"` // versions of the program that made them
}

// Success is how even the gas was and how long it stood, beside what is published.
type Success struct {
	Held      *efficacy.Exposure  `json:"-"`        // as folded; nil when it never had its t = 0
	Criteria  []logbook.Criterion `json:"criteria"` // as last recorded, else as folded
	Shortest  []efficacy.Shortest `json:"-"`
	Published []efficacy.Against  `json:"-"`
}

// Aired is the end of the exposure and what was owed after it.
type Aired struct {
	First       logbook.Time     // when airing first started; 0 = not yet
	Cleared     logbook.Time     // first clearance of the store after that; 0 = none
	SecondFrom  logbook.Time     // when the second treatment of a pair is due; 0 = none
	SecondUntil logbook.Time     // and until when it is to begin
	Extra       []treatment.Dose // phosphine added on the way
	TempC       float64          // grain temperature that g·h/m³ is of, °C
	Measured    bool             // TempC was measured under the sheet, else entered
}

// Line is one sampling line of the stack.
type Line struct {
	Key        string             `json:"-"` // its letter in the chart
	Name       string             `json:"name"`
	Channel    string             `json:"channel"`
	LengthM    float64            `json:"length_m,omitempty"` // of its tube, as the site file has it at the end; 0 = not said
	EndLevels  []logbook.EndLevel `json:"end_levels"`         // as they were recorded
	CTP        CTP                `json:"ctp"`
	AboveHours float64            `json:"at_or_above_end_level_h"`
	Loss       *Loss              `json:"loss"`               // up to the first leak or added dose; null: see LossWhy
	LossWhy    string             `json:"loss_why,omitempty"` // code of why it cannot be told
	Days       []Day              `json:"days"`
	Hours      []Hour             `json:"hours"`
	View       rules.LineView     `json:"-"`
	samples    []sample
	exposed    []sample // those from t = 0 to airing in which it drew the stack's gas
	means      []mean
}

// CTP is the concentration-time product of a line from t = 0 to the start of airing
// (or to the end of the report), summed over every reading that counts, in order of
// time.
type CTP struct {
	PPMh     float64 `json:"ppm_h"`
	GhM3     float64 `json:"g_h_per_m3"`    // at Course.GrainTempC
	GapHours float64 `json:"not_covered_h"` // hours that no reading covers, those of Gaps among them
	Gaps     []Gap   `json:"gaps"`          // stretches too long to bridge, the first and the last of the exposure included
}

// Gap is a stretch of exposure that no reading covers.
type Gap struct {
	From logbook.Time `json:"from"`
	To   logbook.Time `json:"to"`
}

// Day is one day of exposure on one line, counted from t = 0: day 1 is hours 0 to
// 24, a reading on the border belongs to the day that ends.
type Day struct {
	Number   int     `json:"day"` // from 1
	Lowest   float64 `json:"lowest_ppm"`
	Mean     float64 `json:"mean_ppm"`
	Highest  float64 `json:"highest_ppm"`
	Readings int     `json:"readings"`
	Over     bool    `json:"over_range,omitempty"` // Highest is the top of the instrument's range: at least that much
}

// Hour is one hour of the clock on one line or air point.
type Hour struct {
	At       logbook.Time `json:"from"` // its start
	Lowest   float64      `json:"lowest_ppm"`
	Mean     float64      `json:"mean_ppm"`
	Highest  float64      `json:"highest_ppm"`
	Readings int          `json:"readings"`
}

// Distribution is the lowest line against the highest on one day, by their means.
type Distribution struct {
	Number  int     `json:"day"`
	Lowest  float64 `json:"lowest_ppm"`
	Highest float64 `json:"highest_ppm"`
	Ratio   float64 `json:"ratio"`
}

// AirPoint is one air point of the store, from dosing until the treatment was over.
type AirPoint struct {
	Key          string       `json:"-"` // its letter in the chart
	Name         string       `json:"name"`
	Where        string       `json:"where"`
	Channel      string       `json:"channel"`
	OwnLimit     float64      `json:"own_limit_ppm,omitempty"` // of a dwelling, by the site file
	Readings     int          `json:"readings"`
	Highest      float64      `json:"highest_ppm"`
	HighestAt    logbook.Time `json:"highest_at,omitzero"`
	Over         bool         `json:"over_range,omitempty"` // Highest is the top of the instrument's range
	HighestTWA8h float64      `json:"highest_twa_8h_ppm"`
	TWAAt        logbook.Time `json:"highest_twa_8h_at,omitzero"` // end of its 8 hours
	TWACovered   float64      `json:"highest_twa_8h_read_h"`      // hours of the 8 that readings cover
	Highest15min float64      `json:"highest_mean_15min_ppm"`
	Against      []Against    `json:"against"` // each occupational limit that held, in order
	Hours        []Hour       `json:"hours"`
	Airing       []Reading    `json:"-"` // from the first airing to clearance
	samples      []sample
}

// Reading is one reading in the report's unit.
type Reading struct {
	At  logbook.Time `json:"at"`
	PPM float64      `json:"ppm"`
}

// Limit is the re-entry limit that held at the end, and where it came from.
type Limit struct {
	PPM float64 `json:"ppm"`
	Of  string  `json:"of"`
}

// Act is what a person did.
type Act struct {
	At       logbook.Time    `json:"at"`
	Kind     logbook.Kind    `json:"kind"`
	By       string          `json:"by"`
	Identity string          `json:"identity"` // "not verified", "not stated", or how it was known
	Note     string          `json:"note,omitempty"`
	Refused  string          `json:"refused,omitempty"` // code of why it took no effect; empty = it did
	Entry    json.RawMessage `json:"entry"`             // as the log holds it, a photo without its picture
	Before   json.RawMessage `json:"before,omitempty"`  // of a correction: the act as it was entered first
	before   logbook.Acting
	entry    logbook.Acting
	refusal  *logbook.Refused
	of       uint64 // by which its verdict is known
}

// HandPair is a hand reading beside what the fixed instrument of the same line or
// air point read nearest to that time.
type HandPair struct {
	At          logbook.Time `json:"at"`
	Place       string       `json:"place"`                 // stack, or stack and line, or store and point
	Bags        bool         `json:"inside_bags,omitempty"` // of the stack
	By          string       `json:"by"`
	Method      string       `json:"method"`
	Serial      string       `json:"instrument,omitempty"` // of the meter, or batch of the tubes
	PPM         float64      `json:"ppm"`
	DetectedPPM *float64     `json:"detection_limit_ppm"` // null: not stated
	Instrument  bool         `json:"fixed_there"`         // the place has a fixed instrument
	Fixed       *Reading     `json:"fixed"`               // null = none within an hour
}

// Product is one form of product under the sheet, in pieces.
type Product struct {
	Form     string `json:"form"`
	Placed   int    `json:"placed"`
	Taken    int    `json:"taken_out"`
	Live     int    `json:"not_shown_spent"` // of those taken out
	Disposed int    `json:"disposed"`
}

// Photo is a picture that the log holds.
type Photo struct {
	At     logbook.Time `json:"at"`
	By     string       `json:"by"`
	Name   string       `json:"name"`
	Media  string       `json:"media"`
	SHA256 string       `json:"sha256"`
	Bytes  int          `json:"bytes"`
	Of     uint64       `json:"of_seq,omitempty"` // entry that it belongs to
}

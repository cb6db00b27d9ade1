// Package reading judges one reading after another of one channel: its unit,
// range and detection limit, whether the instrument trusts it, whether it is
// stuck, late, from the future or a second value for the same moment, and when
// the channel has fallen silent.
//
// The first call is [History.Judge]. A judgement never throws a reading away: it
// says what the reading may count for. The package refuses to guess a unit: a
// reading whose unit does not fit its channel counts for nothing and says so. Now, by
// which readings are judged, is moved on by [NowAfter].
package reading

import (
	"math"
	"time"

	"undersheet/logbook"
	"undersheet/rules/dose"
)

// What a reading is thought to be.
const (
	OK             = "ok"
	BelowDetection = "below-detection" // at or under the detection limit: counts as no gas found, never as proof of zero
	OverRange      = "over-range"      // at or above the top of the range: at least that much
	Fault          = "fault"           // the instrument says so
	BelowZero      = "below-zero"      // under −zero_error: some gases push electrochemical cells down
	Stuck          = "stuck"           // the same digits for too long
	Future         = "future"          // more than 5 min ahead of now
	Late           = "late"            // more than 2 h behind its channel's newest
	SecondValue    = "second-value"    // another value for the same moment: the first is used
	Duplicate      = "duplicate"       // the same value for the same moment: delivered again
	Retained       = "retained"        // a broker's stored value without a time
	UnitMismatch   = "unit-mismatch"   // a unit that the channel cannot have
	Silent         = "silent"          // nothing came for too long
	None           = "none"            // nothing came yet
)

// Bounds on times of readings.
const (
	FutureAhead = 5 * time.Minute
	LateBehind  = 2 * time.Hour
	MinGap      = 10 * time.Minute // a point is live across gaps up to this or three usual intervals; a reading that comes later than this is back-filled
)

// Bounds of what can be: a mole fraction ends at 1,000,000 ppm.
const (
	mostPPM   = 1e6
	widestGap = 30 * 24 * time.Hour // between readings, as remembered
)

// Judged is a reading with what it may count for. Concentrations are ppm by
// volume; other quantities stay in the channel's unit.
type Judged struct {
	At      logbook.Time
	Value   float64 // ppm, or the channel's unit; the top of the range when over it
	Upper   float64 // value × (1 + accuracy) + zero error: what it may truly be at most
	Raw     float64
	RawUnit string
	State   string
	Counts  bool // for the record, CTP and the report
	Fits    bool // for the fit and the leak test
	Live    bool // for the gate: shows that the point is being read now
	Against bool // may count against the gate
}

// History is what is remembered of a channel.
type History struct {
	Last     Judged       // newest reading that came in order of time; while there is none, the newest of any
	Newest   logbook.Time // time of the newest reading that came in order of time
	Gaps     []int64      // last intervals between readings, µs
	Recent   []Moment     // last readings, to know a second value for the same time
	RunSince logbook.Time // since when the raw value has not changed
	RunValue float64
	RunCount int
}

// Moment is when a channel read what, in ppm for gas.
type Moment struct {
	At    logbook.Time
	Value float64
}

const (
	keepGaps   = 9
	keepRecent = 64
)

// An instrument counts as stuck when it gave the same digits in every reading for at least this
// long and this often. That is evidence only at values whose usual scatter is as large as a
// digit; smaller values may well stay the same. Only gas is judged so: a door stays shut, grain
// keeps its temperature, and a vane stands still in a calm, while their instruments are sound.
// From memory.
const (
	stuckFor   = 3 * time.Hour
	stuckCount = 12
)

// Judge judges r of channel ch at the given now and remembers it.
func (h *History) Judge(ch logbook.Channel, r *logbook.Reading, now logbook.Time) Judged {
	alone := Alone(ch, r)
	if alone.State == UnitMismatch {
		return h.show(alone)
	}
	value, _ := inUnit(&ch, r.Value, r.Unit)
	j := Judged{At: r.Time, Raw: r.Value, RawUnit: r.Unit, Value: value, Upper: alone.Upper}
	if r.Retained && r.Stamped || r.Retained && r.Time == 0 {
		j.State = Retained
		return h.show(j)
	}
	if r.Time > now.Add(FutureAhead) {
		j.State = Future
		return h.show(j)
	}
	if first, ok := h.seen(r.Time); ok {
		if j.State = Duplicate; first != value || r.Fault != "" {
			j.State, j.Against = SecondValue, true
		}
		return j
	}
	h.Recent = push(h.Recent, Moment{r.Time, value}, keepRecent)
	j = alone
	if r.Time < h.Newest.Add(-LateBehind) {
		j.State = Late
		return j
	}
	if r.Time < h.Newest {
		return j // older than the newest: it counts, but does not show how things stand now
	}
	j.Live = j.Fits && !r.Retained && r.Time >= now.Add(-MinGap)
	h.advance(&ch, r, &j)
	return j
}

// Alone judges what r says by itself, whatever its time and whatever came before it.
func Alone(ch logbook.Channel, r *logbook.Reading) Judged {
	j := Judged{At: r.Time, Raw: r.Value, RawUnit: r.Unit}
	value, ok := inUnit(&ch, r.Value, r.Unit)
	if !ok {
		j.State = UnitMismatch
		return j
	}
	j.Value, j.Upper, j.State = value, upper(&ch, value), state(&ch, r, value)
	if top := rangeTop(&ch); j.State == OverRange {
		j.Value = math.Min(value, top) // at least that much
	}
	j.Fits = j.State == OK || j.State == BelowDetection || j.State == OverRange
	j.Counts = j.Fits
	j.Against = j.State != Fault && j.State != BelowZero
	return j
}

// advance makes j the newest reading and looks for a stuck instrument.
func (h *History) advance(ch *logbook.Channel, r *logbook.Reading, j *Judged) {
	if h.Newest != 0 && r.Time > h.Newest {
		h.Gaps = push(h.Gaps, min(int64(r.Time-h.Newest), widestGap.Microseconds()), keepGaps)
	}
	h.Newest = r.Time
	if h.RunCount == 0 || r.Value != h.RunValue {
		h.RunSince, h.RunValue, h.RunCount = r.Time, r.Value, 0
	}
	h.RunCount++
	scatter := j.Value * fraction(ch.Accuracy)
	digit, _ := inUnit(ch, ch.Resolution, ch.Unit)
	if j.State == OK && isGas(ch) && h.RunCount >= stuckCount && r.Time.Sub(h.RunSince) >= stuckFor && digit > 0 && scatter >= digit {
		j.State, j.Fits, j.Live = Stuck, false, false
	}
	h.Last = *j
}

// show remembers a reading that does not count, for the pages, as long as none has counted.
func (h *History) show(j Judged) Judged {
	if h.Newest == 0 {
		h.Last = j
	}
	return j
}

// seen returns the first value that the channel had at t.
func (h *History) seen(t logbook.Time) (value float64, ok bool) {
	if t > h.Newest {
		return 0, false
	}
	for i := len(h.Recent) - 1; i >= 0; i-- {
		if h.Recent[i].At == t {
			return h.Recent[i].Value, true
		}
	}
	return 0, false
}

// Usual returns the usual interval between readings: the channel's own when its
// site file states one, else the median of the last ones, else 0.
func (h *History) Usual(ch logbook.Channel) time.Duration {
	if ch.Every > 0 {
		return ch.Every.Std()
	}
	if len(h.Gaps) < 3 {
		return 0
	}
	var sorted [keepGaps]int64
	g := sorted[:copy(sorted[:], h.Gaps)]
	for i := 1; i < len(g); i++ {
		for k := i; k > 0 && g[k] < g[k-1]; k-- {
			g[k], g[k-1] = g[k-1], g[k]
		}
	}
	return time.Duration(g[len(g)/2]) * time.Microsecond
}

// Bounds on what [History.Patience] learns from two of the last intervals, so that a line that
// falls silent again and again is not taken for one that is read seldom; and from the very
// first interval, which may lie between a test and the treatment.
const (
	longestPause = 2 * time.Hour
	firstPause   = 6 * time.Hour
)

// Patience returns how long a channel may be silent before people are told: three usual
// intervals, or, where readings come unevenly, twice the second longest of the last intervals,
// up to two hours. While fewer than three intervals are known it is three times the longest of
// them, up to six hours; 0 where none is known.
func (h *History) Patience(ch logbook.Channel) time.Duration {
	usual := 3 * h.Usual(ch)
	if ch.Every > 0 || len(h.Gaps) == 0 {
		return usual
	}
	longest, second := int64(0), int64(0)
	for _, g := range h.Gaps {
		if g > longest {
			longest, second = g, longest
		} else {
			second = max(second, g)
		}
	}
	if usual == 0 {
		return min(3*time.Duration(longest)*time.Microsecond, firstPause)
	}
	return max(usual, min(2*time.Duration(second)*time.Microsecond, longestPause))
}

// maxLearned bounds the usual interval that AllowedGap learns from readings, so that silences
// are not learned as usual. A site file may state a longer interval.
const maxLearned = 20 * time.Minute

// AllowedGap returns how long the channel may say nothing and still be live: 10
// minutes or three usual intervals, whichever is longer.
func (h *History) AllowedGap(ch logbook.Channel) time.Duration {
	usual := h.Usual(ch)
	if ch.Every == 0 {
		usual = min(usual, maxLearned)
	}
	return max(MinGap, 3*usual)
}

// LeastBridge is the least of what Bridge returns.
const LeastBridge = time.Hour

// Bridge returns the longest time between two readings of a line over which its
// concentration-time product is reckoned; a longer one is a gap.
func (h *History) Bridge(ch logbook.Channel) time.Duration {
	return max(LeastBridge, 3*h.Usual(ch))
}

// SilentFor returns how long nothing came, and whether that is too long.
func (h *History) SilentFor(ch logbook.Channel, now logbook.Time) (time.Duration, bool) {
	d := now.Sub(h.Newest)
	return d, h.Newest == 0 || d > h.AllowedGap(ch)
}

// state judges the value itself.
func state(ch *logbook.Channel, r *logbook.Reading, value float64) string {
	zero, _ := inUnit(ch, ch.Zero(), ch.Unit)
	limit, _ := inUnit(ch, ch.DetectionLimit, ch.Unit)
	switch {
	case r.Fault != "":
		return Fault
	case !isGas(ch):
		return OK
	case value < -zero:
		return BelowZero
	case value >= rangeTop(ch):
		return OverRange
	case value <= limit && limit > 0 || value <= 0:
		return BelowDetection
	}
	return OK
}

// rangeTop is the top of a gas channel's range in ppm; without one, all of the air.
func rangeTop(ch *logbook.Channel) float64 {
	if top, _ := inUnit(ch, ch.Range, ch.Unit); top > 0 && top < mostPPM {
		return top
	}
	return mostPPM
}

// IsGas reports whether the channel measures a concentration.
func IsGas(ch logbook.Channel) bool { return isGas(&ch) }

func isGas(ch *logbook.Channel) bool {
	return ch.Unit == logbook.PPM || ch.Unit == logbook.MgM3 || ch.Unit == logbook.GM3
}

// InChannelUnit brings a value to the unit of its channel; false when its unit does not fit. No
// unit means the channel's own. Mass and volume are converted at 25 °C and 101.325 kPa.
func InChannelUnit(ch logbook.Channel, value float64, unit string) (float64, bool) {
	if unit == "" || unit == ch.Unit {
		return value, true
	}
	if !IsGas(ch) {
		return 0, false
	}
	ppm, err := dose.PPM(value, unit, dose.StandardC, dose.StandardKPa)
	if err != nil {
		return 0, false
	}
	return ppm / PPM(ch, 1), true
}

// inUnit brings a value to ppm for a gas channel, else leaves it; false when the
// unit does not fit the channel. Conversion is at 25 °C and 101.325 kPa.
func inUnit(ch *logbook.Channel, value float64, unit string) (float64, bool) {
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return 0, false
	}
	if !isGas(ch) {
		return value, unit == ch.Unit
	}
	if unit == logbook.PPM {
		return value, true
	}
	ppm, err := dose.PPM(value, unit, dose.StandardC, dose.StandardKPa)
	return ppm, err == nil && !math.IsInf(ppm, 0)
}

// PPM returns a figure of a gas channel (range, detection limit, …) in ppm.
func PPM(ch logbook.Channel, figure float64) float64 {
	v, _ := inUnit(&ch, figure, ch.Unit)
	return v
}

func upper(ch *logbook.Channel, value float64) float64 {
	zero, _ := inUnit(ch, ch.Zero(), ch.Unit)
	return math.Max(-mostPPM, math.Min(value, mostPPM))*(1+fraction(ch.Accuracy)) + zero
}

// fraction guards an accuracy: negative or absurd ones count as 0.
func fraction(a float64) float64 {
	if a > 0 && a < 10 {
		return a
	}
	return 0
}

// push appends v and keeps the last n.
func push[T any](s []T, v T, n int) []T {
	return append(s[max(len(s)-n+1, 0):], v)
}

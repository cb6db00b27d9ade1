// Package instrument keeps what shows that the instrument of a channel reads true: its
// zeros, bump tests and calibrations, and what happened to it since.
//
// [Record.Owes] names the check that it owes before it counts for a gate. One of which
// no check is on record owes none, for a depot may keep its papers elsewhere; but one
// that was over its range, or was put in the place of another, does.
package instrument

import (
	"math"
	"slices"

	"undersheet/logbook"
	"undersheet/rules/dose"
	"undersheet/rules/gate"
)

// Check is how a zero, a bump test or a calibration of a channel ended.
type Check struct {
	At     logbook.Time
	By     string
	Passed bool
	Due    logbook.Time // the next one; 0 = not said
}

// Record is what is known of the instrument that reads a channel.
type Record struct {
	OverAt    logbook.Time     `json:",omitempty"` // last time over range since a check; 0 = not
	SwappedAt logbook.Time     `json:",omitempty"` // another instrument since then, without a check; 0 = not
	Checks    map[string]Check `json:",omitempty"` // the newest, by what was checked
}

// Over notes that a channel was over its range: its cell may read anything until a known
// gas has shown otherwise.
func (r *Record) Over(at logbook.Time) { r.OverAt = max(r.OverAt, at) }

// Swap notes that another instrument reads the channel from a time on.
func (r *Record) Swap(at logbook.Time) { r.SwappedAt = max(r.SwappedAt, at) }

// Take takes a check. The newest of its kind counts; one with a known gas that was passed
// also ends what was owed for being over range, or put in, before it.
func (r *Record) Take(kind string, c Check) {
	if r.Checks == nil {
		r.Checks = map[string]Check{}
	}
	if old, ok := r.Checks[kind]; !ok || old.At <= c.At {
		r.Checks[kind] = c
	}
	if !c.Passed || kind == logbook.CheckZero {
		return
	}
	if c.At >= r.OverAt {
		r.OverAt = 0
	}
	if c.At >= r.SwappedAt {
		r.SwappedAt = 0
	}
}

// kinds are the sorts of checks, in the order in which they are looked at and shown.
var kinds = []string{logbook.CheckZero, logbook.CheckBump, logbook.CheckCalibration}

// Owes is the code of what the instrument owes now before it counts for a gate; empty =
// nothing. next is when that may be otherwise, as time passes; 0 = never.
func (r *Record) Owes(now logbook.Time) (code string, next logbook.Time) {
	if r.SwappedAt != 0 {
		return gate.CheckAfterSwap, 0
	}
	if r.OverAt != 0 {
		return gate.CheckAfterOver, 0
	}
	for _, kind := range kinds {
		c, ok := r.Checks[kind]
		switch {
		case ok && !c.Passed:
			return gate.CheckFailed, next
		case ok && c.Due != 0 && now > c.Due:
			return gate.CheckOverdue, next
		case ok && c.Due != 0 && (next == 0 || c.Due+1 < next):
			next = c.Due + 1
		}
	}
	return "", next
}

// KindCheck is one sort of check with the newest of it.
type KindCheck struct {
	What string
	Check
}

// List copies the newest checks: zero, bump test, calibration.
func (r *Record) List() []KindCheck {
	var out []KindCheck
	for _, what := range kinds {
		if c, ok := r.Checks[what]; ok {
			out = append(out, KindCheck{what, c})
		}
	}
	return slices.Clip(out)
}

// Off is how far a check was off and how far it may be by the site's word, in ppm: the
// accuracy of the reading and the zero error. It is not known where units are of no gas, or
// the site states neither.
func Off(e *logbook.InstrumentChecked, site logbook.Channel) (off, allowed float64, known bool) {
	applied, errA := dose.PPM(e.Applied, e.Unit, dose.StandardC, dose.StandardKPa)
	read, errB := dose.PPM(e.Read, e.Unit, dose.StandardC, dose.StandardKPa)
	zero, errZ := dose.PPM(site.Zero(), site.Unit, dose.StandardC, dose.StandardKPa)
	if errA != nil || errB != nil || errZ != nil || site.Accuracy == 0 && zero == 0 {
		return 0, 0, false
	}
	return math.Abs(read - applied), applied*site.Accuracy + zero, true
}

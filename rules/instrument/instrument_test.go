package instrument_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"undersheet/logbook"
	"undersheet/rules/gate"
	"undersheet/rules/instrument"
)

var noon = logbook.At(time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC))

func day(n int) logbook.Time { return noon.Add(time.Duration(n) * 24 * time.Hour) }

// What an instrument owes, step by step: common practice.
func TestOwes(t *testing.T) {
	var r instrument.Record
	owes := func(at logbook.Time) string { code, _ := r.Owes(at); return code }
	assert.Empty(t, owes(day(0)), "a depot may keep its papers elsewhere")
	r.Over(day(1))
	assert.Equal(t, gate.CheckAfterOver, owes(day(1)))
	r.Take(logbook.CheckZero, instrument.Check{At: day(2), Passed: true})
	assert.Equal(t, gate.CheckAfterOver, owes(day(2)), "clean air is no known gas")
	r.Take(logbook.CheckBump, instrument.Check{At: day(0), Passed: true})
	assert.Equal(t, gate.CheckAfterOver, owes(day(2)), "that was before")
	r.Take(logbook.CheckBump, instrument.Check{At: day(2), Passed: true, Due: day(9)})
	code, next := r.Owes(day(2))
	assert.Equal(t, []any{"", day(9) + 1}, []any{code, next})
	r.Take(logbook.CheckCalibration, instrument.Check{At: day(3), Passed: true, Due: day(6)})
	_, next = r.Owes(day(3))
	assert.Equal(t, day(6)+1, next)
	assert.Equal(t, [2]string{"", gate.CheckOverdue}, [2]string{owes(day(6)), owes(next)})
	r.Swap(day(7))
	assert.Equal(t, gate.CheckAfterSwap, owes(day(7)))
	r.Take(logbook.CheckCalibration, instrument.Check{At: day(8), Due: day(99)})
	assert.Equal(t, gate.CheckAfterSwap, owes(day(8)), "it was not passed")
	r.Take(logbook.CheckBump, instrument.Check{At: day(8), Passed: true})
	assert.Equal(t, gate.CheckFailed, owes(day(8)))
	r.Take(logbook.CheckCalibration, instrument.Check{At: day(7), Passed: true})
	assert.Equal(t, gate.CheckFailed, owes(day(8)), "the newest counts")
	var whats []string
	for _, c := range r.List() {
		whats = append(whats, c.What)
	}
	assert.Equal(t, []string{logbook.CheckZero, logbook.CheckBump, logbook.CheckCalibration}, whats)
}

// By hand: 10 ppm applied and 9.2 read are 0.8 off; 5 % of 10 and a zero error of 0.1 are 0.6.
func TestOff(t *testing.T) {
	zero := 0.1
	ch := logbook.Channel{Unit: logbook.PPM, Accuracy: 0.05, ZeroError: &zero}
	e := &logbook.InstrumentChecked{Applied: 10, Read: 9.2, Unit: logbook.PPM}
	off, allowed, known := instrument.Off(e, ch)
	assert.True(t, known)
	assert.InDelta(t, 0.8, off, 1e-9)
	assert.InDelta(t, 0.6, allowed, 1e-9)
	e.Unit = logbook.RH
	_, _, known = instrument.Off(e, ch)
	assert.False(t, known)
}

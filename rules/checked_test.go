package rules

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"undersheet/logbook"
)

// against says which reasons stand against the barn.
func (d *day) against() map[string]bool {
	m := map[string]bool{}
	for _, r := range d.state.Stores["Long Barn"].Gate.Reasons {
		m[r.Code] = true
	}
	return m
}

func bump(read float64) *logbook.InstrumentChecked {
	return &logbook.InstrumentChecked{Channel: "inside", Check: logbook.CheckBump, Applied: 1, Read: read, Unit: logbook.PPM, Passed: true}
}

// An instrument that was over its range counts for no gate until it has answered to
// a known gas (common practice): a cell that was flooded may read low for hours.
func TestOverRangeOwesACheck(t *testing.T) {
	d := underGas(t)
	d.level["inside"] = flat(20) // the top of its range
	d.run(1)
	d.level["a1"], d.level["a2"] = flat(0), flat(0)
	d.air()
	d.run(1)
	d.level["inside"] = flat(0.02)
	d.run(4)
	assert.True(t, d.against()["check-after-over-range"])
	d.act(bump(0.5), logbook.KindInstrumentChecked, 0)
	d.run(0.2)
	assert.True(t, d.against()["check-after-over-range"], "0.5 of 1 ppm is further off than 10 %% and 0.03 ppm, whatever was signed")
	d.act(bump(0.95), logbook.KindInstrumentChecked, 0)
	d.run(0.2)
	r := d.against()
	assert.False(t, r["check-after-over-range"] || r["check-failed"], "%v", r)
}

func TestSwappedAndOverdue(t *testing.T) {
	d := aday(t)
	d.declare()
	d.run(3)
	assert.NotContains(t, d.against(), "check-after-swap")
	d.act(&logbook.InstrumentSwapped{Channel: "door", In: "44"}, logbook.KindInstrumentSwapped, 0)
	d.run(0.2)
	assert.True(t, d.against()["check-after-swap"])
	zero := &logbook.InstrumentChecked{Channel: "door", Check: logbook.CheckZero, Read: 0.01, Unit: logbook.PPM, Passed: true}
	d.act(zero, logbook.KindInstrumentChecked, 0)
	d.run(0.2)
	assert.True(t, d.against()["check-after-swap"], "clean air shows no answer to gas")
	c := bump(1)
	c.Channel, c.Due = "door", logbook.Expiry(d.now.Std().Format(time.DateOnly))
	d.act(c, logbook.KindInstrumentChecked, 0)
	midnight := d.now.Std().Truncate(24 * time.Hour).Add(24 * time.Hour)
	d.run(midnight.Sub(d.now.Std()).Hours() - 0.2)
	assert.False(t, d.against()["check-after-swap"])
	assert.False(t, d.against()["check-overdue"], "a date counts to the end of its day by the depot's clock")
	d.run(0.5)
	assert.True(t, d.against()["check-overdue"])
	d.act(&logbook.InstrumentChecked{Channel: "nobody's", Check: logbook.CheckZero, Unit: logbook.PPM}, logbook.KindInstrumentChecked, 0)
	assert.Contains(t, d.findings(), "unknown-channel")
}

// Gas next door shuts a store, whichever of the two the site file says it of, and
// takes its clearance.
func TestAdjoiningStores(t *testing.T) {
	for _, says := range []int{0, 1} {
		d := aday(t, func(s *logbook.Site) { s.Stores[says].Adjoins = []string{s.Stores[1-says].Name} })
		d.act(&logbook.NoGasDeclared{OnStore: logbook.OnStore{Store: "Brick Store"}}, logbook.KindNoGasDeclared, 0)
		d.run(1)
		gate := func() logbook.Gate { return d.state.Stores["Brick Store"].Gate }
		assert.Equal(t, logbook.GateCheckOwed, gate().State)
		d.act(&logbook.EntryConfirmed{OnStore: logbook.OnStore{Store: "Brick Store"}}, logbook.KindEntryConfirmed, 0)
		assert.Equal(t, logbook.GateCleared, gate().State)
		d.dose("five-day")
		d.run(0.2)
		assert.Equal(t, logbook.GateShut, gate().State)
		assert.Equal(t, "adjoining-under-gas", gate().Reasons[0].Code)
		assert.Nil(t, d.state.Stores["Brick Store"].Cleared)
	}
}

// A check that is dated ahead is in doubt: it lets no instrument count again. One that
// failed counts at once.
func TestCheckAheadOfNowOpensNothing(t *testing.T) {
	d := aday(t)
	d.declare()
	d.act(&logbook.InstrumentSwapped{Channel: "inside", In: "44"}, logbook.KindInstrumentSwapped, 0)
	d.run(3)
	d.act(bump(1), logbook.KindInstrumentChecked, -time.Hour)
	assert.Equal(t, "future-dated", of[*logbook.Refused](d.fresh())[0].Code)
	assert.True(t, d.against()["check-after-swap"])
	d.act(bump(1), logbook.KindInstrumentChecked, 0)
	assert.False(t, d.against()["check-after-swap"])
	bad := bump(1)
	bad.Passed = false
	d.act(bad, logbook.KindInstrumentChecked, -time.Hour)
	assert.True(t, d.against()["check-failed"])
}

package rules

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

// What the air held while somebody was inside is kept for them and for whoever stood
// at the door, and above the limit it is said.
func TestMaskedEntriesAddUp(t *testing.T) {
	d := underGas(t)
	d.level["inside"] = flat(4)
	d.run(1)
	enter := func() {
		d.act(&logbook.MaskedEntry{OnStore: inBarn(), In: "Ada", AtDoor: "Bo", Protection: "self-contained"}, logbook.KindMaskedEntry, 0)
		d.run(1.0 / 3)
		d.fresh()
		d.act(&logbook.MaskedExit{OnStore: inBarn(), Out: "Ada"}, logbook.KindMaskedExit, 0)
	}
	enter()
	assert.NotContains(t, d.findings(), "person-exposed", "20 min at 4.5 ppm are 0.19 over 8 hours")
	enter()
	f := d.findings()["person-exposed"]
	assert.Equal(t, "Ada", f.About)
	assert.InDelta(t, 2.0/3*(4+4.0/300)*1.1/8, float64(f.Value), 0.02)
	v := d.state.View().Stores[0].People
	require.Len(t, v, 2)
	assert.True(t, v[1].Visits[0].AtDoor)
	assert.Less(t, v[1].TWA8, 0.01)

	d.level["inside"] = nil
	d.run(2)
	enter()
	assert.Contains(t, d.findings(), "person-exposure-unknown")
	assert.False(t, d.state.View().Stores[0].People[0].Known)
}

// A reading that is delivered twice puts no doubt on what somebody met.
func TestTwiceDeliveredReadingIsNoDoubt(t *testing.T) {
	d := aday(t)
	d.declare()
	d.run(1)
	d.act(&logbook.MaskedEntry{OnStore: inBarn(), In: "Ada", AtDoor: "Bo", Protection: "self-contained"}, logbook.KindMaskedEntry, 0)
	d.run(0.3)
	d.read("inside", d.level["inside"](d.now))
	d.act(&logbook.MaskedExit{OnStore: inBarn(), Out: "Ada"}, logbook.KindMaskedExit, 0)
	assert.True(t, d.state.View().Stores[0].People[0].Known)
}

package rules

import (
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules/alarm"
	"undersheet/rules/gate"
)

// What the air inside asks of breathing protection: the steps of NIOSH npgd0505 on
// the upper value of the worst inside or door point.
func TestProtectionOfAStore(t *testing.T) {
	d := depot(t)
	at := func() ProtectionView { return d.state.View().Stores[0].Protection }
	assert.Equal(t, []any{10, true, "door"}, []any{at().APF, at().Known, at().Point}, "both read the same")
	assert.InDelta(t, 0.02*1.1+0.03, at().UpperPPM, 0.001, "accuracy 10 %, zero error 0.03 ppm")
	read := func(ppm float64) ProtectionView {
		d.now = d.now.Add(time.Minute)
		d.read("inside", ppm)
		return at()
	}
	assert.Equal(t, 10, read(2.69).APF, "2.69 × 1.1 + 0.03 = 2.99")
	assert.Equal(t, 25, read(2.71).APF)
	assert.Equal(t, 1000, read(19).APF)
	d.read("door", 20)
	assert.Equal(t, []any{10000, false, "door"}, []any{read(0.02).APF, at().Known, at().Point}, "people go in by the door")
	d.read("door", 10)
	assert.Equal(t, []any{50, true, "door"}, []any{read(0.02).APF, at().Known, at().Point}, "10 × 1.1 + 0.03 = 11.03")
	d.read("door", 0.02)
	v := read(20)
	assert.Equal(t, []any{10000, false, true}, []any{v.APF, v.Known, v.SelfContained}, "over its range: at least that much")
	assert.Equal(t, 10000, read(-1).APF, "below zero: a fault")
	assert.Equal(t, 10, read(0.02).APF)
	d.signal("flow", 0)
	assert.Equal(t, 10000, at().APF, "nothing is drawn")
	d.now = d.now.Add(time.Minute)
	d.signal("flow", 1)
	assert.Equal(t, 10000, at().APF, "nothing was drawn since")
	assert.Equal(t, 10, read(0.02).APF)
	d.now = d.now.Add(11 * time.Minute)
	d.signal("flow", 1)
	assert.Equal(t, 10000, at().APF, "silent")
	assert.Equal(t, 10000, d.state.View().Stores[1].Protection.APF, "a store without inside points")
	d.reconfigure(func(s *logbook.Site) {
		s.Stores[0].Air = slices.DeleteFunc(s.Stores[0].Air, func(p logbook.AirPoint) bool { return p.Channel == "inside" })
	})
	d.read("door", 0.02)
	assert.Equal(t, []any{false, ""}, []any{at().Known, at().Point}, "the door is read, and yet it is the air inside that is not known")
}

func TestProtectionBelowAir(t *testing.T) {
	d := depot(t)
	d.now = d.now.Add(time.Minute)
	d.read("inside", 10) // 11.03 ppm at most: APF 50
	for protection, below := range map[string]bool{"full mask, APF 25": true, "apf: 10": true, "APF=50 full mask": false, "self-contained, APF 10,000": false,
		"self-contained": false, "APF": false, "mask APF x 10": false} {
		d.now = d.now.Add(time.Second)
		d.fresh()
		d.act(&logbook.MaskedEntry{OnStore: inBarn(), In: "I. Okafor", AtDoor: "P. Lindqvist", Protection: protection}, logbook.KindMaskedEntry, 0)
		rs := d.fresh()
		if below {
			require.Equal(t, []string{"protection-below-air"}, findings(rs), protection)
			f := of[*logbook.Finding](rs)[0]
			assert.Equal(t, logbook.Number(50), f.Limit)
		} else {
			assert.Empty(t, findings(rs), protection)
		}
	}
}

// Common practice: nobody goes in alone. Whoever is named twice is one person.
func TestNobodyGoesInAlone(t *testing.T) {
	for door, alone := range map[string]bool{"P. Lindqvist": false, "": true, " ": true, "i. Okafor ": true} {
		d := depot(t)
		d.act(&logbook.MaskedEntry{OnStore: inBarn(), In: "I. Okafor", AtDoor: door, Protection: "self-contained"}, logbook.KindMaskedEntry, 0)
		require.Equal(t, alone, slices.Contains(findings(d.fresh()), "masked-entry-alone"), "%q", door)
	}
	d := aday(t)
	d.act(&logbook.DosePlaced{OnStack: onA(), Product: tablets(1), People: []string{"Ada", " ada"}, Protection: "full masks"}, logbook.KindDosePlaced, 0)
	d.act(&logbook.ChecksSigned{OnStore: inBarn(), InOrder: []string{"keys"}, Second: "ada", Act: logbook.Act{By: "Ada"}}, logbook.KindChecksSigned, 0)
	found := d.findings()
	require.Contains(t, found, "dose-placed-alone")
	require.Contains(t, found, "checks-signed-alone")
}

// Two go in and one comes out: the store is not empty, the entry that is left is
// overdue after its own 20 minutes, and nobody can clear the store meanwhile.
func TestTwoInOneOut(t *testing.T) {
	d := cleared(t)
	in := func(who string) {
		d.act(&logbook.MaskedEntry{OnStore: inBarn(), In: who, AtDoor: "P. Lindqvist", Protection: "self-contained"}, logbook.KindMaskedEntry, 0)
	}
	in("I. Okafor")
	d.run(10.0 / 60)
	in("S. Rao")
	entered := d.now
	d.act(&logbook.MaskedExit{OnStore: inBarn(), Out: "I. Okafor"}, logbook.KindMaskedExit, 0)
	d.fresh()
	left := d.state.View().Stores[0].Masked
	require.Len(t, left, 1)
	assert.Equal(t, "S. Rao", left[0].Name)
	assert.Equal(t, entered, left[0].Since)
	d.run(20.0 / 60)
	assert.Empty(t, alarms(d.fresh(), alarm.MaskedLong), "20 minutes of the one who is left")
	d.hand("beside A", 0.1)
	d.confirm()
	d.declare()
	refused := of[*logbook.Refused](d.fresh())
	require.Len(t, refused, 1, "the declaration is accepted, and does not open the gate")
	assert.Equal(t, gate.Inside, refused[0].Reasons[0].Code)
	assert.Equal(t, logbook.GateShut, d.gate())
	d.run(5.0 / 60)
	rs := of[*logbook.Alarm](d.fresh())
	require.Len(t, rs, 1)
	assert.Equal(t, []any{alarm.MaskedLong, true, entered.Add(20 * time.Minute)}, []any{rs[0].Alarm, rs[0].Wake, rs[0].Onset})
	d.act(&logbook.MaskedExit{OnStore: inBarn(), Out: "S. Rao"}, logbook.KindMaskedExit, 0)
	assert.Equal(t, []string{"cleared"}, alarms(d.fresh(), alarm.MaskedLong))
	d.run(0.1)
	assert.Equal(t, logbook.GateCheckOwed, d.gate())
}

// An exit from before the entry ended an earlier visit: who is in stays in until an exit
// that can be theirs. Common practice: the one at the door counts who went in and who came out.
func TestAnExitFromBeforeTheEntry(t *testing.T) {
	for _, named := range []string{"I. Okafor", ""} {
		d := cleared(t)
		d.act(&logbook.MaskedEntry{OnStore: inBarn(), In: "I. Okafor", AtDoor: "P. Lindqvist", Protection: "self-contained"}, logbook.KindMaskedEntry, 0)
		d.run(0.2)
		d.fresh()
		inFor := d.now.Sub(d.state.Stores["Long Barn"].Inside[0].Since).Minutes()
		d.act(&logbook.MaskedExit{OnStore: inBarn(), Out: named}, logbook.KindMaskedExit, time.Hour)
		found := of[*logbook.Finding](d.fresh())
		at := slices.IndexFunc(found, func(f *logbook.Finding) bool { return f.Code == "exit-before-entry" })
		require.GreaterOrEqual(t, at, 0)
		said := found[at]
		assert.Equal(t, math.Trunc(float64(said.Value)), float64(said.Value), "whole minutes")
		assert.InDelta(t, 60-inFor, float64(said.Value), 1, "an hour ago, of who is in for so many minutes")
		assert.Equal(t, logbook.GateShut, d.gate())
		d.act(&logbook.MaskedExit{OnStore: inBarn(), Out: named}, logbook.KindMaskedExit, 0)
		assert.Empty(t, d.state.Stores["Long Barn"].Inside)
	}
}

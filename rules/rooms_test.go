package rules

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"undersheet/logbook"
	"undersheet/rules/alarm"
	"undersheet/rules/gate"
)

// Doors, water, mains, pumps and what they silence: the project's contract, and
// common practice for the figures.

// depot is a wired depot with stack A under gas and nothing else the matter.
func depot(t *testing.T, change ...func(*logbook.Site)) *day {
	d := aday(t, append([]func(*logbook.Site){wired}, change...)...)
	d.still(dry)
	d.run(0.2)
	d.declare()
	d.dose("five-day")
	d.level["a1"], d.level["a2"] = flat(600), flat(500)
	d.run(1)
	require.Empty(t, of[*logbook.Alarm](d.fresh()))
	return d
}

// set lets a signal stand at another value, and reads it a minute later.
func (d *day) set(channel string, value float64) {
	d.level[channel] = func(logbook.Time) float64 { return value }
	d.now = d.now.Add(time.Minute)
	d.signal(channel, value)
}

func TestDoorOpenedUnderGas(t *testing.T) {
	d := depot(t)
	d.set("gate-1", 1)
	rs := of[*logbook.Alarm](d.fresh())
	require.Len(t, rs, 1, "at once")
	assert.Equal(t, []any{alarm.DoorOpened, "raised", "Long Barn", "west gate", logbook.PriorityHigh, true, d.now},
		[]any{rs[0].Alarm, rs[0].State, rs[0].Store, rs[0].Point, rs[0].Priority, rs[0].Wake, rs[0].Onset})
	d.level["gate-1"] = nil
	d.run(1)
	assert.Equal(t, []string{}, append([]string{}, alarms(d.fresh(), alarm.DoorOpened)...), "what nobody reads any more is not shut")
	d.set("gate-1", 0)
	assert.Empty(t, alarms(d.fresh(), alarm.DoorOpened))
	d.run(0.2)
	assert.Equal(t, []string{"cleared"}, alarms(d.fresh(), alarm.DoorOpened), "five minutes shut")
}

// Doors are open on purpose while people lay phosphide, go in by masked entry, or
// air; and five minutes after.
func TestDoorOpenOnPurpose(t *testing.T) {
	d := aday(t, wired)
	d.still(dry)
	d.set("gate-1", 1)
	d.dose("five-day")
	d.now = d.now.Add(4 * time.Minute)
	d.signal("gate-1", 1)
	assert.Empty(t, alarms(d.fresh(), alarm.DoorOpened), "the crew comes out")
	d.now = d.now.Add(time.Minute)
	d.signal("gate-1", 1)
	assert.Equal(t, []string{"raised"}, alarms(d.fresh(), alarm.DoorOpened))

	d = depot(t)
	in := func(who string) *logbook.MaskedEntry {
		return &logbook.MaskedEntry{OnStore: inBarn(), In: who, AtDoor: "P. Lindqvist", Protection: "self-contained"}
	}
	d.act(in("I. Okafor"), logbook.KindMaskedEntry, 0)
	d.act(in("S. Rao"), logbook.KindMaskedEntry, 0)
	d.set("gate-1", 1)
	d.act(&logbook.MaskedExit{OnStore: inBarn(), Out: "S. Rao"}, logbook.KindMaskedExit, 0)
	d.run(0.25)
	assert.Empty(t, alarms(d.fresh(), alarm.DoorOpened), "one is still inside")
	d.act(&logbook.MaskedExit{OnStore: inBarn()}, logbook.KindMaskedExit, 0)
	d.now = d.now.Add(4 * time.Minute)
	d.signal("gate-1", 1)
	assert.Empty(t, alarms(d.fresh(), alarm.DoorOpened))
	d.now = d.now.Add(time.Minute)
	d.signal("gate-1", 1)
	assert.Equal(t, []string{"raised"}, alarms(d.fresh(), alarm.DoorOpened), "all are out, and the door was left open")
	d.act(in("I. Okafor"), logbook.KindMaskedEntry, 0)
	d.run(0.2)
	assert.Equal(t, []string{"cleared"}, alarms(d.fresh(), alarm.DoorOpened), "it is on record again who is in")

	d = depot(t)
	d.act(&logbook.DosingStarted{OnStack: logbook.OnStack{Stack: "B"}, StoreEmpty: true}, logbook.KindDosingStarted, 0)
	d.set("gate-1", 1)
	d.run(1)
	assert.Empty(t, alarms(d.fresh(), alarm.DoorOpened), "phosphide is laid in stack B")
	d = depot(t)
	d.air()
	d.set("gate-1", 1)
	d.run(1)
	assert.Empty(t, alarms(d.fresh(), alarm.DoorOpened), "airing opens doors")
}

// Water and phosphide: gas that burns by itself.
func TestWaterIsAFireRisk(t *testing.T) {
	d := aday(t, wired)
	d.still(dry)
	d.set("floor", 0)
	d.run(1)
	assert.Empty(t, alarms(d.fresh(), alarm.Fire), "there is no phosphide")
	d.dose("five-day")
	rs := of[*logbook.Alarm](d.fresh())
	require.Len(t, rs, 1)
	assert.Equal(t, []any{"water", "drain", true, logbook.PriorityHigh}, []any{rs[0].Code, rs[0].Point, rs[0].Wake, rs[0].Priority})
	d.set("floor", 1)
	d.run(0.4)
	assert.Empty(t, alarms(d.fresh(), alarm.Fire))
	d.run(0.2)
	assert.Equal(t, []string{"water cleared"}, alarms(d.fresh(), alarm.Fire), "dry for half an hour")
	d.air()
	d.set("floor", 0)
	assert.Equal(t, []string{"water raised"}, alarms(d.fresh(), alarm.Fire), "spent residue still holds phosphide")
	c := cleared(t, wired)
	c.still(map[string]float64{"floor": 0})
	c.fresh()
	c.run(0.2)
	assert.Equal(t, []string{"water raised"}, alarms(c.fresh(), alarm.Fire), "and in withholding")
}

// Mains that are lost: one message that names what follows, and nothing else.
func TestPowerLost(t *testing.T) {
	rack := func(s *logbook.Site) {
		s.Instruments = []logbook.Instrument{{Name: "rack", Modbus: &logbook.Modbus{Units: []logbook.ModbusUnit{{Address: 1, Registers: []logbook.ModbusRegister{{Channel: "a1"}}}}}}}
	}
	d := depot(t, rack)
	d.set("grid", 0)
	assert.Empty(t, alarms(d.fresh(), alarm.PowerLost))
	d.now = d.now.Add(time.Minute)
	d.signal("grid", 0)
	rs := of[*logbook.Alarm](d.fresh())
	require.Len(t, rs, 1)
	assert.Equal(t, []any{alarm.PowerLost, logbook.PriorityMedium, "grid", false}, []any{rs[0].Alarm, rs[0].Priority, rs[0].Point, rs[0].Wake})
	assert.Equal(t, []string{alarm.Instrument, alarm.LineSilent, alarm.PointSilent, alarm.PumpOff}, rs[0].Also)
	d.commit(d.stamp(&logbook.InstrumentState{Instrument: "rack", Unit: "unit 1"}, logbook.KindInstrumentState, 0))
	d.set("flow", 0)
	for _, c := range []string{"a1", "a2", "inside", "gate-1"} {
		d.level[c] = nil
	}
	d.run(3)
	assert.Empty(t, of[*logbook.Alarm](d.fresh()), "one cause is one message")
	require.Len(t, d.state.View().Alarms, 1)
	assert.Equal(t, []string{"instrument-silent rack, unit 1", "line-silent A low", "line-silent A top", "point-silent Long Barn beside A",
		"pump-off P1", "sensor-silent Long Barn west gate"}, d.state.View().Alarms[0].Alarm.Also)
	d.set("grid", 1)
	d.run(0.1)
	assert.Equal(t, []string{"raised", "cleared"}, alarms(d.made, alarm.PowerLost))
	d.run(2)
	rs = of[*logbook.Alarm](d.fresh())
	got := map[string]int{}
	for _, a := range rs {
		got[a.Alarm+" "+a.State]++
	}
	assert.Equal(t, map[string]int{"power-lost cleared": 1, "pump-off raised": 1, "sensor-silent raised": 1}, got,
		"power is back and the pump did not start: that is the next cause")
}

// What stood before its cause remains.
func TestConsequenceThatStoodBefore(t *testing.T) {
	d := depot(t)
	d.level["a1"] = nil
	d.run(1)
	require.Equal(t, []string{"raised"}, alarms(d.fresh(), alarm.LineSilent))
	d.set("grid", 0)
	d.run(2)
	rs := d.fresh()
	assert.Empty(t, alarms(rs, alarm.LineSilent))
	assert.Len(t, d.state.View().Alarms, 2)
	d.level["a1"] = flat(600)
	d.run(0.2)
	assert.Equal(t, []string{"cleared"}, alarms(d.fresh(), alarm.LineSilent), "and ends when its own condition does")
}

// Nothing under treatment: no mains, no alarm.
func TestPowerAndPumpAskNothingWhenNothingIsTreated(t *testing.T) {
	d := aday(t, wired)
	d.still(map[string]float64{"grid": 0, "flow": 0, "gate-1": 1, "floor": 1})
	d.run(5)
	assert.Empty(t, of[*logbook.Alarm](d.fresh()))
}

func TestPumpOff(t *testing.T) {
	d := depot(t)
	lines := d.state.Stacks["A"].Treatment.Lines
	ctp := lines[0].CTP.PPMh
	d.set("flow", 0.2)
	assert.Empty(t, alarms(d.fresh(), alarm.PumpOff))
	d.run(0.1)
	rs := of[*logbook.Alarm](d.fresh())
	require.Len(t, rs, 1)
	assert.Equal(t, []any{alarm.PumpOff, "P1", logbook.PriorityMedium, logbook.Number(0.2), logbook.Number(0.5)}, []any{rs[0].Alarm, rs[0].Point, rs[0].Priority, rs[0].Value, rs[0].Limit})
	assert.Equal(t, []string{"line-silent A low", "line-silent A top", "point-silent Long Barn beside A"}, rs[0].Also)
	d.level["a1"] = func(logbook.Time) float64 { return 600 } // the same air in the tube
	d.level["a2"] = nil
	newest := d.state.Stacks["A"].Gas.Fit.Newest
	d.run(8)
	rs = of[*logbook.Alarm](d.fresh())
	assert.Empty(t, rs, "neither silent nor stuck nor off: its pump is")
	assert.NotContains(t, findings(d.made), "stuck")
	assert.Equal(t, newest, d.state.Stacks["A"].Gas.Fit.Newest, "nothing for the fit")
	assert.InDelta(t, ctp, lines[0].CTP.PPMh, 600*0.1, "and nothing for the product")
	d.set("flow", 1)
	d.level["a1"], d.level["a2"] = flat(550), flat(460)
	d.run(2)
	rs = of[*logbook.Alarm](d.fresh())
	require.Len(t, rs, 1)
	assert.Equal(t, []string{alarm.PumpOff, "cleared"}, []string{rs[0].Alarm, rs[0].State})
	assert.Greater(t, d.state.Stacks["A"].Gas.Fit.Newest, newest)
}

// A line that falls to nothing because its pump stands is no line that came off,
// and no leak.
func TestPumpOffIsNoLeak(t *testing.T) {
	d := depot(t)
	d.level["a1"], d.level["a2"] = decaying(1500, 0.1), decaying(1400, 0.1)
	d.run(39)
	d.set("flow", 0)
	d.level["a1"], d.level["a2"] = flat(3), flat(2)
	d.fresh()
	d.run(3)
	rs := d.fresh()
	for _, name := range []string{alarm.Leak, alarm.LineOff, alarm.LineBlocked, alarm.Uneven} {
		assert.Empty(t, alarms(rs, name), name)
	}
}

// Air that no pump draws never counts for the gate, and can count against it.
func TestGateAndThePump(t *testing.T) {
	d := cleared(t, wired)
	assert.NotContains(t, d.reasons(), gate.PumpOff)
	d.run(0.5)
	require.Equal(t, logbook.GateCleared, d.gate())
	d.set("flow", 0)
	assert.Equal(t, logbook.GateAiring, d.gate(), "the clearance falls at once")
	assert.Contains(t, d.reasons(), gate.PumpOff)
	d.run(5)
	assert.Contains(t, d.reasons(), gate.PumpOff)
	assert.Contains(t, d.reasons(), gate.PointSilent, "what is read meanwhile does not keep the point live")
	d.set("flow", 1)
	assert.NotContains(t, d.reasons(), gate.PumpOff)
	d.run(0.4)
	assert.Equal(t, logbook.GateAiring, d.gate())
	assert.Contains(t, d.reasons(), gate.NotBelowLong)
	d.run(0.3)
	assert.Equal(t, logbook.GateCheckOwed, d.gate(), "half an hour drawn and clean")

	d.level["flow"] = nil
	d.run(0.3)
	assert.Contains(t, d.reasons(), gate.PumpNotKnown, "nobody says that it runs")
	d.level["inside"] = flat(0.5)
	d.run(0.1)
	assert.Contains(t, d.reasons(), gate.AboveLimit, "gas counts against the gate however it was drawn")
}

// The airing does not count while nobody says that the pump runs.
func TestAiringNeedsThePump(t *testing.T) {
	d := depot(t)
	d.level["a1"], d.level["a2"] = nil, nil
	d.run(121)
	d.air()
	d.run(1.5)
	d.set("flow", 0)
	d.run(3)
	d.set("flow", 1)
	d.run(0.3)
	assert.Equal(t, logbook.GateAiring, d.gate())
	assert.Contains(t, d.reasons(), gate.AiringTooShort)
	d.run(0.4)
	assert.Equal(t, logbook.GateCheckOwed, d.gate())
}

// Gas in the air of an office is not over because its pump stopped.
func TestAirGasAndThePump(t *testing.T) {
	d := aday(t, wired, func(s *logbook.Site) { s.Pumps[0].Draws = append(s.Pumps[0].Draws, "office") })
	d.still(dry)
	d.level["office"] = flat(0.5)
	d.run(0.5)
	require.Equal(t, []string{"office raised"}, alarms(d.fresh(), alarm.AirGas))
	d.set("flow", 0)
	d.level["office"] = flat(0.02)
	d.run(2)
	assert.Empty(t, alarms(d.fresh(), alarm.AirGas))
	d.set("flow", 1)
	d.run(0.5)
	assert.Equal(t, []string{"office cleared"}, alarms(d.fresh(), alarm.AirGas))
}

// A sensor that says nothing while a stack is under gas is a low alarm of its own.
func TestSensorSilent(t *testing.T) {
	d := depot(t)
	d.level["gate-1"], d.level["grid"] = nil, nil
	d.run(0.45)
	assert.Empty(t, alarms(d.fresh(), alarm.SensorSilent))
	d.run(0.2)
	rs := of[*logbook.Alarm](d.fresh())
	require.Len(t, rs, 2)
	for _, a := range rs {
		assert.Equal(t, []any{alarm.SensorSilent, logbook.PriorityLow}, []any{a.Alarm, a.Priority})
	}
	d.air()
	d.run(0.1)
	assert.Equal(t, []string{"cleared", "cleared"}, alarms(d.fresh(), alarm.SensorSilent), "nothing is under gas")
	d = aday(t, wired)
	d.run(3)
	assert.Empty(t, alarms(d.fresh(), alarm.SensorSilent))
}

// A new site file keeps the alarms of contacts that it still has, and ends the others.
func TestContactsOfANewSite(t *testing.T) {
	d := depot(t)
	d.set("gate-1", 1)
	d.set("floor", 0)
	d.fresh()
	site := *d.state.Site
	configure := func() {
		d.now = d.now.Add(time.Minute)
		d.commit(d.stamp(&logbook.SiteConfigured{Site: site}, logbook.KindSiteConfigured, 0))
	}
	configure()
	assert.Empty(t, of[*logbook.Alarm](d.fresh()))
	site.Stores = append([]logbook.Store(nil), site.Stores...)
	site.Stores[0].Water = nil
	configure()
	assert.Equal(t, []string{"water cleared"}, alarms(d.fresh(), alarm.Fire))
	assert.Len(t, d.state.View().Alarms, 1)
}

// Whatever comes: no gate is open on air that no pump is known to draw.
func TestGateNeverOpensOnUndrawnAir(t *testing.T) {
	opened := 0
	rapid.Check(t, func(t *rapid.T) {
		site := testSite()
		wired(&site)
		d := newDaemon(site)
		g := &script{t: t, now: epoch, airy: true}
		flow, at := 0.0, logbook.Time(0)
		drawn := map[logbook.Time]bool{}
		declare := &logbook.NoGasDeclared{OnStore: inBarn(), Act: someone}
		d.commit(g.stamp(declare, logbook.KindNoGasDeclared, 0))
		for i := 0; i < 60; i++ {
			g.now = g.now.Add(rapid.SampledFrom([]time.Duration{5 * time.Minute, 4 * time.Minute, 9 * time.Minute}).Draw(t, "step"))
			if rapid.IntRange(0, 9).Draw(t, "pump read") > 0 {
				at = g.now
				if flow = 1; rapid.IntRange(0, 25).Draw(t, "pump off") == 0 {
					flow = rapid.SampledFrom([]float64{0.49, 0}).Draw(t, "flow")
				}
				d.commit(g.stamp(&logbook.Reading{Channel: "flow", Value: flow, Unit: logbook.LMin}, logbook.KindReading, 0))
			}
			for _, channel := range []string{"door", "inside"} {
				e := g.reading(channel)
				if channel == "inside" {
					drawn[min(e.Head().Time, g.now)] = flow >= 0.5 && g.now.Sub(at) <= time.Hour
				}
				d.commit(e)
				if s := d.state.Stores["Long Barn"].Gate.State; s != logbook.GateCheckOwed {
					continue
				}
				opened++
				if flow < 0.5 || d.state.At.Sub(at) > time.Hour {
					t.Fatalf("the gate is open with a flow of %v read at %s", flow, at)
				}
				live := d.state.Stores["Long Barn"].Tracks["beside A"].Live
				if to := live[len(live)-1].To; !drawn[to] {
					t.Fatalf("the gate counts a reading of %s that no pump drew", to)
				}
			}
		}
	})
	require.Positive(t, opened, "no random depot ever came to check-owed: the test shows nothing")
}

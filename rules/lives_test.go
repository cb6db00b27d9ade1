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

// Alarms on which lives hang: no fault, no silence, no acknowledgement and no new
// site file makes one go away, and none hides a worse one. Common practice: what is
// not known counts against people going in.

// Gas that came back is not gone because its instrument fell silent, broke, lost its
// pump or was taken out of the site file.
func TestReboundOutlivesItsInstrument(t *testing.T) {
	for name, lose := range map[string]func(d *day){
		"fault": func(d *day) {
			e := &logbook.Reading{Channel: "inside", Value: 0.4, Unit: logbook.PPM, Fault: "cell"}
			d.level["inside"] = nil
			d.now = d.now.Add(time.Minute)
			d.commit(d.stamp(e, logbook.KindReading, 0))
		},
		"below zero": func(d *day) { d.level["inside"] = flat(-1) },
		"silent":     func(d *day) { d.level["inside"] = nil },
		"pump off":   func(d *day) { d.level["inside"] = flat(0.02); d.set("flow", 0) },
		"other channel": func(d *day) {
			d.level["inside"] = nil
			d.reconfigure(func(s *logbook.Site) {
				s.Channels["new"] = s.Channels["inside"]
				s.Stores[0].Air[1].Channel = "new"
			})
		},
	} {
		t.Run(name, func(t *testing.T) {
			d := cleared(t, wired)
			d.run(1)
			d.level["inside"] = flat(0.4)
			d.run(0.1)
			require.Equal(t, []string{"raised"}, alarms(d.fresh(), alarm.Rebound))
			lose(d)
			d.run(3)
			assert.Empty(t, alarms(d.fresh(), alarm.Rebound), "what nobody reads any more is not gone")
		})
	}
}

// The second who is overdue is not hidden by the first, whom somebody took charge of.
func TestSecondMaskedEntryOverdue(t *testing.T) {
	d := aday2(t)
	in := func(who string) {
		d.act(&logbook.MaskedEntry{OnStore: inBarn(), In: who, AtDoor: "P. Lindqvist", Protection: "self-contained"}, logbook.KindMaskedEntry, 0)
	}
	in("I. Okafor")
	d.run(0.2)
	in("S. Rao") // who goes after him
	d.run(0.2)
	require.Equal(t, []string{"raised"}, alarms(d.fresh(), alarm.MaskedLong))
	d.act(&logbook.AlarmAcknowledged{Alarm: alarm.MaskedLong, Store: "Long Barn"}, logbook.KindAcknowledged, 0)
	d.run(0.2)
	assert.Equal(t, []string{"acknowledged", "raised"}, alarms(d.fresh(), alarm.MaskedLong))
	assert.Zero(t, d.state.View().Alarms[0].Acknowledged)
	d.run(1)
	assert.Empty(t, alarms(d.fresh(), alarm.MaskedLong), "each once")
	d.act(&logbook.MaskedExit{OnStore: inBarn(), Out: "I. Okafor"}, logbook.KindMaskedExit, 0)
	assert.Empty(t, alarms(d.fresh(), alarm.MaskedLong), "one is still inside")
	d.act(&logbook.MaskedExit{OnStore: inBarn()}, logbook.KindMaskedExit, 0)
	assert.Equal(t, []string{"cleared"}, alarms(d.fresh(), alarm.MaskedLong))
}

// Gas was read in the office and then the instrument broke, within the two minutes
// for which it has to last.
func TestAirGasThenFault(t *testing.T) {
	d := aday2(t)
	d.fresh()
	d.now = d.now.Add(time.Minute)
	d.read("office", 5)
	d.now = d.now.Add(time.Minute)
	d.commit(d.stamp(&logbook.Reading{Channel: "office", Value: -9, Unit: logbook.PPM, Fault: "over range"}, logbook.KindReading, 0))
	d.now = d.now.Add(time.Minute)
	d.commit(d.stamp(&logbook.Clock{}, logbook.KindClock, 0))
	rs := of[*logbook.Alarm](d.fresh())
	require.Len(t, rs, 1)
	assert.Equal(t, []any{alarm.AirGas, "raised", logbook.Number(5)}, []any{rs[0].Alarm, rs[0].State, rs[0].Value})
	d.now = d.now.Add(time.Minute)
	d.commit(d.stamp(&logbook.Clock{}, logbook.KindClock, 0))
	assert.Equal(t, logbook.Number(5), d.state.View().Alarms[0].Alarm.Value, "what was read, not what the fault shows")
}

// What a line reads while its pump is said to be off may be old: it can raise the
// alarm of fire, never end it, and is no rise.
func TestFireRiskWhileThePumpIsOff(t *testing.T) {
	d := depot(t)
	d.set("flow", 0)
	d.run(0.5)
	d.fresh()
	for range 2 {
		d.now = d.now.Add(time.Minute)
		d.read("a1", 2000)
	}
	assert.Equal(t, []string{"top-of-range raised"}, alarms(d.fresh(), alarm.Fire), "as much as the dose gives")
	d.level["a1"] = flat(3)
	d.run(2)
	assert.Empty(t, alarms(d.fresh(), alarm.Fire), "what stood in the tube shows no end")
	d.set("flow", 1)
	d.level["a1"] = flat(900)
	d.run(1)
	assert.Equal(t, []string{"top-of-range cleared"}, alarms(d.fresh(), alarm.Fire), "and no rise from what stood there")
}

// A contact that bounces within one second of its own clock: the worse of the two
// counts, whichever came first.
func TestContactThatBounces(t *testing.T) {
	d := depot(t)
	say := func(channel string, v float64) {
		d.commit(d.stamp(&logbook.Reading{Channel: channel, Value: v, Unit: map[bool]string{true: logbook.LMin, false: logbook.OnOff}[channel == "flow"]}, logbook.KindReading, 0))
	}
	d.now = d.now.Add(time.Minute)
	say("gate-1", 0)
	say("gate-1", 1)
	say("floor", 1)
	say("floor", 0)
	say("flow", 1)
	say("flow", 0)
	rs := d.fresh()
	assert.Equal(t, []string{"raised"}, alarms(rs, alarm.DoorOpened))
	assert.Equal(t, []string{"water raised"}, alarms(rs, alarm.Fire))
	state, _ := d.state.pump(&d.state.Site.Pumps[0])
	assert.Equal(t, PumpOff, state)
	say("gate-1", 0)
	d.run(0.02)
	assert.Empty(t, alarms(d.fresh(), alarm.DoorOpened))
}

// One reading that is dated ahead does not make a contact deaf.
func TestContactDatedAhead(t *testing.T) {
	d := depot(t)
	d.now = d.now.Add(time.Minute)
	d.commit(d.stamp(&logbook.Reading{Channel: "gate-1", Value: 0, Unit: logbook.OnOff}, logbook.KindReading, -4*time.Minute))
	d.now = d.now.Add(time.Second)
	d.commit(d.stamp(&logbook.Reading{Channel: "gate-1", Value: 1, Unit: logbook.OnOff}, logbook.KindReading, 0))
	assert.Equal(t, []string{"raised"}, alarms(d.fresh(), alarm.DoorOpened))
}

// While an airing is paused the doors are shut on gas that is free: a door that opens
// then is open under gas. Whoever goes on with the airing has time to say so.
func TestDoorOpenedWhileAiringIsPaused(t *testing.T) {
	d := depot(t)
	d.air()
	d.set("gate-1", 1)
	d.run(1)
	d.set("gate-1", 0)
	d.act(&logbook.AiringPaused{OnStack: onA()}, logbook.KindAiringPaused, 0)
	d.run(6)
	assert.Empty(t, alarms(d.fresh(), alarm.DoorOpened))
	d.set("gate-1", 1)
	d.now = d.now.Add(4 * time.Minute)
	d.signal("gate-1", 1)
	assert.Empty(t, alarms(d.fresh(), alarm.DoorOpened))
	d.now = d.now.Add(time.Minute)
	d.signal("gate-1", 1)
	assert.Equal(t, []string{"raised"}, alarms(d.fresh(), alarm.DoorOpened))
	d.act(&logbook.AiringResumed{OnStack: onA()}, logbook.KindAiringResumed, 0)
	d.run(0.2)
	assert.Equal(t, []string{"cleared"}, alarms(d.fresh(), alarm.DoorOpened))
}

// Where gas would wake people, an instrument that says nothing is told to people.
func TestSilenceWherePeopleAre(t *testing.T) {
	d := underGas(t)
	d.level["office"], d.level["inside"] = nil, nil
	d.fresh()
	d.run(1)
	got := map[string]string{}
	for _, a := range of[*logbook.Alarm](d.fresh()) {
		if a.Alarm == alarm.PointSilent {
			got[a.Point] = a.Priority
		}
	}
	assert.Equal(t, map[string]string{"office": logbook.PriorityMedium, "beside A": logbook.PriorityLow}, got)
}

// A point, a door or a water sensor that gets another instrument keeps its alarm until
// the new one has shown that it is over.
func TestLifeAlarmsOfANewInstrument(t *testing.T) {
	d := depot(t)
	d.level["office"] = flat(2)
	d.set("gate-1", 1)
	d.set("floor", 0)
	d.run(0.2)
	d.fresh()
	d.reconfigure(func(s *logbook.Site) {
		for was, is := range map[string]string{"office": "office-2", "gate-1": "gate-2", "floor": "floor-2"} {
			s.Channels[is] = s.Channels[was]
		}
		s.Stores[0].Air[2].Channel = "office-2"
		s.Stores[0].Doors[0].Channel = "gate-2"
		s.Stores[0].Water[0].Channel = "floor-2"
	})
	rs := d.fresh()
	assert.Equal(t, []string{"office cleared", "office raised"}, alarms(rs, alarm.AirGas))
	assert.Equal(t, []string{"cleared", "raised"}, alarms(rs, alarm.DoorOpened))
	assert.Equal(t, []string{"water cleared", "water raised"}, alarms(rs, alarm.Fire))
	d.run(2)
	rs = d.fresh()
	for _, name := range []string{alarm.AirGas, alarm.DoorOpened, alarm.Fire} {
		assert.Empty(t, alarms(rs, name), "nothing was read yet")
	}
	for range 9 {
		d.run(1.0 / 12)
		d.read("office-2", 0.02)
		d.signal("gate-2", 0)
		d.signal("floor-2", 1)
	}
	rs = d.fresh()
	assert.Equal(t, []string{"office cleared"}, alarms(rs, alarm.AirGas))
	assert.Equal(t, []string{"cleared"}, alarms(rs, alarm.DoorOpened))
	assert.Equal(t, []string{"water cleared"}, alarms(rs, alarm.Fire))
}

// A pump that is watched from now on, or a point that was not one of the gate's: what
// was read before shows nothing of it.
func TestPointsBeginAnewWithTheirPump(t *testing.T) {
	for name, change := range map[string]func(*logbook.Site){
		"pump no longer watched": func(s *logbook.Site) { s.Pumps[0].Channel = "" },
		"pump gone":              func(s *logbook.Site) { s.Pumps = nil },
		"another threshold":      func(s *logbook.Site) { s.Pumps[0].Least = 0.1 },
	} {
		t.Run(name, func(t *testing.T) {
			d := cleared(t, wired)
			d.reconfigure(change)
			assert.Equal(t, logbook.GateAiring, d.gate())
			d.run(0.7)
			assert.Equal(t, logbook.GateCheckOwed, d.gate())
		})
	}
}

// An outage of days speaks for what stops with it, not for what breaks on the second
// day while a generator runs.
func TestLongOutageSpeaksForNothingNew(t *testing.T) {
	d := depot(t)
	d.set("grid", 0)
	d.level["inside"] = nil
	d.run(20)
	require.Empty(t, alarms(d.made, alarm.PointSilent), "it stopped with the mains")
	d.level["office"], d.level["a1"] = nil, nil
	d.set("flow", 0)
	d.fresh()
	d.run(2)
	rs := d.fresh()
	assert.Equal(t, []string{"raised"}, alarms(rs, alarm.PointSilent))
	assert.Equal(t, []string{"raised"}, alarms(rs, alarm.PumpOff), "which speaks for the line")
	assert.Empty(t, alarms(rs, alarm.LineSilent))
}

// A line that reads another channel than the one that was proved is not proved.
func TestProofIsOfTheChannel(t *testing.T) {
	d := aday(t, func(s *logbook.Site) { *s = wiredSite() })
	zero := 0.0
	for _, l := range []string{"top", "low"} {
		d.act(&logbook.LineProved{Stack: "A", Line: l, Zero: &zero, EndTest: logbook.EndTestBreath, Unit: logbook.PPM, Seen: true}, logbook.KindLineProved, 0)
	}
	d.reconfigure(func(s *logbook.Site) {
		l := s.Stores[0].Stacks[0].Lines
		l[0].Channel, l[1].Channel = l[1].Channel, l[0].Channel
	})
	assert.Nil(t, d.state.View().Stores[0].Stacks[0].Lines[0].Proved)
	d.fresh()
	d.dose("five-day")
	assert.Equal(t, []string{"line-not-proved", "line-not-proved"}, findings(d.fresh())[:2])
}

// An exit that nobody wrote down does not let the doors stand open for days.
func TestForgottenExitHidesNoOpenDoor(t *testing.T) {
	d := depot(t)
	d.act(&logbook.MaskedEntry{OnStore: inBarn(), In: "I. Okafor", AtDoor: "P. Lindqvist", Protection: "self-contained"}, logbook.KindMaskedEntry, 0)
	d.run(0.5)
	d.act(&logbook.AlarmAcknowledged{Alarm: alarm.MaskedLong}, logbook.KindAcknowledged, 0)
	d.run(8)
	d.fresh()
	d.set("gate-1", 1)
	assert.Equal(t, []string{"overdue raised"}, alarms(d.fresh(), alarm.DoorOpened))
}

// Entries that are committed together have one received time: gas in an office counts
// from its own reading on, not from the first entry of the next batch.
func TestAirGasFromItsOwnReading(t *testing.T) {
	d := aday2(t)
	d.now = d.now.Add(5 * time.Minute)
	d.read("door", 0.02)
	d.read("office", 5)
	d.fresh()
	d.now = d.now.Add(2 * time.Minute)
	d.read("door", 0.02)
	assert.Equal(t, []string{"office raised"}, alarms(d.fresh(), alarm.AirGas))
}

// A clock that is set ahead makes no half hour of clean air, and takes no clearance.
func TestClockStepMakesNoCleanAir(t *testing.T) {
	step := func(d *day) {
		d.now = d.now.Add(9 * time.Minute)
		d.commit(d.stamp(&logbook.ClockStepped{StepSeconds: 540}, logbook.KindClockStepped, 0))
	}
	d := aday(t)
	d.declare()
	d.run(0.4)
	step(d)
	d.run(0.3)
	assert.Equal(t, logbook.GateAiring, d.gate())
	assert.Contains(t, d.reasons(), gate.NotBelowLong)
	d.run(0.4)
	assert.Equal(t, logbook.GateCheckOwed, d.gate())
	d = cleared(t)
	step(d)
	d.run(0.1)
	assert.Equal(t, logbook.GateCleared, d.gate())
}

// watcher keeps, from readings alone and in the plainest way, whether gas stands in
// the office and whether the west gate is open. It knows nothing of alarms.
type watcher struct {
	hot, cool logbook.Time // since when gas stands in the office, and of a reading that says it does not; 0 = none
	open      bool
	newest    map[string]logbook.Time
}

func (w *watcher) take(e logbook.Entry, now logbook.Time) {
	r, ok := e.(*logbook.Reading)
	if !ok || r.Retained || r.Time > r.Received.Add(5*time.Minute) {
		return
	}
	at := r.Time
	if r.Channel == "gate-1" {
		at = min(at, now) // what a contact says next is not older than what it dated ahead
	}
	if at <= w.newest[r.Channel] {
		return
	}
	ppm := r.Value * map[string]float64{"ppm": 1, "mg/m3": 0.71963, "g/m3": 719.63, logbook.OnOff: 1}[r.Unit] // ideal gas at 25 °C
	switch {
	case r.Channel == "gate-1":
		w.open = r.Value >= 0.5
	case r.Channel != "office" || r.Unit == "C":
		return
	case r.Fault != "" || ppm < -0.03:
	case ppm < 0.3:
		w.cool = r.Time
	case w.hot == 0:
		w.hot, w.cool = now, 0
	default:
		w.cool = 0
	}
	w.newest[r.Channel] = at
}

// Whatever happens, through restarts, faults, lost mains and pumps, and whoever took
// charge of what: gas in the office for two minutes is raised, and so is a door that is
// open under gas for no reason on record.
func TestLifeAlarmsAreRaised(t *testing.T) {
	raised := map[string]int{}
	rapid.Check(t, func(t *rapid.T) {
		site := wiredSite()
		site.Pumps[0].Draws = append(site.Pumps[0].Draws, "office")
		d := newDaemon(site)
		g := &script{t: t, now: epoch, airy: rapid.Bool().Draw(t, "airy"), wired: true, restore: true}
		w := &watcher{newest: map[string]logbook.Time{}}
		must := func(when bool, a logbook.Alarm) {
			if a.Store = "Long Barn"; when && !d.state.raised(&a) {
				t.Fatalf("%s at %s is not raised", a.Alarm, a.Point)
			} else if when {
				raised[a.Alarm]++
			}
		}
		for range 20 {
			for _, e := range g.next() {
				d.commit(e)
				if rapid.IntRange(0, 60).Draw(t, "restart") == 0 {
					d.state = throughSnapshot(t, d.state)
				}
				if w.take(e, d.state.At); w.cool != 0 && d.state.trusted("office", w.cool) {
					w.hot, w.cool = 0, 0
				}
				must(w.hot != 0 && d.state.At.Sub(w.hot) >= 2*time.Minute && d.state.PassedAt == d.state.At, logbook.Alarm{Alarm: alarm.AirGas, Point: "office", Channel: "office"})
				must(w.open && d.state.exposedSince("Long Barn") != 0 && !d.state.doorsExpected("Long Barn", d.state.Stores["Long Barn"]),
					logbook.Alarm{Alarm: alarm.DoorOpened, Point: "west gate", Channel: "gate-1"})
			}
		}
	})
	if !testing.Short() { // so few runs may hold neither
		require.Positive(t, raised[alarm.AirGas])
		require.Positive(t, raised[alarm.DoorOpened])
	}
}

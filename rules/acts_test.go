package rules

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules/alarm"
	"undersheet/rules/gate"
)

// Everything here is checked against the project's contract, unless another source
// is named.

// A whole treatment, as common practice has it: five days, 150 ppm, two hours of
// airing, hand readings, a confirmation, 48 h of withholding.
func TestAWholeTreatment(t *testing.T) {
	d := cleared(t)
	assert.Equal(t, []string{logbook.PhaseWithholding, logbook.VerdictProvisional}, d.phase())
	assert.Empty(t, d.state.Stores["Long Barn"].HandOwed, "no hand reading is owed any more")
	var phases []string
	for _, p := range of[*logbook.Phase](d.fresh()) {
		phases = append(phases, p.Phase+" "+p.Verdict)
	}
	assert.Equal(t, []string{"dosing provisional", "exposure provisional", "airing provisional", "withholding provisional"}, phases)
	d.run(11.8)
	assert.Equal(t, logbook.GateCleared, d.gate())
	d.run(0.4)
	assert.Equal(t, logbook.GateCheckOwed, d.gate(), "12 h after the confirmation")
	assert.Equal(t, []string{gate.Lapsed, gate.HandOwed}, []string{d.reasons()[0], strings.Replace(d.reasons()[1], gate.HandTooOld, gate.HandOwed, 1)})
	d.hand("beside A", 0.1)
	d.confirm()
	assert.Equal(t, logbook.GateCleared, d.gate())
	d.run(12.2)
	d.hand("beside A", 0.1)
	d.confirm()
	d.run(12.2)
	d.hand("beside A", 0.1)
	d.confirm()
	d.inspect(logbook.InsectsNone)
	d.run(12)
	assert.Equal(t, logbook.PhaseClosed, d.state.Stacks["A"].Treatment.GasPhase(), "48 h after the first clearance")
	assert.Equal(t, []string{logbook.PhaseWithholding, logbook.VerdictProvisional}, d.phase(), "the gas inside bags was not read")
	assert.Equal(t, logbook.GateCleared, d.gate())
	d.run(24)
	assert.Equal(t, logbook.GateCleared, d.gate(), "withholding has ended: it lapses no more")
	d.bags(0.1)
	assert.Equal(t, []string{logbook.PhaseClosed, logbook.VerdictHeld}, d.phase(), "nothing is owed any more")
	assert.Equal(t, logbook.GateCleared, d.gate())
	assert.Empty(t, of[*logbook.Refused](d.made))
	assert.Equal(t, 1, len(of[*logbook.EndLevel](d.made))/4, "two lines, two moments")
}

// Facts are accepted, with a finding where they break a rule; only permissions are
// refused.
func TestFactsAreAccepted(t *testing.T) {
	for name, c := range map[string]struct {
		day     func(*testing.T, ...func(*logbook.Site)) *day
		e       logbook.Acting
		kind    logbook.Kind
		finding string
	}{
		"airing early, without a reason": {underGas, &logbook.AiringStarted{OnStack: onA()}, logbook.KindAiringStarted, "airing-early-no-reason"},
		"airing early, with one":         {underGas, &logbook.AiringStarted{OnStack: onA(), Early: "storm"}, logbook.KindAiringStarted, "airing-early"},
		"airing of nothing":              {aday2, &logbook.AiringStarted{OnStack: onA()}, logbook.KindAiringStarted, "no-exposure-running"},
		"dose without an exposure":       {aday2, &logbook.DoseAdded{OnStack: onA(), PhosphineG: 1}, logbook.KindDoseAdded, "no-exposure-running"},
		"extension without one":          {aday2, &logbook.ExposureExtended{OnStack: onA(), ExposureHours: 168}, logbook.KindExposureExtended, "no-exposure-running"},
		"too short an extension":         {underGas, &logbook.ExposureExtended{OnStack: onA(), ExposureHours: 90}, logbook.KindExposureExtended, "exposure-shorter-than-protocol"},
		"pause without airing":           {underGas, &logbook.AiringPaused{OnStack: onA()}, logbook.KindAiringPaused, "not-airing"},
		"abandoning nothing":             {aday2, &logbook.TreatmentAbandoned{OnStack: onA(), Why: "x"}, logbook.KindAbandoned, "no-exposure-running"},
		"dosing with people about":       {aday2, &logbook.DosingStarted{OnStack: onA()}, logbook.KindDosingStarted, "store-not-empty"},
		"dosing under gas":               {underGas, &logbook.DosingStarted{OnStack: onA(), StoreEmpty: true}, logbook.KindDosingStarted, "already-running"},
		"exit of nobody":                 {aday2, &logbook.MaskedExit{OnStore: inBarn()}, logbook.KindMaskedExit, "nobody-inside"},
		"a hand reading nowhere known":   {aday2, &logbook.HandReading{Store: "Long Barn", Point: "loft", Unit: "ppm"}, logbook.KindHandReading, "unknown-point"},
		"a hand reading on no line":      {underGas, &logbook.HandReading{Stack: "A", Line: "loft", Unit: "ppm"}, logbook.KindHandReading, "unknown-line"},
		"a start without a dosing": {aday2, &logbook.TreatmentStarted{OnStack: onA(), Treatment: "x", Protocol: "five-day", PhosphineG: 1, VolumeM3: 1, GrainTempC: 30},
			logbook.KindTreatmentStarted, "dosing-not-recorded"},
		"an unknown protocol": {aday2, &logbook.TreatmentStarted{OnStack: onA(), Treatment: "x", Protocol: "three-day", PhosphineG: 1, VolumeM3: 1, GrainTempC: 30},
			logbook.KindTreatmentStarted, "unknown-protocol"},
		"too cold (GRDC: not under 15 °C)": {aday2, &logbook.TreatmentStarted{OnStack: onA(), Treatment: "x", Protocol: "five-day", PhosphineG: 1, VolumeM3: 1, GrainTempC: 14.9},
			logbook.KindTreatmentStarted, "too-cold"},
		"cool": {aday2, &logbook.TreatmentStarted{OnStack: onA(), Treatment: "x", Protocol: "twice", PhosphineG: 1, VolumeM3: 1, GrainTempC: 24.9},
			logbook.KindTreatmentStarted, "cool"},
		"oilseed": {aday2, &logbook.TreatmentStarted{OnStack: onA(), Treatment: "x", Protocol: "five-day", Commodity: "Linseed, cleaned", PhosphineG: 1, VolumeM3: 1, GrainTempC: 30},
			logbook.KindTreatmentStarted, "commodity-unsuited"},
	} {
		t.Run(name, func(t *testing.T) {
			d := c.day(t)
			d.fresh()
			d.act(c.e, c.kind, 0)
			rs := d.fresh()
			assert.Contains(t, findings(rs), c.finding)
			assert.Empty(t, of[*logbook.Refused](rs))
			require.Len(t, of[*logbook.Accepted](rs), 1)
			assert.Equal(t, c.kind, of[*logbook.Accepted](rs)[0].Entry)
		})
	}
}

// aday2 is a day of clean air in a barn that was declared clean.
func aday2(t *testing.T, change ...func(*logbook.Site)) *day {
	d := aday(t, change...)
	d.declare()
	d.run(1)
	return d
}

// Permissions are refused with what stands against them.
func TestPermissionsAreRefused(t *testing.T) {
	refused := func(d *day) (*logbook.Refused, []string) {
		var codes []string
		rs := of[*logbook.Refused](d.fresh())
		require.Len(t, rs, 1)
		for _, r := range rs[0].Reasons {
			codes = append(codes, r.Code)
		}
		return rs[0], codes
	}
	d := underGas(t)
	d.fresh()
	d.confirm()
	r, codes := refused(d)
	assert.Equal(t, "gate-not-check-owed", r.Code)
	assert.Contains(t, codes, gate.UnderGas)
	d.declare()
	r, _ = refused(d)
	assert.Equal(t, "store-under-gas", r.Code)

	d = underGas(t)
	d.run(120)
	d.air()
	d.run(2.5)
	d.fresh()
	d.confirm()
	r, codes = refused(d)
	assert.Equal(t, "hand-readings-owed", r.Code)
	assert.Equal(t, []string{gate.HandOwed}, codes)
	d.hand("beside A", 0.1)
	d.fresh()
	d.act(&logbook.EntryConfirmed{OnStore: inBarn(), Act: logbook.Act{By: " "}}, logbook.KindEntryConfirmed, 0)
	r, _ = refused(d)
	assert.Equal(t, "no-name", r.Code)
	assert.Equal(t, logbook.GateCheckOwed, d.gate())
	d.now = d.now.Add(time.Second)
	d.act(&logbook.EntryConfirmed{OnStore: inBarn()}, logbook.KindEntryConfirmed, -6*time.Minute)
	r, _ = refused(d)
	assert.Equal(t, "future-dated", r.Code)
	d.confirm()
	assert.Equal(t, logbook.GateCleared, d.gate())
	d.fresh()
	d.confirm()
	r, _ = refused(d)
	assert.Equal(t, "gate-not-check-owed", r.Code, "it is cleared already")
}

// A confirmation that comes as the first entry after its predecessor lapsed owes
// hand readings like any other.
func TestConfirmationAtTheMomentOfLapse(t *testing.T) {
	d := cleared(t)
	d.run(11.9)
	require.Equal(t, logbook.GateCleared, d.gate())
	d.now = d.now.Add(6 * time.Minute)
	d.fresh()
	d.confirm()
	require.Len(t, of[*logbook.Refused](d.fresh()), 1)
	assert.Equal(t, logbook.GateCheckOwed, d.gate())
}

func TestUnknownPlaces(t *testing.T) {
	d := aday(t)
	for _, e := range []logbook.Acting{
		&logbook.DosingStarted{OnStack: logbook.OnStack{Stack: "Z"}}, &logbook.MaskedEntry{OnStore: logbook.OnStore{Store: "Shed"}},
		&logbook.EntryConfirmed{OnStore: logbook.OnStore{Store: "Shed"}}, &logbook.HandReading{Stack: "Z", Line: "top", Unit: "ppm"},
	} {
		d.fresh()
		d.act(e, e.Head().Kind, 0)
		require.Len(t, of[*logbook.Refused](d.fresh()), 1)
	}
	assert.NotContains(t, d.state.Stacks, "Z")
	assert.NotContains(t, d.state.Stores, "Shed")
	s := New()
	e := &logbook.DosingStarted{OnStack: onA()}
	e.Time = epoch
	rs := s.Fold(e)
	require.Len(t, rs, 1)
	assert.Equal(t, "no-site", rs[0].(*logbook.Refused).Code)
}

func TestMaskedEntry(t *testing.T) {
	d := aday2(t)
	require.Equal(t, logbook.GateCheckOwed, d.gate())
	in := func(who string) {
		d.act(&logbook.MaskedEntry{OnStore: inBarn(), In: who, AtDoor: "P. Lindqvist"}, logbook.KindMaskedEntry, 0)
	}
	out := func(who string) {
		d.act(&logbook.MaskedExit{OnStore: inBarn(), Out: who}, logbook.KindMaskedExit, 0)
	}
	in("I. Okafor")
	in("S. Rao")
	assert.Equal(t, logbook.GateShut, d.gate())
	out("nobody we know")
	assert.Len(t, d.state.Stores["Long Barn"].Inside, 2, "a wrong name takes nobody out")
	out("S. Rao")
	assert.Equal(t, logbook.GateShut, d.gate())
	assert.Equal(t, "I. Okafor", d.state.Stores["Long Barn"].Inside[0].Name)
	d.fresh()
	d.act(&logbook.MaskedExit{OnStore: inBarn()}, logbook.KindMaskedExit, -10*time.Minute)
	assert.Len(t, of[*logbook.Refused](d.fresh()), 1, "an exit cannot be dated ahead")
	assert.Equal(t, logbook.GateShut, d.gate())
	out("")
	assert.Equal(t, logbook.GateCheckOwed, d.gate())
}

// A hand reading dated ahead cannot help the gate to open; one that found gas
// counts from now.
func TestHandReadingsDatedAhead(t *testing.T) {
	d := aday2(t)
	d.act(&logbook.HandReading{Store: "Long Barn", Point: "door", Value: 0.1, Unit: logbook.PPM}, logbook.KindHandReading, -time.Hour)
	assert.Empty(t, d.state.Stores["Long Barn"].Hands)
	d.act(&logbook.HandReading{Store: "Long Barn", Point: "door", Value: 2, Unit: logbook.PPM}, logbook.KindHandReading, -time.Hour)
	assert.Equal(t, d.now, d.state.Stores["Long Barn"].Hands["door"].At)
	assert.Contains(t, d.reasons(), gate.HandAbove)
}

// A hand reading on a line that names its store too is of the line, not of the air.
func TestHandReadingOnALineThatNamesItsStore(t *testing.T) {
	d := underGas(t)
	d.act(&logbook.HandReading{Store: "Long Barn", Stack: "A", Line: "Top", Value: 600, Unit: logbook.PPM}, logbook.KindHandReading, 0)
	assert.Empty(t, d.state.Stores["Long Barn"].Hands)
	assert.Equal(t, 600.0, d.state.Stacks["A"].Treatment.Lines[0].Hand.PPM)
}

func TestBackdatedAndFutureDatedFacts(t *testing.T) {
	d := underGas(t)
	d.fresh()
	d.act(&logbook.AiringStarted{OnStack: onA()}, logbook.KindAiringStarted, 40*time.Hour)
	assert.Subset(t, findings(d.fresh()), []string{"act-backdated", "airing-before-dose"})
	assert.Equal(t, logbook.GateShut, d.gate(), "what was opened before the gas was laid let none of it out: common practice")
	d.act(&logbook.AiringStarted{OnStack: onA()}, logbook.KindAiringStarted, 0)
	assert.Equal(t, logbook.GateAiring, d.gate())
	assert.Equal(t, d.now, d.state.Stacks["A"].Treatment.AiringFirst)
	e := underGas(t)
	e.fresh()
	e.act(&logbook.AiringStarted{OnStack: onA()}, logbook.KindAiringStarted, -time.Hour)
	assert.Contains(t, findings(e.fresh()), "future-dated")
	assert.Equal(t, e.now, e.state.Stacks["A"].Treatment.AiringSince)
}

// A stack that is aired again was not looked at since, whenever that airing is said to have
// begun: the clearance falls, and a hand reading beside it is owed. Common practice.
func TestAiredAgainAfterAClearance(t *testing.T) {
	for _, back := range []time.Duration{0, 10 * time.Hour} {
		d := cleared(t)
		d.run(11)
		require.Equal(t, logbook.GateCleared, d.gate())
		d.act(&logbook.AiringStarted{OnStack: onA()}, logbook.KindAiringStarted, back)
		assert.NotEqual(t, logbook.GateCleared, d.gate(), "%s ago", back)
		d.run(3)
		assert.Contains(t, d.reasons(), gate.HandTooOld)
	}
}

// An airing from before phosphide was laid once more, whatever that was called, let nothing of
// it out: common practice.
func TestAiringFromBeforeMoreWasLaid(t *testing.T) {
	for kind, more := range map[logbook.Kind]logbook.Acting{
		logbook.KindDoseAdded:     &logbook.DoseAdded{OnStack: onA(), PhosphineG: 100},
		logbook.KindDosingStarted: &logbook.DosingStarted{OnStack: onA(), StoreEmpty: true},
		logbook.KindDosePlaced:    &logbook.DosePlaced{OnStack: onA(), Product: tablets(30)},
	} {
		d := underGas(t)
		d.run(2)
		d.act(more, kind, 0)
		d.fresh()
		d.act(&logbook.AiringStarted{OnStack: onA()}, logbook.KindAiringStarted, time.Hour)
		assert.Contains(t, findings(d.fresh()), "airing-before-dose", kind)
		assert.Equal(t, logbook.GateShut, d.gate(), kind)
	}
}

// A second start that is dated before the first does not take away what the first laid: an
// airing between the two aired nothing of it. Common practice.
func TestAStartDatedBackLeavesWhatWasLaid(t *testing.T) {
	d := underGas(t)
	d.run(1)
	d.act(&logbook.TreatmentStarted{OnStack: onA(), Treatment: "A-2", Protocol: "five-day", PhosphineG: 200, VolumeM3: 150, GrainTempC: 27}, logbook.KindTreatmentStarted, 100*time.Hour)
	d.fresh()
	d.act(&logbook.AiringStarted{OnStack: onA()}, logbook.KindAiringStarted, 90*time.Hour)
	assert.Contains(t, findings(d.fresh()), "airing-before-dose")
	assert.Equal(t, logbook.GateShut, d.gate())
}

// What is added in dosing outlasts an airing from before: common practice.
func TestAiringFromBeforeMoreWasLaidInDosing(t *testing.T) {
	d, on := underGas(t), logbook.OnStack{Stack: "B"}
	d.act(&logbook.DosingStarted{OnStack: on, StoreEmpty: true}, logbook.KindDosingStarted, 4*time.Hour)
	d.act(&logbook.DoseAdded{OnStack: on, PhosphineG: 100}, logbook.KindDoseAdded, 0)
	d.act(&logbook.TreatmentStarted{OnStack: on, Treatment: "B-1", Protocol: "five-day", PhosphineG: 200, VolumeM3: 150, GrainTempC: 27}, logbook.KindTreatmentStarted, 3*time.Hour)
	d.fresh()
	d.act(&logbook.AiringStarted{OnStack: on}, logbook.KindAiringStarted, time.Hour)
	assert.Contains(t, findings(d.fresh()), "airing-before-dose")
	assert.Equal(t, logbook.PhaseExposure, d.state.Stacks["B"].Treatment.Phase)
}

// Phosphide that is laid while no exposure runs shuts the gate, whatever it is called.
func TestDoseAddedWhileAiring(t *testing.T) {
	d := cleared(t)
	d.act(&logbook.DoseAdded{OnStack: onA(), PhosphineG: 100}, logbook.KindDoseAdded, 0)
	assert.Equal(t, logbook.GateShut, d.gate())
	assert.Contains(t, d.reasons(), gate.Dosing)
}

// A treatment that another replaces gets the verdict it has earned.
func TestReplacedTreatmentGetsItsVerdict(t *testing.T) {
	d := underGas(t)
	d.run(30)
	d.fresh()
	d.act(&logbook.TreatmentStarted{OnStack: onA(), Treatment: "A-2", Protocol: "five-day", PhosphineG: 200, VolumeM3: 150, GrainTempC: 27}, logbook.KindTreatmentStarted, 0)
	var told []string
	for _, p := range of[*logbook.Phase](d.fresh()) {
		told = append(told, p.Treatment+" "+p.Phase+" "+p.Verdict)
	}
	assert.Equal(t, []string{"A-1 closed failed", "A-2 exposure provisional"}, told)
	assert.Equal(t, logbook.GateShut, d.gate())
}

func TestDuplicateNames(t *testing.T) {
	d := cleared(t)
	d.doseOf("five-day", "A-1")
	assert.Contains(t, findings(d.fresh()), "duplicate-treatment")
	assert.Equal(t, "A-1 (2)", d.state.Stacks["A"].Treatment.Name)
}

// An abandoned stack is under gas until it was aired.
func TestAbandonedStaysUnderGas(t *testing.T) {
	d := underGas(t)
	d.act(&logbook.TreatmentAbandoned{OnStack: onA(), Why: "sheet torn"}, logbook.KindAbandoned, 0)
	d.run(200)
	assert.Equal(t, []string{logbook.PhaseExposure, logbook.VerdictAbandoned}, d.phase())
	assert.Equal(t, logbook.GateShut, d.gate())
	assert.Contains(t, d.reasons(), gate.UnderGas)
	d.fresh()
	d.declare()
	assert.Len(t, of[*logbook.Refused](d.fresh()), 1)
}

// `twice`: the second exposure starts 10 days after the first's exposure ended; it
// is the last.
func TestTwice(t *testing.T) {
	first := func() *day {
		d := aday(t)
		d.declare()
		d.dose("twice")
		d.level["a1"], d.level["a2"] = flat(600), flat(500)
		d.run(121)
		d.air()
		d.run(3)
		d.fresh()
		return d
	}
	d := first()
	k := d.state.Stacks["A"]
	aired := k.Treatment.AiringFirst
	assert.Equal(t, []logbook.Time{aired.Add(240 * time.Hour), aired.Add(288 * time.Hour)}, []logbook.Time{k.Treatment.After.SecondFrom, k.Treatment.After.SecondTill})
	d.run(188)
	assert.Empty(t, alarms(d.fresh(), alarm.FollowUpDue))
	d.run(2)
	rs := d.fresh()
	assert.Equal(t, []string{"second-treatment raised"}, alarms(rs, alarm.FollowUpDue), "a reminder two days ahead")
	assert.Equal(t, logbook.PriorityLow, of[*logbook.Alarm](rs)[0].Priority)
	d.run(48)
	rs = d.fresh()
	assert.Equal(t, []string{"second-treatment raised"}, alarms(rs, alarm.FollowUpDue))
	assert.Equal(t, logbook.PriorityMedium, of[*logbook.Alarm](rs)[0].Priority)
	d.doseOf("twice", "A-2")
	rs = d.fresh()
	assert.Equal(t, []string{"second-treatment cleared"}, alarms(rs, alarm.FollowUpDue))
	assert.NotContains(t, findings(rs), "second-treatment-off-window")
	d.run(121)
	d.air()
	assert.Nil(t, d.state.Stacks["A"].firstOfPair(), "there is no third")
	early := first()
	early.doseOf("twice", "A-2")
	assert.Contains(t, findings(early.fresh()), "second-treatment-off-window")
	late := first()
	late.now = late.now.Add(300 * time.Hour)
	late.doseOf("twice", "A-2")
	assert.Contains(t, findings(late.fresh()), "second-treatment-off-window")
}

func TestUnknownProtocolGetsTheStrictest(t *testing.T) {
	d := aday(t)
	d.dose("three-day")
	x := d.state.Stacks["A"].Treatment
	assert.Equal(t, []float64{192, 150}, []float64{x.Protocol.Hours, x.EndPPM()})
}

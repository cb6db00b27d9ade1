package rules

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules/alarm"
	"undersheet/rules/followup"
	"undersheet/rules/treatment"
)

// quick lets time pass with few entries: nothing is read.
func (d *day) quick(hours float64) {
	d.now = d.now.Add(treatment.Hours(hours))
	d.commit(d.stamp(&logbook.Clock{}, logbook.KindClock, 0))
}

// breathe reads the air of the barn every 20 minutes.
func (d *day) breathe(hours, inside float64) {
	for end := d.now.Add(treatment.Hours(hours)); d.now < end; {
		d.now = d.now.Add(20 * time.Minute)
		for _, ch := range []string{"door", "office"} {
			d.read(ch, 0.02)
		}
		d.read("inside", inside+float64(d.seq%2)*0.01)
	}
}

// aired clears the barn after an airing.
func (d *day) aired() {
	d.air()
	d.breathe(3, 0.02)
	d.hand("beside A", 0.1)
	d.hand("beside B", 0.1)
	d.confirm()
}

// treated lets stack A hold the end level for long enough, and clears the barn.
func (d *day) treated(name string) {
	d.doseOf("five-day", name)
	d.quick(121)
	d.lines(300)
	d.aired()
}

// lines reads both lines of stack A by hand.
func (d *day) lines(ppm float64) {
	for _, line := range []string{"top", "low"} {
		d.act(&logbook.HandReading{Stack: "A", Line: line, Value: ppm, Unit: logbook.PPM, Method: "detector tube"}, logbook.KindHandReading, 0)
	}
}

// off lets a named person write a follow-up off.
func (d *day) off(treatment, kind string) {
	d.act(&logbook.FollowUpWrittenOff{OnStack: onA(), Treatment: treatment, FollowUp: kind, Why: "the depot is given up"}, logbook.KindWrittenOff, 0)
}

// closed is a day on which stack A was treated and nothing is owed any more.
func closed(t *testing.T) *day {
	d := aday(t)
	d.declare()
	d.treated("A-1")
	require.Equal(t, logbook.GateCleared, d.gate())
	d.quick(49)
	d.inspect(logbook.InsectsNone)
	require.Equal(t, []string{logbook.PhaseWithholding, logbook.VerdictProvisional}, d.phase(), "the bags are not read yet")
	d.bags(0.1)
	require.Equal(t, []string{logbook.PhaseClosed, logbook.VerdictHeld}, d.phase())
	require.Empty(t, d.owes())
	return d
}

// phases are the phases and verdicts that were recorded.
func phases(rs []logbook.Recorded) (out []string) {
	for _, p := range of[*logbook.Phase](rs) {
		out = append(out, p.Treatment+" "+p.Phase+" "+p.Verdict)
	}
	return out
}

// What comes to light after a treatment was closed opens it again.
func TestWhatIsOwedLateOpensATreatmentAgain(t *testing.T) {
	torn := func(d *day) { d.act(&logbook.SheetTorn{OnStack: onA()}, logbook.KindSheetTorn, 0) }
	mended := func(d *day) {
		d.act(&logbook.SheetRepaired{OnStack: onA(), Found: "a seam"}, logbook.KindSheetRepaired, 0)
	}
	gas := func(d *day) { d.bags(5) }
	clear := func(d *day) { d.quick(2); d.bags(0.1) }
	for name, x := range map[string]struct {
		late, settled func(*day)
		owed          string
	}{
		"torn sheet":  {torn, mended, logbook.FollowSheetRepair},
		"gas in bags": {gas, clear, logbook.FollowBagGas},
	} {
		t.Run(name, func(t *testing.T) {
			d := closed(t)
			d.fresh()
			x.late(d)
			assert.Equal(t, []string{"A-1 " + x.owed}, d.owes())
			assert.Equal(t, []string{"A-1 withholding provisional"}, phases(d.fresh()))
			assert.Equal(t, logbook.PhaseClosed, d.state.Stacks["A"].Treatment.GasPhase(), "of its gas nothing is known anew")
			x.settled(d)
			assert.Equal(t, []string{"A-1 closed held"}, phases(d.fresh()))
		})
	}
}

// A second look that the site asks for from now on opens nothing that was closed.
func TestANewSecondLookOpensNothingThatWasClosed(t *testing.T) {
	d := closed(t)
	d.reconfigure(func(s *logbook.Site) { s.Settings.SecondLook = logbook.Duration(30 * 24 * time.Hour) })
	assert.Empty(t, d.owes())
	assert.Equal(t, []string{logbook.PhaseClosed, logbook.VerdictHeld}, d.phase())
}

// Live insects make a treatment a failed one: also one that was closed, that another
// followed, or that was given up.
func TestLiveInsectsFailAnyTreatment(t *testing.T) {
	d := closed(t)
	d.dose("five-day")
	d.fresh()
	d.act(&logbook.GrainInspected{OnStack: onA(), Treatment: "A-1", Insects: logbook.InsectsLive, Method: "sieved samples"}, logbook.KindInspected, 0)
	assert.Equal(t, []string{"A-1 closed failed"}, phases(d.fresh()))
	assert.Contains(t, d.state.alarmKeys(), AlarmKey{Alarm: alarm.Resistance, Store: "Long Barn", Stack: "A"})

	d = closed(t)
	d.inspect(logbook.InsectsNone)
	d.act(&logbook.SheetTorn{OnStack: onA()}, logbook.KindSheetTorn, 0)
	d.act(&logbook.TreatmentAbandoned{OnStack: onA(), Why: "sheet lost"}, logbook.KindAbandoned, 0)
	assert.Equal(t, []string{logbook.PhaseWithholding, logbook.VerdictAbandoned}, d.phase())
	d.inspect(logbook.InsectsLive)
	assert.Equal(t, []string{logbook.PhaseWithholding, logbook.VerdictFailed}, d.phase())
}

// The suspicion of resistance stands, whatever is found after another treatment whose
// gas did not hold.
func TestSuspicionOfResistanceIsNotTakenAway(t *testing.T) {
	d := closed(t)
	d.inspect(logbook.InsectsLive)
	d.dose("five-day")
	d.quick(121)
	d.aired()
	d.act(&logbook.GrainInspected{OnStack: onA(), Treatment: "A-1", Insects: logbook.InsectsLive, Method: "sieved samples"}, logbook.KindInspected, 0)
	resisted := AlarmKey{Alarm: alarm.Resistance, Store: "Long Barn", Stack: "A"}
	require.Contains(t, d.state.alarmKeys(), resisted)
	d.inspect(logbook.InsectsLive)
	assert.Contains(t, d.state.alarmKeys(), resisted)
	assert.Contains(t, findings(d.fresh()), alarm.LiveInsects)
}

// While insects of a stack are suspected of resistance, no word of more gas stands beside
// an end level at risk.
func TestNoMoreGasIsAdvisedWhereInsectsResist(t *testing.T) {
	d := closed(t)
	d.dose("five-day")
	d.level["a1"], d.level["a2"] = falling(d, 400), falling(d, 400)
	d.run(30)
	outlook := func() *logbook.Outlook { return d.state.View().Stores[0].Stacks[0].Outlook }
	require.NotNil(t, outlook())
	require.True(t, outlook().TopUp.Known)
	at := func() string {
		return d.state.Alarms[AlarmKey{Alarm: alarm.AtRisk, Store: "Long Barn", Stack: "A"}].Record.Code
	}
	require.Empty(t, at())
	d.act(&logbook.GrainInspected{OnStack: onA(), Treatment: "A-1", Insects: logbook.InsectsLive, Method: "sieved samples"}, logbook.KindInspected, 0)
	d.run(1.1)
	require.NotNil(t, outlook(), "a longer exposure may still help")
	assert.False(t, outlook().TopUp.Known)
	assert.Equal(t, alarm.CodeResisted, at())
}

// falling is gas that is lost at 1 per day from now on.
func falling(d *day, ppm float64) func(logbook.Time) float64 {
	from := d.now
	return func(at logbook.Time) float64 { return flat(ppm)(at) * math.Exp(-at.Hours(from)/24) }
}

// Gas that was there when an instrument failed holds the grain back until the store was
// cleared again, and withholding runs from then.
func TestWithholdingWaitsForTheNextClearance(t *testing.T) {
	d := aday(t)
	d.declare()
	d.dose("five-day")
	d.quick(121)
	d.aired()
	require.Equal(t, logbook.GateCleared, d.gate())
	d.breathe(1, 0.5)
	d.now = d.now.Add(time.Minute)
	d.commit(d.stamp(&logbook.Reading{Channel: "inside", Unit: logbook.PPM, Fault: "self test"}, logbook.KindReading, 0))
	d.quick(1)
	d.quick(100)
	k := d.state.View().Stores[0].Stacks[0]
	assert.True(t, k.NotToIssue)
	assert.Zero(t, k.IssueFrom)
	d.breathe(1, 0.02)
	assert.Equal(t, logbook.GateCheckOwed, d.gate())
	d.quick(50)
	assert.Equal(t, logbook.PhaseWithholding, d.state.Stacks["A"].Treatment.GasPhase(), "fixed points clear no store")
	d.breathe(1, 0.02)
	d.hand("beside A", 0.02)
	d.confirm()
	require.Equal(t, logbook.GateCleared, d.gate())
	from := d.now
	d.quick(47)
	assert.Equal(t, logbook.PhaseWithholding, d.state.Stacks["A"].Treatment.GasPhase())
	d.quick(2)
	assert.Equal(t, logbook.PhaseClosed, d.state.Stacks["A"].Treatment.GasPhase())
	assert.InDelta(t, 48, d.state.Stacks["A"].Treatment.Withheld.Hours(from), 1)
}

// Of a treatment that is struck from the record nothing is owed, and that is recorded.
func TestNothingIsOwedOfWhatIsStruck(t *testing.T) {
	d := aday(t)
	d.declare()
	d.air()
	require.NotEmpty(t, d.owes())
	d.correct(d.seqOfKind(logbook.KindAiringStarted), nil, 0)
	require.Nil(t, d.state.Stacks["A"].Treatment)
	newest := map[string]string{}
	for _, f := range of[*logbook.FollowUp](d.made) {
		newest[f.FollowUp] = f.State + " " + f.Result
	}
	require.NotEmpty(t, newest)
	for kind, is := range newest {
		assert.Equal(t, "written-off "+followup.NoLonger, is, kind)
	}
}

// Two treatments that were given no name are told apart, and neither makes records over
// and over.
func TestTreatmentsWithoutNamesAreToldApart(t *testing.T) {
	d := aday(t)
	d.declare()
	for range 2 {
		d.act(&logbook.DosingStarted{OnStack: onA(), StoreEmpty: true}, logbook.KindDosingStarted, 0)
		d.act(&logbook.CagesPlaced{OnStack: onA(), Count: 4, Insects: "rice weevil, all stages"}, logbook.KindCagesPlaced, 0)
		d.quick(50)
		d.aired()
		d.quick(49)
	}
	d.fresh()
	d.quick(1)
	d.quick(1)
	assert.Empty(t, d.fresh())
	named := map[string]bool{}
	for _, f := range d.state.View().FollowUps {
		if f.FollowUp == logbook.FollowCagesRetrieval {
			named[f.Treatment] = true
			d.off(f.Treatment, f.FollowUp)
		}
	}
	assert.Len(t, named, 2)
	for called := range named {
		assert.NotContains(t, d.owes(), called+" "+logbook.FollowCagesRetrieval)
	}
}

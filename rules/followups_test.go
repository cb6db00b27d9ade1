package rules

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"undersheet/logbook"
	"undersheet/rules/alarm"
)

// What is checked here is the project's contract and common practice.

// owes lists what is open of stack A, with its treatment.
func (d *day) owes() (open []string) {
	for _, f := range d.state.View().FollowUps {
		if f.State == logbook.FollowOpen && f.Stack == "A" {
			open = append(open, f.Treatment+" "+f.FollowUp)
		}
	}
	slices.Sort(open)
	return open
}

func (d *day) followUp(kind string) FollowUpView {
	for _, f := range d.state.View().FollowUps {
		if f.FollowUp == kind {
			return f
		}
	}
	d.t.Fatalf("no %s is owed", kind)
	return FollowUpView{}
}

func (d *day) judge(after, result string) {
	d.act(&logbook.CagesJudged{OnStack: onA(), After: after, Result: result}, logbook.KindCagesJudged, 0)
}

func (d *day) writeOff(kind string) []string {
	d.fresh()
	d.act(&logbook.FollowUpWrittenOff{OnStack: onA(), FollowUp: kind, Why: "the grain is gone"}, logbook.KindWrittenOff, 0)
	rs := d.fresh()
	said := findings(rs)
	for _, r := range of[*logbook.Refused](rs) {
		said = append(said, r.Code)
		for _, reason := range r.Reasons {
			said = append(said, reason.Code+" "+reason.About)
		}
	}
	return said
}

// The treatment lasts until the last jar is empty, and its gate does not ask for longer.
func TestUntilTheLastJar(t *testing.T) {
	d := aday(t, func(s *logbook.Site) { s.FollowUps = map[string]logbook.Following{"jar": {Owner: "I. Okafor"}} })
	d.act(&logbook.CagesPlaced{OnStack: onA(), Count: 14, Insects: "beetles of all stages"}, logbook.KindCagesPlaced, 0)
	d.declare()
	d.dose("five-day")
	d.run(114)
	d.level["a1"], d.level["a2"] = flat(600), flat(500)
	d.run(6)
	d.air()
	d.level["a1"], d.level["a2"] = flat(0), flat(0)
	require.Equal(t, []string{"A-1 bag-gas", "A-1 cages-judgement", "A-1 cages-retrieval", "A-1 inspection", "A-1 jar", "A-1 withholding"}, d.owes())
	assert.Zero(t, d.followUp(logbook.FollowInspection).Due, "it waits for the clearance")
	assert.True(t, d.followUp(logbook.FollowInspection).InStore)
	assert.False(t, d.followUp(logbook.FollowJar).InStore)
	d.run(2.5)
	d.hand("beside A", 0.1)
	d.confirm()
	at := d.now.Std()
	assert.Equal(t, logbook.At(time.Date(at.Year(), at.Month(), at.Day(), 16, 30, 0, 0, time.UTC)), d.followUp(logbook.FollowInspection).Due, "late that afternoon")
	d.act(&logbook.CagesRetrieved{OnStack: onA(), Count: 13}, logbook.KindCagesRetrieved, 0)
	assert.Contains(t, findings(d.fresh()), "cages-missing")
	out := d.now
	d.judge(logbook.JudgedExposure, logbook.InsectsNone)
	d.inspect(logbook.InsectsNone)
	d.run(49)
	d.bags(0.1)
	require.Equal(t, []string{"A-1 jar"}, d.owes())
	assert.Equal(t, []string{logbook.PhaseWithholding, logbook.VerdictProvisional}, d.phase())
	d.hand("beside A", 0.1)
	d.confirm()
	d.judge(logbook.JudgedMonth, logbook.InsectsNone)
	assert.Contains(t, findings(d.fresh()), "jar-judged-early")
	d.run(28*24 - 51)
	assert.Empty(t, alarms(d.fresh(), alarm.FollowUpDue))
	d.run(3)
	rs := d.fresh()
	require.Equal(t, []string{"jar raised"}, alarms(rs, alarm.FollowUpDue), "two days ahead")
	a := of[*logbook.Alarm](rs)[0]
	assert.Equal(t, &logbook.Owed{Treatment: "A-1", Due: out.Add(30 * 24 * time.Hour), Owner: "I. Okafor"}, a.Owed, "a month in the jar")
	assert.Equal(t, logbook.PriorityLow, a.Priority)
	d.run(49)
	assert.Equal(t, logbook.PriorityMedium, of[*logbook.Alarm](d.fresh())[0].Priority)
	d.run(25)
	assert.Equal(t, logbook.PriorityHigh, of[*logbook.Alarm](d.fresh())[0].Priority, "overdue")
	d.hand("beside A", 0.1)
	d.confirm()
	d.run(25)
	assert.Equal(t, logbook.GateCleared, d.gate(), "no jar asks for a confirmation anew")
	d.judge(logbook.JudgedMonth, logbook.InsectsNone)
	assert.Equal(t, []string{logbook.PhaseClosed, logbook.VerdictHeld}, d.phase())
	rs = d.fresh()
	assert.Equal(t, []string{"jar cleared"}, alarms(rs, alarm.FollowUpDue))
	told := of[*logbook.FollowUp](rs)
	require.Len(t, told, 1)
	assert.Equal(t, []string{"jar", "done", logbook.InsectsNone, someone.By}, []string{told[0].FollowUp, told[0].State, told[0].Result, told[0].By})
}

// Live insects make a treatment a failed one, however good its gas was; and where the
// end level held, no more of the same gas is spoken of.
func TestLiveInsectsFail(t *testing.T) {
	d := cleared(t)
	d.fresh()
	d.inspect(logbook.InsectsLive)
	assert.Equal(t, []string{logbook.PhaseWithholding, logbook.VerdictFailed}, d.phase())
	rs := d.fresh()
	assert.Contains(t, findings(rs), "suspected-resistance")
	assert.Equal(t, []string{"A-1 raised"}, alarms(rs, alarm.Resistance))
	d.run(49)
	d.bags(0.1)
	assert.Equal(t, []string{logbook.PhaseClosed, logbook.VerdictFailed}, d.phase())
	d.fresh()
	d.run(24)
	assert.Empty(t, alarms(d.fresh(), alarm.Resistance), "it stands on")
	d.act(&logbook.GrainIssued{OnStack: onA(), Tonnes: 20}, logbook.KindGrainIssued, 0)
	assert.Equal(t, []string{"issued-with-live-insects"}, findings(d.fresh()))
	d.doseOf("five-day", "A-2")
	assert.Empty(t, alarms(d.fresh(), alarm.Resistance), "another treatment takes no suspicion away")

	e := underGas(t)
	e.run(30)
	e.air()
	e.fresh()
	e.inspect(logbook.InsectsLive)
	rs = e.fresh()
	assert.Contains(t, findings(rs), "live-insects", "the end level did not hold")
	assert.Empty(t, alarms(rs, alarm.Resistance))
	assert.Equal(t, []string{"A-1 raised"}, alarms(rs, alarm.LiveInsects))
	e.doseOf("five-day", "A-2")
	assert.Equal(t, []string{"A-1 cleared"}, alarms(e.fresh(), alarm.LiveInsects), "treated again, as it was to be")
}

// Gas found in bags keeps the grain back, and no word writes that off.
func TestGasInBags(t *testing.T) {
	d := cleared(t)
	k := func() StackView { return d.state.View().Stores[0].Stacks[0] }
	assert.True(t, k().NotToIssue)
	assert.Equal(t, d.now.Add(48*time.Hour), k().IssueFrom, "India: a waiting period of 48 h (training slides of the plant quarantine service)")
	d.inspect(logbook.InsectsNone)
	d.run(49)
	assert.False(t, k().NotToIssue)
	d.fresh()
	d.act(&logbook.GrainIssued{OnStack: onA(), Tonnes: 20, ClosedVehicle: true}, logbook.KindGrainIssued, 0)
	assert.Equal(t, []string{"issued-before-bag-gas"}, findings(d.fresh()))
	d.bags(0.4)
	assert.True(t, k().NotToIssue)
	d.bags(0.1)
	assert.Equal(t, []string{"A-1 bag-gas"}, d.owes(), "another bag of the same look")
	assert.Equal(t, []string{"not-written-off", "owed/bag-gas A-1"}, d.writeOff(logbook.FollowBagGas))
	assert.Equal(t, []string{"not-owed", "owed/bag-gas A-1"}, d.writeOff(logbook.FollowJar))
	d.run(1.5)
	d.bags(0.1)
	assert.Empty(t, d.owes())
	assert.Equal(t, []string{logbook.PhaseClosed, logbook.VerdictHeld}, d.phase())
	assert.Equal(t, []string{"not-owed", "owed-nothing "}, d.writeOff(logbook.FollowBagGas))
	e := cleared(t)
	e.fresh()
	e.act(&logbook.GrainIssued{OnStack: onA(), Tonnes: 20}, logbook.KindGrainIssued, 0)
	assert.Equal(t, []string{"issued-in-withholding"}, findings(e.fresh()))
	assert.Equal(t, []string{"not-written-off", "owed/withholding A-1", "owed/bag-gas A-1", "owed/inspection A-1"}, e.writeOff(logbook.FollowWithholding))
}

// Earlier versions recorded a write-off of what was not owed as accepted: their logs fold
// as they did, it changes nothing.
func TestWriteOffThatWasAcceptedOnce(t *testing.T) {
	d := cleared(t)
	owes := d.owes()
	d.writeOff(logbook.FollowJar)
	d.state.Fold(&logbook.Accepted{Header: logbook.Header{Kind: logbook.KindAccepted, Time: d.now, Received: d.now}, Entry: logbook.KindWrittenOff, Stack: "A"})
	assert.Equal(t, owes, d.owes())
}

// Gas that comes back after withholding had ended, while something is still owed, lets
// it run anew.
func TestReboundAfterWithholding(t *testing.T) {
	d := cleared(t)
	d.run(49)
	d.hand("beside A", 0.1)
	d.confirm()
	require.False(t, d.state.View().Stores[0].Stacks[0].NotToIssue)
	d.now = d.now.Add(time.Minute)
	d.read("inside", 0.4)
	k := d.state.View().Stores[0].Stacks[0]
	assert.True(t, k.NotToIssue)
	assert.Zero(t, k.IssueFrom, "not before the gas is gone")
	d.run(1)
	assert.Zero(t, d.state.View().Stores[0].Stacks[0].IssueFrom, "not before the store was cleared again")
	d.hand("beside A", 0.1)
	d.confirm()
	require.Equal(t, logbook.GateCleared, d.gate())
	k = d.state.View().Stores[0].Stacks[0]
	assert.InDelta(t, 48, k.IssueFrom.Hours(d.now), 0.1)
	assert.Contains(t, d.owes(), "A-1 withholding")
}

// The first of a pair is kept on with what it is owed when the second begins, and a
// late result finds it by its name.
func TestPairIsKeptUntilItsLastFollowUp(t *testing.T) {
	d := aday(t)
	d.declare()
	d.dose("twice")
	d.run(115)
	d.level["a1"], d.level["a2"] = flat(600), flat(500)
	d.run(6)
	d.air()
	d.level["a1"], d.level["a2"] = flat(0), flat(0)
	d.run(2.5)
	d.hand("beside A", 0.1)
	d.confirm()
	d.run(238)
	d.bags(0.1)
	assert.Equal(t, []string{"A-1 inspection", "A-1 second-treatment"}, d.owes())
	d.fresh()
	d.doseOf("twice", "A-2")
	assert.Equal(t, []string{"A-1 inspection"}, d.owes())
	for _, p := range of[*logbook.Phase](d.fresh()) {
		assert.NotEqual(t, logbook.PhaseClosed, p.Phase)
	}
	assert.Equal(t, logbook.GateShut, d.gate())
	d.act(&logbook.GrainInspected{OnStack: onA(), Treatment: "A-1", Insects: logbook.InsectsNone, Method: "sieved, found on paper"}, logbook.KindInspected, 24*time.Hour)
	var told []string
	for _, p := range of[*logbook.Phase](d.fresh()) {
		told = append(told, p.Treatment+" "+p.Phase+" "+p.Verdict)
	}
	assert.Equal(t, []string{"A-1 closed held"}, told)
	assert.Equal(t, "A-2", d.state.Stacks["A"].Treatment.Name)
	assert.Equal(t, logbook.PhaseExposure, d.state.Stacks["A"].Treatment.Phase)
}

// A leak asks for a look at the sheet before it is used again.
func TestTornSheet(t *testing.T) {
	d := underGas(t)
	d.act(&logbook.SheetTorn{OnStack: onA(), Where: "seam"}, logbook.KindSheetTorn, 0)
	assert.Equal(t, []string{"A-1 sheet-repair"}, d.owes())
	d.run(1)
	d.air()
	d.fresh()
	d.doseOf("five-day", "A-2")
	assert.Contains(t, findings(d.fresh()), "sheet-not-repaired")
	d.act(&logbook.SheetRepaired{OnStack: onA(), Found: "seam welded"}, logbook.KindSheetRepaired, 0)
	assert.Empty(t, d.owes())
}

// Whatever happens, in whatever order: no treatment is recorded as closed while something
// is owed of it, none is closed before the rules without follow-ups would have closed it,
// and one with live insects is never held.
func TestNothingClosesWithAnOpenFollowUp(t *testing.T) {
	closed := 0
	rapid.Check(t, func(t *rapid.T) {
		g := &script{t: t, now: epoch, airy: true, steps: []time.Duration{10 * time.Minute, 40 * time.Minute, 5 * time.Hour, 30 * time.Hour}}
		d := newDaemon(testSite())
		seen := 0
		open := map[string]map[string]bool{} // by stack and treatment: what the records say is owed
		for range 60 {
			for _, e := range g.next() {
				d.commit(e)
			}
			for _, r := range d.made[seen:] {
				switch r := r.(type) {
				case *logbook.FollowUp:
					key := r.Stack + " " + r.Treatment
					if open[key] == nil {
						open[key] = map[string]bool{}
					}
					open[key][r.FollowUp] = r.State == logbook.FollowOpen
				case *logbook.Phase:
					if r.Phase != logbook.PhaseClosed {
						continue
					}
					closed++
					for kind, owed := range open[r.Stack+" "+r.Treatment] {
						if owed && r.Treatment != "" {
							t.Fatalf("%s of stack %s is closed, and %s is owed", r.Treatment, r.Stack, kind)
						}
					}
				}
			}
			seen = len(d.made)
			for name, k := range d.state.Stacks {
				for _, p := range k.all() {
					if p.Treatment.Live() && p.Treatment.Verdict == logbook.VerdictHeld {
						t.Fatalf("%s of stack %s held, with live insects", p.Treatment.Name, name)
					}
				}
				if len(k.Owing) > keepPast {
					t.Fatalf("stack %s remembers %d treatments", name, len(k.Owing))
				}
			}
		}
	})
	require.Positive(t, closed, "no random treatment was ever closed: the test shows nothing")
}

// Whatever is recorded of follow-ups while withholding runs, no gate stands otherwise
// than without it.
func TestFollowUpsOpenNoGate(t *testing.T) {
	afterwards := []logbook.Kind{logbook.KindInspected, logbook.KindCagesPlaced, logbook.KindCagesRetrieved, logbook.KindCagesJudged, logbook.KindSheetTorn, logbook.KindSheetRepaired,
		logbook.KindWrittenOff, logbook.KindGrainIssued, logbook.KindCanister}
	compared := 0
	rapid.Check(t, func(t *rapid.T) {
		g := &script{t: t, now: epoch, airy: true, restore: true}
		with, without := New(), New()
		site := &logbook.SiteConfigured{Site: testSite()}
		site.Kind, site.Time, site.Received = logbook.KindSiteConfigured, epoch, epoch
		play(with, site)
		play(without, site)
		for range 60 {
			for _, e := range g.next() {
				play(with, e)
				if h, bags := e.(*logbook.HandReading); slices.Contains(afterwards, e.Head().Kind) || bags && h.Where == logbook.WhereBags {
					e = &logbook.Clock{Header: logbook.Header{Kind: logbook.KindClock, Time: g.now, Received: g.now}} // time passes all the same
				}
				play(without, e)
				if ended(with) || ended(without) {
					return
				}
				for _, store := range []string{"Long Barn", "Brick Store"} {
					a, b := with.Stores[store].Gate, without.Stores[store].Gate
					if !sameGate(&a, &b) {
						t.Fatalf("the gate of %s is %s %v, and without what was recorded afterwards %s %v", store, a.State, a.Reasons, b.State, b.Reasons)
					}
					if a.State == logbook.GateCleared || a.State == logbook.GateCheckOwed {
						compared++
					}
				}
			}
		}
	})
	require.Positive(t, compared, "no random gate was ever cleared: the test shows nothing")
}

// ended reports whether withholding has ended at a stack.
func ended(s *State) bool {
	for _, k := range s.Stacks {
		if k.Treatment != nil && k.Treatment.Withheld != 0 {
			return true
		}
	}
	return false
}

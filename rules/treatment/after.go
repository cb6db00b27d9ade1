package treatment

import (
	"cmp"

	"undersheet/logbook"
	"undersheet/rules/followup"
)

// GasPhase is where the treatment stands for whoever enters: as its phase, but closed
// once withholding has ended. What is still owed then is no matter of gas.
func (t *Treatment) GasPhase() string {
	if t.Phase == logbook.PhaseWithholding && t.Withheld != 0 {
		return logbook.PhaseClosed
	}
	return t.Phase
}

// Called is what the treatment goes by in what is owed of it: its name, or when dosing
// began where it was given none.
func (t *Treatment) Called() string { return cmp.Or(t.Name, t.DosingAt.String()) }

// GasFound notes gas in the air of the store now, or that the store was cleared again:
// until then withholding does not run, and then it runs anew.
func (t *Treatment) GasFound(now logbook.Time, gas bool) {
	if t.Phase != logbook.PhaseWithholding {
		return
	}
	if gas || t.GasBack {
		t.ClearedAt, t.Withheld = now, 0
	}
	t.GasBack = gas
}

// Inspect notes what an inspection of the grain found, and reports whether it counts:
// one made before the stack was aired does not. Live insects, once found, stay found.
func (t *Treatment) Inspect(found followup.Done) bool {
	if t.Started == 0 || t.AiringFirst == 0 || found.At < t.AiringFirst {
		return false
	}
	t.After.Look(found)
	if t.Inspected != logbook.InsectsLive {
		t.Inspected = found.Result
	}
	t.settle(false)
	return true
}

// JudgeCages notes how test insects were found, and reports whether there were any.
func (t *Treatment) JudgeCages(after string, found followup.Done) bool {
	if t.After.Cages == nil {
		return false
	}
	t.After.Cages.Judge(after, found)
	t.settle(false)
	return true
}

// Live reports whether live insects were found after the exposure: in the grain, in
// the cages, or in their samples a month later.
func (t *Treatment) Live() bool {
	c := t.After.Cages
	return t.Inspected == logbook.InsectsLive ||
		c != nil && (c.Exposure.Result == logbook.InsectsLive || c.Month.Result == logbook.InsectsLive)
}

// Resisted reports whether insects lived through gas that held the end level.
func (t *Treatment) Resisted() bool {
	held, _ := t.held()
	return held && !t.Early() && t.Live()
}

// Abandon gives the treatment up. Live insects make it a failed one all the same.
func (t *Treatment) Abandon() {
	t.Verdict = logbook.VerdictAbandoned
	t.settle(false)
}

// FollowUps are what is owed of the treatment; p is what was laid under
// its sheet.
func (t *Treatment) FollowUps(g *followup.Figures, p followup.Product) []followup.Item {
	return followup.Of(&t.After, &followup.Moments{Started: t.Started != 0, Closed: t.Phase == logbook.PhaseClosed, Aired: t.AiringFirst, First: t.FirstCleared, Cleared: t.ClearedAt,
		GasBack: t.GasBack, Withheld: t.Withheld, Replaced: t.Replaced, Product: p}, g)
}

// Replace notes that another treatment of the stack begins: of the gas of this one
// nothing more is to come, and where that has failed it is said at once.
func (t *Treatment) Replace(at logbook.Time) {
	t.Replaced = at
	for i := range t.Lines {
		t.Lines[i].Samples = nil // every line is judged
	}
	if t.Phase != logbook.PhaseClosed {
		t.Phase = logbook.PhaseWithholding
	}
	if held, _ := t.held(); !held || t.Early() {
		t.settle(true)
	}
}

// LetGo writes off what is still owed, because there are too many treatments to keep.
func (t *Treatment) LetGo(at logbook.Time, items []followup.Item) {
	for i := range items {
		if items[i].Open() {
			t.After.WriteOff(items[i].Kind, followup.Done{At: at, Result: followup.NoRoom})
		}
	}
}

// Close ends the treatment once nothing of it is owed, and decides its verdict. One that
// comes to owe something after that is open again, and so is what was held.
func (t *Treatment) Close(items []followup.Item) {
	over, owes := t.Withheld != 0 || t.Replaced != 0, !followup.Closed(items)
	switch {
	case t.Phase == logbook.PhaseWithholding && over && !owes:
		t.Phase = logbook.PhaseClosed
		t.settle(true)
	case t.Phase == logbook.PhaseClosed && owes:
		t.Phase = logbook.PhaseWithholding
		if t.Verdict == logbook.VerdictHeld {
			t.Verdict = logbook.VerdictProvisional
		}
	}
}

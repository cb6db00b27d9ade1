package treatment

import (
	"cmp"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/rules/followup"
)

// GasPhase is the phase of the treatment as far as gas is concerned: it is closed once
// withholding has ended, even while Phase stays withholding until all follow-ups are done.
func (t *Treatment) GasPhase() string {
	if t.Phase == logbook.PhaseWithholding && t.Withheld != 0 {
		return logbook.PhaseClosed
	}
	return t.Phase
}

// Called is the name by which follow-ups call the treatment: its own, or, where it was given
// none, the time at which dosing began.
func (t *Treatment) Called() string { return cmp.Or(t.Name, t.DosingAt.String()) }

// Is reports whether a name, as people type it, is that of the treatment.
func (t *Treatment) Is(name string) bool {
	return strings.EqualFold(t.Called(), strings.TrimSpace(name))
}

// HeldBack reports whether grain of the stack may not be issued yet at a time, and from when
// on it may; 0 = that is not known yet.
func (t *Treatment) HeldBack(at logbook.Time, withholding time.Duration) (held bool, until logbook.Time) {
	if t.Phase != logbook.PhaseWithholding && t.Phase != logbook.PhaseClosed || t.GasBack || t.After.GasInBags() {
		return true, 0
	}
	if until = t.Withheld; until == 0 {
		until = t.ClearedAt.Add(withholding)
	}
	return at < until, until
}

// GasFound notes whether there is gas in the air of the store now. From the first gas until the
// store is cleared again withholding does not run; then it begins anew.
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

// JudgeCages notes how test insects were found, and reports whether any had been placed.
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

// Abandon gives the treatment up. If live insects were found, its verdict is failed all the
// same.
func (t *Treatment) Abandon() {
	t.Verdict = logbook.VerdictAbandoned
	t.settle(false)
}

// FollowUps lists what is owed after the treatment; p tells of the product that was laid under
// its sheet.
func (t *Treatment) FollowUps(g *followup.Figures, p followup.Product) []followup.Item {
	return followup.Of(&t.After, &followup.Moments{Started: t.Started != 0, Closed: t.Phase == logbook.PhaseClosed, Aired: t.AiringFirst, First: t.FirstCleared, Cleared: t.ClearedAt,
		GasBack: t.GasBack, Withheld: t.Withheld, Replaced: t.Replaced, Product: p}, g)
}

// Replace notes that another treatment of the stack begins. Nothing more can be shown of the
// gas of this one, so if it has failed the verdict says so at once.
func (t *Treatment) Replace(at logbook.Time) {
	t.Replaced = at
	for i := range t.Lines {
		t.Lines[i].Samples = nil // no line will be judged again
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

// Close ends the treatment, and settles its verdict, once no follow-up of it is owed. If
// something is owed later on, the treatment is open again and a verdict of held is
// provisional again.
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

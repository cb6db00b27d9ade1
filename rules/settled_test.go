package rules

import (
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"undersheet/logbook"
	"undersheet/rules/followup"
)

// unsettled returns what is wrong with what the state says of its treatments, or "".
func unsettled(s *State) string {
	g := followup.FiguresOf(s.Site)
	for name, k := range s.Stacks {
		for _, p := range k.all() {
			t := p.Treatment
			open := 0
			for _, i := range p.items(&g) {
				if i.Open() {
					open++
				}
			}
			switch {
			case t.Phase == logbook.PhaseClosed && open > 0:
				return fmt.Sprintf("%s %s is closed, and %d are owed", name, t.Called(), open)
			case t.Verdict == logbook.VerdictHeld && t.Phase != logbook.PhaseClosed:
				return fmt.Sprintf("%s %s is held, and not closed", name, t.Called())
			case t.Live() && t.Verdict != logbook.VerdictFailed:
				return fmt.Sprintf("%s %s is %s with live insects", name, t.Called(), t.Verdict)
			case t.Told.Phase != t.Phase || t.Told.Verdict != t.Verdict:
				return fmt.Sprintf("%s %s is %s %s, and recorded is %v", name, t.Called(), t.Phase, t.Verdict, t.Told)
			case t == k.Treatment && t.Phase == logbook.PhaseClosed && t.Withheld == 0:
				return fmt.Sprintf("%s %s is closed before withholding was over", name, t.Called())
			}
		}
	}
	return ""
}

// whim is one thing that may happen to stack A.
func whim(r *rapid.T, d *day, n int) {
	insects := rapid.SampledFrom([]string{logbook.InsectsNone, logbook.InsectsNone, logbook.InsectsLive})
	treatment := rapid.SampledFrom([]string{"", "", "T-0", "T-1", "nobody's"}).Draw(r, "treatment")
	switch rapid.IntRange(0, 27).Draw(r, "whim") {
	case 25, 26, 27:
		d.treated(fmt.Sprintf("T-%d", n%3))
		d.quick(49)
		d.bags(0.1)
	case 0, 1:
		d.doseOf(rapid.SampledFrom([]string{"five-day", "twice"}).Draw(r, "protocol"), fmt.Sprintf("T-%d", n%3))
	case 2:
		d.act(&logbook.DosingStarted{OnStack: onA(), StoreEmpty: true}, logbook.KindDosingStarted, 0)
	case 3:
		d.act(&logbook.DosePlaced{OnStack: onA(), Product: tablets(10)}, logbook.KindDosePlaced, 0)
	case 4:
		d.lines(rapid.SampledFrom([]float64{300, 300, 10}).Draw(r, "line"))
	case 5:
		d.air()
	case 6, 7, 8:
		d.aired()
	case 9:
		d.breathe(0.5, rapid.SampledFrom([]float64{0.02, 0.5}).Draw(r, "air"))
	case 10, 11, 12:
		d.quick(rapid.SampledFrom([]float64{1, 25, 50, 125, 31 * 24}).Draw(r, "hours"))
	case 13, 14:
		d.act(&logbook.GrainInspected{OnStack: onA(), Treatment: treatment, Insects: insects.Draw(r, "grain"), Method: "sieved samples"}, logbook.KindInspected, 0)
	case 15, 16:
		d.bags(rapid.SampledFrom([]float64{0.1, 0.1, 5}).Draw(r, "bags"))
	case 17:
		d.act(&logbook.CagesPlaced{OnStack: onA(), Count: 4, Insects: "rice weevil, all stages"}, logbook.KindCagesPlaced, 0)
	case 18:
		d.act(&logbook.CagesRetrieved{OnStack: onA(), Treatment: treatment}, logbook.KindCagesRetrieved, 0)
	case 19, 20:
		d.act(&logbook.CagesJudged{OnStack: onA(), Treatment: treatment, Result: insects.Draw(r, "cages"),
			After: rapid.SampledFrom([]string{logbook.JudgedExposure, logbook.JudgedMonth}).Draw(r, "after")}, logbook.KindCagesJudged, 0)
	case 21:
		if rapid.Bool().Draw(r, "mended") {
			d.act(&logbook.SheetRepaired{OnStack: onA(), Treatment: treatment, Found: "a seam"}, logbook.KindSheetRepaired, 0)
		} else {
			d.act(&logbook.SheetTorn{OnStack: onA()}, logbook.KindSheetTorn, 0)
		}
	case 22:
		if rapid.Bool().Draw(r, "gone") {
			d.act(&logbook.ResidueDisposed{OnStack: onA(), Treatment: treatment, Product: tablets(10), How: logbook.DisposedBuried}, logbook.KindResidueDisposed, 0)
		} else {
			d.act(&logbook.ResidueTaken{OnStack: onA(), Treatment: treatment, Product: tablets(10), Residue: logbook.ResidueSpent}, logbook.KindResidueTaken, 0)
		}
	case 23:
		for _, kind := range logbook.FollowUps {
			d.off(treatment, kind)
		}
	case 24:
		switch rapid.IntRange(0, 2).Draw(r, "seldom") {
		case 0:
			d.act(&logbook.TreatmentAbandoned{OnStack: onA(), Why: "sheet lost"}, logbook.KindAbandoned, 0)
		case 1:
			d.reconfigure(func(s *logbook.Site) {
				s.Settings.SecondLook = logbook.Duration(time.Duration(rapid.IntRange(0, 1).Draw(r, "second look")) * 240 * time.Hour)
			})
		default:
			strike(r, d)
		}
	}
}

// strike withdraws one of the acts so far.
func strike(r *rapid.T, d *day) {
	var acts []uint64
	for _, e := range d.log {
		if _, act := e.(logbook.Acting); act && e.Head().Kind != logbook.KindCorrected {
			acts = append(acts, e.Head().Seq)
		}
	}
	d.correct(rapid.SampledFrom(acts).Draw(r, "struck"), nil, 0)
}

// Whatever happens, in whatever order: no treatment is closed while something of it is
// owed, none is held before, live insects fail it, all of it is recorded, time that
// stands still makes no record, and a state that was written down goes on as if it had
// not been.
func TestNothingClosedIsOwed(t *testing.T) {
	ends := map[string]int{}
	rapid.Check(t, func(r *rapid.T) {
		d := aday(t)
		d.declare()
		for n := range rapid.IntRange(5, 40).Draw(r, "moments") {
			whim(r, d, n)
			if wrong := unsettled(d.state); wrong != "" {
				r.Fatal(wrong)
			}
			d.fresh()
			d.commit(d.stamp(&logbook.Clock{}, logbook.KindClock, 0))
			d.commit(d.stamp(&logbook.Clock{}, logbook.KindClock, 0))
			if again := d.fresh(); len(again) > 0 {
				text, _ := logbook.Encode(again[0])
				r.Fatalf("made while time stood still: %s", text)
			}
			for _, p := range d.state.Stacks["A"].all() {
				ends[p.Treatment.Phase+" "+p.Treatment.Verdict]++
			}
			if n%5 == 0 {
				var again State
				require.NoError(r, json.Unmarshal(inJSON(r, d.state), &again))
				require.Equal(r, string(inJSON(r, d.state)), string(inJSON(r, &again)))
				*d.state = again
			}
		}
	})
	for _, end := range []string{"closed held", "closed failed", "withholding provisional"} {
		require.Positive(t, ends[end], "no treatment ever came to be %s: the test shows nothing; they were %v", end, ends)
	}
}

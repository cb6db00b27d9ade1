package report

import (
	"context"
	"encoding/json"
	"fmt"
	"iter"
	"testing"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

// newest finds the seq of the newest entry of a kind.
func newest(es []logbook.Entry, kind logbook.Kind) uint64 {
	seq := uint64(0)
	for _, e := range es {
		if e.Head().Kind == kind {
			seq = e.Head().Seq
		}
	}
	return seq
}

// What is said of a treatment after its withholding, and even when the stack is under gas
// again, is in its report: an inspection, cages and their jar. What is said of the next
// one is not. Made again at the last entry that it names, it has the same bytes.
func TestLateActsAreOfTheirTreatment(t *testing.T) {
	s := &story{}
	s.add(-2, logbook.KindCagesPlaced, &logbook.CagesPlaced{OnStack: logbook.OnStack{Stack: "A"}, Count: 4, Insects: "beetles of all stages", Act: by("I. Fall")})
	s.es = append(s.es, whole().es...)
	s.ordered()
	s.add(200, logbook.KindInspected, &logbook.GrainInspected{OnStack: logbook.OnStack{Stack: "A"}, Insects: logbook.InsectsNone, Method: "sieved", Act: by("I. Fall")})
	s.add(201, logbook.KindCagesRetrieved, &logbook.CagesRetrieved{OnStack: logbook.OnStack{Stack: "A"}, Count: 4, Act: by("I. Fall")})
	s.add(210, logbook.KindCagesJudged, &logbook.CagesJudged{OnStack: logbook.OnStack{Stack: "A"}, After: logbook.JudgedExposure, Result: logbook.InsectsNone, Dead: 80, Act: by("I. Fall")})
	s.add(220, logbook.KindCagesPlaced, &logbook.CagesPlaced{OnStack: logbook.OnStack{Stack: "A"}, Count: 6, Insects: "beetles of all stages", Act: by("I. Fall")})
	s.under(400, "A", "A-2", "five-day")
	for h := 401.0; h < 410; h++ {
		s.read(h, "a1", 100+h)
	}
	s.add(201+31*24, logbook.KindCagesJudged, &logbook.CagesJudged{OnStack: logbook.OnStack{Stack: "A"}, After: logbook.JudgedMonth, Result: logbook.InsectsNone, Act: by("I. Fall")})
	s.add(202+31*24, logbook.KindHandReading, &logbook.HandReading{Stack: "A", Line: "top", Value: 90, Unit: "ppm", Method: "detector tube", Act: by("O. Marsh")})
	es := committed(depot(), s.es)
	r, err := Make(entries(t, es), nil, "A-1", Source{LogID: "l", Head: "h"})
	require.NoError(t, err)
	cages := func(r *Report) (counts []int) {
		for _, a := range r.Acts {
			if c, ok := a.entry.(*logbook.CagesPlaced); ok {
				counts = append(counts, c.Count)
				require.LessOrEqual(t, r.FirstSeq, c.Seq, "the range holds what is told")
			}
		}
		return counts
	}
	require.Equal(t, []int{4}, cages(r), "laid before dosing")
	second, err := Make(entries(t, es), nil, "A-2", Source{LogID: "l", Head: "h"})
	require.NoError(t, err)
	require.Equal(t, []int{6}, cages(second), "laid while the one before was withheld")
	require.Equal(t, logbook.KindCagesPlaced, second.Acts[0].Kind)
	late := map[logbook.Kind]int{}
	for _, a := range r.Acts {
		if a.At >= hour(190) {
			late[a.Kind]++
		}
	}
	require.Equal(t, map[logbook.Kind]int{logbook.KindInspected: 1, logbook.KindCagesRetrieved: 1, logbook.KindCagesJudged: 2}, late)
	require.Equal(t, logbook.ShownMet, r.Success.Criteria[0].State, "(a) by the inspection that came later")
	states := map[string]string{}
	for _, f := range r.FollowUps {
		states[f.FollowUp] = f.State
	}
	for _, f := range []string{logbook.FollowInspection, logbook.FollowCagesRetrieval, logbook.FollowCagesJudgement, logbook.FollowJar} {
		require.Equal(t, logbook.FollowDone, states[f], f)
	}
	require.Less(t, r.Lines[0].Hours[len(r.Lines[0].Hours)-1].At, hour(400), "no reading of the next treatment")
	require.Less(t, r.LastSeq, newest(es, logbook.KindHandReading))

	again, err := Make(Until(entries(t, es), r.LastSeq), nil, "A-1", Source{LogID: "l", Head: "h"})
	require.NoError(t, err)
	for _, f := range Forms() {
		require.Nil(t, Differs(f, form(t, r, f, "fr"), form(t, again, f, "fr")), f)
	}
	before, err := Make(Until(entries(t, es), newest(es, logbook.KindCagesJudged)-1), nil, "A-1", Source{})
	require.NoError(t, err)
	for _, f := range before.FollowUps {
		if f.FollowUp == logbook.FollowJar {
			require.Equal(t, logbook.FollowOpen, f.State, "as it stood the day before")
		}
	}
}

// A correction that came later is in the report, with why, and its range reaches to it.
func TestCorrectionsAreTold(t *testing.T) {
	es := kept(t)
	var start *logbook.TreatmentStarted
	for _, e := range es {
		if x, ok := e.(*logbook.TreatmentStarted); ok && x.Treatment == "A-1" {
			start = clone(x).(*logbook.TreatmentStarted)
		}
	}
	of := start.Seq
	right := *start
	right.Seq, right.Received, right.Tonnes = 0, 0, 171
	text, err := logbook.Encode(&right)
	require.NoError(t, err)
	last := es[len(es)-1].Head()
	c := &logbook.Corrected{Header: logbook.Header{Kind: logbook.KindCorrected, Time: last.Received, Received: last.Received, Seq: last.Seq + 1},
		Of: of, Entry: json.RawMessage(text), Why: "weighed again", Act: by("O. Marsh")}
	r, err := Make(entries(t, append(es[:len(es):len(es)], c)), nil, "A-1", Source{})
	require.NoError(t, err)
	require.Equal(t, 171.0, r.Given.Tonnes)
	require.Equal(t, last.Seq+1, r.LastSeq)
	page, _ := both(t, r)
	require.Contains(t, page, "why: weighed again")
	require.Contains(t, page, "weight, t: 171")
	require.Contains(t, page, "First entered: Treatment started, ", "who audits reads both")
	require.Contains(t, page, "weight, t: 180")
	require.Contains(t, string(form(t, r, "json", "en")), `"before": {`)
	again, err := Make(Until(entries(t, append(es[:len(es):len(es)], c)), r.LastSeq), nil, "A-1", Source{})
	require.NoError(t, err)
	require.Equal(t, form(t, r, "json", "en"), form(t, again, "json", "en"))
	was, err := Make(Until(entries(t, append(es[:len(es):len(es)], c)), last.Seq), nil, "A-1", Source{})
	require.NoError(t, err)
	require.Equal(t, 180.0, was.Given.Tonnes, "as it was thought then")
}

// shelf is a logbook in memory that grows.
type shelf struct{ es []logbook.Entry }

func (s *shelf) Entries(_ context.Context, from uint64) iter.Seq2[logbook.Entry, error] {
	return func(yield func(logbook.Entry, error) bool) {
		for _, e := range s.es[from-1:] {
			if !yield(clone(e), nil) {
				return
			}
		}
	}
}

func (s *shelf) LogAt(_ context.Context, seq uint64) (id, hash string, err error) {
	return "0af3", fmt.Sprintf("%064x", seq), nil
}

// A Reader that follows a logbook makes at each time the report that is made of it from
// the beginning, to the byte.
func TestReaderGoesOn(t *testing.T) {
	es := kept(t)
	book := &shelf{}
	r := NewReader(book, "A-1", "1.0")
	for _, part := range []int{len(es) / 3, len(es) / 2, len(es)/2 + 1, len(es) - 5, len(es)} {
		book.es = es[:part]
		got, err := r.Report(t.Context())
		require.NoError(t, err)
		want, err := OfLog(t.Context(), book, "A-1", 0, "1.0")
		require.NoError(t, err)
		for _, f := range []string{"json", "csv"} {
			require.Nil(t, Differs(f, form(t, got, f, "en"), form(t, want, f, "en")), "%s of %d entries", f, part)
		}
	}
}

// A report that was made at any time comes again, to the byte, from the last entry that it
// names, whatever the logbook came to hold later: also while a follow-up is owed when the
// goods are no longer withheld, and when the stack was treated again before they were not.
func TestReportComesAgainFromItsLastEntry(t *testing.T) {
	owed := &story{}
	owed.add(-2, logbook.KindCagesPlaced, &logbook.CagesPlaced{OnStack: logbook.OnStack{Stack: "A"}, Count: 4, Insects: "beetles of all stages", Act: by("I. Fall")})
	owed.es = append(owed.es, whole().es...)
	soon := whole()
	soon.under(140, "A", "A-2", "five-day")
	soon.read(141, "a1", 200)
	for name, s := range map[string]*story{"a jar is owed": owed, "treated again while withheld": soon} {
		t.Run(name, func(t *testing.T) {
			es := committed(depot(), s.ordered())
			at := len(es)
			for range 4 {
				made, err := Make(entries(t, es[:at]), nil, "A-1", Source{})
				require.NoError(t, err)
				again, err := Make(Until(entries(t, es[:at]), made.LastSeq), nil, "A-1", Source{})
				require.NoError(t, err)
				require.Nil(t, Differs("html", form(t, made, "html", "en"), form(t, again, "html", "en")), "made at entry %d, its last %d", at, made.LastSeq)
				at -= 40
			}
		})
	}
}

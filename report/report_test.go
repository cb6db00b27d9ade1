package report

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules/efficacy"
	"undersheet/rules/reading"
)

// both writes a report in both forms.
func both(t testing.TB, r *Report) (page, table string) {
	t.Helper()
	var h, c bytes.Buffer
	require.NoError(t, r.WriteHTML(&h, "en"))
	require.NoError(t, r.WriteCSV(&c, "en"))
	return h.String(), c.String()
}

func TestSameLogSameBytes(t *testing.T) {
	es := kept(t)
	var first [2]string
	for i := range 2 {
		r, err := Make(entries(t, es), nil, "A-1", Source{LogID: "l", Head: "h"})
		require.NoError(t, err)
		p, c := both(t, r)
		if i == 0 {
			first = [2]string{p, c}
		}
		require.True(t, first == [2]string{p, c})
	}
	require.Contains(t, first[0], "Phase: closed. Verdict: held")
}

// What a log holds after a treatment has closed changes no byte of its report.
func TestLaterEntriesChangeNothing(t *testing.T) {
	es := kept(t)
	long, err := Make(entries(t, es), nil, "A-1", Source{})
	require.NoError(t, err)
	require.Less(t, long.LastSeq+100, uint64(len(es)), "the log goes on")
	short, err := Make(entries(t, es[:long.LastSeq]), nil, "A-1", Source{})
	require.NoError(t, err)
	require.Equal(t, logbook.PhaseClosed, short.Stack.Phase)
	p1, c1 := both(t, short)
	p2, c2 := both(t, long)
	require.Equal(t, p1, p2)
	require.Equal(t, c1, c2)
}

func TestUnknownTreatment(t *testing.T) {
	s := &story{}
	s.under(0, "A", "A-1", "five-day")
	_, err := Make(entries(t, s.es), depot(), "A-9", Source{})
	var unknown *ErrUnknown
	require.ErrorAs(t, err, &unknown)
	require.Equal(t, []string{"A-1"}, unknown.Known)
	require.EqualError(t, err, `find treatment "A-9": the log holds "A-1"`)
	_, err = Make(entries(t, nil), depot(), "A-9", Source{})
	require.ErrorContains(t, err, "holds none")
}

// Entries by hand and the logbook's export of the same entries tell the same.
func TestHandAndLogbookAgree(t *testing.T) {
	hand := soundReport(t)
	logged, err := Make(entries(t, kept(t)), nil, "A-1", Source{LogID: "l"})
	require.NoError(t, err)
	_, a := both(t, hand)
	_, b := both(t, logged)
	require.Equal(t, facts(a), facts(b))
	require.Zero(t, hand.LastSeq)
	require.NotZero(t, logged.FirstSeq)
	require.Equal(t, []string{"1.0"}, logged.Programs)
	require.True(t, logged.Acts[0].Kind == logbook.KindDosingStarted)
}

// facts are the rows of a table but those that say which log it was made of.
func facts(table string) []string {
	var out []string
	for _, l := range strings.Split(table, "\r\n") {
		if !strings.HasPrefix(l, "log,") {
			out = append(out, l)
		}
	}
	return out
}

// The judgement of readings is the fold's own: the same history in the same state.
func TestJudgesAsTheFold(t *testing.T) {
	s := whole()
	s.read(60, "a1", 900)   // late by 130 h
	s.read(190, "a1", 3)    // newest
	s.read(190, "a1", 7)    // second value
	s.read(189.5, "a1", 5)  // out of order
	s.read(189.9, "a1", -9) // below zero
	s.es = append(s.es, &logbook.Reading{Header: logbook.Header{Kind: logbook.KindReading, Time: hour(190)}, Channel: "a2", Value: 4, Unit: "ppm", Fault: "pump"})
	m := newMaker(depot(), "A-9") // not there: the whole log is folded
	for e := range entries(t, s.es) {
		m.take(e)
	}
	for name, c := range m.player.State.Channels {
		require.Equal(t, c.History, *m.judges[name], name)
	}
	require.Equal(t, reading.OK, m.judges["a1"].Last.State)
}

func TestGateAlarmsAndActsFromDosingOn(t *testing.T) {
	r := soundReport(t)
	require.Equal(t, hour(-0.66), r.Dosed)
	require.Equal(t, []string{"dosing", "exposure", "airing", "withholding", "closed"}, phases(r))
	require.Less(t, r.Gates[0].Time, r.Dosed, "where the gate stood before")
	require.Equal(t, "dosing", r.Gates[1].Reasons[0].Code)
	kinds := map[logbook.Kind]int{}
	for _, a := range r.Acts {
		kinds[a.Kind]++
	}
	require.Equal(t, map[logbook.Kind]int{"dosing-started": 1, "treatment-started": 1, "hand-reading": 3, "airing-started": 1, "entry-confirmed": 2, "grain-inspected": 1}, kinds)
	require.Equal(t, hour(124.2), r.Aired.Cleared)
	p, _ := both(t, r)
	require.Contains(t, p, ">Refused. Not cleared: Long Barn is not ready")
	require.Equal(t, 1, strings.Count(p, ">Refused."), "the second confirmation was accepted")
	require.Contains(t, p, "2026-03-01\u00a011:30", "11:30 in Kolkata is 06:00 UTC")
}

func phases(r *Report) []string {
	var out []string
	for _, p := range r.Phases {
		out = append(out, p.Phase)
	}
	return out
}

// Two treatments of one stack in a row, and one of another stack meanwhile.
func TestTwoInARow(t *testing.T) {
	s := whole()
	s.under(10, "B", "B-1", "five-day")
	s.under(400, "A", "A-2", "five-day")
	s.read(401, "a1", 50)
	s.read(402, "a1", 80)
	s.ordered()
	first, second := report(t, s, "A-1"), report(t, s, "A-2")
	require.Len(t, second.Lines[0].Days, 1)
	require.Equal(t, Day{Number: 1, Lowest: 50, Mean: 65, Highest: 80, Readings: 2}, second.Lines[0].Days[0])
	require.Equal(t, hour(400-0.66), second.Dosed)
	require.Len(t, second.Acts, 2)
	require.Equal(t, []string{"dosing", "exposure"}, phases(second))
	require.Equal(t, logbook.PhaseExposure, second.Stack.Phase)
	require.NotContains(t, phases(first)[1:], "dosing")
	for _, a := range first.Acts {
		require.NotContains(t, string(a.Entry), `"stack":"B"`)
		require.False(t, a.Kind == logbook.KindDosingStarted && a.At != first.Dosed, "dosing of another stack")
	}
	b := report(t, s, "B-1")
	require.Len(t, b.Lines, 1)
	require.Equal(t, "top", b.Lines[0].Name)
}

// A name that is used twice gets a number, and each has its own report.
func TestSameNameTwice(t *testing.T) {
	s := &story{}
	s.under(0, "A", "A-1", "five-day")
	s.start(50, "A", "A-1", "five-day") // without an end of the first: it is superseded
	first, second := report(t, s, "A-1"), report(t, s, "A-1 (2)")
	require.Equal(t, zero, first.Stack.Started)
	require.Equal(t, "A-1", first.Stack.Treatment)
	require.Equal(t, hour(50), second.Stack.Started)
	require.Zero(t, second.Dosed, "its dosing was not recorded")
	p, _ := both(t, second)
	require.Contains(t, p, "<dt>Dosing started</dt><dd>not recorded</dd>")
}

// Dosing of a stack that is being aired begins another treatment.
func TestDosedAgainWhileAired(t *testing.T) {
	s := &story{}
	s.under(0, "A", "A-1", "five-day")
	s.air(121, "A")
	s.under(140, "A", "A-2", "five-day")
	r := report(t, s, "A-1")
	require.Equal(t, "A-1", r.Stack.Treatment)
	require.Equal(t, logbook.PhaseClosed, r.Stack.Phase, "as it was recorded when the next began")
	require.Equal(t, hour(121), r.Aired.First)
}

func TestTwiceSaysWhenTheSecondIsDue(t *testing.T) {
	s := &story{}
	s.under(0, "A", "A-1", "twice")
	s.air(120, "A")
	s.under(120+240, "A", "A-2", "twice")
	r := report(t, s, "A-1")
	require.Equal(t, hour(360), r.Aired.SecondFrom, "10 days after the exposure ended: common practice")
	p, _ := both(t, r)
	require.Contains(t, p, "<dt>Second treatment due</dt><dd>from 2026-03-16\u00a011:30 to 2026-03-18\u00a011:30</dd>")
	require.Zero(t, report(t, s, "A-2").Aired.SecondFrom)
}

func TestStillRunning(t *testing.T) {
	s := &story{}
	s.under(0, "A", "A-1", "five-day")
	s.read(1, "a1", 100)
	s.read(1.5, "a1", 120)
	s.add(5, logbook.KindClock, &logbook.Clock{})
	r := report(t, s, "A-1")
	p, _ := both(t, r)
	require.Contains(t, p, "This treatment is not over: the stack is under gas.")
	require.Contains(t, p, "<dt>Airing started</dt><dd>not yet</dd>")
	require.Contains(t, p, "Airing has not started.")
	require.NotContains(t, strings.ToLower(p), "is safe</")
	require.Equal(t, []Gap{{zero, hour(1)}, {hour(1.5), hour(5)}}[1:], r.Lines[0].CTP.Gaps, "an hour before the first is not over the longest stretch")
	require.InDelta(t, 4.5, r.Lines[0].CTP.GapHours, 1e-9)
	require.InDelta(t, 55, r.Lines[0].CTP.PPMh, 1e-9)
	require.Equal(t, []Gap{{zero, hour(5)}}, r.Lines[1].CTP.Gaps, "a line that was never read")
}

func TestAbandonedIsStillUnderGas(t *testing.T) {
	s := &story{}
	s.under(0, "A", "A-1", "five-day")
	s.add(30, logbook.KindAbandoned, &logbook.TreatmentAbandoned{OnStack: logbook.OnStack{Stack: "A"}, Why: "sheet torn by wind", Act: by("R. Amadi")})
	r := report(t, s, "A-1")
	require.Equal(t, logbook.VerdictAbandoned, r.Stack.Verdict)
	p, _ := both(t, r)
	require.Contains(t, p, "Phase: exposure. Verdict: abandoned")
	require.Contains(t, p, "the stack is under gas")
	require.Contains(t, p, "sheet torn by wind")
	require.Equal(t, logbook.GateShut, r.Gates[len(r.Gates)-1].State)
}

// A newer program's fold never re-judges: end levels and verdicts are quoted.
func TestQuotesRecordsOfTheLog(t *testing.T) {
	var es []logbook.Entry
	for e := range entries(t, kept(t)) {
		switch e := e.(type) {
		case *logbook.EndLevel:
			e.Shown, e.PPM = logbook.ShownNotMet, 77
		case *logbook.Phase:
			e.Verdict = logbook.VerdictFailed
		}
		es = append(es, e)
	}
	r, err := Make(entries(t, es), nil, "A-1", Source{})
	require.NoError(t, err)
	require.Equal(t, logbook.VerdictFailed, r.Stack.Verdict)
	require.Len(t, r.Lines[1].EndLevels, 2)
	for _, e := range r.Lines[1].EndLevels {
		require.Equal(t, logbook.Number(77), e.PPM)
	}
}

// The criteria are quoted from the log; the rest is worked out. 300 ppm and 240 ppm on
// the two lines are a ratio of 0.8, and 120 h of 300 ppm reach the 21 h at 100 ppm of
// Cynaeus angustus' eggs and not the 7 d at 150 ppm that are recommended.
func TestSuccess(t *testing.T) {
	s := &story{}
	s.under(0, "A", "A-1", "five-day")
	for h := 0.0; h <= 121; h += 0.5 {
		s.read(h, "a1", 300+float64(int(h*2)%3))
		s.read(h, "a2", 240+float64(int(h*2)%3))
	}
	s.air(121, "A")
	s.add(123, logbook.KindInspected, &logbook.GrainInspected{OnStack: logbook.OnStack{Stack: "A"}, Insects: logbook.InsectsNone, Method: "sieved samples", Act: by("R. Amadi")})
	r := report(t, s, "A-1")
	require.Equal(t, "low", r.LowestLine())
	require.Equal(t, logbook.ShownMet, r.Success.Criteria[0].State, "the last record counts")
	require.InDelta(t, 0.8, float64(r.Success.Criteria[3].Value), 0.01)
	require.InDelta(t, 121, r.Success.Held.Lines[1].Above, 1e-9)
	for _, a := range r.Success.Published {
		switch {
		case a.Insect == "Cynaeus angustus, susceptible" && a.Stage == "egg":
			require.Equal(t, a.Level == 100, a.Result == efficacy.Reached)
		case a.Insect == "any (recommendation)":
			require.Equal(t, efficacy.NotReached, a.Result)
		}
	}
	html, table := both(t, r)
	for _, want := range []string{"on line low", "(a) The grain is found free of insects by inspection after treatment.", "live insects: none found; method: sieved samples"} {
		require.Contains(t, html, want)
	}
	require.Contains(t, table, "line,,low,at or above the end level,121,h,")

	// what a newer program thinks of it does not change what was recorded
	es := append(s.es, &logbook.Criteria{Header: logbook.Header{Time: hour(124), Kind: logbook.KindCriteria, Seq: 999}, Stack: "A", Treatment: "A-1",
		Criteria: []logbook.Criterion{{Code: logbook.CriterionEven, State: logbook.ShownNotMet}}})
	r, err := Make(entries(t, es), depot(), "A-1", Source{})
	require.NoError(t, err)
	require.Equal(t, logbook.ShownNotMet, r.Success.Criteria[0].State)
}

func TestEndLevelAtBothMoments(t *testing.T) {
	s := &story{}
	s.under(0, "A", "A-1", "five-day")
	s.add(117, logbook.KindClock, &logbook.Clock{})
	for h := 118.0; h <= 126; h += 0.25 {
		v := 200.0
		if h > 121 {
			v = 140
		}
		s.read(h, "a1", v+float64(int(h*4)%3))
	}
	s.air(126, "A")
	r := report(t, s, "A-1")
	require.Len(t, r.Lines[0].EndLevels, 2)
	require.Equal(t, []string{"shortest-exposure met", "airing not-met"}, shown(r.Lines[0]))
	require.Equal(t, []string{"shortest-exposure not-shown", "airing not-shown"}, shown(r.Lines[1]))
	_, c := both(t, r)
	require.Contains(t, c, "line,,low,end level at airing,,,not-shown\r\n")
}

func shown(l Line) []string {
	var out []string
	for _, e := range l.EndLevels {
		out = append(out, e.Moment+" "+e.Shown)
	}
	return out
}

func TestHandReadingBesideTheFixedLine(t *testing.T) {
	r := soundReport(t)
	require.Len(t, r.Hands, 3)
	require.Equal(t, "A", r.Hands[2].Place)
	require.True(t, r.Hands[2].Bags)
	h := r.Hands[0]
	require.Equal(t, "A, Top", h.Place)
	// 0.6 g/m3 at 25 °C and 101.325 kPa: 24.465 L/mol over 33.998 g/mol (NIOSH Pocket Guide npgd0505: 1 ppm = 1.39 mg/m3).
	require.InDelta(t, 600/1.39, h.PPM, 1)
	require.Equal(t, hour(59.75), h.Fixed.At)
	require.Equal(t, 15*time.Minute, apart(h.Fixed.At, h.At))
	require.False(t, r.Hands[1].Instrument, "nothing fixed reads beside A")
	p, table := both(t, r)
	require.Contains(t, p, "A, inside bags")
	require.Contains(t, table, "A, inside bags")
	require.Contains(t, p, "no fixed instrument there")
	require.Contains(t, p, "the identity of those named is not verified")
}

// A site that is configured anew brings air points and instruments with it.
func TestNewSiteMeanwhile(t *testing.T) {
	s := &story{}
	s.under(0, "A", "A-1", "five-day")
	s.read(1, "door", 0.5)
	site := *depot()
	site.Channels["gate"] = site.Channels["door"]
	site.Stores[0].Air = []logbook.AirPoint{{Name: "gangway", Channel: "in"}, {Name: "road", Channel: "gate", Where: "outside"}}
	s.add(2, logbook.KindSiteConfigured, &logbook.SiteConfigured{Site: site})
	s.read(3, "gate", 0.7)
	r := report(t, s, "A-1")
	require.Len(t, r.Air, 3)
	require.Equal(t, 0.5, r.Air[0].Highest)
	require.Equal(t, "outside", r.Air[2].Where)
	require.Equal(t, 0.7, r.Air[2].Highest)
}

// An alarm that stood before the treatment began is not left out.
func TestStandingAlarm(t *testing.T) {
	s := &story{}
	s.read(-5, "door", 0.01)
	s.read(-4.9, "in", 5)
	s.read(-4.7, "in", 5.1)
	s.under(0, "A", "A-1", "five-day")
	r := report(t, s, "A-1")
	require.NotEmpty(t, r.Alarms)
	require.Equal(t, "air-gas", r.Alarms[0].Alarm)
	require.Less(t, r.Alarms[0].Time, r.Dosed)
}

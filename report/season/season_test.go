package season

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"iter"
	"math"
	"os/exec"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/peer"
	"undersheet/report"
)

// depot is an invented site: one store of two stacks, an hour east of Greenwich.
func depot() logbook.Site {
	line := logbook.Channel{Gas: "ph3", Unit: "ppm", Range: 2000, Resolution: 1, DetectionLimit: 1, Accuracy: 0.05}
	return logbook.Site{Name: "Ford Mill", Timezone: "Africa/Lagos", Channels: map[string]logbook.Channel{"a1": line, "a2": line, "b1": line},
		Stores: []logbook.Store{{Name: "Long Barn", Stacks: []logbook.Stack{{Name: "A", Lines: []logbook.Line{{Name: "top", Channel: "a1"}, {Name: "low", Channel: "a2"}}}, {Name: "B", Lines: []logbook.Line{{Name: "top", Channel: "b1"}}}}}}}
}

// zero is t = 0 of the first treatment.
var zero = logbook.At(time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC))

func hour(h float64) logbook.Time { return zero.Add(time.Duration(math.Round(h * float64(time.Hour)))) }

// logged is a logbook with its own records, made up entry by entry.
type logged struct{ es []logbook.Entry }

func (l *logged) add(h float64, kind logbook.Kind, e logbook.Entry) {
	head := e.Head()
	head.Time, head.Received, head.Kind, head.Seq = hour(h), hour(h), kind, uint64(len(l.es)+1)
	l.es = append(l.es, e)
}

func (l *logged) entries() iter.Seq2[logbook.Entry, error] {
	return func(yield func(logbook.Entry, error) bool) {
		for _, e := range l.es {
			if !yield(e, nil) {
				return
			}
		}
	}
}

var who = logbook.Act{By: "R. Amadi", Identity: "not verified"}

func on(stack string) logbook.OnStack { return logbook.OnStack{Stack: stack} }

func (l *logged) start(h float64, stack, name string, grams float64) {
	l.add(h, logbook.KindTreatmentStarted, &logbook.TreatmentStarted{OnStack: on(stack), Treatment: name, Protocol: "five-day", Commodity: "maize", Tonnes: 100, VolumeM3: 150, PhosphineG: grams, GrainTempC: 27, Act: who})
	l.add(h, logbook.KindPhase, &logbook.Phase{Stack: stack, Treatment: name, Phase: logbook.PhaseExposure, Verdict: logbook.VerdictProvisional})
}

// forecast records that the lowest line was expected at p50 ppm at an hour.
func (l *logged) forecast(h float64, stack string, at, p05, p50, p95 float64) {
	l.add(h, logbook.KindForecast, &logbook.Forecast{Stack: stack, For: hour(at), PPM: logbook.Quantiles{P05: logbook.Number(p05), P50: logbook.Number(p50), P95: logbook.Number(p95)}})
}

func (l *logged) came(h float64, stack, name, line, moment string, ppm float64) {
	l.add(h, logbook.KindEndLevel, &logbook.EndLevel{Stack: stack, Treatment: name, Line: line, Moment: moment, Shown: logbook.ShownMet, PPM: logbook.Number(ppm), EndPPM: 150})
}

func (l *logged) phase(h float64, stack, name, phase, verdict string) {
	l.add(h, logbook.KindPhase, &logbook.Phase{Stack: stack, Treatment: name, Phase: phase, Verdict: verdict})
}

func (l *logged) alarm(h float64, state, name, stack, line string) {
	l.add(h, logbook.KindAlarm, &logbook.Alarm{State: state, Alarm: name, Stack: stack, Line: line, Priority: logbook.PriorityHigh, Onset: hour(h - 1)})
}

func (l *logged) stock(h float64, kind logbook.Kind, form string, count int) {
	p := logbook.Product{Form: form, Count: count}
	switch kind {
	case logbook.KindStockReceived:
		l.add(h, kind, &logbook.StockReceived{Product: p, Batch: "P-11", Invoice: "204", Act: who})
	case logbook.KindStockCounted:
		l.add(h, kind, &logbook.StockCounted{Product: p, Act: who})
	}
}

// story is a season whose figures can be told beforehand: A-1 held, with a forecast that
// was right and one that was 10 % high; B-1 failed, aired 36 h late, its end not shown at
// the moment of its forecast; A-2 runs.
func story() *logged {
	l := &logged{}
	l.add(-2000, logbook.KindSiteConfigured, &logbook.SiteConfigured{Site: depot()})
	l.stock(-1990, logbook.KindStockReceived, "Tablets", 300)
	l.stock(-1985, logbook.KindStockReceived, "tablets", 200)
	l.stock(-1980, logbook.KindStockReceived, "own cakes", 5)
	l.stock(-2, logbook.KindStockReceived, "tablets", 1000)
	l.add(-1, logbook.KindDosePlaced, &logbook.DosePlaced{OnStack: on("A"), Product: logbook.Product{Form: "tablets", Count: 300}, People: []string{"R. Amadi", "O. Marsh"}, Protection: "full mask", Act: who})
	l.start(0, "A", "A-1", 260)
	l.forecast(24, "A", 120, 100, 110, 120)
	l.add(28, logbook.KindDoseAdded, &logbook.DoseAdded{OnStack: on("A"), PhosphineG: 40, Act: who})
	l.forecast(30, "A", 121, 210, 215, 220)
	l.forecast(30.5, "A", 120, 150, 220, 300)
	l.forecast(48, "A", 120, 190, 200, 210)
	l.alarm(50, logbook.AlarmRaised, "leak", "A", "low")
	l.alarm(51, logbook.AlarmSeen, "leak", "A", "low")
	l.alarm(51.5, logbook.AlarmSeen, "leak", "A", "low")
	l.alarm(60, logbook.AlarmCleared, "leak", "A", "low")
	l.came(120, "A", "A-1", "top", logbook.MomentShortest, 260)
	l.came(120, "A", "A-1", "low", logbook.MomentShortest, 200)
	l.came(121, "A", "A-1", "top", logbook.MomentAiring, 255)
	l.came(121, "A", "A-1", "low", logbook.MomentAiring, 195)
	l.add(121, logbook.KindAiringStarted, &logbook.AiringStarted{OnStack: on("A"), Act: who})
	l.phase(121, "A", "A-1", logbook.PhaseAiring, logbook.VerdictHeld)
	l.add(150, logbook.KindResidueTaken, &logbook.ResidueTaken{OnStack: on("A"), Product: logbook.Product{Form: "tablets", Count: 300}, Residue: logbook.ResidueSpent, ShownBy: "reading", Act: who})
	l.add(151, logbook.KindResidueDisposed, &logbook.ResidueDisposed{OnStack: on("A"), Product: logbook.Product{Form: "tablets", Count: 100}, How: logbook.DisposedBuried, Where: "pit 2", Act: who})
	l.add(152, logbook.KindResidueDisposed, &logbook.ResidueDisposed{OnStack: on("A"), Product: logbook.Product{Form: "tablets", Count: 190}, How: logbook.DisposedBuried, Where: "pit 2", Act: who})
	l.start(200, "B", "B-1", 200)
	l.add(210, logbook.KindDoseAdded, &logbook.DoseAdded{OnStack: on("B"), PhosphineG: 100, Act: who})
	l.forecast(224, "B", 320, 10, 15, 25)
	l.alarm(230, logbook.AlarmRaised, "leak", "B", "")
	l.alarm(231, logbook.AlarmRaised, "line-silent", "B", "top")
	l.add(356, logbook.KindAiringStarted, &logbook.AiringStarted{OnStack: on("B"), Act: who})
	l.phase(356, "B", "B-1", logbook.PhaseAiring, logbook.VerdictFailed)
	l.stock(400, logbook.KindStockCounted, "tablets", 1195)
	l.start(500, "A", "A-2", 300)
	l.alarm(520, logbook.AlarmRaised, "leak", "A", "low")
	return l
}

func made(t *testing.T, l *logged, p Period) *Season {
	t.Helper()
	s, err := Make(l.entries(), nil, p, report.Source{LogID: "0af3", Head: strings.Repeat("ab", 32)})
	require.NoError(t, err)
	return s
}

// TestFigures: each figure was worked out by hand from the story.
func TestFigures(t *testing.T) {
	s := made(t, story(), Period{From: "2026-02-25", To: "2026-03-31"})
	require.Equal(t, []string{"A-1", "B-1", "A-2"}, []string{s.Treatments[0].Name, s.Treatments[1].Name, s.Treatments[2].Name})
	require.Equal(t, []string{"Ford Mill", "Long Barn", "A", "five-day", "maize"}, []string{s.Site, s.Treatments[0].Store, s.Treatments[0].Stack, s.Treatments[0].Protocol, s.Treatments[0].Commodity})
	require.Equal(t, Proportion{1, 2}, s.Held(), "the one that runs has no verdict")
	require.Equal(t, []float64{300, 300, 300}, []float64{s.Treatments[0].Grams, s.Treatments[1].Grams, s.Treatments[2].Grams}, "g, with what was added")

	// Planned end at hour 120 after t = 0 of the five-day protocol.
	require.InDelta(t, 1.0/24, s.Treatments[0].Over(), 1e-9)
	require.InDelta(t, 36.0/24, s.Treatments[1].Over(), 1e-9)
	require.Zero(t, s.Treatments[2].Over())

	// tablets: 500 before; 1000 in, 300 used, then counted at 1195, 5 short of 1200.
	require.Equal(t, []Stock{{Form: "own cakes", Opening: 5, Closing: 5},
		{Form: "tablets", Opening: 500, Received: 1000, Used: 300, Off: -5, Closing: 1195, Taken: 300, Disposed: 290}}, s.Stock)
	require.Len(t, s.Moves, 3)
	require.Equal(t, Move{At: hour(-2), Form: "tablets", About: "P-11, 204", By: "R. Amadi", Opening: 500, In: 1000, Left: 1500}, s.Moves[0])
	require.Equal(t, Move{At: hour(400), Form: "tablets", By: "R. Amadi", Opening: 1200, Off: -5, Left: 1195, Counted: true}, s.Moves[2])

	// Leaks: twice at A low, once on all lines of B.
	require.Equal(t, []Place{{Store: "Long Barn", Stack: "A", Line: "low", Times: []logbook.Time{hour(49), hour(519)}}, {Store: "Long Barn", Stack: "B", Times: []logbook.Time{hour(229)}}}, s.Leaks)
	require.Equal(t, Alarms{Raised: 4, Acknowledged: 1, Kinds: []AlarmKind{{"leak", 3, 1}, {"line-silent", 1, 0}}, Busiest: "2026-03-10", OnBusiest: 2}, s.Alarms)

	// Forecasts: 4 days before the end ln(220/200), inside; 3 days before exact, inside.
	leads, unmatched := s.Forecasts()
	require.Equal(t, 2, unmatched, "B-1 was aired at another time, and phosphine was added to A-1 after its first")
	require.Len(t, leads, 2)
	require.Equal(t, []int{3, 4}, []int{leads[0].Days, leads[1].Days})
	require.Zero(t, leads[0].RMS)
	require.InDelta(t, math.Log(1.1), leads[1].RMS, 1e-12)
	require.Equal(t, Proportion{1, 1}, leads[1].Inside, "a treatment counts once in a row, by its last forecast there")
}

// TestLoss: two lines read the curve of a first-order release and loss,
// C(t) = Y·r/(r−k)·(e^(−kt) − e^(−rt)), with r = 1.2 and k = 0.5 per day and Y what the
// dose gives in the gas space (PH₃ 34.00 g/mol, ideal gas at 27 °C and 101.325 kPa). The
// fit, which is told neither rate and knows of sorption too, finds the loss; of a stack that nobody read it says
// nothing.
func TestLoss(t *testing.T) {
	const grams, space, release, loss = 300.0, 200.0, 1.2, 0.5
	yield := grams / space / 34.00 * 8.314 * 300.15 / 101.325 * 1000 // ppm
	l := &logged{}
	l.add(-2, logbook.KindSiteConfigured, &logbook.SiteConfigured{Site: depot()})
	for _, stack := range []string{"A", "B"} {
		l.add(0, logbook.KindTreatmentStarted, &logbook.TreatmentStarted{OnStack: on(stack), Treatment: stack + "-1", Protocol: "five-day", Commodity: "maize", Tonnes: 100, VolumeM3: 300, GasSpaceM3: space, PhosphineG: grams, GrainTempC: 27, Act: who})
	}
	for h := 0.5; h < 120; h += 0.5 {
		d := h / 24
		for _, channel := range []string{"a1", "a2"} {
			l.add(h, logbook.KindReading, &logbook.Reading{Channel: channel, Value: math.Round(yield * release / (release - loss) * (math.Exp(-loss*d) - math.Exp(-release*d))), Unit: "ppm"})
		}
	}
	for _, stack := range []string{"A", "B"} {
		l.add(120, logbook.KindAiringStarted, &logbook.AiringStarted{OnStack: on(stack), Act: who})
	}
	s := made(t, l, Period{})
	require.InDelta(t, loss, s.Treatments[0].LossPerDay, 3*s.Treatments[0].LossSE, "within three standard errors")
	require.Less(t, s.Treatments[0].LossSE, 0.15)
	require.Zero(t, s.Treatments[1].LossPerDay)
	require.Equal(t, []Sheet{{Store: "Long Barn", Stack: "A", Treatments: 1, Mean: s.Treatments[0].LossPerDay, Worst: s.Treatments[0].LossPerDay, WorstAt: zero}, {Store: "Long Barn", Stack: "B"}}, s.Sheets())
}

// TestPeriods: days are the depot's, both are in; without any it is the log's last twelve
// months.
func TestPeriods(t *testing.T) {
	l := story()
	s := made(t, l, Period{})
	require.Equal(t, "2025-03-23 00:00", s.From.Std().In(s.Zone).Format("2006-01-02 15:04"))
	require.Equal(t, "2026-03-23 00:00", s.To.Std().In(s.Zone).Format("2006-01-02 15:04"))
	require.InDelta(t, 2520.0/24, s.Days(), 1e-9, "the log tells of less than the period")
	require.Empty(t, made(t, l, Period{From: "2025-01-01", To: "2025-12-31"}).Treatments)
	require.Len(t, made(t, l, Period{From: "2026-03-01", To: "2026-03-01"}).Treatments, 1)
	for p, want := range map[Period]string{{From: "soon"}: "read period: “soon” is no day", {To: "2026-13-01"}: "is no day", {From: "2026-02-01", To: "2026-01-01"}: "before it begins", {From: "2027-01-01"}: "after the logbook ends"} {
		_, err := Make(l.entries(), nil, p, report.Source{})
		require.ErrorContains(t, err, want)
	}
	empty, err := Make((&logged{}).entries(), nil, Period{}, report.Source{})
	require.NoError(t, err, "an empty log sums up to nothing")
	require.Zero(t, empty.Held().N)
}

// book is a log that vouches for what it holds.
type book struct{ *logged }

func (b book) Entries(_ context.Context, from uint64) iter.Seq2[logbook.Entry, error] {
	return (&logged{b.es[from-1:]}).entries()
}

func (b book) LogAt(_ context.Context, seq uint64) (id, hash string, err error) {
	return "0af3", fmt.Sprint("hash at ", seq), nil
}

// TestOfLog: the sum names the log and the hash of the last entry that it was made of.
func TestOfLog(t *testing.T) {
	s, err := OfLog(t.Context(), book{story()}, Period{}, 12, "v1")
	require.NoError(t, err)
	require.Equal(t, report.Source{LogID: "0af3", Head: "hash at 12", FirstSeq: 1, LastSeq: 12, Program: "v1"}, s.Source)
	require.Equal(t, 12, s.Entries)
	require.Len(t, s.Treatments, 1)
}

// TestCorrected: a correction counts, whatever the wrong entry said.
func TestCorrected(t *testing.T) {
	l := story()
	right, err := logbook.Encode(&logbook.StockReceived{Header: logbook.Header{Time: hour(-2), Kind: logbook.KindStockReceived}, Product: logbook.Product{Form: "tablets", Count: 900}, Act: who})
	require.NoError(t, err)
	l.add(530, logbook.KindCorrected, &logbook.Corrected{Of: 5, Entry: right, Why: "miscounted", Act: who})
	s := made(t, l, Period{From: "2026-02-25", To: "2026-03-31"})
	require.Equal(t, 900, s.Stock[1].Received)
	require.Equal(t, 95, s.Stock[1].Off)
}

// TestInterval holds Clopper and Pearson's bounds against R's binom.test (package stats),
// which is run again where R is installed; typed figures are of R 4.2.2.
func TestInterval(t *testing.T) {
	for _, c := range []struct {
		p         Proportion
		low, high float64
	}{{Proportion{9, 10}, 0.554983882971805, 0.997471421455538}, {Proportion{0, 7}, 0, 0.409616397225003}, {Proportion{7, 7}, 0.590383602774997, 1}, {Proportion{27, 30}, 0.734711549525792, 0.978882862970277}} {
		low, high := c.p.Interval()
		require.InDelta(t, c.low, low, 1e-9, "%v", c.p)
		require.InDelta(t, c.high, high, 1e-9, "%v", c.p)
	}
	low, high := Proportion{}.Interval()
	require.Equal(t, []float64{0, 1}, []float64{low, high})
	out, err := exec.Command(peer.Need(t, "Rscript", "r-base-core"), "-e", `for (n in c(1, 13, 60)) for (x in 0:n) cat(x, n, format(binom.test(x, n)$conf.int, digits = 15), "\n")`).Output()
	require.NoError(t, err)
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	require.Len(t, lines, 2+14+61)
	for _, line := range lines {
		f := strings.Fields(line)
		var v [4]float64
		for i := range v {
			v[i], err = strconv.ParseFloat(f[i], 64)
			require.NoError(t, err)
		}
		low, high := Proportion{int(v[0]), int(v[1])}.Interval()
		require.InDelta(t, v[2], low, 1e-8, line)
		require.InDelta(t, v[3], high, 1e-8, line)
	}
}

// TestSameLogSameBytes, in every language and form; and every label has its words.
func TestSameLogSameBytes(t *testing.T) {
	for _, lang := range words.Languages() {
		var first string
		for range 2 {
			s := made(t, story(), Period{})
			var b bytes.Buffer
			for _, form := range report.Forms() {
				require.NoError(t, s.Write(&b, form, lang))
			}
			if first == "" {
				first = b.String()
			}
			require.True(t, first == b.String())
		}
		require.NotContains(t, strings.ReplaceAll(first, Schema, ""), "season/", "%s: a key without its words", lang)
	}
}

// TestEveryFormStatesItsOrigin: by what each form says it can be made again.
func TestEveryFormStatesItsOrigin(t *testing.T) {
	s := made(t, story(), Period{To: "2026-03-20"})
	for _, form := range report.Forms() {
		for _, lang := range words.Languages() {
			var b bytes.Buffer
			require.NoError(t, s.Write(&b, form, lang))
			st, found, err := report.FindStatement(b.Bytes())
			require.NoError(t, err, "%s in %s", form, lang)
			require.Equal(t, form, found)
			p, err := PeriodOf(st)
			require.NoError(t, err)
			require.Equal(t, Period{From: "2025-03-21", To: "2026-03-20"}, p)
			require.Equal(t, s.Source, st.Source)
			again := made(t, story(), p)
			same, err := s.Tells(again)
			require.NoError(t, err)
			require.True(t, same)
		}
	}
	same, err := s.Tells(made(t, &logged{story().es[:30]}, Period{To: "2026-03-20"}))
	require.NoError(t, err)
	require.False(t, same, "less is on record")
}

// TestJSON: the object holds the figures that the table holds, and lists where nothing is.
func TestJSON(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, made(t, story(), Period{From: "2026-02-25", To: "2026-03-31"}).WriteJSON(&b))
	var o struct {
		Schema string
		Source struct {
			LastSeq uint64 `json:"last_seq"`
		}
		Held struct {
			Of, All    int
			P025, P975 float64
		}
		Treatments []struct {
			Treatment  string
			PhosphineG float64 `json:"phosphine_g"`
		}
		DaysLost []struct {
			Treatment string
			Over      float64 `json:"over_the_plan_d"`
		} `json:"days_lost"`
	}
	require.NoError(t, json.Unmarshal(b.Bytes(), &o))
	require.Equal(t, Schema, o.Schema)
	require.EqualValues(t, len(story().es), o.Source.LastSeq)
	require.Equal(t, []int{1, 2}, []int{o.Held.Of, o.Held.All})
	require.InDelta(t, 0.0126, o.Held.P025, 1e-4, "1 of 2: 1 − 0.975^(1/2), Clopper and Pearson")
	require.Equal(t, 300.0, o.Treatments[0].PhosphineG)
	require.Equal(t, "B-1", o.DaysLost[1].Treatment)
	require.InDelta(t, 1.5, o.DaysLost[1].Over, 1e-9)

	b.Reset()
	empty := &logged{}
	empty.add(-1, logbook.KindSiteConfigured, &logbook.SiteConfigured{Site: depot()})
	require.NoError(t, made(t, empty, Period{}).WriteJSON(&b))
	require.NotContains(t, b.String(), "null")
}

// TestRepeatedLeaksStandOut: the place that leaked twice is bold, and dated.
func TestRepeatedLeaksStandOut(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, made(t, story(), Period{}).Document("en").WriteHTML(&b))
	require.Contains(t, b.String(), "Places that leaked more than once: 1 of 2.")
	require.Contains(t, b.String(), `<td class="k s">low</td><td class="k n s">2</td><td class="s">2026-03-03`+"\u00a0"+`08:00; 2026-03-22`+"\u00a0"+`22:00`)
}

package web

import (
	"context"
	"errors"
	"iter"
	"log/slog"
	"math"
	"net/http"
	"net/http/httptest"
	"sync"
	"time"

	"undersheet/alert"
	"undersheet/ingest"
	"undersheet/logbook"
	"undersheet/rules"
	"undersheet/rules/efficacy"
	"undersheet/rules/exposure"
	"undersheet/rules/gas"
	"undersheet/rules/reading"
	"undersheet/watch"
)

// now is the moment of the invented depot, two days and eight hours after t = 0.
var now = time.Date(2026, 5, 6, 14, 0, 0, 0, time.UTC)

// fake is an invented depot behind the pages.
type fake struct {
	mu      sync.Mutex // of what changes while a stream is open: view, changed, status
	view    *rules.View
	status  watch.Status
	changed chan struct{}
	broken  error // readings end with it
}

func (f *fake) View() *rules.View {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.view
}

func (f *fake) Changed() <-chan struct{} {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.changed
}

func (f *fake) Status() watch.Status {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.status
}

// Readings implements Record: one reading every 10 minutes, and an untrusted one.
func (f *fake) Readings(_ context.Context, channel string, from, to logbook.Time) iter.Seq2[*logbook.Reading, error] {
	return func(yield func(*logbook.Reading, error) bool) {
		for t := from; t < to; t = t.Add(10 * time.Minute) {
			r := &logbook.Reading{Channel: channel, Value: 500 * math.Exp(-t.Hours(from)/90), Unit: logbook.PPM}
			r.Time = t
			if t == from.Add(time.Hour) {
				r.Fault, r.Value = "E4", 1e6
			}
			if !yield(r, nil) {
				return
			}
		}
		if f.broken != nil {
			yield(nil, f.broken)
		}
	}
}

type intake struct{ stats ingest.Stats }

func (i intake) Stats() ingest.Stats { return i.stats }

type outbox struct{ stats alert.Stats }

func (o outbox) Stats() alert.Stats { return o.stats }

// sample is a reading as judged, taken age ago.
func sample(ppm float64, age time.Duration, state string) rules.Sample {
	return rules.Sample{At: logbook.At(now.Add(-age)), PPM: ppm, Raw: ppm, Unit: logbook.PPM, State: state}
}

// held is a line that held ppm for hours.
func held(name string, ppm float64, hours int) efficacy.Line {
	l := efficacy.Line{Name: name, PPMh: ppm * float64(hours), Above: float64(hours)}
	for range hours {
		l.Hours = append(l.Hours, exposure.Hour{PPMh: ppm, Read: 1})
	}
	return l
}

// invented is a depot with two stores: one under gas, one that owes its check.
func invented() *fake {
	started := logbook.At(now.Add(-56 * time.Hour))
	end := started.Add(120 * time.Hour)
	forecast := func(line string, p50 float64, chance float64) *logbook.Forecast {
		return &logbook.Forecast{Stack: "B", Line: line, For: end, ChanceMet: logbook.Number(chance),
			PPM: logbook.Quantiles{P05: logbook.Number(p50 * 0.7), P50: logbook.Number(p50), P95: logbook.Number(p50 * 1.3)}}
	}
	line := func(name string, ppm, p50, chance float64, state string) rules.LineView {
		l := rules.LineView{Name: name, Channel: "b-" + name, Last: sample(ppm, 4*time.Minute, state), CTPPPMh: 21345, CTPGhM3: 29.66, Forecast: forecast(name, p50, chance)}
		for h := 0.0; h <= 120; h += 2 {
			y := 500 * math.Exp(-h/90)
			l.Curve = append(l.Curve, gas.CurvePoint{Hours: h, P05: y * 0.8, P50: y, P95: y * 1.25})
		}
		return l
	}
	b := rules.StackView{Name: "B", Store: "Long Store", Treatment: "B-7", Phase: logbook.PhaseExposure, Verdict: logbook.VerdictProvisional,
		Protocol: "five-day", Commodity: "milled rice", Started: started, ShortestEnd: end, PlannedEnd: end, EndLevelPPM: 150, PhosphineG: 520, GrainTempC: 28,
		Lines:  []rules.LineView{line("north top", 271, 130, 0.31, reading.OK), line("south low", 288, 171, 0.999, reading.Silent)},
		Lowest: forecast("", 130, 0.31), Fit: &rules.FitView{YieldPPM: 610, YieldSE: 12, ReleasePerDay: 1.2, ReleSE: 0.1, LossPerDay: 0.27, LossSE: 0.02, HalfLifeHours: 61.6},
		Leak: leakSeen(started), Outlook: outlookOf(started, end), LowHighRatio: 0.94,
		Events: []rules.EventView{{At: started, Kind: "treatment-started", Text: "Amal Quint"}, {At: started.Add(30 * time.Hour), Kind: "leak", Text: "raised north top"}}}
	b.Efficacy = &efficacy.Exposure{Hours: 56, Planned: 120, EndPPM: 150, FullPPM: 900, TempC: 28,
		Lines: []efficacy.Line{held("north top", 400, 56), held("south low", 300, 56)}}
	b.Lines[0].EndLevels = []logbook.EndLevel{{Moment: logbook.MomentShortest, Shown: logbook.ShownNotMet, PPM: 131, EndPPM: 150}, {Moment: logbook.MomentAiring, Shown: logbook.NotShown}}
	long := rules.StoreView{Name: "Long Store", Stacks: []rules.StackView{b, {Name: "C", Store: "Long Store", Lines: []rules.LineView{{Name: "top", Last: rules.Sample{State: reading.None}}}}},
		Air:    []rules.AirView{{Name: "door", Where: "door", Channel: "door", Last: sample(0.02, time.Minute, reading.OK), TWA8h: 0.011, Mean15min: 0.02}},
		Inside: "Amal Quint", AirTWA8h: 0.011, Air15min: 0.02,
		Gate: logbook.Gate{Store: "Long Store", State: logbook.GateShut, LimitPPM: 0.1, LimitOf: "an invented source", Reasons: []logbook.Reason{{Code: "under-gas", About: "B", Value: 56}, {Code: "from-a-newer-program", About: "x"}}}}
	long.Gate.Read = []logbook.PointRead{{Point: "door", PPM: 0.02, Upper: 0.042, At: long.Air[0].Last.At}}
	round := rules.StoreView{Name: "Round Store", Gate: logbook.Gate{State: logbook.GateCheckOwed, LimitPPM: 0.1, Reasons: []logbook.Reason{{Code: "confirmation-owed"}}}}
	v := &rules.View{Config: &logbook.Site{Name: "Elder Quay Depot", Timezone: "Africa/Nairobi"}, Site: "Elder Quay Depot", Now: logbook.At(now.Add(-2 * time.Second)), Seq: 4711, Stores: []rules.StoreView{long, round}}
	v.Alarms = []rules.AlarmView{
		{Alarm: logbook.Alarm{State: logbook.AlarmRaised, Alarm: "line-silent", Stack: "B", Store: "Long Store", Line: "south low", Priority: logbook.PriorityMedium, Value: 45}, Since: started.Add(40 * time.Hour)},
		{Alarm: logbook.Alarm{State: logbook.AlarmRaised, Alarm: "leak", Stack: "B", Store: "Long Store", Line: "north top", Priority: logbook.PriorityHigh, Value: 0.3, Limit: 0.1, Onset: started.Add(29 * time.Hour), Grounds: &leakSeen(started).Found[0].Grounds}, Since: started.Add(30 * time.Hour)}}
	v.Findings = []logbook.Finding{{Code: "no-limits-country", Limit: 0.3}}
	return &fake{view: v, changed: make(chan struct{}), status: watch.Status{Seq: 4711, Judged: 4711, Folded: 4711, Records: 37}}
}

// leakSeen is a leak test that ran from hour 12 on and told one leak.
func leakSeen(started logbook.Time) rules.LeakView {
	l := rules.LeakView{Statistic: 3.25, Threshold: 11.5, Live: true, Found: []gas.Found{{Line: "north top", Raised: started.Add(30 * time.Hour),
		Onset: started.Add(29 * time.Hour), Grounds: logbook.Grounds{From: started.Add(28 * time.Hour), To: started.Add(29 * time.Hour), Statistic: 12, Threshold: 11.5}}}}
	for h := 0.0; h < 56; h += 0.5 {
		l.Trail = append(l.Trail, gas.Mark{Hours: h, All: h / 10, Apart: h / 12, Live: h >= 12})
	}
	return l
}

func outlookOf(started, end logbook.Time) *logbook.Outlook {
	return &logbook.Outlook{Stack: "B", For: end, EndPPM: 150, Chance: 0.31, Want: 0.95, Leaking: true, HeldUntil: started.Add(80 * time.Hour),
		TopUp: logbook.TopUp{Known: true, Grams: 122, Most: 520, Until: started.Add(100 * time.Hour), Airing: started.Add(130 * time.Hour)}}
}

// hostile names everything with markup.
func hostile() *fake {
	const bad = `<script>alert("x")</script>' onload=x &lt; ../..` + "\x00\xff"
	f := invented()
	s := &f.view.Stores[0]
	f.view.Site, s.Name, s.Inside, s.Gate.LimitOf, s.Air[0].Name, s.Air[0].Where = bad, bad, bad, bad, bad, bad
	k := &s.Stacks[0]
	k.Name, k.Treatment, k.Protocol, k.Commodity, k.Lines[0].Name, k.Events[0].Text, k.Events[0].Kind = bad, bad, bad, bad, bad, bad, bad
	f.view.Alarms[0].Alarm.Stack, f.view.Alarms[0].Alarm.Alarm, f.view.Alarms[0].Alarm.Priority = bad, bad, bad
	f.view.Findings[0].Code = bad
	s.Gate.Reasons[1].About = bad
	return f
}

func (f *fake) handler(o Options) http.Handler {
	o.Record, o.Version, o.Logger = f, "test", slog.New(slog.DiscardHandler)
	if o.Clock == nil {
		o.Clock = func() time.Time { return now }
	}
	return New(f, o)
}

// get asks the handler from this machine.
func get(h http.Handler, path string) *httptest.ResponseRecorder {
	return ask(h, http.MethodGet, path, "127.0.0.1:8080", "127.0.0.1:4321")
}

func ask(h http.Handler, method, path, host, from string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, path, nil)
	r.Host, r.RemoteAddr = host, from
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

var errDisk = errors.New("disk on fire")

package report

import (
	"iter"
	"math"
	"sort"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules"
)

// depot is an invented site: one store of two stacks, sheeted.
func depot() *logbook.Site {
	line := logbook.Channel{Gas: "ph3", Unit: "ppm", Range: 2000, Resolution: 1, DetectionLimit: 1, Accuracy: 0.05}
	air := logbook.Channel{Gas: "ph3", Unit: "ppm", Range: 200, Resolution: 0.01, DetectionLimit: 0.03, Accuracy: 0.1}
	return &logbook.Site{Name: "Ford Mill", Timezone: "Asia/Kolkata",
		Channels: map[string]logbook.Channel{"a1": line, "a2": line, "b1": line, "door": air, "in": air},
		Stores: []logbook.Store{{Name: "Long Barn",
			Air: []logbook.AirPoint{{Name: "door", Channel: "door", Where: "door"}, {Name: "gangway", Channel: "in"}},
			Stacks: []logbook.Stack{{Name: "A", Lines: []logbook.Line{{Name: "top", Channel: "a1"}, {Name: "low", Channel: "a2"}}},
				{Name: "B", Lines: []logbook.Line{{Name: "top", Channel: "b1"}}}}}}}
}

// zero is t = 0 of the stories.
var zero = logbook.At(time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC))

// hour returns t = 0 plus h hours.
func hour(h float64) logbook.Time { return zero.Add(time.Duration(math.Round(h * float64(time.Hour)))) }

// story is a list of entries by hand.
type story struct{ es []logbook.Entry }

func (s *story) add(h float64, kind logbook.Kind, e logbook.Entry) {
	e.Head().Time, e.Head().Kind = hour(h), kind
	s.es = append(s.es, e)
}

func (s *story) read(h float64, channel string, v float64) {
	s.add(h, logbook.KindReading, &logbook.Reading{Channel: channel, Value: v, Unit: "ppm"})
}

// under puts a stack under gas: dosing takes 40 minutes.
func (s *story) under(h float64, stack, name, protocol string) {
	s.add(h-0.66, logbook.KindDosingStarted, &logbook.DosingStarted{OnStack: logbook.OnStack{Stack: stack}, StoreEmpty: true, Act: by("R. Amadi")})
	s.start(h, stack, name, protocol)
}

func (s *story) start(h float64, stack, name, protocol string) {
	s.add(h, logbook.KindTreatmentStarted, &logbook.TreatmentStarted{OnStack: logbook.OnStack{Stack: stack}, Treatment: name, Protocol: protocol,
		Commodity: "milled rice", Tonnes: 180, VolumeM3: 260, PhosphineG: 180, GrainTempC: 27, Act: by("R. Amadi")})
}

func by(name string) logbook.Act { return logbook.Act{By: name, Identity: "not verified"} }

func (s *story) air(h float64, stack string) {
	s.add(h, logbook.KindAiringStarted, &logbook.AiringStarted{OnStack: logbook.OnStack{Stack: stack}, Act: by("R. Amadi")})
}

func (s *story) confirm(h float64) {
	s.add(h, logbook.KindEntryConfirmed, &logbook.EntryConfirmed{OnStore: logbook.OnStore{Store: "Long Barn"}, Act: by("O. Marsh")})
}

func (s *story) beside(h float64, stack string, ppm float64) {
	limit := 0.02
	s.add(h, logbook.KindHandReading, &logbook.HandReading{Store: "Long Barn", Point: "beside " + stack, Value: ppm, Unit: "ppm", Method: "hand meter", DetectionLimit: &limit, Act: by("O. Marsh")})
}

func ptr(v float64) *float64 { return &v }

// ordered returns the entries in order of time; late ones are added after.
func (s *story) ordered() []logbook.Entry {
	sort.SliceStable(s.es, func(i, k int) bool { return s.es[i].Head().Time < s.es[k].Head().Time })
	return s.es
}

// airs reads both air points every 10 minutes from one hour to another.
func (s *story) airs(from, to float64, ppm func(h float64) float64) {
	for i := 0; ; i++ {
		h := from + float64(i)/6
		if h > to {
			return
		}
		s.read(h, "door", 0.01+0.001*float64(i%5))
		s.read(h, "in", ppm(h)+0.001*float64(i%3))
	}
}

// whole is a sound treatment of stack A from dosing to its end, as by hand.
func whole() *story {
	s := &story{}
	s.add(-30, logbook.KindNoGasDeclared, &logbook.NoGasDeclared{OnStore: logbook.OnStore{Store: "Long Barn"}, Act: by("O. Marsh")})
	s.under(0, "A", "A-1", "five-day")
	for h := 0.25; h < 124; h += 0.5 {
		c := 700 * math.Exp(-0.15*h/24) * (1 - math.Exp(-1.2*h/24))
		if h > 121 {
			c *= math.Exp(-3 * (h - 121))
		}
		s.read(h, "a1", math.Round(c))
		s.read(h, "a2", math.Round(0.9*c))
	}
	s.airs(-0.6, 190, func(h float64) float64 {
		if h > 121 && h < 121.5 {
			return 0.9
		}
		return 0.02
	})
	s.add(60, logbook.KindHandReading, &logbook.HandReading{Stack: "A", Line: "Top", Value: 0.6, Unit: "g/m3", Method: "detector tube", Act: by("O. Marsh")})
	s.air(121, "A")
	s.confirm(122) // refused: the airing has not lasted
	s.beside(124.1, "A", 0.02)
	s.confirm(124.2)
	s.add(130, logbook.KindInspected, &logbook.GrainInspected{OnStack: logbook.OnStack{Stack: "A"}, Insects: logbook.InsectsNone, Method: "sieved samples", Act: by("R. Amadi")})
	s.add(171, logbook.KindHandReading, &logbook.HandReading{Stack: "A", Where: logbook.WhereBags, Value: 0.05, Unit: "ppm", Method: "hand meter", DetectionLimit: ptr(0.02), Act: by("O. Marsh")})
	s.ordered()
	return s
}

// entries makes a sequence of copies, so that one fold cannot disturb another.
func entries(t testing.TB, es []logbook.Entry) iter.Seq2[logbook.Entry, error] {
	return func(yield func(logbook.Entry, error) bool) {
		for _, e := range es {
			if !yield(clone(e), nil) {
				return
			}
		}
	}
}

// clone copies an entry by way of its JSON; it panics on one that has none.
func clone(e logbook.Entry) logbook.Entry {
	b, err := logbook.Encode(e)
	if err != nil {
		panic(err)
	}
	c, err := logbook.Decode(b)
	if err != nil {
		panic(err)
	}
	return c
}

// committed is what a logbook would hold of the story: the site, every entry with
// its seq and received, and the records that the rules made of it.
func committed(site *logbook.Site, es []logbook.Entry) []logbook.Entry {
	state, seq, now := rules.New(), uint64(0), logbook.Time(0)
	var out []logbook.Entry
	var commit func(e logbook.Entry)
	commit = func(e logbook.Entry) {
		h := e.Head()
		if f, ok := e.(*logbook.Forecast); ok && !f.Daily {
			return
		}
		seq++
		now = max(now, h.Time)
		h.Seq, h.Received = seq, now
		if r, ok := e.(logbook.Recorded); ok {
			r.Rec().Program = "1.0"
		}
		c := clone(e)
		out = append(out, c)
		for _, r := range state.Fold(clone(c)) {
			commit(r)
		}
	}
	conf := &logbook.SiteConfigured{Site: *site}
	conf.Kind, conf.Time = logbook.KindSiteConfigured, es[0].Head().Time
	commit(conf)
	for _, e := range es {
		commit(clone(e))
	}
	return out
}

// sound is the report of whole, by hand, made once: tests only read it.
var sound = sync.OnceValues(func() (*Report, error) {
	es := whole().es
	return Make(func(yield func(logbook.Entry, error) bool) {
		for _, e := range es {
			if !yield(e, nil) {
				return
			}
		}
	}, depot(), "A-1", Source{})
})

// log is whole and the beginning of another treatment as a logbook holds them,
// made once.
var log = sync.OnceValue(func() []logbook.Entry {
	s := whole()
	s.under(300, "A", "A-2", "five-day")
	for h := 301.0; h < 400; h++ {
		s.read(h, "a1", h)
	}
	return committed(depot(), s.ordered())
})

func kept(t testing.TB) []logbook.Entry {
	t.Helper()
	require.NotEmpty(t, log())
	return log()
}

func soundReport(t testing.TB) *Report {
	t.Helper()
	r, err := sound()
	require.NoError(t, err)
	return r
}

func report(t testing.TB, s *story, name string) *Report {
	t.Helper()
	r, err := Make(entries(t, s.es), depot(), name, Source{})
	require.NoError(t, err)
	return r
}

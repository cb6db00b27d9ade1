package decay

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// width of an interval, in ln.
func width(f Forecast) float64 { return math.Log(f.P95 / f.P05) }

// TestAddedDoseIsSuperposed: the balance is linear, so that the gas of an added dose
// comes on top of the old as its own release-loss curve (Bateman 1910) from its own
// hour on. Once a dose is told, and before any reading or refit, the forecast is that
// sum, hardly less sure than before; and it is what ChanceWith promised of it.
func TestAddedDoseIsSuperposed(t *testing.T) {
	s := New(stack(2))
	c := Curve{s.Setup.ppmOf(520), 1.5, 0.6}
	s = exactly(t, c, 2.5, 60)
	before, ok := s.Lowest(120, 150)
	require.True(t, ok)
	for _, more := range []struct{ at, grams float64 }{{61, 260}, {75, 100}} { // the second is only planned yet
		old, _ := s.Lowest(120, 150)
		want := old.P50 + more.grams/520*c.At((120-more.at-2.5)/24)
		promised, ok := s.ChanceWith(more.grams, more.at, 120, want)
		require.True(t, ok)
		s.AddDose(more.at, more.grams)
		now, ok := s.Lowest(120, want)
		require.True(t, ok)
		require.InEpsilon(t, want, now.P50, 0.03)
		require.InDelta(t, promised, now.ChanceMet, 0.12)
		require.Less(t, width(now), width(before)+0.25)
	}
	soon, _ := s.Lowest(61, 150)
	require.InEpsilon(t, c.At((61-2.5)/24), soon.P50, 0.02, "what is there is there")
	s.Refit()
	require.Equal(t, 13, s.Fit.Refits, "the fit went on")
}

// TestDoseToldLate: a dose that is told hours late, when its gas already shows, or out
// of order, changes what is to come and not what is there; after refits the answers are
// those of a stack that was told at once.
func TestDoseToldLate(t *testing.T) {
	d := simulate(8, 120, 2, 0)
	c := Curve{d.setup.ppmOf(520), 1.3, 0.3}
	more := func(h float64) float64 { return 0.4*c.At((h-50-3)/24) + 0.2*c.At((h-62-3)/24) } // by superposition
	for i, r := range d.seen {
		d.seen[i].ppm = math.Round(r.ppm + more(r.hours))
	}
	once, late := New(d.setup), New(d.setup)
	rest := feed(once, d.seen, 49, 6)
	once.AddDose(50, 208)
	rest = feed(once, rest, 61, 1)
	once.AddDose(62, 104)
	feed(once, rest, 80, 1)
	rest = feed(late, d.seen, 70, 1)
	here := late.Curve(0, 69.5)
	soon, _ := late.Lowest(69.5, 150)
	end, _ := late.Lowest(120, 150)
	late.AddDose(62, 104)
	late.AddDose(50, 208)
	require.Equal(t, []Dose{{50, 208}, {62, 104}}, late.Added)
	require.InEpsilon(t, here, late.Curve(0, 69.5), 0.01)
	after, ok := late.Lowest(69.5, 150)
	require.True(t, ok)
	require.InEpsilon(t, soon.P50, after.P50, 0.02)
	then, _ := late.Lowest(120, 150)
	require.NotEqual(t, end, then, "what is to come changes")
	feed(late, rest, 80, 1)
	a, _ := once.Lowest(120, 150)
	b, _ := late.Lowest(120, 150)
	t.Logf("told at once %.0f (%.0f–%.0f), late %.0f (%.0f–%.0f)", a.P50, a.P05, a.P95, b.P50, b.P05, b.P95)
	require.InDelta(t, math.Log(a.P50), math.Log(b.P50), width(a)/4)
	require.InDelta(t, width(a), width(b), width(a)/3)
	least := math.Inf(1)
	for l := range d.truth {
		least = min(least, d.truth[l][len(d.truth[l])-1]+more(120))
	}
	require.True(t, a.P05 < least && least < a.P95 && b.P05 < least && least < b.P95, "the truth is %.0f", least)
}

// TestManyDoses: a state holds so many doses; more count with the nearest, no gram is
// lost, the fit goes on, and all survives being written.
func TestManyDoses(t *testing.T) {
	d := simulate(8, 60, 2, 0)
	s := New(d.setup)
	feed(s, d.seen, 60, 12)
	one, _ := s.Lowest(120, 150)
	for i := range 20 {
		s.AddDose(60+float64(i*7%20), 10)
		low, ok := s.Lowest(120, 150)
		require.True(t, ok)
		require.Greater(t, low.P50, one.P50)
		one = low
		checkSane(t, s)
	}
	require.Len(t, s.Added, maxDoses)
	sum := 0.0
	for i, a := range s.Added {
		sum += a.Grams
		require.True(t, i == 0 || a.Hours >= s.Added[i-1].Hours, "in order: %+v", s.Added)
	}
	require.InDelta(t, 200, sum, 1e-9)
	data, err := json.Marshal(s)
	require.NoError(t, err)
	back := new(State)
	require.NoError(t, json.Unmarshal(data, back))
	s.Refit()
	back.Refit()
	require.Equal(t, s.Fit, back.Fit)
	checkSane(t, s)
}

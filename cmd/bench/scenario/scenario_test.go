package scenario

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/rules/decay"
)

// Gas is neither made nor lost: what was dosed is unreleased, in the gas, on or in
// the commodity, or outside.
func TestBalance(t *testing.T) {
	for seed := range uint64(20) {
		for _, r := range []*Record{Clean(seed), Hard(seed), Hard(seed, Trouble{Kind: DoseAdded}), Hard(seed, Trouble{Kind: Skirt, Factor: 3})} {
			b := r.Truth.Balance()
			require.InEpsilon(t, b.Dosed, b.Unreleased+b.Gas+b.Sorbed+b.Lost+b.Bound, 1e-9, "seed %d", seed)
			require.Positive(t, b.Lost)
		}
	}
}

// Under an uneven sheet the lines lie further apart.
func TestUneven(t *testing.T) {
	apart := func(r *Record) (widest float64) {
		for l := range r.Lines() {
			widest = math.Max(widest, r.Truth.LnC(l, 60)-math.Log(r.Truth.Lowest(60)))
		}
		return widest
	}
	hard, uneven := 0.0, 0.0
	for seed := range uint64(20) {
		hard, uneven = hard+apart(Hard(seed))/20, uneven+apart(Uneven(seed))/20
	}
	assert.Greater(t, uneven, 1.3*hard)
}

// A tight stack whose commodity takes nothing keeps all that was released.
func TestTight(t *testing.T) {
	s := newSource(3, hard)
	p := s.plan()
	p.befall(Trouble{}, s.stream("trouble"))
	p.gas.leak, p.gas.head, p.gas.bind = 0, 0, 0
	w := p.simulate(s.stream("weather"))
	assert.Zero(t, w.balance.Lost)
	assert.InEpsilon(t, p.gas.yield, w.balance.Unreleased+w.balance.Gas+w.balance.Sorbed, 1e-9)
}

// One node with first-order release and loss is the Bateman curve (Bateman 1910,
// Proc. Cambridge Philos. Soc. 15:423); the vectors are computed from its formula.
func TestCleanIsBateman(t *testing.T) {
	s := newSource(1, clean)
	p := s.plan()
	p.befall(Trouble{}, s.stream("trouble"))
	g := &p.gas
	g.yield, g.release, g.leak, g.sorb, g.bind, g.lag = 1000, 1.5, 0.15, 0, 0, 0
	w := p.simulate(s.stream("weather"))
	at := func(hours float64) float64 { return w.history[0][int(hours/truthStep+0.5)] }
	for hours, want := range map[float64]float64{24: 708.4198, 48: 767.8124, 120: 524.2372} {
		assert.InEpsilon(t, want, at(hours), 2e-4, "after %v h", hours)
		assert.InEpsilon(t, decay.Curve{YieldPPM: 1000, Release: 1.5, Loss: 0.15}.At(hours/24), at(hours), 2e-4)
	}
}

// The same seed is the same record, and a trouble changes nothing before it comes.
func TestSeeds(t *testing.T) {
	for _, kind := range append(append(Leaks(), Others()...), None) {
		for _, form := range append([]Form{Usual}, kind.Forms()...) {
			a, b := Hard(7, Trouble{Kind: kind, Form: form}), Hard(7, Trouble{Kind: kind, Form: form})
			require.Equal(t, a, b)
			plain := Hard(7)
			require.Equal(t, plain.Setup, a.Setup)
			if kind == None {
				continue
			}
			require.NotEqual(t, plain.Readings, a.Readings, "%s %s", kind, form)
			for i, r := range a.Readings {
				if r.Hours >= a.Truth.Onset-1 {
					break
				}
				require.Equal(t, plain.Readings[i], r, "%s %s", kind, form)
			}
		}
	}
	assert.NotEqual(t, Hard(7).Readings, Hard(8).Readings)
	assert.NotEqual(t, Clean(7).Readings, Hard(7).Readings)
}

// The ranges of the package doc hold.
func TestRanges(t *testing.T) {
	t.Run("hard", func(t *testing.T) { ranges(t, Hard) })
	t.Run("uneven", func(t *testing.T) { ranges(t, Uneven) })
}

func ranges(t *testing.T, draw func(seed uint64, trouble ...Trouble) *Record) {
	peaks, saturated, minutes := 0.0, 0, 0
	for seed := range uint64(60) {
		r := draw(seed)
		tr := &r.Truth
		require.True(t, tr.Loss > 0.05 && tr.Loss < 1.3, "loss %v", tr.Loss)
		r25 := tr.Release / warmer(r.Setup.TempC)
		require.True(t, r25 >= 0.8 && r25 <= 1.6 && tr.Lag >= 1 && tr.Lag <= 5)
		require.True(t, tr.Sorb >= 0.1 && tr.Sorb <= 1 && tr.Free >= 0.1 && tr.Free <= 1)
		require.True(t, r.Lines() >= 3 && r.Lines() <= 6)
		top := 0.0
		for _, x := range r.Readings {
			require.True(t, x.PPM >= 0 && x.PPM <= 2000 && x.Hours >= 0 && x.Hours <= Hours)
			top = math.Max(top, x.PPM)
		}
		peaks = math.Max(peaks, top)
		if tr.PPM(tr.LowestLine(48), 48) > 1500 {
			saturated++
		}
		if r.Every < 0.1 {
			minutes++
		}
	}
	assert.Equal(t, 2000.0, peaks)
	assert.InDelta(t, 12, saturated, 10)
	assert.InDelta(t, 15, minutes, 10)
}

// A leak makes the loss rate of the whole stack what it says.
func TestLeakSize(t *testing.T) {
	for _, kind := range Leaks() {
		sum, n := 0.0, 20.0
		for seed := range uint64(n) {
			leak, plain := Hard(seed, Trouble{Kind: kind, Factor: 2, Onset: 40}), Hard(seed)
			require.Equal(t, kind, leak.Truth.Kind)
			fell := 0.0
			for l := range leak.Lines() {
				fell += (plain.Truth.LnC(l, 64) - leak.Truth.LnC(l, 64)) / float64(leak.Lines())
			}
			assert.Positive(t, fell)
			sum += fell / leak.Truth.Loss
		}
		// Sorbed gas that comes back makes the fall smaller than the loss.
		assert.InDelta(t, 0.8, sum/n, 0.3, kind)
	}
}

// Until the hour of the forecast what is foreseen is what was; later it differs by
// the gusts, and on average by nothing.
func TestForeseen(t *testing.T) {
	sum, n := 0.0, 60.0
	for seed := range uint64(n) {
		r := Hard(seed)
		f := r.Foreseen(48)
		require.Equal(t, r.Truth.PPM(0, 48), f.PPM(0, 48))
		require.NotEqual(t, r.Truth.PPM(0, 120), f.PPM(0, 120))
		sum += r.Truth.LnC(0, 120) - f.LnC(0, 120)
	}
	assert.InDelta(t, 0, sum/n, 0.03)
}

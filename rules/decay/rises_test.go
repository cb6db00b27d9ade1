package decay

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// riseOf is what a fit says of a rise that began so many hours ago.
func riseOf(t *testing.T, s *State, ago float64) Rise {
	t.Helper()
	at, rises := s.Rises()
	i := slices.IndexFunc(rises, func(r Rise) bool { return math.Abs(at-r.Hours-ago) < 0.6 })
	require.GreaterOrEqual(t, i, 0, "a rise %v h ago", ago)
	return rises[i]
}

// A rise and its standard deviation are those of the last coefficient of the least-squares
// regression on the curve's parameters and the trace of the rise together (Frisch & Waugh
// 1933, Econometrica 1:387; Lovell 1963, J. Am. Stat. Assoc. 58:993), which a QR
// factorisation finds from all columns at once.
func TestRiseIsACoefficient(t *testing.T) {
	s := New(Setup{DoseG: 520, GasSpaceM3: 180, TempC: 27, MoisturePct: 12.5, Lines: make([]Line, 3)})
	feed(s, drawn(7, 3, flawless).seen, 60, 12)
	m := newModel(s, 60)
	rises := m.rises(s.Fit.X, s.Fit.Sizes[0].Size)
	require.Len(t, rises, len(riseAges))
	n, p := m.seen(), len(s.Fit.X)
	r, jac := make([]float64, n+p), make([]float64, (n+p)*p)
	m.residuals(s.Fit.X, r, jac)
	require.Less(t, math.Abs(r[n-1]), mostNewest, "else it would be held back")
	all := mat.NewDense(n+p, p+1, nil)
	for j := range p {
		all.SetCol(j, jac[j*(n+p):(j+1)*(n+p)])
	}
	for i, age := range riseAges {
		trace := m.traceFrom(len(m.hops) - 1 - age)
		all.SetCol(p, slices.Concat(make([]float64, n-len(trace)), trace, make([]float64, p)))
		var qr mat.QR
		qr.Factorize(all)
		var coefficients, inverse mat.Dense
		require.NoError(t, qr.SolveTo(&coefficients, false, mat.NewVecDense(n+p, r)))
		var square mat.Dense
		square.Mul(all.T(), all)
		require.NoError(t, inverse.Inverse(&square))
		require.InEpsilon(t, coefficients.At(p, 0), rises[i].Mean, 1e-5, "%d h ago", age)
		require.InEpsilon(t, math.Sqrt(inverse.At(p, p)), rises[i].SD, 1e-5, "%d h ago", age)
	}
}

// On stacks that the fit's own model has drawn a rise over its standard deviation is as
// good as standard normal, for a score is (Rao 1948, Proc. Camb. Phil. Soc. 44:50); and
// where a sheet is torn it is the rise that was made.
func TestRisesAreNormal(t *testing.T) {
	many(t)
	t.Parallel()
	scores := map[float64][]float64{}
	for i := range 150 {
		d := drawn(uint64(2000+i), 3, flawless)
		s := New(d.setup)
		feed(s, d.seen, 72, 6)
		for _, ago := range []float64{6, 12, 24} {
			r := riseOf(t, s, ago)
			scores[ago] = append(scores[ago], distuv.UnitNormal.CDF(r.Mean/r.SD))
		}
	}
	for ago, us := range scores {
		require.Empty(t, uneven(us), "%v h ago", ago)
	}
	const extra = 0.6 // per day
	sure, size := 0, 0.0
	for i := range 40 {
		d := torn(uint64(i), 60, 3, 0, 52.5, 60, extra)
		s := New(d.setup)
		feed(s, d.seen, 59.9, 1)
		r := riseOf(t, s, 7.5)
		sure += btoi(r.Mean > 3*r.SD)
		size += r.Mean / extra / 40
	}
	require.GreaterOrEqual(t, sure, 36)
	require.InDelta(t, 1, size, 0.3, "heavy tails keep back some of what comes fast")
}

// Before a fit, and in the first hours, there is no rise to speak of.
func TestNoRisesAtFirst(t *testing.T) {
	s := New(Setup{Lines: make([]Line, 2)})
	at, rises := s.Rises()
	require.Zero(t, at)
	require.Empty(t, rises)
	s.Update(2)
	_, rises = s.Rises()
	require.Empty(t, rises, "nothing was read")
	feed(s, drawn(1, 2, flawless).seen, 5.9, 1)
	at, rises = s.Rises()
	require.InDelta(t, 6, at, 0)
	require.Empty(t, rises)
}

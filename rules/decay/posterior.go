package decay

import (
	"slices"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
)

// fit is a posterior: its mode, draws around it, and the misfit.
type fit struct {
	X        []float64 // parameters at the mode
	Cov      []float64 // of the parameters: the lower triangle by rows
	States   [states]float64
	Move     []float64   // by parameter and state: how the states' mean moves with the parameter
	StateCov []float64   // lower triangle by rows, given the parameters
	Dev      []deviation // of the lines
	Draws    numbers     // equally likely parameters, each followed by its states' mean and its log posterior
	Days     float64     // time of the states
	Path     []float64   // of ln C, the misfit so far, at equal steps from t = 0
	PathStep float64     // days
	Size     size        // of the misfit
	Suspect  suspect
	AltCov   []float64 `json:",omitempty"` // StateCov of the less likely case
	Refits   int       // so far
	Run      int       `json:",omitempty"` // hours taken in since the last
	Weights  numbers   `json:",omitempty"` // of the draws since then, logs; none = all alike
	Sizes    []sized   // of this refit and of those before
	Rises    []Rise    // that nobody told of
	RisesAt  float64   // hours after t = 0 until which readings speak of them

	asked
}

// variance is that of parameter j.
func (f *fit) variance(j int) float64 { return f.Cov[j*(j+1)/2+j] }

// posterior describes what is known around the mode x; nil where the sums fail.
func (m *model) posterior(x []float64, before *fit) *fit {
	n, p := m.seen(), len(x)
	m.place(x)
	m.pool(false)
	last, _ := m.track(m.suspect.Open)
	s, err := leastSquares(x, n+p, 4, 1e-4, fitFall, m.residuals)
	if err != nil {
		return nil
	}
	m.follow(s.x)
	f := &fit{X: s.x, Size: m.size, Dev: append([]deviation(nil), m.dev...), Days: (float64(len(m.sights)) - 0.5) * hourDays}
	f.Days = max(f.Days, 0)
	for i := range p {
		for j := range i + 1 {
			f.Cov = append(f.Cov, s.cov.At(i, j))
		}
	}
	f.keepPath(m)
	if m.exact = slices.ContainsFunc(m.sights, overAll); m.exact {
		m.pool(false)
		last, _ = m.track(m.suspect.Open)
		f.Dev = append(f.Dev[:0], m.dev...)
	}
	f.StateCov = triangle(last[:], states)
	out, move := make([]float64, m.seen()*p), make([][states]float64, p)
	f.States = m.whiten(out[:m.seen()], nil)
	m.lean(s.x)
	m.whitenLines(move, m.slopes, out, 0, nil)
	for j := range move {
		f.Move = append(f.Move, move[j][:]...)
	}
	f.Suspect = m.suspect
	f.Draws, f.AltCov = m.sample(before, s.x, s.cov)
	if f.Draws == nil || !allFinite(f.X) || !allFinite(f.Cov) || !allFinite(f.States[:]) || !allFinite(f.Move) || !allFinite(f.StateCov) || !allFinite(f.Path) {
		return nil
	}
	return f
}

// keepPath notes the misfit's path.
func (f *fit) keepPath(m *model) {
	n := len(m.path)
	every := (n + pathPoints - 1) / pathPoints
	f.PathStep = float64(max(every, 1)) * hourDays
	for h := 0; h < n; h += every {
		sum, k := 0.0, 0
		for i := h; i < min(h+every, n); i++ {
			sum += m.path[i] - m.curve[i]
			k++
		}
		f.Path = append(f.Path, sum/float64(k))
	}
}

// past interpolates the path at days.
func (f *fit) past(days float64) float64 {
	if len(f.Path) == 0 {
		return 0
	}
	x := min(max(days/f.PathStep-0.5, 0), float64(len(f.Path)-1))
	i := min(int(x), max(len(f.Path)-2, 0))
	next := min(i+1, len(f.Path)-1)
	return f.Path[i] + (x-float64(i))*(f.Path[next]-f.Path[i])
}

// triangle lists a symmetric matrix (n × n, by rows) as its lower triangle by
// rows, the form in which a posterior is kept.
func triangle(p []float64, n int) []float64 {
	out := make([]float64, 0, n*(n+1)/2)
	for i := range n {
		for j := range i + 1 {
			out = append(out, (p[i*n+j]+p[j*n+i])/2)
		}
	}
	return out
}

// square is the inverse of triangle.
func square(t []float64, n int) []float64 {
	out := make([]float64, n*n)
	for i := range n {
		for j := range i + 1 {
			v := t[i*(i+1)/2+j]
			out[i*n+j], out[j*n+i] = v, v
		}
	}
	return out
}

// lower returns the lower Cholesky factor (by rows) of a covariance by rows; a
// state without variance is let through.
func lower(cov []float64, n int) ([]float64, bool) {
	out := copied(cov)
	for i := range n {
		out[i*n+i] = out[i*n+i]*(1+1e-12) + 1e-18
		clear(out[i*n+i+1 : i*n+n])
	}
	_, ok := lapack64.Potrf(blas64.Symmetric{Uplo: blas.Lower, N: n, Stride: n, Data: out})
	return out, ok
}

// divide fills out with z for which a lower triangle times z is x; it may be x.
func divide(lower, x, out []float64) {
	n := len(out)
	copy(out, x)
	blas64.Trsv(blas.NoTrans, blas64.Triangular{Uplo: blas.Lower, Diag: blas.NonUnit, N: n, Stride: n, Data: lower}, blas64.Vector{N: n, Inc: 1, Data: out})
}

// times multiplies a lower triangle by z.
func times(lower, z, out []float64) {
	n := len(out)
	for i := range out {
		out[i] = 0
		for j := range i + 1 {
			out[i] += lower[i*n+j] * z[j]
		}
	}
}

func copied(xs []float64) []float64 { return append([]float64(nil), xs...) }

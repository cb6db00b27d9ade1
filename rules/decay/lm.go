package decay

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/lapack/lapack64"
	"gonum.org/v1/gonum/mat"
)

// residuals computes the residuals (model − data) at x into r and, where jac is
// not nil, their derivatives, parameter after parameter (len(x) × len(r)).
type residuals func(x, r, jac []float64)

// solution is where a least-squares fit ended.
type solution struct {
	x    []float64
	rss  float64       // sum of squared residuals
	cov  *mat.SymDense // (JᵀJ)⁻¹ at x, or as near to it as the last step
	done bool          // the steps became small before the iterations ran out
}

// Errors of the least-squares engine.
var (
	errSingular = errors.New("the readings do not determine every parameter")
	errNoNumber = errors.New("the curve or a reading is no number at the start")
)

// leastSquares minimises the sum of squares of n residuals from start by the
// Levenberg–Marquardt method (Marquardt 1963, J. SIAM 11:431): normal equations
// damped by λ times their diagonal, solved by Cholesky. It ends when no
// parameter moves by more than tol relative to 1 + |x|, when a step takes the sum down
// by less than fall, or after iters steps.
func leastSquares(start []float64, n, iters int, tol, fall float64, f residuals) (solution, error) {
	p := len(start)
	s := solution{x: append([]float64(nil), start...)}
	r, jac, trial, tryR := make([]float64, n), make([]float64, n*p), make([]float64, p), make([]float64, n)
	f(s.x, r, jac)
	s.rss = floats.Dot(r, r)
	if !finite(s.rss) {
		return s, errNoNumber
	}
	normal, grad := make([]float64, p*p), make([]float64, p)
	normalEquations(r, jac, normal, grad)
	lambda := 1e-3
	for it := 0; it < iters && !s.done; it++ {
		step, ok := dampedStep(normal, grad, lambda)
		if ok {
			for j := range trial {
				trial[j] = s.x[j] + step[j]
			}
			f(trial, tryR, nil)
		}
		if rss := floats.Dot(tryR, tryR); ok && rss <= s.rss {
			s.done = small(step, s.x, tol) || s.rss-rss < fall
			copy(s.x, trial)
			if s.rss, lambda = rss, max(lambda/10, 1e-12); s.done {
				break // the derivatives in hand are those of a point as good as this
			}
			f(s.x, r, jac)
			normalEquations(r, jac, normal, grad)
			continue
		}
		s.done = ok && small(step, s.x, tol) // no way down from here: rounding
		lambda = max(lambda, 1e-8) * 10
		if lambda > 1e12 {
			break
		}
	}
	var err error
	s.cov, err = inverse(mat.NewSymDense(p, normal))
	return s, err
}

// small tells whether step is below tol relative to 1 + |x| everywhere.
func small(step, x []float64, tol float64) bool {
	for j := range x {
		if math.Abs(step[j]) > tol*(1+math.Abs(x[j])) {
			return false
		}
	}
	return true
}

// normalEquations fills normal with JᵀJ and grad with Jᵀr.
func normalEquations(r, jac []float64, normal, grad []float64) {
	n, p := len(r), len(grad)
	for a := range grad {
		col := jac[a*n : a*n+n]
		grad[a] = floats.Dot(col, r)
		for b := range a + 1 {
			v := floats.Dot(col, jac[b*n:b*n+n])
			normal[a*p+b], normal[b*p+a] = v, v
		}
	}
}

// dampedStep solves (JᵀJ + λ·diag(JᵀJ))·step = −grad; false where that cannot be
// done in numbers.
func dampedStep(normal, grad []float64, lambda float64) ([]float64, bool) {
	p, out := len(grad), copied(grad)
	damped := blas64.Symmetric{Uplo: blas.Lower, N: p, Stride: p, Data: copied(normal)}
	for j := range p {
		damped.Data[j*p+j] += lambda * max(normal[j*p+j], 1e-30)
	}
	root, ok := lapack64.Potrf(damped)
	if !ok {
		return nil, false
	}
	floats.Scale(-1, out)
	lapack64.Potrs(root, blas64.General{Rows: p, Cols: 1, Stride: 1, Data: out})
	return out, allFinite(out)
}

// inverse returns the inverse of a symmetric positive definite matrix, scaled to
// a unit diagonal before it is factored so that units do not spoil it.
func inverse(a *mat.SymDense) (*mat.SymDense, error) {
	p := a.SymmetricDim()
	scale, scaled := make([]float64, p), mat.NewSymDense(p, nil)
	for j := range p {
		scale[j] = math.Sqrt(a.At(j, j))
		if !(scale[j] > 0) || !finite(scale[j]) {
			return nil, errSingular
		}
	}
	for i := range p {
		for j := i; j < p; j++ {
			scaled.SetSym(i, j, a.At(i, j)/scale[i]/scale[j])
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(scaled) || chol.Cond() > 1e14 {
		return nil, errSingular
	}
	inv := mat.NewSymDense(p, nil)
	if err := chol.InverseTo(inv); err != nil && !nearSingular(err) {
		return nil, errSingular
	}
	for i := range p {
		for j := i; j < p; j++ {
			inv.SetSym(i, j, inv.At(i, j)/scale[i]/scale[j])
		}
	}
	return inv, nil
}

// nearSingular tells gonum's warning of a poor condition from a failure.
func nearSingular(err error) bool {
	var c mat.Condition
	return errors.As(err, &c) && !math.IsInf(float64(c), 1)
}

// finite tells whether x is a number.
func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

func allFinite(xs []float64) bool {
	for _, x := range xs {
		if !finite(x) {
			return false
		}
	}
	return true
}

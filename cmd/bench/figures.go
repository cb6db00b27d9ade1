package main

import (
	"math"
	"runtime"
	"slices"
	"sync"
)

// each calls do for 0..n−1 on as many cores as there are and returns what it gave,
// in order: results do not depend on the number of cores.
func each[T any](n int, do func(i int) T) []T {
	out := make([]T, n)
	next := make(chan int)
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := range next {
				out[i] = do(i)
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	wg.Wait()
	return out
}

// collect is each for what can fail; the first error in order counts.
func collect[T any](n int, do func(i int) (T, error)) ([]T, error) {
	errs := make([]error, n)
	out := each(n, func(i int) (v T) {
		v, errs[i] = do(i)
		return v
	})
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	return out, nil
}

// sorted returns a sorted copy.
func sorted(xs []float64) []float64 {
	out := append([]float64(nil), xs...)
	slices.Sort(out)
	return out
}

// quantile is that of xs by rank, so that infinities (never found) stay; NaN of none.
func quantile(xs []float64, q float64) float64 {
	if len(xs) == 0 {
		return math.NaN()
	}
	s := sorted(xs)
	return s[min(int(q*float64(len(s))), len(s)-1)]
}

func median(xs []float64) float64 { return quantile(xs, 0.5) }

// mean of xs; NaN of none.
func mean(xs []float64) float64 {
	sum := 0.0
	for _, x := range xs {
		sum += x
	}
	return sum / float64(len(xs))
}

// rms is the root mean square of xs; NaN of none.
func rms(xs []float64) float64 {
	sum := 0.0
	for _, x := range xs {
		sum += x * x
	}
	return math.Sqrt(sum / float64(len(xs)))
}

// share of xs that are true; NaN of none.
func share(xs []bool) float64 {
	n := 0.0
	for _, x := range xs {
		if x {
			n++
		}
	}
	return n / float64(len(xs))
}

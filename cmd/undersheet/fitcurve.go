package main

import (
	"fmt"
	"io"
	"math"

	"undersheet/rules/decay"
)

// The curves that can be fitted, as --curve and the JSON name them.
const (
	releaseLoss = "release-loss"
	twoPhase    = "two-phase"
)

// fitParameters are those of the fitted curve, as JSON and in words.
type fitParameters interface {
	title() string // of the curve
	tell(w io.Writer)
}

// releaseLossFit are the parameters of the release-loss curve.
type releaseLossFit struct {
	Yield   fitValue `json:"yield_ppm"`
	Release fitValue `json:"release_per_day"`
	Loss    fitValue `json:"loss_per_day"`
}

func (releaseLossFit) title() string { return "Release and loss" }

func (p releaseLossFit) tell(w io.Writer) {
	fmt.Fprintf(w, "  yield    %9.4g ± %-7.3g ppm      what the dose would give without loss\n", p.Yield.Value, p.Yield.SE)
	fmt.Fprintf(w, "  release  %9.4g ± %-7.3g per day\n", p.Release.Value, p.Release.SE)
	fmt.Fprintf(w, "  loss     %9.4g ± %-7.3g per day  half-life of the concentration %.3g days\n", p.Loss.Value, p.Loss.SE, math.Ln2/float64(p.Loss.Value))
}

// twoPhaseFit are the parameters of the two phases of the fall.
type twoPhaseFit struct {
	FastPPM  fitValue `json:"fast_ppm"`
	FastRate fitValue `json:"fast_per_day"`
	SlowPPM  fitValue `json:"slow_ppm"`
	SlowRate fitValue `json:"slow_per_day"`
}

func (twoPhaseFit) title() string { return "Two phases of the fall" }

func (p twoPhaseFit) tell(w io.Writer) {
	phase := func(name string, ppm, rate fitValue) {
		fmt.Fprintf(w, "  %-7s  %9.4g ± %-7.3g ppm      carried back to the dosing\n", name, ppm.Value, ppm.SE)
		fmt.Fprintf(w, "           %9.4g ± %-7.3g per day  half-life %.3g days\n", rate.Value, rate.SE, math.Ln2/float64(rate.Value))
	}
	phase("fast", p.FastPPM, p.FastRate)
	phase("slow", p.SlowPPM, p.SlowRate)
}

// fitCurve runs the fit that was asked for.
func (c *fitCmd) fitCurve(rs fitReadings, at float64) (fitResult, error) {
	switch {
	case !c.Flat:
		return c.full(rs, at)
	case c.Curve == twoPhase:
		return c.decline(rs, at)
	}
	return c.flat(rs, at)
}

// flat is the plain least-squares fit of all readings as one release-loss curve.
func (c *fitCmd) flat(rs fitReadings, at float64) (fitResult, error) {
	f, err := decay.Flat(rs.columns())
	if err != nil {
		return fitResult{}, err
	}
	res := fitResult{
		Model:      releaseLoss,
		Parameters: releaseLossFit{Yield: newFitValue(f.YieldPPM, f.YieldSE), Release: newFitValue(f.Release, f.ReleaseSE), Loss: newFitValue(f.Loss, f.LossSE)},
		ResidualSD: sig(f.ResidualSD), Forecast: c.forecast("", f.Forecast(at, c.EndLevel)),
	}
	res.noteLoss(f.Curve, rs)
	return res, nil
}

// decline is the plain least-squares fit of all readings as one fall in two phases.
func (c *fitCmd) decline(rs fitReadings, at float64) (fitResult, error) {
	f, err := decay.Decline(rs.columns())
	if err != nil {
		return fitResult{}, err
	}
	return fitResult{
		Model: twoPhase,
		Parameters: twoPhaseFit{
			FastPPM: newFitValue(f.FastPPM, f.FastPPMSE), FastRate: newFitValue(f.FastRate, f.FastRateSE),
			SlowPPM: newFitValue(f.SlowPPM, f.SlowPPMSE), SlowRate: newFitValue(f.SlowRate, f.SlowRateSE),
		},
		ResidualSD: sig(f.ResidualSD), Forecast: c.forecast("", f.Forecast(at, c.EndLevel)),
	}, nil
}

// columns are the hours and the ppm of the readings.
func (rs fitReadings) columns() (hours, ppm []float64) {
	for _, r := range rs.rows {
		hours, ppm = append(hours, r.hours), append(ppm, r.ppm)
	}
	return hours, ppm
}

// noteLoss notes that readings end before the peak of the release-loss curve.
func (r *fitResult) noteLoss(c decay.Curve, rs fitReadings) {
	if peak := c.PeakDays() * 24; rs.last() < peak {
		r.Notes = append(r.Notes, fmt.Sprintf("the readings end before the gas is at its highest (about %.0f h): the loss is hardly known yet, fit again with later readings", peak))
	}
}

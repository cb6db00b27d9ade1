package decay

import (
	"math"

	"undersheet/rules/commodity"
	"undersheet/rules/dose"
)

// Setup is what is known of a treatment when it starts. 0 = unknown, for every
// number.
type Setup struct {
	DoseG       float64 // g of phosphine that the formulation holds
	GasSpaceM3  float64 // m³ of gas under the sheet: between the kernels and above the bags
	TempC       float64 // °C of the grain
	MoisturePct float64 // % of the grain
	Commodity   string  // as people write it: "milled rice", "riz paddy"; see package commodity
	Form        string  // formulation: "tablets", "plates", "gas", …; see isPlate and dose.FromCylinders
	// SamplingLossPerDay is what the sampling pump takes from the gas space and does not
	// give back, as a first-order loss: flow in m³ per day over gas space. It is known,
	// not estimated, and adds to the loss that is.
	SamplingLossPerDay float64
	Lines              []Line
}

// mostSampling bounds what a pump can be said to take, per day: more would be
// ventilation.
const mostSampling = 10.0

// Line is what is known of the instrument on a sampling line. 0 = unknown.
type Line struct {
	Accuracy       float64 // greatest error as a fraction of the reading; unknown counts as 0.05
	Resolution     float64 // ppm
	DetectionLimit float64 // ppm; a lower reading says only that the gas is below it
	Range          float64 // ppm; a reading at or above it says only that the gas is above it
}

// Noise of a reading: a share of the value and a floor in ppm. From memory:
// electrochemical readings scatter by 1–4 % + 1 ppm.
const (
	noiseShare = 0.03
	noiseFloor = 1.0
)

// defaultAccuracy stands for an unknown one.
const defaultAccuracy = 0.05

// bend returns the concentration in ppm below which the scatter of a line is
// even in ppm rather than even in per cent.
func (l Line) bend() float64 {
	v := noiseFloor*noiseFloor + l.Resolution*l.Resolution/12
	return math.Sqrt(v) / noiseShare
}

// gainSD returns the standard deviation of ln(reading/truth) that a whole record
// may share: of an error that may lie anywhere within the accuracy (JCGM 100:2008,
// 4.3.7).
func (l Line) gainSD() float64 {
	if l.Accuracy > 0 {
		return l.Accuracy / math.Sqrt(3)
	}
	return defaultAccuracy / math.Sqrt(3)
}

// Dose is gas that was added at Hours after t = 0.
type Dose struct {
	Hours, Grams float64
}

// normal is a normal prior.
type normal struct{ mean, sd float64 }

// Priors of the curve, for the logs of rates per day and of days. From memory of
// the trade's practice, with the spread wide enough to be wrong in: release
// 0.8–1.6 per day at 25 °C and some 7 % faster per °C; beginning 1–5 h after
// dosing (1–4 h: Alberta Blue Book p. 409); loss of a good sheet 0.1–0.2 per
// day, of any sheet 0.05–1.2 (19 in 20); exchange with the commodity 0.1–1 per day.
const (
	priorRelease25C  = 1.15 // per day
	priorReleaseSD   = 0.35
	releasePerDegree = 0.07 // of ln release, per °C
	releasePerPct    = 0.03 // of ln release, per % of moisture
	usualMoisture    = 12.5 // %
	plateFaster      = 0.3  // of ln release: magnesium plates react faster than aluminium tablets
	cylinderRelease  = 24.0 // per day: gas from cylinders is there at once and mixes within hours, from memory
	cylinderSD       = 0.7  // from memory, too
	cylinderLagDays  = 0.02 // half an hour, in which a dose is let in: from memory
	priorLoss        = 0.25 // per day
	priorLossSD      = 0.80
	priorLagDays     = 0.104 // 2.5 h
	priorLagSD       = 0.7
	mostLagDays      = 0.75 // a stack that still shows nothing has lost its gas, or is not read
	priorSorb        = 0.25 // per day
	priorSorbSD      = 0.30 // folded at 0: little sorption is about as likely as some
	huskedSorb       = 0.15 // per day, of rice without its husk
	huskedSorbSD     = 0.20
	thirstySorb      = 0.55 // per day, of paddy, of what is rich in oil and of what is ground
	thirstySorbSD    = 0.30
	priorFree        = 0.55 // per day
	priorFreeSD      = 0.5
	thirstyFree      = 0.35 // per day: what takes up more gives back more slowly
	thirstyFreeSD    = 0.6
	priorRampDays    = 0.03 // mean time until release is in full swing and mixed
	priorRampSD      = 0.04 // folded at 0
	priorYieldSD     = 0.20 // dose and gas space known
	vagueYieldPPM    = 1000 // either unknown
	vagueYieldSD     = 1.2
)

// releasePrior is the prior of ln release, from temperature, moisture and form.
func (s Setup) releasePrior() normal {
	if dose.FromCylinders(s.Form) {
		return normal{math.Log(cylinderRelease), cylinderSD}
	}
	p := normal{math.Log(priorRelease25C), priorReleaseSD}
	if s.TempC > 0 && s.TempC < 60 {
		p.mean += releasePerDegree * (min(max(s.TempC, 5), 45) - 25)
	} else {
		p.sd = math.Hypot(p.sd, 0.3)
	}
	if s.MoisturePct > 0 && s.MoisturePct < 40 {
		p.mean += releasePerPct * (min(max(s.MoisturePct, 8), 18) - usualMoisture)
	}
	if isPlate(s.Form) {
		p.mean += plateFaster
	}
	return p
}

// lagPrior is the prior of ln lag in days.
func (s Setup) lagPrior() normal {
	if dose.FromCylinders(s.Form) {
		return normal{math.Log(cylinderLagDays), priorLagSD}
	}
	return normal{math.Log(priorLagDays), priorLagSD}
}

// sorbPrior is the prior of sorption. Rice without its husk takes up less than other
// grain (17 against 27 ng/cm² in six days: Appl. Entomol. Zool. 1974, 9:127), more
// where it is ground (there), and paddy more: its husk adsorbs (Pereira et al. 2024,
// Foods 13:3293), and rough rice, in the cold, needed 73–121 tablets where 50 were
// ample for milled rice in the warm (USDA, sacked rice under tarpaulins, 1959–60). The
// figures per day, and that oil takes up more, are from memory.
func (s Setup) sorbPrior() normal {
	switch c := commodity.Of(s.Commodity); {
	case c == commodity.MilledRice || c == commodity.BrownRice:
		return normal{huskedSorb, huskedSorbSD}
	case isThirsty(c):
		return normal{thirstySorb, thirstySorbSD}
	}
	return normal{priorSorb, priorSorbSD}
}

// freePrior is the prior of ln of the rate at which sorbed gas comes back. From memory.
func (s Setup) freePrior() normal {
	if isThirsty(commodity.Of(s.Commodity)) {
		return normal{math.Log(thirstyFree), thirstyFreeSD}
	}
	return normal{math.Log(priorFree), priorFreeSD}
}

// isThirsty tells the commodities that take up most.
func isThirsty(c commodity.Kind) bool {
	switch c {
	case commodity.Paddy, commodity.Groundnuts, commodity.Oilseeds, commodity.Flour:
		return true
	}
	return false
}

// yieldPrior is the prior of ln yield in ppm.
func (s Setup) yieldPrior() normal {
	if y := s.ppmOf(s.DoseG); y > 0 {
		return normal{math.Log(y), priorYieldSD}
	}
	return normal{math.Log(vagueYieldPPM), vagueYieldSD}
}

// ppmOf returns the ppm that grams give in the gas space without loss, by the
// ideal gas law at 101.325 kPa and the grain's temperature (25 °C if unknown);
// 0 where grams or gas space are unknown.
func (s Setup) ppmOf(grams float64) float64 {
	t := dose.StandardC
	if s.TempC > 0 && s.TempC < 60 {
		t = s.TempC
	}
	ppm := dose.FullPPM(grams, s.GasSpaceM3, t)
	if !finite(ppm) || ppm > 1e6 {
		return 0
	}
	return ppm
}

// addedPrior is the prior of the log of an added dose's yield over the first
// dose's.
func (s Setup) addedPrior(d Dose) normal {
	if s.DoseG > 0 {
		return normal{math.Log(d.Grams / s.DoseG), 0.10}
	}
	if y := s.ppmOf(d.Grams); y > 0 {
		return normal{math.Log(y / vagueYieldPPM), vagueYieldSD}
	}
	return normal{math.Log(0.3), 1}
}

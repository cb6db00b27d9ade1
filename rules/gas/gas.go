// Package gas keeps what the readings of one exposure tell of the gas under a sheet:
// the fit, the leak test with its trail, the forecasts, what can still be done for the
// end level, and rises that a dose does not explain. It leads readings to packages
// decay, leak and fault and remembers what they said; whether anybody is told, package
// rules says.
package gas

import (
	"math"
	"slices"

	"undersheet/logbook"
	"undersheet/rules/decay"
	"undersheet/rules/dose"
	"undersheet/rules/fault"
	"undersheet/rules/leak"
	"undersheet/rules/reading"
	"undersheet/rules/treatment"
)

// ForecastFrom is the hour of exposure from which forecasts are given.
const ForecastFrom = 12

// Bounds of what is physically possible, so that a mistyped figure cannot upset what is
// reckoned with it: pure gas, and the temperatures that grain can have.
const (
	MostPPM  = 1e6
	ColdestC = -40.0
	HottestC = 80.0
)

// State is what the readings of one exposure tell. A snapshot keeps its exported fields.
type State struct {
	Fit       *decay.State
	Leak      *leak.State
	Faults    *fault.State
	Setup     decay.Setup
	Hour      int                // last full hour of exposure that was looked at
	Bin       fault.Bin          // what the lines have read in the running 5 minutes
	Forecasts []logbook.Forecast // newest, one per line
	Lowest    *logbook.Forecast  // newest, of whichever line is lowest at the end
	Atlow     int                // forecasts in a row with a poor chance
	FairAt    logbook.Time       // time of the last forecast with a fair chance
	Ratio     float64            // lowest / highest line in the last bin that all lines were read in, without lines that draw no gas; 0 = not known
	RatioSlot int                // which bin that was
	FullPPM   float64            // what the dose would give without loss; 0 = not known
	DosedAt   logbook.Time       // when the newest dose was laid or let in
	Rises     []Rise             // signs of fire, one per line
	Hourly    Hourly             // what the lines showed in the last day
	Trail     Trail              // the leak test's statistic, for pictures
	Leaks     []Found            // leaks of this exposure, oldest first

	curves [][]CurvePoint // made on demand for the last refit, one per line
	ahead  *lookedAhead   // the same
}

// New begins the exposure of a treatment; tempC is the grain's temperature.
func New(site *logbook.Site, t *treatment.Treatment, tempC float64) *State {
	g := &State{DosedAt: t.Started}
	e := t.Given
	space, known := dose.GasSpace(e.GasSpaceM3, e.VolumeM3, e.Tonnes, e.Commodity)
	tempC = math.Max(ColdestC, math.Min(tempC, HottestC))
	g.Setup = decay.Setup{DoseG: e.PhosphineG, GasSpaceM3: space, TempC: tempC, MoisturePct: e.GrainMoisturePct, Commodity: e.Commodity, Form: e.Form,
		SamplingLossPerDay: samplingLoss(site, t, space)}
	for _, l := range t.Lines {
		ch := site.Channels[l.Channel]
		g.Setup.Lines = append(g.Setup.Lines, decay.Line{Accuracy: ch.Accuracy, Resolution: reading.PPM(ch, ch.Resolution),
			DetectionLimit: reading.PPM(ch, ch.DetectionLimit), Range: reading.PPM(ch, ch.Range)})
	}
	g.FullPPM = min(dose.FullPPM(e.PhosphineG, space, tempC), MostPPM)
	fit := g.Setup
	if !known { // without a gas space the fit assumes nothing; a guessed one could be wrong by a factor of two
		fit.GasSpaceM3 = 0
	}
	g.Fit = decay.New(fit)
	g.Leak = leak.New(leak.Setup{Lines: len(t.Lines), FalseAlarmsPerStackDay: falseLeaks(site)})
	g.Faults = fault.New(g.Setup.Lines)
	g.Bin = fault.NewBin(len(t.Lines))
	g.Rises = make([]Rise, len(t.Lines))
	return g
}

// Fits reports whether all that is kept line by line is of so many lines.
func (g *State) Fits(lines int) bool {
	h := &g.Hourly
	return g.Fit != nil && g.Leak != nil && g.Faults != nil && len(g.Setup.Lines) == lines && len(g.Bin.Sums) == lines && len(g.Rises) == lines &&
		len(h.Reads) == len(h.Sums) && (len(h.Sums) == lines || len(h.Sums) == 0 && len(h.Means) == 0) &&
		!slices.ContainsFunc(h.Means, func(means []float32) bool { return len(means) != lines })
}

// samplingLoss is the share of a stack's gas, per day, that sampling pumps draw off and blow
// outside: a pump's flow over the gas space, times the share of the stack's lines among all
// that the pump draws in turn. A pump that returns the gas to the stack takes none. Pumps are
// assumed to run all the time; the hours in which one is off are few in an exposure, and the
// fit's own loss rate makes up for them. Without a known gas space it is 0.
func samplingLoss(site *logbook.Site, t *treatment.Treatment, spaceM3 float64) float64 {
	const m3PerDay = 1440.0 / 1000 // of 1 L/min
	if !(spaceM3 > 0) {
		return 0
	}
	loss := 0.0
	for _, p := range site.Pumps {
		if p.Returns != logbook.ReturnsOutside || !(p.Flow > 0) {
			continue
		}
		mine := 0
		for _, channel := range p.Draws {
			if _, ok := t.LineOf(channel); ok {
				mine++
			}
		}
		if mine > 0 {
			loss += p.Flow * m3PerDay * float64(mine) / float64(len(p.Draws)) / spaceM3
		}
	}
	return loss
}

func falseLeaks(site *logbook.Site) float64 {
	if d := site.Settings.FalseLeakDays; d > 0 {
		return 1 / d
	}
	return 0 // the test's own default
}

// ReleasePerDay is the rate at which an added dose gives off its gas, per day: as fitted in this
// exposure, else, or where g is nil, that of tablets. Beside gas from cylinders it is that of
// tablets, too: what is added later may be phosphide, and how fast the gas was there says
// nothing of that.
func (g *State) ReleasePerDay() float64 {
	const usual = 1.15 // per day at 25 °C, from memory
	if g == nil || dose.FromCylinders(g.Setup.Form) {
		return usual
	}
	if p, ok := g.Fit.Params(); ok && p.ReleasePerDay.Value > 0 {
		return p.ReleasePerDay.Value
	}
	return usual
}

// Observe gives a reading of a line to the fit, and to the running bin of the leak test
// unless it is older than that. The fit does not get readings of a line that is off, blocked
// or drifting, since they do not show the gas at its place.
func (g *State) Observe(t *treatment.Treatment, line int, j reading.Judged) {
	h := j.At.Hours(t.Started)
	if !g.Leak.Out(line) {
		g.Fit.Observe(h, line, j.Value)
		g.Hourly.take(len(t.Lines), line, h, j.Value)
	}
	if j.State != reading.Late {
		g.Bin.Add(h, line, j.Value, j.State != reading.OK)
	}
}

// Hand takes a hand reading of a line. accuracy is its greatest error as a fraction, which
// counts as two standard deviations. A reading of the last hour may settle whether the line
// loses gas or its instrument drifts.
func (g *State) Hand(t *treatment.Treatment, line int, at, now logbook.Time, ppm, accuracy float64) []leak.Event {
	h := at.Hours(t.Started)
	if t.Started == 0 || h < 0 {
		return nil
	}
	var events []leak.Event
	if now.Sub(at) <= treatment.LastHour {
		events = g.Faults.Hand(line, ppm, g.Leak)
		g.strike(events, now.Hours(t.Started))
	}
	g.Fit.ObserveHand(h, line, ppm, accuracy/2) // after strike, which would take it back
	return events
}

// AddDose takes a dose of phosphine that was added, g.
func (g *State) AddDose(t *treatment.Treatment, at logbook.Time, grams float64) {
	h := at.Hours(t.Started)
	g.Fit.AddDose(h, grams)
	if g.Leak.Raised != nil {
		g.Fit.LossMended(h) // whoever adds gas to a torn sheet mends it: common practice
	}
	g.ahead = nil
	g.DosedAt = max(g.DosedAt, at)
	g.Leak.DoseAdded(h)
	g.Faults.DoseAdded(h)
	g.FullPPM = min(g.FullPPM+dose.FullPPM(grams, g.Setup.GasSpaceM3, g.Setup.TempC), MostPPM)
}

// strike has the fit forget the readings that events show to be wrong: those of a line, or of
// all, that did not draw the stack's gas, or whose instrument drifted.
func (g *State) strike(events []leak.Event, now float64) {
	for _, e := range events {
		if line, since, ok := e.Misled(); ok {
			g.Fit.Strike(line, since, now)
		}
	}
}

// mended is the hour at which a leak that is over was mended, as far as can be told. If a dose
// was added since its onset, less than a day ago, it is the hour of that dose, since the leak
// test sees nothing for some hours after one. Else it is leak.CalmHours ago, which is how long
// the test waits before it says that a leak is over.
func (g *State) mended(onset, now float64) float64 {
	if n := len(g.Fit.Added); n > 0 {
		if at := g.Fit.Added[n-1].Hours; at > onset && now-at < 24 {
			return at
		}
	}
	return max(now-leak.CalmHours, onset+1)
}

// CloseBin hands the running bin to the leak test once it is over, and begins the one of
// hour h.
func (g *State) CloseBin(h float64) []leak.Event {
	if !g.Bin.Over(h) {
		return nil
	}
	slot := g.Bin.Slot
	at, obs := g.Bin.Next(h, g.Setup.Lines)
	if len(obs) == 0 {
		return nil
	}
	low, high, told := math.Inf(1), 0.0, 0
	for _, o := range obs {
		if !g.Leak.Out(o.Line) {
			low, high, told = math.Min(low, o.PPM), math.Max(high, o.PPM), told+1
		}
	}
	if len(obs) == len(g.Setup.Lines) && told > 1 && high > 0 {
		g.Ratio, g.RatioSlot = math.Max(low, 0)/high, slot
	}
	events := g.Faults.Observe(at, obs, g.Leak, g.Fit)
	g.strike(events, h)
	g.Trail.mark(at, g.Leak)
	return events
}

// Forecast brings the fit up to an hour of exposure and forecasts the planned end.
func (g *State) Forecast(t *treatment.Treatment, hour int) {
	g.Fit.Update(float64(hour))
	g.curves, g.ahead = nil, nil
	g.Forecasts, g.Lowest = g.Forecasts[:0], nil
	lines, lowest, ok := g.Fit.Forecasts(t.PlannedEnd.Hours(t.Started), t.EndPPM())
	if !ok {
		return
	}
	for i, f := range lines {
		g.Forecasts = append(g.Forecasts, record(t, t.Lines[i].Name, f))
	}
	r := record(t, "", lowest)
	g.Lowest = &r
}

// leastForecast is the lowest figure of a forecast, ppm. No instrument under a sheet shows
// less, so a lower figure of the fitted curve would mean nothing.
const leastForecast = 0.01

func record(t *treatment.Treatment, line string, f decay.Forecast) logbook.Forecast {
	ppm := func(v float64) logbook.Number { return logbook.Round(max(v, leastForecast)) }
	return logbook.Forecast{Stack: t.Stack, Line: line, For: t.PlannedEnd, ChanceMet: logbook.Round(f.ChanceMet),
		PPM: logbook.Quantiles{P05: ppm(f.P05), P50: ppm(f.P50), P95: ppm(f.P95)}}
}

// CurvePoint is one point of the fit or forecast of a line.
type CurvePoint struct {
	Hours         float64
	P05, P50, P95 float64 // ppm
}

// curvePoints is how many points of a curve are drawn.
const curvePoints = 96

// Curve returns the fitted median and fan of a line from t = 0 to the planned end.
func (g *State) Curve(t *treatment.Treatment, line int) []CurvePoint {
	if g.curves == nil {
		g.curves = make([][]CurvePoint, len(t.Lines))
		end := t.PlannedEnd.Hours(t.Started)
		for i := 0; i <= curvePoints; i++ {
			h := end * float64(i) / curvePoints
			lines, _, _ := g.Fit.Forecasts(h, t.EndPPM())
			for k, f := range lines {
				g.curves[k] = append(g.curves[k], CurvePoint{Hours: h, P05: f.P05, P50: f.P50, P95: f.P95})
			}
		}
	}
	return g.curves[line]
}

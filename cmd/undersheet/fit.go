package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"time"

	"undersheet/logbook/words"
	"undersheet/rules/decay"
)

// fitCmd fits the readings of one stack and forecasts its end level.
type fitCmd struct {
	JSON     bool    `name:"json" help:"One JSON object instead of text."`
	Flat     bool    `help:"Plain least squares: no priors, no robust weights."`
	Curve    string  `enum:"release-loss,two-phase" default:"release-loss" help:"What --flat fits: release-loss, or two-phase for readings from the end of the release on."`
	Dosed    string  `placeholder:"TIME" help:"When the dosing was done and the sheet shut (RFC 3339). Not needed where the file gives hours."`
	For      string  `required:"" placeholder:"TIME" help:"When to forecast for: RFC 3339, or hours since dosing."`
	EndLevel float64 `placeholder:"PPM" help:"Also give the chance that this many ppm are still there (150 for five days, 38 for eight)."`
	DoseG    float64 `name:"phosphine-g" placeholder:"G" help:"Phosphine that the dose holds, in g; with the gas space it helps an early forecast."`
	SpaceM3  float64 `name:"gas-space-m3" placeholder:"M3" help:"Gas space under the sheet in m³: between the kernels and above the bags."`
	TempC    float64 `name:"grain-temp-c" placeholder:"C" help:"Temperature of the grain in °C."`
	Readings string  `arg:"" name:"readings" help:"CSV file with the columns time,ppm or time,line,ppm; - reads standard input."`
}

// Help teaches a newcomer.
func (*fitCmd) Help() string {
	return `Takes the concentrations that were measured under one sheet, by hand or by a logger, fits how the gas is released and
lost, and says what will be left at a time that you name, with a range that should hold the true value nine times in
ten. It needs no site file and no logbook.

The file's first line names its columns. Times are RFC 3339 with a zone, or plain hours since dosing:

    time,ppm                              time,line,ppm
    2026-03-01T14:00:00Z,310              6,north top,310
    2026-03-02T08:00:00Z,795              24,north top,795

    undersheet fit --dosed 2026-03-01T08:00:00Z --for 2026-03-06T08:00:00Z readings.csv
    undersheet fit --for 120 --end-level 150 hours.csv

Several lines are fitted together; the forecast is that of the lowest line, and each line's is printed too. Three
readings over an hour or more are the least; a forecast made before the gas has begun to fall knows little of the loss.
--flat fits C(t) = Y·r/(r−k)·(e^(−k·t) − e^(−r·t)) to all readings as one curve by plain least squares, as a
statistics program does it; its range leaves out what that curve does not know, so it is too narrow on real records.
With --curve two-phase it fits the fall alone, C(t) = A₁·e^(−k₁·t) + A₂·e^(−k₂·t), where grain takes gas up and gives it
back: hand it only readings from after the release is over.

A forecast is no reading: measure before the exposure is ended, and before anybody goes near an opened sheet.`
}

// Run implements the command.
func (c *fitCmd) Run(con *console) error {
	in, name := con.in, "standard input"
	if c.Readings != "-" {
		f, err := os.Open(c.Readings)
		if err != nil {
			return fmt.Errorf("open readings: %w", err)
		}
		defer f.Close()
		in, name = f, c.Readings
	}
	if err := c.checkFlags(); err != nil {
		return err
	}
	rs, err := readFitReadings(name, in, c.Dosed)
	if err != nil {
		return err
	}
	at, err := c.target(rs)
	if err != nil {
		return err
	}
	rs, early := rs.sinceDosing()
	if early > 0 {
		fmt.Fprintf(con.err, "%s: %s from before the dosing left out\n", name, count(early, "reading"))
	}
	if len(rs.rows) == 0 {
		return fmt.Errorf("%s: every reading lies before the dosing: check --dosed", name)
	}
	res, err := c.fit(rs, at)
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	if c.JSON {
		return json.NewEncoder(con.out).Encode(res)
	}
	return res.tell(con.out, c, rs, at)
}

// checkFlags refuses numbers that mean nothing.
func (c *fitCmd) checkFlags() error {
	if c.Curve == twoPhase && !c.Flat {
		return errors.New("read --curve: two-phase is fitted by plain least squares only: add --flat")
	}
	for _, f := range []struct {
		name  string
		value float64
	}{{"--end-level", c.EndLevel}, {"--phosphine-g", c.DoseG}, {"--gas-space-m3", c.SpaceM3}} {
		if !(f.value >= 0) || math.IsInf(f.value, 0) {
			return fmt.Errorf("read %s: %g must be a positive number", f.name, f.value)
		}
	}
	if !(c.TempC >= -20 && c.TempC <= 60) {
		return fmt.Errorf("read --grain-temp-c: %g °C is no temperature of stored grain", c.TempC)
	}
	return nil
}

// target returns the hours after dosing that --for means.
func (c *fitCmd) target(rs fitReadings) (float64, error) {
	hours, err := strconv.ParseFloat(c.For, 64)
	if err != nil {
		t, terr := time.Parse(time.RFC3339, c.For)
		if terr != nil {
			return 0, fmt.Errorf("read --for: %q is neither a time like 2026-03-06T08:00:00Z nor hours since dosing", c.For)
		}
		if c.Dosed == "" {
			return 0, fmt.Errorf("read --for: %q is a time of day, and the readings are in hours since dosing: give hours, or say with --dosed when that was", c.For)
		}
		hours = t.Sub(rs.dosed).Hours()
	}
	switch {
	case !(hours > 0):
		return 0, fmt.Errorf("read --for: %q is not after the dosing", c.For)
	case hours > 24*400:
		return 0, fmt.Errorf("read --for: %q is more than 400 days after the dosing", c.For)
	}
	return hours, nil
}

// fit runs the fit that was asked for.
func (c *fitCmd) fit(rs fitReadings, at float64) (fitResult, error) {
	res, err := c.fitCurve(rs, at)
	if err != nil {
		return res, err
	}
	if at < rs.last() {
		res.Notes = append(res.Notes, "--for lies before the last reading: this is what the curve says of the past")
	}
	return res, nil
}

// errFewReadings says what the fit with priors needs at least.
var errFewReadings = errors.New("too few readings to fit: at least 3 over an hour or more are needed")

// few reports whether the readings are too few, or too close together, to be fitted:
// what came out would be the priors.
func (rs fitReadings) few() bool {
	first, last := math.Inf(1), math.Inf(-1)
	for _, r := range rs.rows {
		first, last = min(first, r.hours), max(last, r.hours)
	}
	return len(rs.rows) < 3 || last-first < 1
}

// full is the fit with priors of all lines together.
func (c *fitCmd) full(rs fitReadings, at float64) (fitResult, error) {
	s := decay.New(decay.Setup{DoseG: c.DoseG, GasSpaceM3: c.SpaceM3, TempC: max(c.TempC, 0), Lines: make([]decay.Line, len(rs.lines))})
	for _, r := range rs.rows {
		s.Observe(r.hours, r.line, r.ppm)
	}
	if rs.few() {
		return fitResult{}, errFewReadings
	}
	for range 3 { // the second and third with the spread that the first found
		s.Refit()
	}
	lines, lowest, ok := s.Forecasts(at, c.EndLevel)
	p, fitted := s.Params()
	if !ok || !fitted {
		return fitResult{}, errFewReadings
	}
	value := func(v decay.Value) fitValue { return newFitValue(v.Value, v.SE) }
	res := fitResult{
		Model: releaseLoss, Parameters: releaseLossFit{Yield: value(p.YieldPPM), Release: value(p.ReleasePerDay), Loss: value(p.LossPerDay)},
		ResidualSD: sig(residualSD(s, rs)), Forecast: c.forecast("", lowest),
	}
	res.noteLoss(decay.Curve{YieldPPM: p.YieldPPM.Value, Release: p.ReleasePerDay.Value, Loss: p.LossPerDay.Value}, rs)
	if len(rs.lines) > 1 {
		for i, f := range lines {
			res.Lines = append(res.Lines, c.forecast(rs.lines[i], f))
		}
	}
	return res, nil
}

// residualSD is the standard deviation in ppm of readings about the fitted curves.
func residualSD(s *decay.State, rs fitReadings) float64 {
	sum := 0.0
	for _, r := range rs.rows {
		e := r.ppm - s.Curve(r.line, r.hours)
		sum += e * e
	}
	return math.Sqrt(sum / float64(max(len(rs.rows)-3, 1)))
}

// sig is a number that JSON shows with 6 significant digits.
type sig float64

// MarshalJSON implements json.Marshaler.
func (v sig) MarshalJSON() ([]byte, error) {
	return strconv.AppendFloat(nil, float64(v), 'g', 6, 64), nil
}

// fitResult is what the command prints as JSON.
type fitResult struct {
	Model      string        `json:"model"`
	Parameters fitParameters `json:"parameters"`
	ResidualSD sig           `json:"residual_sd"`
	Forecast   fitForecast   `json:"forecast"`
	Lines      []fitForecast `json:"lines,omitempty"`
	Notes      []string      `json:"notes,omitempty"`
}

// fitValue is an estimate and its standard error.
type fitValue struct {
	Value sig `json:"value"`
	SE    sig `json:"se"`
}

func newFitValue(value, se float64) fitValue { return fitValue{sig(value), sig(se)} }

// fitForecast is the forecast of a line, or of the stack's lowest one.
type fitForecast struct {
	Line string `json:"line,omitempty"`
	For  any    `json:"for"`
	PPM  struct {
		P05 sig `json:"p05"`
		P50 sig `json:"p50"`
		P95 sig `json:"p95"`
	} `json:"ppm"`
	ChanceMet *sig `json:"chance_met,omitempty"`
}

// forecast turns a forecast into its printed form.
func (c *fitCmd) forecast(line string, f decay.Forecast) fitForecast {
	out := fitForecast{Line: line, For: c.For}
	if h, err := strconv.ParseFloat(c.For, 64); err == nil {
		out.For = sig(h)
	} else if t, err := time.Parse(time.RFC3339, c.For); err == nil {
		out.For = t.UTC().Format(time.RFC3339Nano)
	}
	out.PPM.P05, out.PPM.P50, out.PPM.P95 = sig(f.P05), sig(f.P50), sig(f.P95)
	if c.EndLevel > 0 {
		met := sig(f.ChanceMet)
		out.ChanceMet = &met
	}
	return out
}

// tell prints the result for people.
func (r fitResult) tell(w io.Writer, c *fitCmd, rs fitReadings, at float64) error {
	var b strings.Builder
	how := "with priors"
	if c.Flat {
		how = "by plain least squares"
	}
	fmt.Fprintf(&b, "%s %s, from %s on %s, %.4g to %.4g h after dosing\n\n", r.Parameters.title(), how, count(len(rs.rows), "reading"), count(len(rs.lines), "line"), rs.rows[0].hours, rs.last())
	r.Parameters.tell(&b)
	fmt.Fprintf(&b, "  scatter  %9.3g ppm of readings about the curve\n\n", r.ResidualSD)
	fmt.Fprintf(&b, "Forecast of the true concentration in ppm, %.4g h after dosing (%v)\n\n", at, c.For)
	fmt.Fprintf(&b, "  %-20s %9s %9s %9s", "", "5 %", "50 %", "95 %")
	if c.EndLevel > 0 {
		fmt.Fprintf(&b, "   chance of %g ppm", c.EndLevel)
	}
	b.WriteString("\n")
	name := "lowest line"
	if len(r.Lines) == 0 {
		name = "under the sheet"
	}
	r.Forecast.tell(&b, name)
	for _, l := range r.Lines {
		l.tell(&b, l.Line)
	}
	for _, n := range r.Notes {
		fmt.Fprintf(&b, "\nNote: %s.\n", n)
	}
	b.WriteString("\nA forecast is no reading: measure before the exposure is ended.\n")
	_, err := io.WriteString(w, b.String())
	return err
}

// tell prints one row of the table of forecasts.
func (f fitForecast) tell(w io.Writer, name string) {
	fmt.Fprintf(w, "  %-20s %9.4g %9.4g %9.4g", name, f.PPM.P05, f.PPM.P50, f.PPM.P95)
	if f.ChanceMet != nil {
		fmt.Fprintf(w, "   %s", words.Chance("en", float64(*f.ChanceMet)))
	}
	fmt.Fprintln(w)
}

package decay

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
)

// Limits of what a State takes.
const (
	maxHours = 24 * 400
	maxPPM   = 1e6
	maxDoses = 6
	maxLines = 64
)

// State is the running fit of one stack. The zero value is of no use: New makes
// one. Its fields are exported for the JSON form only; it is not safe for
// concurrent use.
type State struct {
	Setup   Setup
	Added   []Dose   `json:",omitempty"`
	Changes []change `json:",omitempty"` // of the loss rate, as told, in order of time
	Bins    []bins   // one per line
	Fine    float32  // ticks: bins from here on are one tick wide
	Coarse  float32  // ticks in a bin before Fine
	Newest  float64  // hours of the newest reading
	Refused int      // readings that were none: no number, before t = 0, no such line
	Spikes  int      // readings left out when their hour was thinned
	Late    bool     `json:",omitempty"` // something came or was told that only a refit takes in
	Fit     *fit     `json:",omitempty"`
}

// New starts the fit of a stack at t = 0. Numbers in setup that make no sense
// (negative, infinite) count as unknown.
func New(setup Setup) *State {
	for _, p := range []*float64{&setup.DoseG, &setup.GasSpaceM3, &setup.TempC, &setup.MoisturePct} {
		*p = known(*p)
	}
	setup.SamplingLossPerDay = min(known(setup.SamplingLossPerDay), mostSampling)
	setup.Lines = append([]Line(nil), setup.Lines[:min(len(setup.Lines), maxLines)]...)
	for i, l := range setup.Lines {
		setup.Lines[i] = Line{min(known(l.Accuracy), 1), min(known(l.Resolution), maxPPM), min(known(l.DetectionLimit), maxPPM), known(l.Range)}
	}
	return &State{Setup: setup, Bins: make([]bins, len(setup.Lines)), Coarse: firstCoarse}
}

// known returns x, or 0 where it is no usable number.
func known(x float64) float64 {
	if !finite(x) || x < 0 || x > 1e12 {
		return 0
	}
	return x
}

// isPlate tells the formulations that react faster.
func isPlate(form string) bool {
	f := strings.ToLower(form)
	return strings.Contains(f, "plate") || strings.Contains(f, "magnesium")
}

// Observe takes a reading in ppm of a line, hours after t = 0. Readings may come
// late and out of order. One below the detection limit or at the top of the
// range counts as just that.
func (s *State) Observe(hours float64, line int, ppm float64) { s.observe(hours, line, ppm, 1) }

// ObserveHand takes a hand reading whose ln has the standard deviation sdLn
// (0.1 for a detector tube, by common practice); 0 or less counts as 0.1.
func (s *State) ObserveHand(hours float64, line int, ppm, sdLn float64) {
	if !(sdLn > 0) || !finite(sdLn) {
		sdLn = 0.1
	}
	share := noiseShare / sdLn
	s.observe(hours, line, ppm, float32(min(max(share*share, 1e-3), maxWeight)))
}

func (s *State) observe(hours float64, line int, ppm float64, weight float32) {
	if line < 0 || line >= len(s.Bins) || !(hours >= 0 && hours <= maxHours) || !finite(ppm) || ppm > maxPPM || ppm < -maxPPM {
		s.Refused++
		return
	}
	l := s.Setup.Lines[line]
	at := float32(math.Floor(hours / tickHours))
	b := bin{at: at}
	switch {
	case ppm < l.DetectionLimit || ppm < 0:
		b.below = weight
	case l.Range > 0 && ppm >= l.Range:
		b.above = weight
	default:
		b.weight, b.ppm = weight, float32(ppm)
	}
	from, width := at, float32(1)
	if at < s.Fine {
		from = s.slot(at)
		width = min(s.Coarse, s.Fine-from)
	}
	s.Bins[line] = s.Bins[line].add(b, from, width)
	s.Newest = max(s.Newest, hours)
	s.Late = s.Late || s.Fit != nil && hours < float64(s.Fit.taken())-lateForRun
	s.compact(at)
}

// compact thins what has become old, and widens the coarse bins when there are
// too many of them, so that the state stays small however long the exposure.
func (s *State) compact(at float32) {
	room := s.roomForBins()
	until := compactEvery * float32(math.Floor(float64(at-float32(min(fineTicks, room/3)))/compactEvery))
	if until < s.Fine+compactEvery {
		return
	}
	s.thin(s.slot(s.Fine), until) // the last coarse bin may not have been full
	for s.widest() > room && s.Coarse < 1<<16 {
		s.Coarse *= 2
		s.thin(0, s.Fine)
	}
}

// slot is the tick at which the coarse bin begins that a tick falls in.
func (s *State) slot(at float32) float32 {
	return float32(math.Floor(float64(at/s.Coarse))) * s.Coarse
}

// thin makes the bins between two ticks coarse; from then on the second is where
// the fine bins begin.
func (s *State) thin(from, until float32) {
	for i := range s.Bins {
		var left int
		s.Bins[i], left = s.Bins[i].thin(from, until, s.Coarse, s.Setup.Lines[i].bend())
		s.Spikes += left
	}
	s.Fine = until
}

// widest is the number of bins of the line that has most.
func (s *State) widest() int {
	n := 0
	for _, b := range s.Bins {
		n = max(n, len(b))
	}
	return n
}

// UnmarshalJSON reads a State that was written as JSON. It refuses one whose
// parts do not belong together, and leaves s as it was.
func (s *State) UnmarshalJSON(data []byte) error {
	type plain State
	var in plain
	if err := json.Unmarshal(data, &in); err != nil {
		return fmt.Errorf("read the state of a fit: %w", err)
	}
	lines := len(in.Setup.Lines)
	if len(in.Bins) != lines || !(in.Coarse >= 1) || lines > maxLines || len(in.Added) > maxDoses {
		return fmt.Errorf("read the state of a fit: %d lines with %d records, bins of %v, %d added doses", lines, len(in.Bins), in.Coarse, len(in.Added))
	}
	wrong := func(c change) bool {
		return !(c.Hours >= 0 && c.Hours <= maxHours) || !(c.SD > 0) || !(c.Blur >= 0)
	}
	if len(in.Changes) > maxChanges || slices.ContainsFunc(in.Changes, wrong) {
		return errors.New("read the state of a fit: changes of the loss rate at no time")
	}
	if f := in.Fit; f != nil {
		p := inAdded + len(in.Added) + len(in.Changes)
		if len(f.X) != p || len(f.Cov) != p*(p+1)/2 || len(f.Move) != p*states || len(f.StateCov) != states*(states+1)/2 || len(f.Dev) != lines || len(f.AltCov) != 0 && len(f.AltCov) != states*(states+1)/2 || !(f.Suspect.Share >= 0 && f.Suspect.Share <= 1) || !(f.PathStep > 0) || len(f.Draws) == 0 || len(f.Draws)%(p+states+1) != 0 || len(f.Weights) != 0 && len(f.Weights)*(p+states+1) != len(f.Draws) || f.Refits < 0 || slices.ContainsFunc(f.Suspect.Settled, func(h int) bool { return h < 0 }) || f.Run < 0 || len(f.Sizes) == 0 || !sound(f.Rises) || f.Run > longestRun || !(f.Days >= 0 && f.Days <= maxHours) {
			return errors.New("read the state of a fit: its parameters do not match its lines and doses")
		}
	}
	*s = State(in)
	return nil
}

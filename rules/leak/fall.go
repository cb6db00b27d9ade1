package leak

import "math"

// All lines falling at once: a sheet that is torn open, or a pump that stopped.

// fall is all lines together falling at once.
type fall struct {
	Bins, WithGas int     // in a row; of them with gas still
	Since, Before float64 // hours: of the first; of the last good bin
	By, Most      float64 // ln of the fall now, and at its deepest
	Spread        float64 // how much the lines differ in it
	Unlike        int     // bins in a row in which they differed much: one reading may be wild
	Level         int     // bins in a row that fell no deeper
	Stopped       bool    // it was reported as a stopped pump
	Back          float64 `json:",omitempty"` // hours at which a fall began that is over and was not reported; 0 = there was none
	Good          int     `json:",omitempty"` // bins in a row since they are back
}

const (
	fallRuns  = 3
	fallHours = 1.5  // a fall that still goes on is judged by what is left then
	alikeLn   = 0.25 // lines that fall alike differ by little more
	backLn    = 0.35 // if all lines come back from a fall of so much, it was not the gas that fell; it is more than lines that fall alike differ by
)

// allFalling counts bins in which every line that was read fell far below what is
// predicted.
func (s *State) allFalling(reads []read) {
	down, known, gas, by, low, high := 0, 0, 0, 0.0, math.Inf(1), 0.0
	for _, r := range reads {
		if s.Lines[r.line].Cause.Kind != "" || r.fresh {
			continue
		}
		known++
		if (r.isFar || r.drop) && r.innovation < 0 {
			down, by = down+1, by-r.innovation
			if !r.gone && r.fit { // what is nearly nothing is known badly in ln
				gas++
				low, high = min(low, -r.innovation), max(high, -r.innovation)
			}
		}
	}
	f := &s.Fall
	switch {
	case known == 0:
	case down < known && known-down >= down && f.Bins > 0 || down < known && f.Bins == 0:
		back := fall{Before: s.At, Stopped: f.Stopped, Back: f.Back, Good: f.Good + 1}
		fell := f.WithGas >= fallRuns && f.Most > backLn || f.Bins >= fallRuns && f.Most > -math.Log(goneShare)
		if fell && !f.Stopped && s.At-s.Start >= quietHours {
			back.Back, back.Good = f.Before, 1
		}
		s.Fall = back
	case down < known: // a line that reads its old gas for once
	default:
		if f.Bins++; f.Bins == 1 {
			f.Since = s.At
		}
		f.Back = 0
		if gas > 0 {
			f.WithGas++
		}
		f.By, f.Spread = by/float64(down), max(high-low, 0)
		if f.Unlike++; f.Spread < alikeLn+f.By/3 {
			f.Unlike = 0
		}
		if f.Level++; f.By > f.Most+dropLn/3 {
			f.Most, f.Level = f.By, 0
		}
	}
}

// suddenFall judges a fall of all lines within minutes. If it ends while gas is left, or the
// lines fall by different amounts, the sheet is open wide. If all fall alike to nothing, the
// pump has stopped and the cells use up the gas that stands in them; that is also so if all
// come back before it was clear.
func (s *State) suddenFall() []Event {
	f := &s.Fall
	if f.Stopped && f.Bins == 0 {
		f.Stopped = false
		return []Event{{Kind: PumpStop, Line: -1, Onset: f.Before, OnsetLow: f.Before, OnsetHigh: f.Before, Cleared: true}}
	}
	if f.Back > 0 && f.Good >= fallRuns {
		e := Event{Kind: PumpStop, Line: -1, Onset: f.Back, OnsetLow: f.Back, OnsetHigh: f.Back}
		over := e
		f.Back, over.Cleared = 0, true
		return []Event{e, over}
	}
	if f.Bins < fallRuns || f.Stopped || s.Setup.Lines < 2 || s.At-s.Start < quietHours && f.WithGas < fallRuns-1 {
		return nil
	}
	gone := f.By > -math.Log(goneShare)
	switch {
	case gone && f.WithGas > 0 && f.Spread < f.By/2:
		f.Stopped = true
		return []Event{{Kind: PumpStop, Line: -1, Onset: f.Since, OnsetLow: f.Before, OnsetHigh: f.Since}}
	case f.WithGas < fallRuns-1 || f.By < farLn || s.gas() < math.Log(leastLevel):
		return nil
	case f.Unlike < fallRuns && (gone || f.Level < fallRuns) && s.At-f.Since < fallHours:
		return nil // it goes on falling, alike
	}
	return s.open()
}

// goesOn reports whether all lines still fall, or fell far a short time ago.
func (f *fall) goesOn(now float64) bool {
	return f.Bins > 0 && (f.Level < fallRuns || f.By > farLn) && now-f.Since < 2*fallHours
}

// open raises a leak of a sheet that is open wide.
func (s *State) open() []Event {
	f, gas := s.Fall, s.gas()
	took := max(f.Since-f.Before, 0.25)
	for i := range s.Lines {
		s.Lines[i].Known = false // found anew from the next reading
	}
	s.Fall = fall{Before: s.At}
	// While gas comes off, a fit of the first readings may have promised more than
	// comes: that is no fall.
	if s.Raised != nil || s.At-s.Start < quietHours {
		return nil
	}
	rate := f.By / max(took, s.At-f.Since)
	before := s.Ref.at(f.Since).Loss
	e := Event{Kind: Leak, Line: -1, Onset: f.Since, OnsetLow: f.Before, OnsetHigh: f.Since, LossBefore: 24 * before,
		LossAfter: 24 * (before + rate), LossSD: 24 * rate / 2}
	s.Ref.freeze(f.Since)
	s.tellOf(&raised{Event: e, Rate: max(before, leastLeakDay/24), Level: gas, At: s.At, Hour: s.At, Changed: true})
	size := s.slopeSize()
	s.Filter.Stack.Cov[atSlope*stackStates+atSlope] += rate * rate / (size * size)
	s.Bank.clear()
	return []Event{e}
}

package leak

import (
	"math"
	"slices"
)

// The test holds the gas against what a day-old fit expects. If it is not sure of a leak within
// a day, or the leak began before there was anything to expect, the leak itself becomes what is
// expected, and the test no longer sees it. So once an hour the stack is also asked how much it
// lost in half a day, whatever was expected.

// pace is where the lines stood, hour by hour, in the last half day.
type pace struct {
	Hour int     // that is running
	Sum  singles // of ln ppm of the readings that were used in it, by line
	N    []int   // of those; outOfRange where one could not be read
	Ln   singles // mean ln ppm by hour, oldest first, and line; 0 = not known
	Due  singles // what the stack was expected to lose in each of those hours, ln C
}

// lost is a leak of the stack that was told by what half a day lost. It does not hide another
// leak: it is part of what is expected, and the test goes on from that.
type lost struct {
	Event Event
	Calm  int // hours in a row with less than half of what was too much
}

// What half a day must show.
const (
	paceHours  = 12
	mostShut   = 1.2  // per day: that a sheet which is shut loses; from memory 0.05 to 1.2
	leastPace  = 0.65 // per day: less is never called too much; a good sheet loses 0.1 to 0.2, from memory
	overDue    = 3.0  // times what was expected a day before; of 810 stacks without a leak gusts brought one to 2.6, and no other to 2.5
	dueAfter   = 72.0 // hours after dosing from which on that counts: before, a day-old fit may expect release yet
	eachHalf   = 0.5  // of the limit, lost in either half of the time: what falls at once is no leak
	outOfRange = -1
)

func newPace(lines int) pace { return pace{Sum: make(singles, lines), N: make([]int, lines)} }

// fits reports whether the parts fit each other.
func (p *pace) fits(lines int) bool {
	return len(p.Sum) == lines && len(p.N) == lines && len(p.Due) <= paceHours+1 && len(p.Ln) == len(p.Due)*lines
}

// take notes a reading in ln ppm that was used, or one that could not be read, which spoils
// its hour.
func (p *pace) take(line int, y float64, read bool) {
	switch {
	case !read:
		p.N[line] = outOfRange
	case p.N[line] != outOfRange:
		p.Sum[line] += float32(y)
		p.N[line]++
	}
}

// turn ends the running hour when hours are past it, and reports whether it did. due is
// what the stack was expected to lose in it.
func (p *pace) turn(hours, due float64) bool {
	hour, lines := int(math.Floor(hours)), len(p.N)
	if hour <= p.Hour {
		return false
	}
	row := make(singles, lines)
	for i, n := range p.N {
		if n > 0 {
			row[i] = p.Sum[i] / float32(n)
		}
	}
	for range min(hour-p.Hour, paceHours+1) {
		p.Ln, p.Due = append(p.Ln, row...), append(p.Due, float32(due))
		row = make(singles, lines) // of the hours after it nothing was read
	}
	if more := len(p.Due) - paceHours - 1; more > 0 {
		p.Ln, p.Due = slices.Delete(p.Ln, 0, more*lines), slices.Delete(p.Due, 0, more)
	}
	p.Hour = hour
	clear(p.Sum)
	clear(p.N)
	return true
}

// forget drops what was read of a line, or of all (-1).
func (p *pace) forget(line int) {
	for k := range p.Ln {
		if line < 0 || k%len(p.N) == line {
			p.Ln[k] = 0
		}
	}
	for i := range p.N {
		if line < 0 || i == line {
			p.Sum[i], p.N[i] = 0, 0
		}
	}
}

// loss is what the stack lost per day from one hour of the half day to another: at least half of
// the lines that are read lost that much. ok is false unless more than half of all lines are
// read, and gas is left.
func (p *pace) loss(from, to int) (perDay float64, ok bool) {
	lines := len(p.N)
	if len(p.Due) <= paceHours {
		return 0, false
	}
	var all []float64
	for i := range lines {
		a, b := float64(p.Ln[from*lines+i]), float64(p.Ln[to*lines+i])
		switch {
		case a == 0 || b == 0:
		case b < math.Log(leastLevel):
			return 0, false // those that read more by chance would tell of less
		default:
			all = append(all, 24*(a-b)/float64(to-from))
		}
	}
	if 2*len(all) <= lines {
		return 0, false
	}
	slices.Sort(all)
	return all[(len(all)-1)/2], true
}

// due is what was expected of the half day, per day.
func (p *pace) due() float64 {
	sum := 0.0
	for _, d := range p.Due[1:] {
		sum += float64(d)
	}
	return sum * 24 / paceHours
}

// expectedLoss is what the stack is expected to lose in the hour of hours; where that is
// not known, what a sheet that is shut loses at the most.
func (s *State) expectedLoss(hours float64) float64 {
	if !s.Ref.known(hours) {
		return mostShut / 24
	}
	a := s.Ref.at(hours)
	return -a.mean()
}

// lostTooMuch raises a leak of the stack by what it lost in half a day, or ends one.
func (s *State) lostTooMuch() []Event {
	perDay, ok := s.Pace.loss(0, paceHours)
	if !ok || !s.live() || s.At < s.Hold || s.At-s.Start < releaseHours || s.Fall.goesOn(s.At) {
		return nil
	}
	switch {
	case s.Lost != nil:
		return s.slackened(perDay)
	case s.Raised != nil:
		return nil
	}
	limit := mostShut
	if s.At-s.Start >= dueAfter {
		limit = min(max(overDue*s.Pace.due(), leastPace), mostShut)
	}
	first, fine := s.Pace.loss(0, paceHours/2)
	second, well := s.Pace.loss(paceHours/2, paceHours)
	if perDay < limit || !fine || !well || min(first, second) < eachHalf*limit {
		return nil
	}
	// It may have begun at any time until the half day was half over.
	began := s.At - paceHours
	e := Event{Kind: Leak, Line: -1, Onset: began, OnsetLow: s.Start, OnsetHigh: began + paceHours/2,
		LossBefore: min(max(s.Pace.due(), 0), perDay), LossAfter: perDay, Limit: limit}
	s.Lost = &lost{Event: e}
	s.Bank.clear()
	return []Event{e}
}

// slackened ends a leak that was told by what was lost in half a day, once that was less
// than half as much for as long again: a sheet breathes by day and not by night. Nothing
// was held back for it, for the fit has followed.
func (s *State) slackened(perDay float64) []Event {
	if perDay >= s.Lost.Event.Limit/2 {
		s.Lost.Calm = 0
		return nil
	}
	if s.Lost.Calm++; s.Lost.Calm <= paceHours {
		return nil
	}
	e := s.Lost.Event
	e.Cleared, e.LossAfter = true, perDay
	s.Lost = nil
	return []Event{e}
}

package modbus

import (
	"slices"
	"time"
)

// dueAt returns the units to be polled at now, those that wait longest first.
func (m *Master) dueAt(now time.Time) []*unit {
	var due []*unit
	for _, u := range m.units {
		if u.isDue(now) {
			due = append(due, u)
		}
	}
	slices.SortStableFunc(due, func(a, b *unit) int { return a.due.Compare(b.due) })
	return due
}

// isDue says whether u is to be polled at now: its time has come, or it lies
// further ahead than one interval because the clock was set back.
func (u *unit) isDue(now time.Time) bool {
	if u.due.IsZero() {
		u.due = now // the first poll; the later ones keep its beat
	}
	return !u.due.After(now) || u.due.Sub(now) > u.Every
}

// reschedule sets the next poll after one that ended at now: on the beat of the
// earlier polls, and later than now, so that missed polls are not made up for.
func (u *unit) reschedule(now time.Time) {
	if u.due.Sub(now) > u.Every {
		u.due = now
	}
	u.due = u.due.Add(u.Every)
	if behind := now.Sub(u.due); behind >= 0 {
		u.due = u.due.Add((behind/u.Every + 1) * u.Every)
	}
}

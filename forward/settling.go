package forward

import (
	"time"

	"undersheet/logbook/sqlite"
)

// settling follows what was sent until it may be counted on: a server may answer
// before what it took is on its disk.
type settling struct {
	within time.Duration // how long that may take; 0 = what is sent is settled
	kept   sqlite.Cursor // as it stands in the logbook
	sure   sqlite.Cursor // up to which all has settled
	marks  []mark        // sent after sure, oldest first
	broken bool          // the connection was lost: what has not settled is to be sent again
	last   time.Time     // when that was done
}

// mark is a place in the log and when all up to it had been sent.
type mark struct {
	cursor sqlite.Cursor
	sent   time.Time
}

// begin starts at c.
func (s *settling) begin(c sqlite.Cursor) {
	s.sure, s.marks, s.broken = c, s.marks[:0], false
}

// took notes that all up to c was sent at now.
func (s *settling) took(c sqlite.Cursor, now time.Time) {
	s.marks = append(s.marks, mark{c, now})
}

// settled returns up to where all may be counted on at now.
func (s *settling) settled(now time.Time) sqlite.Cursor {
	n := 0
	for n < len(s.marks) && now.Sub(s.marks[n].sent) >= s.within {
		s.sure = s.marks[n].cursor
		n++
	}
	s.marks = append(s.marks[:0], s.marks[n:]...)
	return s.sure
}

// again returns from where to send again after a lost connection, if that is due:
// at most once in twice the time that settling takes, so that a connection that
// breaks all the time does not keep the copy from going on.
func (s *settling) again(now time.Time) (c sqlite.Cursor, due bool) {
	c = s.settled(now)
	if !s.broken || !s.last.IsZero() && now.Sub(s.last) < 2*s.within {
		return c, false
	}
	s.broken = false
	if len(s.marks) == 0 {
		return c, false
	}
	s.marks, s.last = s.marks[:0], now
	return c, true
}

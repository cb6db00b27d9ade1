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
	tries  int           // how often that was done since sure moved
}

// mark is a place in the log and when all up to it had been sent.
type mark struct {
	cursor sqlite.Cursor
	sent   time.Time
}

// begin starts at c.
func (s *settling) begin(c sqlite.Cursor) {
	s.sure, s.marks, s.broken, s.tries = c, s.marks[:0], false, 0
}

// took notes that all up to c was sent at now.
func (s *settling) took(c sqlite.Cursor, now time.Time) {
	s.marks = append(s.marks, mark{c, now})
}

// settled returns up to where all may be counted on at now.
func (s *settling) settled(now time.Time) sqlite.Cursor {
	n := 0
	for n < len(s.marks) && now.Sub(s.marks[n].sent) >= s.within {
		s.sure, s.tries = s.marks[n].cursor, 0
		n++
	}
	s.marks = append(s.marks[:0], s.marks[n:]...)
	return s.sure
}

// mostTries is how often the same entries are sent again, so that a connection
// that breaks all the time does not keep the copy from going on.
const mostTries = 3

// again returns from where to send again, if a lost connection asks for that.
func (s *settling) again(now time.Time) (c sqlite.Cursor, asked bool) {
	c = s.settled(now)
	if !s.broken || len(s.marks) == 0 {
		s.broken = false
		return c, false
	}
	if s.broken, s.tries = false, s.tries+1; s.tries > mostTries {
		s.begin(s.marks[len(s.marks)-1].cursor)
		return s.sure, false
	}
	s.marks = s.marks[:0]
	return c, true
}

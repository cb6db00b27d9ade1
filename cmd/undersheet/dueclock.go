package main

import (
	"sync"
	"time"
)

// dueClock is the clock by which messages fall due: the machine's, or, while that stands
// before the newest entry, that entry's time and on from there. Messages are planned by the
// times of entries, so by the machine's clock alone nobody would hear that it is behind before
// it is right again.
type dueClock struct {
	now  func() time.Time // the machine's
	head func() time.Time // received time of the newest entry

	mu             sync.Mutex
	received, seen time.Time // of the entry that the machine's clock stands before, and when that was seen by the machine's clock
}

// Now returns the time.
func (c *dueClock) Now() time.Time {
	now, received := c.now(), c.head()
	if !now.Before(received) {
		return now
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if !c.received.Equal(received) {
		c.received, c.seen = received, now
	}
	return received.Add(max(now.Sub(c.seen), 0)) // monotonic where now carries such a reading
}

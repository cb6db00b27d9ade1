package sim

import (
	"context"
	"sort"
	"sync"
	"time"
)

// Clock is a depot clock that stands still until it is moved. Whoever waits on it
// is woken when the time is reached.
type Clock struct {
	mu      sync.Mutex
	now     time.Time
	waiting []waiter
	more    chan struct{} // closed when somebody began to wait
}

// waiter is someone who waits for depot time to reach at.
type waiter struct {
	at time.Time
	ch chan time.Time
}

// NewClock returns a clock that stands at now.
func NewClock(now time.Time) *Clock { return &Clock{now: now, more: make(chan struct{})} }

// Now returns depot time.
func (c *Clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

// After returns a channel that gets the time when d has passed.
func (c *Clock) After(d time.Duration) <-chan time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	ch := make(chan time.Time, 1) // room for the one time it gets, so that Move never waits
	if d <= 0 {
		ch <- c.now
		return ch
	}
	c.waiting = append(c.waiting, waiter{c.now.Add(d), ch})
	close(c.more)
	c.more = make(chan struct{})
	return ch
}

// Waiters waits until at least n wait for the clock: moved before, the clock
// would take those who are still at work by surprise.
func (c *Clock) Waiters(ctx context.Context, n int) error {
	for {
		c.mu.Lock()
		enough, more := len(c.waiting) >= n, c.more
		c.mu.Unlock()
		if enough {
			return nil
		}
		select {
		case <-more:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// Move sets depot time to t, which must not be before now, and wakes those whose
// time has come, in the order of their times.
func (c *Clock) Move(t time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if t.After(c.now) {
		c.now = t
	}
	sort.SliceStable(c.waiting, func(i, k int) bool { return c.waiting[i].at.Before(c.waiting[k].at) })
	n := 0
	for n < len(c.waiting) && !c.waiting[n].at.After(c.now) {
		c.waiting[n].ch <- c.now
		n++
	}
	c.waiting = append([]waiter(nil), c.waiting[n:]...)
}

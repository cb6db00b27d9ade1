package mqtt

import (
	"context"
	"math"
	"sync"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"golang.org/x/sync/semaphore"
)

// item is a message on its way to the sink.
type item struct {
	paho.Message
	arrived time.Time // depot time
	old     bool      // it may have waited with the broker
	bytes   int64     // of the inbox's room
}

// inbox holds messages between the connection and the sink. It outlives
// connections; an acknowledgement of a message of a lost one is dropped, and the
// broker sends that message again.
type inbox struct {
	now   func() time.Time
	quiet time.Duration
	queue chan item
	room  *semaphore.Weighted // bytes

	mu      sync.Mutex    // guards what follows
	backlog bool          // the session was resumed and what waited is not through
	pause   time.Duration // that ends a backlog
	open    int           // messages put and not yet taken care of
	last    time.Time     // when that changed last, or the connection came
}

// newInbox makes an empty inbox.
func newInbox(o Options) *inbox {
	return &inbox{now: o.Now, quiet: o.Quiet, queue: make(chan item, MaxQueue), room: semaphore.NewWeighted(MaxQueueBytes)}
}

// connecting notes that a connection is being made; messages of a persistent
// session may come before connected is called.
func (b *inbox) connecting(persistent bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.backlog, b.pause = persistent, math.MaxInt64
}

// connected notes that a connection came within took, to a session that was
// resumed or not. A slow way to the broker asks for a longer pause.
func (b *inbox) connected(resumed bool, took time.Duration) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.last = time.Now()
	b.backlog = resumed
	b.pause = max(b.quiet, 10*took)
}

// put adds m, and waits while the inbox is full until alive ends.
func (b *inbox) put(alive context.Context, m paho.Message) {
	it := item{Message: m, arrived: b.now(), bytes: min(int64(len(m.Payload())), MaxQueueBytes)}
	it.old = b.note() || m.Retained() || m.Duplicate()
	if b.room.Acquire(alive, it.bytes) == nil {
		select {
		case b.queue <- it:
			return
		case <-alive.Done():
			b.room.Release(it.bytes)
		}
	}
	b.settle(1)
}

// note counts a message that arrived, and reports whether it may be of a
// backlog: the broker sends what waited as fast as it is acknowledged, so a
// pause with nothing unacknowledged is its end.
func (b *inbox) note() (backlog bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	now := time.Now()
	if b.open == 0 && now.Sub(b.last) > b.pause {
		b.backlog = false
	}
	b.open++
	b.last = now
	return b.backlog
}

// settle counts n messages as taken care of.
func (b *inbox) settle(n int) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.open -= n
	b.last = time.Now()
}

// take waits for a message and returns it with those that are there already, up
// to MaxBatch.
func (b *inbox) take(ctx context.Context) ([]item, error) {
	var batch []item
	select {
	case it := <-b.queue:
		batch = append(batch, it)
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	for len(batch) < MaxBatch {
		select {
		case it := <-b.queue:
			batch = append(batch, it)
		default:
			return batch, nil
		}
	}
	return batch, nil
}

// done acknowledges a batch to the broker and frees its room.
func (b *inbox) done(batch []item) {
	for _, it := range batch {
		it.Ack()
		b.room.Release(it.bytes)
	}
	b.settle(len(batch))
}

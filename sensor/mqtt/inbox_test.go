package mqtt

import (
	"context"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
)

// letter is a message.
type letter struct {
	payload        []byte
	retained, dup  bool
	acknowledgedAt *int
}

func (l letter) Duplicate() bool   { return l.dup }
func (l letter) Qos() byte         { return 1 }
func (l letter) Retained() bool    { return l.retained }
func (l letter) Topic() string     { return "depot/b" }
func (l letter) MessageID() uint16 { return 1 }
func (l letter) Payload() []byte   { return l.payload }
func (l letter) Ack()              { *l.acknowledgedAt++ }

// through puts l into b and takes it out again.
func through(t *testing.T, b *inbox, l letter) item {
	t.Helper()
	l.acknowledgedAt = new(int)
	b.put(context.Background(), l)
	batch, err := b.take(context.Background())
	require.NoError(t, err)
	require.Len(t, batch, 1)
	require.Zero(t, *l.acknowledgedAt)
	b.done(batch)
	require.Equal(t, 1, *l.acknowledgedAt)
	return batch[0]
}

func TestBacklogEndsWithAPause(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newInbox(Options{}.withDefaults())
		b.connecting(true)
		<-time.After(time.Minute)
		require.True(t, through(t, b, letter{}).old, "before it is known whether the session was resumed")
		b.connected(true, 10*time.Millisecond)
		for range 10 {
			<-time.After(400 * time.Millisecond)
			require.True(t, through(t, b, letter{}).old, "no pause of 0.5 s yet")
		}
		<-time.After(600 * time.Millisecond)
		require.False(t, through(t, b, letter{}).old)
		require.False(t, through(t, b, letter{}).old, "once through, it stays so")
		require.True(t, through(t, b, letter{retained: true}).old)
		require.True(t, through(t, b, letter{dup: true}).old)

		b.connecting(true)
		b.connected(true, 200*time.Millisecond)
		<-time.After(1900 * time.Millisecond)
		require.True(t, through(t, b, letter{}).old, "a slow way asks for 2 s")

		b.connecting(true)
		b.connected(false, 0)
		require.False(t, through(t, b, letter{}).old, "a new session has no backlog")
	})
}

// What waits for the sink keeps a backlog open: the broker sends no more until
// it is acknowledged.
func TestBacklogIsNotThroughWhileOneWaits(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newInbox(Options{}.withDefaults())
		b.connecting(true)
		b.connected(true, 0)
		n := new(int)
		b.put(context.Background(), letter{acknowledgedAt: n})
		<-time.After(time.Hour)
		b.put(context.Background(), letter{acknowledgedAt: n})
		batch, err := b.take(context.Background())
		require.NoError(t, err)
		require.Len(t, batch, 2)
		require.True(t, batch[1].old)
	})
}

func TestInboxIsBounded(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newInbox(Options{}.withDefaults())
		n := new(int)
		for range MaxQueueBytes / (16 << 20) {
			b.put(context.Background(), letter{payload: make([]byte, 16<<20), acknowledgedAt: n})
		}
		alive, end := context.WithTimeout(context.Background(), time.Second)
		defer end()
		b.put(alive, letter{payload: []byte("one more"), acknowledgedAt: n}) // waits until the connection ends
		require.Error(t, alive.Err())
		batch, err := b.take(context.Background())
		require.NoError(t, err)
		require.Len(t, batch, MaxQueueBytes/(16<<20))
		b.done(batch)
		require.Zero(t, b.open)
		for range MaxQueue {
			b.put(context.Background(), letter{acknowledgedAt: n})
		}
		alive, end = context.WithTimeout(context.Background(), time.Second)
		defer end()
		b.put(alive, letter{acknowledgedAt: n})
		require.Equal(t, MaxQueue, b.open)
		batch, err = b.take(context.Background())
		require.NoError(t, err)
		require.Len(t, batch, MaxBatch)
	})
}

package forward

import (
	"context"
	"fmt"
	"iter"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
)

// script is a destination that answers as it is told and notes when it was asked.
type script struct {
	answers []sent
	asked   []time.Time
	lines   []int
}

func (*script) begin(_ sqlite.Head, c sqlite.Cursor) (sqlite.Cursor, error) { return c, nil }
func (*script) end()                                                        {}
func (s *script) send(_ context.Context, b *batch) sent {
	s.asked, s.lines = append(s.asked, time.Now()), append(s.lines, len(b.ends))
	if len(s.answers) == 0 {
		return sent{}
	}
	a := s.answers[0]
	s.answers = s.answers[1:]
	return a
}

// scripted returns a Forwarder to a script, in the real waits.
func scripted(t *testing.T, log Log, answers ...sent) (*Forwarder, *script) {
	t.Helper()
	f, err := New(toFile("none"), log, Options{Logger: quiet(t)})
	require.NoError(t, err)
	d := &script{answers: answers}
	f.dest = d
	return f, d
}

// memory is a log in memory: the database has goroutines that fake time would
// wait for.
type memory struct {
	Log
	mu      sync.Mutex
	entries []logbook.Entry
	grown   chan struct{}
}

func (m *memory) add(es ...logbook.Entry) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for _, e := range es {
		e.Head().Seq, e.Head().Received = uint64(len(m.entries)+1), logbook.At(time.Now())
		m.entries = append(m.entries, e)
	}
	if m.grown != nil {
		close(m.grown)
	}
	m.grown = make(chan struct{})
}

func (m *memory) Head(context.Context) (sqlite.Head, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return sqlite.Head{Seq: uint64(len(m.entries)), LogID: "0123"}, nil
}

func (m *memory) Wait(ctx context.Context, after uint64) error {
	for {
		m.mu.Lock()
		n, grown := uint64(len(m.entries)), m.grown
		m.mu.Unlock()
		if n > after {
			return nil
		}
		select {
		case <-grown:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

func (m *memory) Entries(_ context.Context, from uint64) iter.Seq2[logbook.Entry, error] {
	return func(yield func(logbook.Entry, error) bool) {
		for seq := from; ; seq++ {
			m.mu.Lock()
			if seq > uint64(len(m.entries)) {
				m.mu.Unlock()
				return
			}
			e := m.entries[seq-1]
			m.mu.Unlock()
			if !yield(e, nil) {
				return
			}
		}
	}
}

func (*memory) Repeated(_ context.Context, rs []*logbook.Reading) ([]bool, error) {
	return make([]bool, len(rs)), nil
}

func (*memory) Cursor(context.Context, string) (sqlite.Cursor, error)  { return sqlite.Cursor{}, nil }
func (*memory) SetCursor(context.Context, string, sqlite.Cursor) error { return nil }

// during runs f while do runs, in fake time.
func during(t *testing.T, f *Forwarder, do func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- f.Run(ctx) }()
	synctest.Wait()
	do()
	cancel()
	require.NoError(t, <-done)
}

// TestGathers: what is in the log is sent at once; then entries are gathered, so
// that a reading a second is not a request a second.
func TestGathers(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := &memory{}
		m.add(site("Depot Ostrava"), reading("c1", 0, 1))
		f, d := scripted(t, m)
		begun := time.Now()
		during(t, f, func() {
			require.Len(t, d.asked, 1)
			for i := range 60 {
				m.add(reading("c1", i+1, 1))
				time.Sleep(time.Second)
			}
			time.Sleep(20 * time.Second)
			synctest.Wait()
			require.Equal(t, Stats{Name: "archive", Cursor: 62, Sent: 61, LastTaken: d.asked[len(d.asked)-1]}, f.Stats())
			time.Sleep(time.Hour)
			synctest.Wait()
		})
		require.Equal(t, begun, d.asked[0])
		require.Len(t, d.asked, 7, "%v", d.lines)
		for i := 2; i < len(d.asked); i++ {
			require.GreaterOrEqual(t, d.asked[i].Sub(d.asked[i-1]), 10*time.Second)
		}
	})
}

// TestWaits: a server that is down is left alone for longer and longer, one that
// asks for it for as long as it says, and Stats tell how far behind the copy is.
func TestWaits(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := &memory{}
		m.add(site("Depot Ostrava"), reading("c1", 0, 1))
		down := sent{err: &failure{err: fmt.Errorf("down")}}
		wrong := sent{err: &failure{err: fmt.Errorf("wrong password"), slow: true}}
		busy := sent{err: &failure{err: fmt.Errorf("busy"), after: 40 * time.Minute}}
		answers := []sent{}
		for range 12 {
			answers = append(answers, down)
		}
		answers = append(answers, busy, wrong, wrong, wrong, wrong, wrong, wrong, wrong)
		f, d := scripted(t, m, answers...)
		during(t, f, func() {
			time.Sleep(5 * time.Minute)
			synctest.Wait()
			st := f.Stats()
			require.EqualValues(t, 2, st.Lag)
			require.Equal(t, 5*time.Minute, st.Oldest)
			require.Equal(t, "down", st.LastError)
			require.False(t, st.Attention)
			time.Sleep(3 * time.Hour)
			synctest.Wait()
			st = f.Stats()
			require.Zero(t, st.Lag)
			require.Zero(t, st.Oldest)
			require.False(t, st.Attention)
			require.EqualValues(t, len(answers), st.Failed)
		})
		require.Len(t, d.asked, len(answers)+1)
		within := func(i int, least, most time.Duration) {
			t.Helper()
			wait := d.asked[i+1].Sub(d.asked[i])
			require.GreaterOrEqual(t, wait, least)
			require.LessOrEqual(t, wait, most)
		}
		// backoff v5: the interval times a random factor of 0.5 to 1.5.
		within(0, 500*time.Millisecond, 1500*time.Millisecond)
		within(1, time.Second, 3*time.Second)
		within(9, time.Minute, 3*time.Minute)
		within(12, 40*time.Minute, 40*time.Minute)
		within(13, 15*time.Second, 45*time.Second)
		within(19, 5*time.Minute, 15*time.Minute)
	})
}

// TestSilentRestart: a server that forgets what it took last and comes back
// between two batches, without any error to be seen, gets it again.
func TestSilentRestart(t *testing.T) {
	k, s := newTaker(t, nil), store(t)
	fill(t, s, 0, 300)
	f := newHasty(t, k.to(), s, Options{Lines: 100, Settle: time.Hour})
	run(t, f)
	arrive(t, f)
	k.CloseClientConnections()
	k.mu.Lock()
	k.lines, k.order = map[string]int{}, nil
	k.mu.Unlock()
	fill(t, s, 1000, 10)
	require.Eventually(t, func() bool { return len(strings.Split(k.content(), "\n")) == len(strings.Split(want(t, s), "\n")) }, patience, 5*time.Millisecond)
	arrive(t, f)
}

// TestAnnouncedEnd: a server that ends each connection and says so does not get
// everything again and again.
func TestAnnouncedEnd(t *testing.T) {
	k, s := newTaker(t, func(w http.ResponseWriter, _ *http.Request, _ []string) bool {
		w.Header().Set("Connection", "close")
		return false
	}), store(t)
	fill(t, s, 0, 1000)
	f := newHasty(t, k.to(), s, Options{Lines: 50, Settle: time.Hour})
	run(t, f)
	arrive(t, f)
	for l, n := range k.lines {
		require.Equal(t, 1, n, l)
	}
}

// TestSlowLink: a server behind a link too slow for a whole batch within the
// deadline gets smaller ones.
func TestSlowLink(t *testing.T) {
	var slow atomic.Int64
	k, s := newTaker(t, func(_ http.ResponseWriter, r *http.Request, lines []string) bool {
		if len(lines) <= 100 {
			return false
		}
		slow.Add(1)
		<-r.Context().Done()
		return true
	}), store(t)
	fill(t, s, 0, 600)
	f := newHasty(t, k.to(), s, Options{Lines: 500, Timeout: 50 * time.Millisecond})
	run(t, f)
	arrive(t, f)
	require.Equal(t, want(t, s), k.content())
	require.GreaterOrEqual(t, slow.Load(), int64(2))
}

// endless is a log without end.
type endless struct {
	memory
	yielded int
}

func (*endless) Head(context.Context) (sqlite.Head, error) {
	return sqlite.Head{Seq: 1 << 40, LogID: "0123"}, nil
}

func (e *endless) Entries(_ context.Context, from uint64) iter.Seq2[logbook.Entry, error] {
	return func(yield func(logbook.Entry, error) bool) {
		for seq := from; ; seq++ {
			e.yielded++
			r := reading("c1", int(seq), 1)
			r.Seq = seq
			if !yield(r, nil) {
				return
			}
		}
	}
}

// TestBounded: however long the log is, a batch and what is read for it are
// bounded by entries and by bytes.
func TestBounded(t *testing.T) {
	for _, tt := range []struct{ lines, bytes, want, most int }{{1, 0, 1, 1}, {atOnce, 0, atOnce, atOnce}, {atOnce + 1, 0, atOnce + 1, 2 * atOnce}, {0, 0, 5000, 5000}, {0, 1000, 0, atOnce}} {
		e := &endless{}
		f, err := New(toFile("none"), e, Options{Lines: tt.lines, Bytes: tt.bytes})
		require.NoError(t, err)
		b, err := f.build(t.Context())
		require.NoError(t, err)
		require.True(t, b.full)
		require.EqualValues(t, len(b.ends), b.upTo.Seq)
		require.LessOrEqual(t, e.yielded, tt.most)
		if tt.want > 0 {
			require.Len(t, b.ends, tt.want)
		} else {
			require.Less(t, len(b.text), tt.bytes+200)
		}
	}
}

package watch

import (
	"context"
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/rules"
)

// memory is a log in memory with one writer's rules: seq without gaps, the
// cursor never back, records and messages together or not at all.
type memory struct {
	mu      sync.Mutex
	lines   [][]byte // entries as JSON
	judged  uint64
	out     map[string]sqlite.Outgoing
	order   []string // keys of out, as they came
	snap    *sqlite.Snapshot
	changed chan struct{}
	commits int
	dead    bool                   // the process was killed: nothing works any more
	refuse  func(commit int) error // asked before each commit of records
	behind  bool
}

func newMemory() *memory {
	return &memory{out: map[string]sqlite.Outgoing{}, changed: make(chan struct{})}
}

var errKilled = fmt.Errorf("the process is gone: %w", sqlite.ErrClosed)

// reborn returns the log as the next process finds it; the old one is dead.
func (m *memory) reborn() *memory {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.dead = true
	close(m.changed)
	m.changed = make(chan struct{})
	n := &memory{lines: m.lines, judged: m.judged, out: m.out, order: m.order, snap: m.snap, changed: make(chan struct{})}
	return n
}

func (m *memory) add(e logbook.Entry) error {
	c := e.Head()
	c.Seq, c.V = uint64(len(m.lines)+1), 0
	c.Received = c.Time
	b, err := logbook.Encode(e)
	if err != nil {
		return err
	}
	m.lines = append(m.lines[:len(m.lines):len(m.lines)], b)
	return nil
}

// input appends inputs as one commit.
func (m *memory) input(t *testing.T, entries ...logbook.Entry) (last uint64) {
	t.Helper()
	m.mu.Lock()
	defer m.mu.Unlock()
	for _, e := range entries {
		require.NoError(t, m.add(e))
	}
	close(m.changed)
	m.changed = make(chan struct{})
	return uint64(len(m.lines))
}

func (m *memory) Read(_ context.Context, from uint64, limit int) ([]logbook.Entry, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.dead {
		return nil, errKilled
	}
	var got []logbook.Entry
	for i := from; i <= uint64(len(m.lines)) && len(got) < limit; i++ {
		e, err := logbook.Decode(m.lines[i-1])
		if err != nil {
			return nil, fmt.Errorf("%s: %w", m.lines[i-1], err)
		}
		got = append(got, e)
	}
	return got, nil
}

func (m *memory) Wait(ctx context.Context, after uint64) error {
	for {
		m.mu.Lock()
		n, changed, dead := uint64(len(m.lines)), m.changed, m.dead
		m.mu.Unlock()
		if dead {
			return errKilled
		}
		if n > after {
			return nil
		}
		select {
		case <-changed:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

func (m *memory) Head(context.Context) (sqlite.Head, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return sqlite.Head{Seq: uint64(len(m.lines)), Hash: fmt.Sprintf("hash%d", len(m.lines)), LogID: "log"}, nil
}

func (m *memory) Judged(context.Context) (uint64, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.judged, nil
}

func (m *memory) AppendRecords(_ context.Context, judged uint64, recs []logbook.Recorded, out []sqlite.Outgoing) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.commits++
	if m.dead {
		return errKilled
	}
	if m.refuse != nil {
		if err := m.refuse(m.commits); err != nil {
			return err
		}
	}
	if judged < m.judged || judged > uint64(len(m.lines)) {
		return fmt.Errorf("cursor %d is outside %d to %d", judged, m.judged, len(m.lines))
	}
	for _, r := range recs {
		if err := m.add(r); err != nil {
			return err
		}
	}
	for _, o := range out {
		if _, known := m.out[o.Key]; !known {
			m.out[o.Key] = o
			m.order = append(m.order, o.Key)
		}
	}
	m.judged = judged
	close(m.changed)
	m.changed = make(chan struct{})
	return nil
}

func (m *memory) SaveSnapshot(_ context.Context, s sqlite.Snapshot) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.dead {
		return errKilled
	}
	m.snap = &s
	return nil
}

func (m *memory) LoadSnapshot(_ context.Context, build, configHash string) (*sqlite.Snapshot, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.snap == nil || m.snap.Build != build || m.snap.ConfigHash != configHash {
		return nil, nil
	}
	return m.snap, nil
}

func (m *memory) ClockBehind() bool {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.behind
}

// all returns the log as text, one entry a line.
func (m *memory) all() []string {
	m.mu.Lock()
	defer m.mu.Unlock()
	var s []string
	for _, b := range m.lines {
		s = append(s, string(b))
	}
	return s
}

// depot is a small Folder whose every step can be followed: gas above 100 ppm
// shuts the gate and raises an alarm, once; an act is accepted; a confirmation
// clears the store when its verdict comes back. It breaks at a reading of 666.
type depot struct {
	SeqNo   uint64
	At      logbook.Time
	Gas     bool
	Cleared bool
	Asked   map[uint64]bool // confirmations without a verdict
	Sum     float64         // of all readings, so that folding twice shows
}

func newDepot() Folder { return &depot{Asked: map[uint64]bool{}} }

func (d *depot) Fold(e logbook.Entry) []logbook.Recorded {
	h := e.Head()
	d.SeqNo, d.At = h.Seq, max(d.At, h.Received)
	head := func(k logbook.Kind) logbook.Header { return logbook.Header{Kind: k, Time: d.At} }
	rec := logbook.Record{Of: h.Seq}
	switch e := e.(type) {
	case *logbook.Reading:
		if e.Value == 666 {
			panic("a bug")
		}
		d.Sum += e.Value
		gas := e.Value > 100
		if gas == d.Gas {
			return nil
		}
		d.Gas = gas
		d.Cleared = d.Cleared && !gas
		state := map[bool]string{true: logbook.AlarmRaised, false: logbook.AlarmCleared}[gas]
		return []logbook.Recorded{&logbook.Alarm{Header: head(logbook.KindAlarm), Record: rec, State: state, Alarm: "air-gas", Store: "Store 2",
			Priority: logbook.PriorityHigh, Value: logbook.Number(e.Value)}}
	case *logbook.Accepted:
		if d.Asked[e.Of] && !d.Gas {
			d.Cleared = true
			delete(d.Asked, e.Of)
			return []logbook.Recorded{d.gate(rec)}
		}
	case *logbook.EntryConfirmed:
		d.Asked[h.Seq] = true
		if d.Gas {
			return []logbook.Recorded{&logbook.Refused{Header: head(logbook.KindRefused), Record: rec, Entry: e.Kind, Store: e.Store, Code: "gas"}}
		}
		return []logbook.Recorded{&logbook.Accepted{Header: head(logbook.KindAccepted), Record: rec, Entry: e.Kind, Store: e.Store}}
	case logbook.Acting:
		return []logbook.Recorded{&logbook.Accepted{Header: head(logbook.KindAccepted), Record: rec, Entry: h.Kind}}
	}
	return nil
}

func (d *depot) gate(rec logbook.Record) *logbook.Gate {
	state := logbook.GateShut
	if d.Cleared {
		state = logbook.GateCleared
	}
	return &logbook.Gate{Header: logbook.Header{Kind: logbook.KindGate, Time: d.At}, Record: rec, Store: "Store 2", State: state, Reasons: []logbook.Reason{}}
}

func (d *depot) View() *rules.View {
	return &rules.View{Seq: d.SeqNo, Now: d.At, Stores: []rules.StoreView{{Name: "Store 2", Gate: *d.gate(logbook.Record{})}}}
}

// crier is a Planner with one message for each alarm record.
type crier struct{ Heard int }

func (c *crier) Fold(e logbook.Entry, now func() (*rules.View, sqlite.Head)) []sqlite.Outgoing {
	a, ok := e.(*logbook.Alarm)
	if !ok {
		return nil
	}
	c.Heard++
	_, h := now()
	return []sqlite.Outgoing{{Key: fmt.Sprintf("%s %d %s %s", h.LogID, a.Of, a.Alarm, a.State), Messenger: "mail", To: "R. Amadi",
		Body: fmt.Appendf(nil, "%s %s, message %d", a.Alarm, a.State, c.Heard), NotBefore: a.Time.Std()}}
}

var dawn = logbook.At(time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC))

func reading(minute int, ppm float64) *logbook.Reading {
	return &logbook.Reading{Header: logbook.Header{Kind: logbook.KindReading, Time: dawn.Add(time.Duration(minute) * time.Minute)},
		Channel: "s2-door", Value: ppm, Unit: logbook.PPM}
}

func confirmed(minute int) *logbook.EntryConfirmed {
	return &logbook.EntryConfirmed{Header: logbook.Header{Kind: logbook.KindEntryConfirmed, Time: dawn.Add(time.Duration(minute) * time.Minute)},
		OnStore: logbook.OnStore{Store: "Store 2"}, Act: logbook.Act{By: "R. Amadi"}}
}

// clockAt is a depot's clock that the test sets.
type clockAt struct {
	mu sync.Mutex
	t  time.Time
}

func (c *clockAt) set(minute int) *clockAt {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.t = dawn.Add(time.Duration(minute) * time.Minute).Std()
	return c
}

func (c *clockAt) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.t
}

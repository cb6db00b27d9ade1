package forward

import (
	"context"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/forward/lines"
	"undersheet/logbook"
	"undersheet/logbook/sqlite"
)

// noon is when the tests' entries begin.
var noon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

// patience is how long a test waits for what must come; a busy machine is slow.
const patience = time.Minute

// site is a depot with channels "c0" to "c9" on lines and the name of a stack
// that line protocol must escape.
func site(name string) *logbook.SiteConfigured {
	s := logbook.Site{Name: name, Channels: map[string]logbook.Channel{}, Stores: []logbook.Store{{Name: "Store 2",
		Stacks: []logbook.Stack{{Name: `B, "east" = new`}}}}}
	for i := range 10 {
		ch := fmt.Sprint("c", i)
		s.Channels[ch] = logbook.Channel{Unit: "ppm"}
		k := &s.Stores[0].Stacks[0]
		k.Lines = append(k.Lines, logbook.Line{Name: fmt.Sprintf("line %d", i), Channel: ch})
	}
	return &logbook.SiteConfigured{Header: logbook.Header{Kind: logbook.KindSiteConfigured, Time: logbook.At(noon)}, Site: s}
}

// reading returns a reading i seconds after noon.
func reading(channel string, i int, value float64) *logbook.Reading {
	return &logbook.Reading{Header: logbook.Header{Kind: logbook.KindReading, Time: logbook.At(noon.Add(time.Duration(i) * time.Second))},
		Channel: channel, Value: value, Unit: logbook.PPM}
}

// gate returns a record of a gate i seconds after noon.
func gate(state string, i int) *logbook.Gate {
	return &logbook.Gate{Header: logbook.Header{Kind: logbook.KindGate, Time: logbook.At(noon.Add(time.Duration(i) * time.Second))},
		Store: "Store 2", State: state, LimitPPM: 0.3, Reasons: []logbook.Reason{}}
}

// store opens a new logbook whose clock stands at noon.
func store(t testing.TB) *sqlite.Store {
	t.Helper()
	return open(t, filepath.Join(t.TempDir(), "site.db"))
}

func open(t testing.TB, path string) *sqlite.Store {
	t.Helper()
	s, err := sqlite.Open(path, sqlite.Options{Now: func() time.Time { return noon }})
	require.NoError(t, err)
	t.Cleanup(func() { s.Close() })
	return s
}

// put appends inputs and records to the log.
func put(t testing.TB, s *sqlite.Store, entries ...logbook.Entry) {
	t.Helper()
	for len(entries) > 0 {
		n := 0
		for n < len(entries) && !logbook.IsRecord(entries[n].Head().Kind) {
			n++
		}
		if n > 0 {
			_, err := s.Append(context.Background(), entries[:n])
			require.NoError(t, err)
			entries = entries[n:]
			continue
		}
		require.NoError(t, s.AppendRecords(context.Background(), 0, []logbook.Recorded{entries[0].(logbook.Recorded)}, nil))
		entries = entries[1:]
	}
}

// fill puts a configuration and n readings of ten channels into the log, in
// seconds from start on; one of 50 is a second value, one of 60 has a fault, and
// now and then a gate changes.
func fill(t testing.TB, s *sqlite.Store, start, n int) {
	t.Helper()
	r := rand.New(rand.NewPCG(uint64(start), 1))
	es := []logbook.Entry{}
	if start == 0 {
		es = append(es, site("Depot Ostrava"))
	}
	for i := range n {
		ch, at := fmt.Sprint("c", i%10), start+i/10
		e := reading(ch, at, float64(r.IntN(1e6))/64)
		if i%60 == 59 {
			e.Fault = "sensor worn"
		}
		es = append(es, e)
		if i%50 == 49 {
			es = append(es, reading(ch, at, -1))
		}
		if i%500 == 499 {
			es = append(es, gate(logbook.GateAiring, at), gate(logbook.GateShut, at))
		}
	}
	put(t, s, es...)
}

// quiet is a logger that writes to the test's output.
func quiet(t testing.TB) *slog.Logger {
	return slog.New(slog.NewTextHandler(t.Output(), &slog.HandlerOptions{Level: slog.LevelDebug}))
}

// start runs a Forwarder until the returned func is called.
func start(t testing.TB, conf logbook.Forward, log Log, o Options) (*Forwarder, func()) {
	t.Helper()
	if o.Gather == 0 {
		o.Gather = time.Millisecond
	}
	if o.Logger == nil {
		o.Logger = quiet(t)
	}
	f, err := New(conf, log, o)
	require.NoError(t, err)
	return f, run(t, f)
}

// run runs f until the returned func is called, at the test's end at the latest.
func run(t testing.TB, f *Forwarder) func() {
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- f.Run(ctx) }()
	stopped := false
	stop := func() {
		if !stopped {
			stopped = true
			cancel()
			require.NoError(t, <-done)
		}
	}
	t.Cleanup(stop)
	return stop
}

// arrive waits until f has copied up to the head.
func arrive(t testing.TB, f *Forwarder) {
	t.Helper()
	require.Eventually(t, func() bool { s := f.Stats(); return s.Cursor > 0 && s.Lag == 0 }, patience, 2*time.Millisecond, "%+v", f.Stats())
}

// want returns the lines of the whole log as one run of the encoder gives them.
// Which readings are second values is told by a map of its own.
func want(t testing.TB, s *sqlite.Store) string {
	t.Helper()
	type moment struct {
		channel string
		at      logbook.Time
	}
	seen, enc := map[moment]bool{}, lines.New()
	var text []byte
	for e, err := range s.Entries(context.Background(), 1) {
		require.NoError(t, err)
		second := false
		if r, ok := e.(*logbook.Reading); ok {
			m := moment{r.Channel, r.Time}
			second, seen[m] = seen[m], true
		}
		text, err = enc.Append(text, e, second)
		require.NoError(t, err)
	}
	return string(text)
}

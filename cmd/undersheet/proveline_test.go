package main

import (
	"context"
	"io"
	"log/slog"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/configs"
	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/sensor/sim"
)

// technician answers questions of "listen --prove" as they are asked.
type technician struct {
	t     *testing.T
	hears written
	says  *io.PipeWriter
	read  int // bytes of what was said that were understood
}

// at waits for a question and types an answer.
func (k *technician) at(question, answer string) {
	k.t.Helper()
	for end := time.Now().Add(patience); !strings.Contains(k.hears.String()[k.read:], question); {
		if time.Now().After(end) {
			k.t.Fatalf("%q is not asked:\n%s", question, k.hears.String())
		}
		<-time.After(tick)
	}
	k.read += strings.Index(k.hears.String()[k.read:], question) + len(question)
	_, err := io.WriteString(k.says, answer+"\n")
	require.NoError(k.t, err)
}

// proves runs "listen --prove" of a site with the technician.
func proves(t *testing.T, site string, work func(k *technician)) (status int, said string) {
	t.Helper()
	in, says := io.Pipe()
	k := &technician{t: t, says: says}
	ended := make(chan int, 1)
	go func() {
		ended <- run([]string{"listen", "--prove", "--site", site}, &console{in: in, out: &k.hears, err: &k.hears})
	}()
	defer says.Close()
	work(k)
	select {
	case status = <-ended:
	case <-time.After(patience):
		t.Fatalf("it goes on:\n%s", k.hears.String())
	}
	return status, k.hears.String()
}

// set sets a channel of a depot, which shows it once depot time moves.
func set(d *sim.Depot, channel string, value float64) {
	d.Set(channel, value)
	d.Advance(e2eStart.Add(time.Since(setStart)))
}

// setStart is long enough ago for depot time to have moved on.
var setStart = time.Now().Add(-time.Hour)

// proveAll proves the door and line top of the depot, and leaves line low.
func proveAll(d *sim.Depot, k *technician) {
	k.at("Type yes:", "yes")
	k.at("Who proves", "Ana Brook")
	k.at("second person", "Odile Marsh")
	k.at("span gas (s)", "s")
	k.at("ZERO", "")
	k.at("type r to read", "")
	for _, line := range []struct {
		name, channel, gas string
		ppm                float64
	}{{"air point door", "door", "10", 9.8}, {"line top", "top", "500", 490}} {
		k.at("FLOW", "")
		k.at("END OF LINE", line.gas)
		k.at("Let the gas in at the end of "+line.name, "")
		set(d, line.channel, line.ppm)
		k.at("Take the gas away", "")
		set(d, line.channel, 0)
	}
	k.at("FLOW", "")
	k.at("END OF LINE", "500")
	k.at("Let the gas in at the end of line low", "")
	k.at("Watching", "")
	k.at("s to leave", "s")
}

// proofsIn are the proofs in a logbook, each with its verdict.
func proofsIn(t *testing.T, book string) (proofs []*logbook.LineProved, verdicts int) {
	t.Helper()
	s, err := sqlite.Open(book, sqlite.Options{ReadOnly: true})
	require.NoError(t, err)
	defer s.Close()
	for e, err := range s.Entries(t.Context(), 1) {
		require.NoError(t, err)
		switch e := e.(type) {
		case *logbook.LineProved:
			proofs = append(proofs, e)
		case *logbook.Accepted:
			if e.Entry == logbook.KindLineProved {
				verdicts++
			}
		}
	}
	return proofs, verdicts
}

// requireProofs checks what proveAll leaves.
func requireProofs(t *testing.T, book string) {
	t.Helper()
	proofs, verdicts := proofsIn(t, book)
	require.Len(t, proofs, 2)
	require.Equal(t, 2, verdicts)
	for i, want := range []struct {
		place, channel string
		span, read     float64
	}{{"Store 1/door", "door", 10, 9.8}, {"A/top", "top", 500, 490}} {
		e := proofs[i]
		require.Equal(t, want.place, e.Store+e.Stack+"/"+e.Point+e.Line)
		require.True(t, e.Seen)
		require.Equal(t, want.channel, e.Channel)
		require.Equal(t, want.span, e.Span)
		require.InDelta(t, want.read, e.Read, 0.5)
		require.NotNil(t, e.Zero)
		require.InDelta(t, 0, *e.Zero, 0.02)
		require.Positive(t, e.Lag.Std())
		require.Less(t, e.Lag.Std(), time.Minute)
		require.Equal(t, "Ana Brook", e.By)
		require.Equal(t, notVerified, e.Identity)
	}
}

// quietDepot is listenDepot with its site settled, all channels in clean air, and
// a logbook.
func quietDepot(t *testing.T) (path string, site *logbook.Site, d *sim.Depot) {
	t.Helper()
	path, d = listenDepot(t)
	for _, ch := range []string{"top", "low", "door"} {
		set(d, ch, 0)
	}
	site, _, err := configs.Load(path)
	require.NoError(t, err)
	settle(site, path)
	return path, site, d
}

// Beside a running daemon, which holds the serial ports: readings come from its
// logbook, proofs go through its door. Before, nothing is proved without a word
// that nothing is under gas.
func TestProveBesideADaemon(t *testing.T) {
	path, site, d := quietDepot(t)
	for i := range site.Instruments {
		if m := site.Instruments[i].Modbus; m != nil {
			m.Units[0].Every = logbook.Duration(time.Second)
		}
	}
	daemon, err := newDaemon(site, daemonOptions{Clock: wallClock{}, Listen: "127.0.0.1:0", Logger: slog.New(slog.DiscardHandler)})
	require.NoError(t, err)
	ctx, stop := context.WithCancel(context.Background())
	var wg sync.WaitGroup
	wg.Go(func() { daemon.run(ctx) })
	defer func() { stop(); wg.Wait() }()
	<-daemon.caughtUp

	status, said := proves(t, path, func(*technician) {})
	require.Equal(t, 1, status, said)
	require.Contains(t, said, "Store 1 is left out: its gate is")
	require.Contains(t, said, "no line can be proved")

	status, _, errs := tried(t, "", "act", "-l", site.Logbook, "no-gas-declared", "store=Store 1", "by=Odile Marsh")
	require.Zero(t, status, errs)
	status, said = proves(t, path, func(k *technician) { proveAll(d, k) })
	require.Zero(t, status, said)
	require.Contains(t, said, "readings come from its logbook")
	requireProofs(t, site.Logbook)

	status, _, errs = tried(t, "", "listen", "--site", path, "--for", "10s", "rack")
	require.Equal(t, 1, status)
	require.Contains(t, errs, "another program uses it")
	status, out, errs := tried(t, "", "listen", "--site", path, "--for", "1s", "gateway")
	require.Zero(t, status, errs)
	require.Contains(t, out, "door = 0 ppm", "a broker serves both")
}

// Without a daemon the instruments are read here, and proofs go into the logbook.
func TestProveWithoutADaemon(t *testing.T) {
	path, site, d := quietDepot(t)
	status, said := proves(t, path, func(*technician) {})
	require.Equal(t, 1, status)
	require.Contains(t, said, `Start "undersheet serve --site`)

	s, err := sqlite.Open(site.Logbook, sqlite.Options{})
	require.NoError(t, err)
	e := &logbook.SiteConfigured{Site: *site}
	e.Kind, e.Time = logbook.KindSiteConfigured, logbook.At(time.Now())
	_, err = s.Append(t.Context(), []logbook.Entry{e})
	require.NoError(t, err)
	require.NoError(t, s.Close())
	status, _, errs := tried(t, "", "act", "-l", site.Logbook, "no-gas-declared", "store=Store 1", "by=Odile Marsh")
	require.Zero(t, status, errs)

	status, said = proves(t, path, func(k *technician) { proveAll(d, k) })
	require.Zero(t, status, said)
	require.NotContains(t, said, "A daemon watches")
	requireProofs(t, site.Logbook)

	status, _, errs = tried(t, "", "act", "-l", site.Logbook, "dosing-started", "stack=A", "store_empty=true", "by=Odile Marsh")
	require.Zero(t, status, errs)
	status, said = proves(t, path, func(*technician) {})
	require.Equal(t, 1, status)
	require.Contains(t, said, "stack A is under gas by the logbook (dosing)")
	require.FileExists(t, filepath.Join(filepath.Dir(path), "depot.db"))
}

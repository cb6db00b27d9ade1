package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/alert"
	"undersheet/configs"
	"undersheet/logbook"
	"undersheet/rules"
	"undersheet/sensor/sim"
	"undersheet/watch"
)

// brokenState is the state of the rules in a program that breaks at a clearance of a store
// without gas.
type brokenState struct{ *rules.State }

func (s brokenState) Fold(e logbook.Entry) []logbook.Recorded {
	if e.Head().Kind == logbook.KindNoGasDeclared {
		panic("a bug")
	}
	return s.State.Fold(e)
}

// A fold that breaks ends neither the mails nor the recording nor the pages: people are
// told that the watch has stopped, and every gate is shown shut. The daemon ends with the
// cause when it is asked to. Started again a day later it says so again, and a program that does not
// break says once that this is over.
func TestBrokenFoldIsTold(t *testing.T) {
	box := newMailbox(t)
	site, _, err := configs.Parse("site.yaml", fmt.Appendf(nil, `site: Gorse Lane
timezone: Europe/Lisbon
limits: EU
logbook: depot.db
emergency: "Call 112."
mail: {host: 127.0.0.1, port: %d, from: depot@gorse.example, tls: none}
people: [{name: Ana Brook, email: ana.brook@gorse.example}]
channels: {door: {unit: ppm, range: 20}}
stores: [{name: Store 1, air: [{name: door, channel: door, where: door}]}]
`, box.port()))
	require.NoError(t, err)
	site.Logbook = filepath.Join(t.TempDir(), "depot.db")
	clock := sim.NewClock(e2eStart)
	start := func(state func() watch.Folder) (*daemon, func() error) {
		d, err := newDaemon(site, daemonOptions{Clock: clock, Listen: "127.0.0.1:0", Stale: time.Hour, Logger: slog.New(slog.DiscardHandler)})
		require.NoError(t, err)
		d.loop = watch.New(d.store, watch.Options{Clock: clock.Now, Stale: time.Hour, Planned: d.sender.Wake, Logger: slog.New(slog.DiscardHandler),
			NewState: state, NewPlanner: func() watch.Planner { return alert.NewPlanner(alert.PlannerOptions{}) }})
		d.handler = newPages(d)
		ctx, stop := context.WithCancel(t.Context())
		ended := make(chan error, 1)
		go func() { ended <- d.run(ctx) }()
		<-d.caughtUp
		return d, func() error { stop(); return <-ended }
	}
	broken := func() watch.Folder { return brokenState{rules.New()} }
	d, stop := start(broken)

	act := &logbook.NoGasDeclared{Header: logbook.Header{Kind: logbook.KindNoGasDeclared, Time: logbook.At(e2eStart)}, OnStore: logbook.OnStore{Store: "Store 1"}, Act: logbook.Act{By: "Ana Brook"}}
	_, err = d.store.Append(t.Context(), []logbook.Entry{act})
	require.NoError(t, err)
	box.waitFor(t, "stopped judging")
	reading := &logbook.Reading{Header: logbook.Header{Kind: logbook.KindReading, Time: logbook.At(e2eStart)}, Channel: "door", Value: 0.1, Unit: logbook.PPM}
	_, err = d.store.Append(t.Context(), []logbook.Entry{reading})
	require.NoError(t, err, "readings are still recorded")
	require.Equal(t, "fold-failed", d.loop.View().Stores[0].Gate.Reasons[0].Code)
	page, err := http.Get("http://" + d.pages.Addr().String() + "/")
	require.NoError(t, err)
	defer page.Body.Close()
	_, err = io.ReadAll(page.Body)
	require.NoError(t, err)
	require.Equal(t, http.StatusOK, page.StatusCode)
	require.ErrorIs(t, stop(), watch.ErrBroken)

	clock.Move(e2eStart.Add(25 * time.Hour))
	_, stop = start(broken)
	const told = "HIGH: The program has stopped judging"
	require.Eventually(t, func() bool { return len(box.about(told)) == 2 }, patience, tick, "a day later it is told again")
	require.Contains(t, box.about(told)[1].text, "Written at 2026-05-05", "not at the entry at which it broke")
	require.ErrorIs(t, stop(), watch.ErrBroken)
	_, stop = start(func() watch.Folder { return rules.New() })
	require.Eventually(t, func() bool {
		clock.Move(clock.Now().Add(10 * time.Minute))
		return len(box.about("Over: The program has stopped judging")) > 0
	}, patience, tick, "nobody hears that it is over")
	require.NoError(t, stop())
	require.Len(t, box.about(told), 2, "what was told is not told again by the program that goes on")
}

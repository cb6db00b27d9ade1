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
// cause when it is asked to.
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
	d, err := newDaemon(site, daemonOptions{Clock: clock, Listen: "127.0.0.1:0", Stale: time.Hour, Logger: slog.New(slog.DiscardHandler)})
	require.NoError(t, err)
	d.loop = watch.New(d.store, watch.Options{Clock: clock.Now, Stale: time.Hour, Planned: d.sender.Wake, Logger: slog.New(slog.DiscardHandler),
		NewState: func() watch.Folder { return brokenState{rules.New()} }, NewPlanner: func() watch.Planner { return alert.NewPlanner(alert.PlannerOptions{}) }})
	d.handler = newPages(d)
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- d.run(ctx) }()
	<-d.caughtUp

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
	stop()
	require.ErrorIs(t, <-ended, watch.ErrBroken)
}

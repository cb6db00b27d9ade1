package main

import (
	"context"
	"log/slog"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/configs"
	"undersheet/logbook"
	"undersheet/sensor/sim"
	"undersheet/web"
)

// Before the site is configured a form's act is refused and not kept; after that it
// is answered with its verdict, and sent again it is the same act.
func TestFormsWaitForTheSite(t *testing.T) {
	site, _, err := configs.Parse("site.yaml", []byte("site: Alder Wharf\ntimezone: Europe/Lisbon\nlogbook: x\nchannels: {door: {unit: ppm, range: 20}}\nstores: [{name: Store 1, air: [{name: door, channel: door, where: door}]}]\n"))
	require.NoError(t, err)
	site.Logbook = filepath.Join(t.TempDir(), "depot.db")
	clock := sim.NewClock(e2eStart)
	d, err := newDaemon(site, daemonOptions{Clock: clock, Listen: "127.0.0.1:0", Stale: time.Hour, Logger: slog.New(slog.DiscardHandler)})
	require.NoError(t, err)
	act := func(id string) (web.Answer, error) {
		e := &logbook.NoGasDeclared{Header: logbook.Header{Kind: logbook.KindNoGasDeclared, Time: logbook.At(e2eStart), ID: id}, OnStore: logbook.OnStore{Store: "Store 1"}, Act: logbook.Act{By: "Ana Brook", Identity: notVerified}}
		return webActs{d}.Act(t.Context(), e)
	}
	_, err = act("a")
	require.ErrorContains(t, err, "still reading its logbook")
	head, err := d.store.Head(t.Context())
	require.NoError(t, err)
	require.Zero(t, head.Seq, "nothing was kept")
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- d.run(ctx) }()
	<-d.caughtUp
	first, err := act("a")
	require.NoError(t, err)
	require.Equal(t, web.Accepted, first.State)
	again, err := act("a")
	require.NoError(t, err)
	require.Equal(t, first.Seq, again.Seq)
	require.True(t, again.Duplicate)
	require.Equal(t, web.Accepted, again.State)
	e := &logbook.EntryConfirmed{Header: logbook.Header{Kind: logbook.KindEntryConfirmed, Time: logbook.At(e2eStart), ID: "a"}, OnStore: logbook.OnStore{Store: "Store 1"}, Act: logbook.Act{By: "Ana Brook"}}
	other, err := webActs{d}.Act(t.Context(), e)
	require.NoError(t, err)
	require.Equal(t, web.Different, other.State)
	e.ID = "b"
	refused, err := webActs{d}.Act(t.Context(), e)
	require.NoError(t, err)
	require.Equal(t, web.Refused, refused.State)
	require.NotEmpty(t, refused.Reasons)
	require.Contains(t, refused.Why, "not ready for a confirmation")
	stop()
	require.NoError(t, <-ended)
}

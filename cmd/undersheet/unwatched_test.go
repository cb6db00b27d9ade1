package main

import (
	"context"
	"fmt"
	"log/slog"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/configs"
	"undersheet/logbook"
	"undersheet/sensor/sim"
)

// A daemon that was down for twenty hours while a stack was under gas says so once after its start,
// from when until when and of which stack; a start that follows at once says it not again.
func TestStopUnderGasIsMailed(t *testing.T) {
	box := newMailbox(t)
	site, _, err := configs.Parse("site.yaml", fmt.Appendf(nil, `site: Gorse Lane
timezone: UTC
limits: EU
logbook: depot.db
emergency: "Call 112."
mail: {host: 127.0.0.1, port: %d, from: depot@gorse.example, tls: none}
people: [{name: Ana Brook, email: ana.brook@gorse.example}]
channels: {door: {unit: ppm, range: 20}, north: {unit: ppm, range: 2000}}
stores: [{name: Store 1, air: [{name: door, channel: door, where: door}], stacks: [{name: A, lines: [{name: north, channel: north}]}]}]
`, box.port()))
	require.NoError(t, err)
	site.Logbook = filepath.Join(t.TempDir(), "depot.db")
	clock := sim.NewClock(e2eStart)
	start := func() (*daemon, func() error) {
		d, err := newDaemon(site, daemonOptions{Clock: clock, Listen: "127.0.0.1:0", Stale: time.Hour, Logger: slog.New(slog.DiscardHandler)})
		require.NoError(t, err)
		ctx, stop := context.WithCancel(t.Context())
		ended := make(chan error, 1)
		go func() { ended <- d.run(ctx) }()
		<-d.caughtUp
		return d, func() error { stop(); return <-ended }
	}
	head := func(kind logbook.Kind) logbook.Header {
		return logbook.Header{Kind: kind, Time: logbook.At(clock.Now())}
	}
	read := func(d *daemon) {
		_, err := d.store.Append(t.Context(), []logbook.Entry{&logbook.Reading{Header: head(logbook.KindReading), Channel: "north", Value: 600, Unit: logbook.PPM}})
		require.NoError(t, err)
	}
	d, stop := start()
	_, err = d.handle(t.Context(), []logbook.Entry{&logbook.TreatmentStarted{Header: head(logbook.KindTreatmentStarted), OnStack: logbook.OnStack{Stack: "A"}, Act: logbook.Act{By: "Ana Brook"},
		Treatment: "A-1", Protocol: "five-day", Commodity: "maize", Tonnes: 100, VolumeM3: 150, PhosphineG: 200, GrainTempC: 27}})
	require.NoError(t, err)
	read(d)
	require.NoError(t, stop())

	const told = "Unwatched: for 20 h"
	clock.Move(clock.Now().Add(20 * time.Hour))
	d, stop = start()
	require.Eventually(t, func() bool {
		clock.Move(clock.Now().Add(time.Minute))
		read(d)
		return len(box.about(told)) > 0
	}, patience, tick)
	require.NoError(t, stop())
	d, stop = start()
	for range 5 {
		clock.Move(clock.Now().Add(time.Minute))
		read(d)
	}
	require.NoError(t, stop(), "an orderly end: what was recorded is folded, and told")
	letters := box.about(told)
	require.Len(t, letters, 1)
	require.Contains(t, letters[0].text, "From Mon 4 May 06:00 to Tue 5 May 02:0")
	require.Contains(t, letters[0].text, "under gas or aired then: A.")
}

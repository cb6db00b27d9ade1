package main

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/ingest"
	"undersheet/logbook"
	"undersheet/sensor"
)

// What keeps a depot from being watched stands in the service's log, through the daemon's own
// way in, which tries for as long as the disk is full: once when it begins, and once when it
// is over.
func TestTroubleStandsInTheServicesLog(t *testing.T) {
	var log bytes.Buffer
	logger := slog.New(slog.NewTextHandler(&log, nil))
	ctx := t.Context()
	full, tries := 0, 0
	stopped, stop := context.WithCancel(ctx)
	defer stop()
	disk := func(_ context.Context, es []logbook.Entry) ([]logbook.Entry, error) {
		if tries++; full > 0 {
			full--
			return nil, errors.New("the disk is full")
		}
		return make([]logbook.Entry, len(es)), nil
	}
	now := func(time.Duration) <-chan time.Time { c := make(chan time.Time, 1); c <- time.Time{}; return c }
	a := &aloud{Sink: ingest.New(keptAloud(disk, logger), ingest.Options{After: now}), logger: logger}
	read := []sensor.Reading{{Channel: "a-top", Value: 412, Unit: "ppm"}}

	require.NoError(t, a.Readings(ctx, read))
	require.Empty(t, log.String())
	full = 3
	require.NoError(t, a.Readings(ctx, read))
	require.Equal(t, 5, tries)
	require.Equal(t, 1, strings.Count(log.String(), "level=ERROR"), log.String())
	require.Contains(t, log.String(), "the disk is full")
	require.Equal(t, 1, strings.Count(log.String(), "takes entries again"))

	require.NoError(t, a.Status(ctx, sensor.Status{Instrument: "rack 1", Detail: "no such port"}))
	require.Contains(t, log.String(), `level=WARN msg="an instrument does not answer" instrument="rack 1" unit="" why="no such port"`)

	log.Reset()
	stop()
	full = 1
	require.Error(t, a.Readings(stopped, read))
	require.Empty(t, log.String(), "a daemon that stops is no trouble")
}

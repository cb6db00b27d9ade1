package main

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"undersheet/sensor"
)

// full is a sink whose disk is full as long as err is set.
type full struct{ err error }

func (f *full) Readings(context.Context, []sensor.Reading) error { return f.err }
func (f *full) Status(context.Context, sensor.Status) error      { return f.err }
func (f *full) Refused(context.Context, sensor.Refused) error    { return f.err }

// What keeps a depot from being watched stands in the service's log: once when it begins,
// and once when it is over.
func TestTroubleStandsInTheServicesLog(t *testing.T) {
	var log bytes.Buffer
	disk := &full{}
	a := &aloud{Sink: disk, logger: slog.New(slog.NewTextHandler(&log, nil))}
	ctx := t.Context()
	require.NoError(t, a.Readings(ctx, nil))
	require.Empty(t, log.String())
	disk.err = errors.New("the disk is full")
	for range 3 {
		require.Error(t, a.Readings(ctx, nil))
	}
	require.Equal(t, 1, strings.Count(log.String(), "level=ERROR"))
	require.Contains(t, log.String(), "the disk is full")
	disk.err = nil
	require.NoError(t, a.Refused(ctx, sensor.Refused{}))
	require.NoError(t, a.Readings(ctx, nil))
	require.Equal(t, 1, strings.Count(log.String(), "takes entries again"))
	require.NoError(t, a.Status(ctx, sensor.Status{Instrument: "rack 1", Detail: "no such port"}))
	require.Contains(t, log.String(), `level=WARN msg="an instrument does not answer" instrument="rack 1" unit="" why="no such port"`)
	stopped, stop := context.WithCancel(ctx)
	stop()
	disk.err = context.Canceled
	log.Reset()
	require.Error(t, a.Readings(stopped, nil))
	require.Empty(t, log.String(), "a daemon that stops is no trouble")
}

package main

import (
	"context"
	"log/slog"
	"sync/atomic"

	"undersheet/sensor"
)

// aloud hands on what the instruments give, and says in the service's own log when one
// stops answering, answers again, or the logbook takes nothing: whoever set the service up
// looks there first, and a full disk keeps every page's record from being written.
type aloud struct {
	sensor.Sink
	logger  *slog.Logger
	failing atomic.Bool // the logbook took nothing, and that was logged
}

// Readings implements sensor.Sink.
func (a *aloud) Readings(ctx context.Context, rs []sensor.Reading) error {
	return a.kept(ctx, a.Sink.Readings(ctx, rs))
}

// Status implements sensor.Sink.
func (a *aloud) Status(ctx context.Context, s sensor.Status) error {
	if s.OK {
		a.logger.Info("an instrument answers", "instrument", s.Instrument, "unit", s.Unit)
	} else {
		a.logger.Warn("an instrument does not answer", "instrument", s.Instrument, "unit", s.Unit, "why", s.Detail)
	}
	return a.kept(ctx, a.Sink.Status(ctx, s))
}

// Refused implements sensor.Sink.
func (a *aloud) Refused(ctx context.Context, r sensor.Refused) error {
	return a.kept(ctx, a.Sink.Refused(ctx, r))
}

// kept logs once that the logbook takes nothing, and once that it does again.
func (a *aloud) kept(ctx context.Context, err error) error {
	switch {
	case ctx.Err() != nil:
	case err != nil && !a.failing.Swap(true):
		a.logger.Error("the logbook takes nothing; it is tried again, and every gate counts as shut meanwhile", "error", err)
	case err == nil && a.failing.Swap(false):
		a.logger.Info("the logbook takes entries again")
	}
	return err
}

package main

import (
	"context"
	"log/slog"
	"sync/atomic"

	"undersheet/ingest"
	"undersheet/logbook"
	"undersheet/sensor"
)

// aloud hands on what the instruments give, and says in the service's own log when one
// stops answering and answers again: whoever set the service up looks there first.
type aloud struct {
	sensor.Sink
	logger *slog.Logger
}

// Status implements sensor.Sink.
func (a *aloud) Status(ctx context.Context, s sensor.Status) error {
	if s.OK {
		a.logger.Info("an instrument answers", "instrument", s.Instrument, "unit", s.Unit)
	} else {
		a.logger.Warn("an instrument does not answer", "instrument", s.Instrument, "unit", s.Unit, "why", s.Detail)
	}
	return a.Sink.Status(ctx, s)
}

// keptAloud returns an Append that says in the service's log once that the logbook takes
// nothing, and once that it does again: a full disk keeps messages, too, from being written.
func keptAloud(keep ingest.Append, logger *slog.Logger) ingest.Append {
	var failing atomic.Bool
	return func(ctx context.Context, es []logbook.Entry) ([]logbook.Entry, error) {
		known, err := keep(ctx, es)
		switch {
		case ctx.Err() != nil: // a daemon that stops is no trouble
		case err != nil && !failing.Swap(true):
			logger.Error("the logbook takes nothing; it is tried again, and every gate counts as shut meanwhile", "error", err)
		case err == nil && failing.Swap(false):
			logger.Info("the logbook takes entries again")
		}
		return known, err
	}
}

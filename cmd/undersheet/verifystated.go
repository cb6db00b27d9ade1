package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strconv"

	"undersheet/logbook/sqlite"
	"undersheet/report"
	"undersheet/report/season"
)

// provable is what a statement says that a file is: a logbook can make it again.
type provable interface {
	what() string    // in words
	command() string // that writes it
	again(ctx context.Context, store *sqlite.Store, w io.Writer, form string) error
	// since says whether the logbook tells more by now: whoever hands over an early
	// report may leave out how it went on.
	since(ctx context.Context, store *sqlite.Store, out io.Writer) error
}

// provableOf reads what a statement is of.
func provableOf(s report.Statement) (provable, error) {
	if s.Season == "" {
		return treatmentReport{s}, nil
	}
	p, err := season.PeriodOf(s)
	return seasonSummary{s, p}, err
}

// treatmentReport is the report of one treatment.
type treatmentReport struct{ report.Statement }

func (r treatmentReport) what() string { return "treatment " + r.Treatment }

func (r treatmentReport) command() string { return "report " + strconv.Quote(r.Treatment) }

func (r treatmentReport) again(ctx context.Context, store *sqlite.Store, w io.Writer, form string) error {
	made, err := report.OfLog(ctx, store, r.Treatment, r.LastSeq, r.Program)
	if err != nil {
		return err
	}
	return made.Write(w, form, r.Lang)
}

func (r treatmentReport) since(ctx context.Context, store *sqlite.Store, out io.Writer) error {
	now, err := report.OfLog(ctx, store, r.Treatment, 0, r.Program)
	var unknown *report.ErrUnknown
	switch {
	case errors.As(err, &unknown):
		fmt.Fprintln(out, "But a correction since then took the name from this treatment: ask for a report under its name of now.")
	case err != nil:
		return fmt.Errorf("make report of now: %w", err)
	case now.LastSeq > r.LastSeq:
		fmt.Fprintf(out, "But it is not the newest: the logbook tells of this treatment up to entry %d (%v), this report up to entry %d. Ask for a report of now.\n", now.LastSeq, now.Made, r.LastSeq)
	default:
		fmt.Fprintln(out, "The logbook tells no more of this treatment to this day.")
	}
	return nil
}

// seasonSummary is the summary of a season.
type seasonSummary struct {
	report.Statement
	period season.Period
}

func (s seasonSummary) what() string {
	return fmt.Sprintf("season from %s to %s", s.period.From, s.period.To)
}

func (s seasonSummary) command() string {
	return fmt.Sprintf("season --from %s --to %s", s.period.From, s.period.To)
}

// then is the summary as it was written.
func (s seasonSummary) then(ctx context.Context, store *sqlite.Store) (*season.Season, error) {
	return season.OfLog(ctx, store, s.period, s.LastSeq, s.Program)
}

func (s seasonSummary) again(ctx context.Context, store *sqlite.Store, w io.Writer, form string) error {
	made, err := s.then(ctx, store)
	if err != nil {
		return err
	}
	return made.Write(w, form, s.Lang)
}

func (s seasonSummary) since(ctx context.Context, store *sqlite.Store, out io.Writer) error {
	then, err := s.then(ctx, store)
	if err != nil {
		return fmt.Errorf("make summary again: %w", err)
	}
	now, err := season.OfLog(ctx, store, s.period, 0, s.Program)
	if err != nil {
		return fmt.Errorf("make summary of now: %w", err)
	}
	same, err := then.Tells(now)
	switch {
	case err != nil:
		return err
	case !same:
		fmt.Fprintf(out, "But it is not the newest: the logbook, now at entry %d (%v), tells more of these days, or otherwise, than up to entry %d. Ask for a summary of now.\n", now.LastSeq, now.Made, s.LastSeq)
	default:
		fmt.Fprintln(out, "The logbook tells no more of these days to this day.")
	}
	return nil
}

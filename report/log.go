package report

import (
	"context"
	"fmt"
	"iter"

	"undersheet/logbook"
)

// Log is a logbook to report from.
type Log interface {
	Entries(ctx context.Context, from uint64) iter.Seq2[logbook.Entry, error]
	LogAt(ctx context.Context, seq uint64) (logID, hash string, err error)
}

// OfLog makes the report of a treatment in a logbook, of entries up to until (0 = all),
// with the hash that vouches for them; program is the version that writes it.
func OfLog(ctx context.Context, log Log, treatment string, until uint64, program string) (*Report, error) {
	r, err := Make(Until(log.Entries(ctx, 1), until), nil, treatment, Source{Program: program})
	if err != nil {
		return nil, err
	}
	r.LogID, r.Head, err = log.LogAt(ctx, r.LastSeq)
	return r, err
}

// Reader makes the report of one treatment again and again, of a logbook that grows: it
// reads each entry once. It is not for several goroutines at once.
type Reader struct {
	log                Log
	treatment, program string
	m                  *maker
	seen               uint64 // last entry taken
}

// NewReader returns a Reader that has read nothing yet; program is the version that
// writes.
func NewReader(log Log, treatment, program string) *Reader {
	return &Reader{log: log, treatment: treatment, program: program, m: newMaker(nil, treatment)}
}

// Treatment is the name that the Reader was made for.
func (r *Reader) Treatment() string { return r.treatment }

// Report reads what the logbook holds since the last time, and makes the report, as
// [OfLog] does. A logbook with corrections is read from its beginning each time.
func (r *Reader) Report(ctx context.Context) (*Report, error) {
	for e, err := range r.log.Entries(ctx, r.seen+1) {
		if err != nil {
			return nil, fmt.Errorf("read entries: %w", err)
		}
		if _, ok := e.(*logbook.Corrected); ok {
			return OfLog(ctx, r.log, r.treatment, 0, r.program)
		}
		r.m.take(e)
		r.seen = e.Head().Seq
	}
	made, err := r.m.report(Source{Program: r.program})
	if err != nil {
		return nil, err
	}
	made.LogID, made.Head, err = r.log.LogAt(ctx, made.LastSeq)
	return made, err
}

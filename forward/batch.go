package forward

import (
	"context"
	"fmt"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
)

// batch is the lines of successive entries.
type batch struct {
	log   string        // log id
	from  sqlite.Cursor // the entry before it
	upTo  sqlite.Cursor // the last entry of it
	text  []byte        // whole lines
	ends  []int         // where in text each line ends
	full  bool          // the log may have more
	unfit int           // entries that line protocol cannot hold
	why   error         // of the last unfit one
}

// lines returns lines i up to k.
func (b *batch) lines(i, k int) []byte {
	from := 0
	if i > 0 {
		from = b.ends[i-1]
	}
	return b.text[from:b.ends[k-1]]
}

// atOnce is how many entries are looked at together.
const atOnce = 512

// build makes a batch of the entries from f.at on.
func (f *Forwarder) build(ctx context.Context) (*batch, error) {
	head, err := f.log.Head(ctx)
	if err != nil {
		return nil, fmt.Errorf("look at the logbook: %w", err)
	}
	if err := f.configure(ctx); err != nil {
		return nil, err
	}
	b := &batch{log: head.LogID, from: f.at, upTo: f.at}
	entries := make([]logbook.Entry, 0, min(atOnce, f.limit))
	n, first := 0, true
	for e, err := range f.log.Entries(ctx, f.at.Seq+1) {
		if err != nil {
			return nil, err
		}
		if first {
			f.pending(e.Head().Received)
			first = false
		}
		entries = append(entries, e)
		if n++; len(entries) < cap(entries) && n < f.limit {
			continue
		}
		if err := f.add(ctx, b, entries); err != nil {
			return nil, err
		}
		entries = entries[:0]
		if b.full = b.full || n >= f.limit; b.full {
			return b, nil
		}
	}
	return b, f.add(ctx, b, entries)
}

// configure gives the encoder the configuration in force at f.at.
func (f *Forwarder) configure(ctx context.Context) error {
	if f.site == f.at.Site {
		return nil
	}
	var site *logbook.Site
	if f.at.Site > 0 {
		for e, err := range f.log.Entries(ctx, f.at.Site) {
			if err != nil {
				return fmt.Errorf("read the configuration in force: %w", err)
			}
			s, ok := e.(*logbook.SiteConfigured)
			if !ok {
				return fmt.Errorf("go on from seq %d: entry %d should be a site-configured and is a %s", f.at.Seq, f.at.Site, e.Head().Kind)
			}
			site = &s.Site
			break
		}
	}
	f.enc.Configure(site)
	f.site = f.at.Site
	return nil
}

// add appends entries to b until it is full.
func (f *Forwarder) add(ctx context.Context, b *batch, entries []logbook.Entry) error {
	second, err := f.seconds(ctx, entries)
	if err != nil {
		return err
	}
	for i, e := range entries {
		if len(b.text) >= f.opts.Bytes {
			b.full = true
			return nil
		}
		text, err := f.enc.Append(b.text, e, second[i])
		if err != nil {
			b.unfit, b.why = b.unfit+1, err
		}
		if len(text) > len(b.text) {
			b.text, b.ends = text, append(b.ends, len(text))
		}
		b.upTo.Seq = e.Head().Seq
		if e.Head().Kind == logbook.KindSiteConfigured {
			b.upTo.Site, f.site = b.upTo.Seq, b.upTo.Seq
		}
	}
	return nil
}

// seconds tells, for each entry, whether it is a reading whose channel and time
// have an earlier one.
func (f *Forwarder) seconds(ctx context.Context, entries []logbook.Entry) ([]bool, error) {
	second := make([]bool, len(entries))
	var readings []*logbook.Reading
	var places []int
	for i, e := range entries {
		if r, ok := e.(*logbook.Reading); ok {
			readings, places = append(readings, r), append(places, i)
		}
	}
	repeated, err := f.log.Repeated(ctx, readings)
	if err != nil {
		return nil, err
	}
	for i, is := range repeated {
		second[places[i]] = is
	}
	return second, nil
}

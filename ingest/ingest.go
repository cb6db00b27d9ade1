package ingest

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/cenkalti/backoff/v5"

	"undersheet/logbook"
	"undersheet/sensor"
)

// Append commits entries, all or none, and returns when they are durable.
// Entries that are there already are dropped without an error. One whose ID
// another entry has is not kept: then known has that other entry in its place.
// known is nil in the others' places, or has no places when there is no such
// entry. Append may be called again with the same entries after an error.
type Append func(ctx context.Context, entries []logbook.Entry) (known []logbook.Entry, err error)

// Options are an Ingest's settings. The zero value is right for a daemon that
// knows no channels.
type Options struct {
	Now   func() time.Time                               // stamps readings without a time of their own; nil: time.Now
	Unit  func(channel string) (unit string, known bool) // of the site file's channels; nil: none is known
	After func(d time.Duration) <-chan time.Time         // waits between two tries to commit; nil: time.After
	First time.Duration                                  // mean wait after the first failure; 0: 0.5 s
	Long  time.Duration                                  // mean wait never grows beyond; 0: 30 s
}

// withDefaults returns o with every zero replaced by its default.
func (o Options) withDefaults() Options {
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Unit == nil {
		o.Unit = func(string) (string, bool) { return "", false }
	}
	if o.After == nil {
		o.After = time.After
	}
	if o.First == 0 {
		o.First = 500 * time.Millisecond
	}
	if o.Long == 0 {
		o.Long = 30 * time.Second
	}
	return o
}

// Ingest is the sink of all ways in. Its methods may be called by many
// goroutines. Make one with New.
type Ingest struct {
	append Append
	o      Options
	stats  stats
}

var _ sensor.Sink = (*Ingest)(nil)

// New returns an Ingest that commits with append. It starts nothing.
func New(append Append, o Options) *Ingest {
	return &Ingest{append: append, o: o.withDefaults()}
}

// Readings commits rs together and returns when they are durable. The only
// error is that of ctx.
func (g *Ingest) Readings(ctx context.Context, rs []sensor.Reading) error {
	if len(rs) == 0 {
		return nil
	}
	now := g.o.Now()
	stamp := stamper{now: logbook.At(now), last: map[string]logbook.Time{}}
	entries := make([]logbook.Entry, len(rs))
	for i, r := range rs {
		entries[i] = g.reading(r, &stamp)
	}
	again, err := g.keep(ctx, rs, entries)
	if err != nil {
		return fmt.Errorf("commit %d readings: %w", len(rs), err)
	}
	g.stats.took(rs, entries, again, now)
	return nil
}

// stamper gives times to readings of one call that have none. A channel's
// readings get times 1 µs apart, so that their order is kept and no two are
// taken for the same.
type stamper struct {
	now  logbook.Time
	last map[string]logbook.Time // by channel
}

// next returns the time of the channel's next reading.
func (s *stamper) next(channel string) logbook.Time {
	t := s.now
	if last, ok := s.last[channel]; ok {
		t = last + 1
	}
	s.last[channel] = t
	return t
}

// reading makes the entry of r; a payload-refused entry when r cannot be one.
func (g *Ingest) reading(r sensor.Reading, stamp *stamper) logbook.Entry {
	e := &logbook.Reading{
		Header:  logbook.Header{Kind: logbook.KindReading, Time: logbook.At(r.Time)},
		Channel: clean(r.Channel), Value: r.Value, Unit: r.Unit,
		Retained: r.Retained, Stamped: r.Time.IsZero(), Fault: cut(clean(r.Fault), maxText),
	}
	if e.Stamped {
		e.Time, e.ID = stamp.next(e.Channel), measurementID(r, 0, 0)
	}
	known := true
	if e.Unit == "" {
		e.Unit, known = g.o.Unit(r.Channel)
	}
	err := r.Check()
	if err == nil && !known {
		err = fmt.Errorf("the channel %q is not in the site file and the reading has no unit: name the channel under channels", r.Channel)
	}
	if err == nil {
		err = logbook.Check(e)
	}
	if err == nil {
		return e
	}
	text := fmt.Sprintf("channel %q value %v unit %q time %q fault %q", r.Channel, r.Value, r.Unit, logbook.At(r.Time), r.Fault)
	return refusal(sensor.NewRefused(r.Source, "", []byte(text), err.Error(), stamp.now.Std()))
}

// Status commits a change in an instrument's ability to answer.
func (g *Ingest) Status(ctx context.Context, s sensor.Status) error {
	if s.Time.IsZero() {
		s.Time = g.o.Now()
	}
	g.stats.status(s)
	e := &logbook.InstrumentState{
		Header:     logbook.Header{Kind: logbook.KindInstrumentState, Time: logbook.At(s.Time)},
		Instrument: named(s.Instrument), Unit: clean(s.Unit), OK: s.OK, Detail: cut(clean(s.Detail), maxText),
	}
	if _, err := g.commit(ctx, []logbook.Entry{e}); err != nil {
		return fmt.Errorf("commit the state of instrument %q: %w", s.Instrument, err)
	}
	return nil
}

// Refused commits a payload that could not be decoded: its size, its sum, its
// first sensor.MaxPayload bytes, and why.
func (g *Ingest) Refused(ctx context.Context, r sensor.Refused) error {
	now := g.o.Now()
	if r.Time.IsZero() {
		r.Time = now
	}
	if _, err := g.commit(ctx, []logbook.Entry{refusal(r)}); err != nil {
		return fmt.Errorf("commit a refused payload of instrument %q: %w", r.Instrument, err)
	}
	g.stats.refused(r.Instrument, r.Why, now)
	return nil
}

// refusal makes the entry of r.
func refusal(r sensor.Refused) *logbook.PayloadRefused {
	e := &logbook.PayloadRefused{
		Header:     logbook.Header{Kind: logbook.KindPayloadRefused, Time: logbook.At(r.Time)},
		Instrument: named(r.Instrument), Topic: clean(r.Topic), Size: r.Size, SHA256: r.SHA256, Why: cut(clean(r.Why), maxText),
		Excerpt: append([]byte(nil), r.Payload[:min(len(r.Payload), sensor.MaxPayload)]...),
	}
	if strings.TrimSpace(e.Why) == "" {
		e.Why = "no reason was given"
	}
	return e
}

// commit appends entries until that succeeds or ctx ends, waiting longer after
// each failure. It returns what Append does.
func (g *Ingest) commit(ctx context.Context, entries []logbook.Entry) ([]logbook.Entry, error) {
	wait := backoff.NewExponentialBackOff()
	wait.InitialInterval, wait.MaxInterval = g.o.First, g.o.Long
	wait.Reset()
	for tries := 0; ; tries++ {
		known, err := g.append(ctx, entries)
		if err == nil {
			g.stats.appended(tries > 0)
			return known, nil
		}
		if ctx.Err() == nil {
			g.stats.failed(err, tries == 0, g.o.Now())
			select {
			case <-g.o.After(wait.NextBackOff()):
				continue
			case <-ctx.Done():
			}
			tries++
		}
		g.stats.gaveUp(tries > 0)
		return nil, fmt.Errorf("%w (last try: %w)", ctx.Err(), err)
	}
}

// maxText is the longest free text of an entry, in bytes.
const maxText = 4 << 10

// cut returns the first n bytes of s, to a whole character.
func cut(s string, n int) string {
	if len(s) <= n {
		return s
	}
	return strings.ToValidUTF8(s[:n], "") + " …"
}

// clean returns s as valid UTF-8, so that it is read back as it was written.
func clean(s string) string { return strings.ToValidUTF8(s, "\uFFFD") }

// named returns the name of an instrument; an entry needs one.
func named(s string) string {
	if s = clean(s); strings.TrimSpace(s) == "" {
		return "unnamed"
	}
	return s
}

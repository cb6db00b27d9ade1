package main

import (
	"context"
	"fmt"
	"io"
	"maps"
	"os"
	"slices"
	"strings"
	"sync"
	"time"

	"golang.org/x/term"

	"undersheet/logbook"
	"undersheet/rules/reading"
	"undersheet/sensor"
)

const (
	keptTimes = 16                     // of a channel's readings, for its rate
	maxChunk  = 256                    // bytes shown of a message or a stretch of bytes
	idleFlush = 200 * time.Millisecond // bytes are shown when nothing came for so long
	redraw    = time.Second
)

// heardLine is one line of what was heard.
type heardLine struct {
	At         time.Time
	Instrument string
	Kind       string // sent, received, reading, refused, state, ignored
	Topic      string
	Raw        []byte
	Reading    *sensor.Reading
	OK         bool
	Text       string // why, or the state
	Device     string // which device of the instrument a state is of
}

// channelRow is what is known of a channel.
type channelRow struct {
	name   string
	last   *sensor.Reading
	times  []time.Time // of its last readings
	count  int
	err    string // the last thing that was wrong with a reading of it
	absent bool   // not in the site file
}

// stretch is bytes that belong together and are not shown yet.
type stretch struct {
	at    time.Time
	topic string
	sent  bool
	bytes []byte
	cut   int // bytes that were left out
}

// board shows what is heard, and sums it up by channel. It is the sink of the
// readers; nothing of it reaches a logbook.
type board struct {
	now    func() time.Time
	site   *logbook.Site // nil: none
	show   shower
	mu     sync.Mutex // guards what follows
	rows   map[string]*channelRow
	states map[string]string // of instruments and their devices; "" well
	raws   map[string]*stretch
	binary map[string]bool // instruments whose bytes are no text
	bytes  int
}

// shower prints what was heard.
type shower interface {
	line(l heardLine, binary bool)
	table(b *board, last bool) // called with the board locked
}

// newBoard makes a board that writes to w: lines, or a table on a terminal, or JSON.
func newBoard(w io.Writer, asJSON bool, now func() time.Time) *board {
	b := &board{now: now, rows: map[string]*channelRow{}, states: map[string]string{}, raws: map[string]*stretch{}, binary: map[string]bool{}}
	f, isFile := w.(*os.File)
	switch {
	case asJSON:
		b.show = &jsonShower{w}
	case isFile && term.IsTerminal(int(f.Fd())):
		b.show = &screen{w: w, size: func() (int, int, error) { return term.GetSize(int(f.Fd())) }}
	default:
		b.show = &plainShower{w}
	}
	return b
}

// know fills the board with the channels that the chosen instruments may give.
func (b *board) know(site *logbook.Site, chosen []logbook.Instrument) {
	b.site = site
	for _, in := range chosen {
		b.binary[in.Name] = in.Modbus != nil
		for ch := range site.Channels {
			if in.Gives(ch) {
				b.rows[ch] = &channelRow{name: ch}
			}
		}
	}
}

// Run implements runner: it redraws until ctx ends.
func (b *board) Run(ctx context.Context) error {
	t := time.NewTicker(idleFlush)
	defer t.Stop()
	drawn := time.Time{}
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-t.C:
		}
		b.mu.Lock()
		now := b.now()
		for _, name := range slices.Sorted(maps.Keys(b.raws)) {
			if now.Sub(b.raws[name].at) >= idleFlush {
				b.flush(name)
			}
		}
		if now.Sub(drawn) >= redraw {
			drawn = now
			b.show.table(b, false)
		}
		b.mu.Unlock()
	}
}

// end shows the sum of all.
func (b *board) end() {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, name := range slices.Sorted(maps.Keys(b.raws)) {
		b.flush(name)
	}
	b.show.table(b, true)
}

// raw implements wiretap.
func (b *board) raw(instrument, topic string, sent bool, p []byte) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.bytes += len(p)
	if s := b.raws[instrument]; s != nil && (s.sent != sent || topic != "") {
		b.flush(instrument)
	}
	if topic != "" {
		b.raws[instrument] = &stretch{at: b.now(), topic: topic, bytes: append([]byte(nil), p[:min(len(p), maxChunk)]...), cut: max(0, len(p)-maxChunk)}
		b.flush(instrument)
		return
	}
	for _, c := range p {
		s := b.raws[instrument]
		if s == nil {
			s = &stretch{sent: sent}
			b.raws[instrument] = s
		}
		s.at = b.now()
		s.bytes = append(s.bytes, c)
		if c == '\n' && !b.binary[instrument] || len(s.bytes) == maxChunk {
			b.flush(instrument)
		}
	}
}

// flush shows the bytes that an instrument has pending.
func (b *board) flush(instrument string) {
	s := b.raws[instrument]
	if s == nil {
		return
	}
	delete(b.raws, instrument)
	l := heardLine{At: s.at, Instrument: instrument, Kind: "received", Topic: s.topic, Raw: s.bytes}
	if s.sent {
		l.Kind = "sent"
	}
	if s.cut > 0 {
		l.Text = fmt.Sprintf("and %d bytes more", s.cut)
	}
	b.show.line(l, b.binary[instrument])
}

// hear shows l after the bytes that it came of.
func (b *board) hear(l heardLine) {
	b.flush(l.Instrument)
	b.show.line(l, false)
}

// ignored implements wiretap.
func (b *board) ignored(instrument string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.hear(heardLine{At: b.now(), Instrument: instrument, Kind: "ignored", Text: "no reading, and not meant to be one"})
}

// Readings implements sensor.Sink.
func (b *board) Readings(_ context.Context, rs []sensor.Reading) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, r := range rs {
		if r.Unit == "" && b.site != nil {
			r.Unit = b.site.Channels[r.Channel].Unit
		}
		row := b.rows[r.Channel]
		if row == nil {
			row = &channelRow{name: r.Channel}
			b.rows[r.Channel] = row
		}
		b.take(row, r)
		b.hear(heardLine{At: b.now(), Instrument: r.Source, Kind: "reading", Reading: &r, Text: row.wrong(b.site, r)})
	}
	return nil
}

// take notes a reading in its row.
func (b *board) take(row *channelRow, r sensor.Reading) {
	row.last, row.count = &r, row.count+1
	if len(row.times) == keptTimes {
		row.times = row.times[1:]
	}
	row.times = append(row.times, b.now())
	if why := row.wrong(b.site, r); why != "" {
		row.err = why
	}
}

// wrong says what is wrong with a reading; "" when nothing is.
func (row *channelRow) wrong(site *logbook.Site, r sensor.Reading) string {
	if r.Fault != "" {
		return "fault: " + r.Fault
	}
	if site == nil {
		return ""
	}
	ch, ok := site.Channels[r.Channel]
	if row.absent = !ok; !ok {
		return "this channel is not in the site file"
	}
	if _, fits := reading.InChannelUnit(ch, r.Value, r.Unit); !fits {
		return fmt.Sprintf("the unit %s does not fit the channel's, %s", r.Unit, ch.Unit)
	}
	return ""
}

// Status implements sensor.Sink.
func (b *board) Status(_ context.Context, s sensor.Status) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	key, why := strings.TrimSpace(s.Instrument+" "+s.Unit), s.Detail
	if s.OK {
		why = ""
	}
	b.states[key] = why
	b.hear(heardLine{At: s.Time, Instrument: s.Instrument, Kind: "state", OK: s.OK, Text: s.Detail, Device: s.Unit})
	return nil
}

// Refused implements sensor.Sink.
func (b *board) Refused(_ context.Context, r sensor.Refused) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.hear(heardLine{At: r.Time, Instrument: r.Instrument, Kind: "refused", Text: r.Why})
	return nil
}

// perMinute is the rate of the last readings; 0 when there are fewer than two.
func (row *channelRow) perMinute() float64 {
	n := len(row.times)
	if n < 2 {
		return 0
	}
	span := row.times[n-1].Sub(row.times[0])
	if span <= 0 {
		return 0
	}
	return float64(n-1) / span.Minutes()
}

package lines

import (
	"fmt"
	"math"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/influxdata/line-protocol/v2/lineprotocol"

	"undersheet/logbook"
)

// Encoder writes entries as lines. It holds the configuration in force.
type Encoder struct {
	lp    lineprotocol.Encoder
	place places
	p     point // of the entry at hand
}

// New returns an Encoder that knows no configuration yet.
func New() *Encoder { return &Encoder{} }

// Configure sets the configuration in force; nil: none.
func (e *Encoder) Configure(site *logbook.Site) { e.place = placesOf(site) }

// Append appends the line of en, if it has one, with its line end. second says
// that the log has an earlier reading of the same channel and time. A
// site-configured entry is followed and has no line. After an error buf comes
// back as it was.
func (e *Encoder) Append(buf []byte, en logbook.Entry, second bool) ([]byte, error) {
	if s, ok := en.(*logbook.SiteConfigured); ok {
		e.Configure(&s.Site)
		return buf, nil
	}
	e.p = point{fields: e.p.fields[:0], time: en.Head().Time, apart: int64(en.Head().Seq % 1000)}
	e.p.tags.site = e.place.site
	if !e.fill(en, second) {
		return buf, nil
	}
	out, err := e.write(buf)
	if err != nil {
		return buf, fmt.Errorf("write %s with seq %d as a line: %w", en.Head().Kind, en.Head().Seq, err)
	}
	return out, nil
}

// point is one line before it is written.
type point struct {
	measurement string
	tags        tags
	fields      []field
	elsewhere   []string // names that are in no tag
	time        logbook.Time
	apart       int64 // nanoseconds added to time
}

// tags are all the tags that there are, clean; an empty one is left out.
type tags struct {
	address, alarm, channel, code, followUp, instrument, kind, line, moment, place, point, site, stack, store, unit, use string
}

// field is one field of a line.
type field struct {
	key   string
	value lineprotocol.Value
}

// float adds a field unless v is not finite.
func (p *point) float(key string, v float64) {
	if value, ok := lineprotocol.FloatValue(v); ok {
		p.fields = append(p.fields, field{key, value})
	}
}

// whole adds an integer field.
func (p *point) whole(key string, v int64) {
	p.fields = append(p.fields, field{key, lineprotocol.IntValue(v)})
}

// flag adds a boolean field.
func (p *point) flag(key string, v bool) {
	p.fields = append(p.fields, field{key, lineprotocol.BoolValue(v)})
}

// maxText is the longest string field, in bytes. Some servers refuse more than 64 KiB.
const maxText = 1000

// text adds a string field unless it is empty, on one line and cut to maxText.
func (p *point) text(key, v string) {
	v = cut(visible(v), maxText)
	if value, ok := lineprotocol.StringValue(v); ok && v != "" {
		p.fields = append(p.fields, field{key, value})
	}
}

// The times that line protocol can hold, with room for the digits added.
const (
	firstTime = logbook.Time(math.MinInt64/1000 + 1)
	lastTime  = logbook.Time(math.MaxInt64/1000 - 1)
)

// write appends the line of e.p to buf.
func (e *Encoder) write(buf []byte) ([]byte, error) {
	p := &e.p
	if p.time < firstTime || p.time > lastTime {
		return buf, fmt.Errorf("its time %s is outside what line protocol can hold", p.time)
	}
	p.text("elsewhere", strings.Join(p.elsewhere, "; "))
	e.lp.SetBuffer(buf)
	e.lp.StartLine(p.measurement)
	t := &p.tags
	for _, tag := range [...][2]string{ // in the order of their names, as the protocol asks
		{"address", t.address}, {"alarm", t.alarm}, {"channel", t.channel}, {"code", t.code}, {"follow_up", t.followUp}, {"instrument", t.instrument},
		{"kind", t.kind}, {"line", t.line}, {"moment", t.moment}, {"place", t.place}, {"point", t.point}, {"site", t.site},
		{"stack", t.stack}, {"store", t.store}, {"unit", t.unit}, {"use", t.use},
	} {
		if tag[1] != "" {
			e.lp.AddTag(tag[0], tag[1])
		}
	}
	for _, f := range p.fields {
		e.lp.AddField(f.key, f.value)
	}
	e.lp.EndLine(time.Unix(0, int64(p.time)*1000+p.apart))
	return e.lp.Bytes(), e.lp.Err()
}

// clean returns s as a tag can hold it. A blank s gives "".
func clean(s string) string {
	s = visible(s)
	if strings.TrimSpace(s) == "" {
		return ""
	}
	return strings.ReplaceAll(s, `\`, "＼")
}

// visible returns s with symbols in place of control characters, in UTF-8.
func visible(s string) string {
	if plain(s) {
		return s
	}
	return strings.Map(func(r rune) rune {
		switch {
		case r < 0x20:
			return 0x2400 + r
		case r == 0x7f:
			return 0x2421
		}
		return r
	}, strings.ToValidUTF8(s, "\uFFFD"))
}

// plain reports whether s is printable ASCII.
func plain(s string) bool {
	for i := range len(s) {
		if s[i] < 0x20 || s[i] >= 0x7f {
			return false
		}
	}
	return true
}

// cut returns s cut to at most n bytes, at the border of a character.
func cut(s string, n int) string {
	if len(s) <= n {
		return s
	}
	for n > 0 && !utf8.RuneStart(s[n]) {
		n--
	}
	return s[:n]
}

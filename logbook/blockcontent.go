package logbook

import (
	"encoding/binary"
	"fmt"
	"math"
	"reflect"
	"strings"
	"unicode/utf8"
)

// Tags of the items in a block's content.
const (
	itemJSON    = 0
	itemReading = 1
)

// Flags of a reading item.
const (
	flagRetained = 1 << iota
	flagStamped
	flagFault
	flagID
	flagsKnown = flagRetained | flagStamped | flagFault | flagID
)

// maxText is the longest text in a reading item, in bytes.
const maxText = 64 << 10

// unitCodes gives each unit its byte in a reading item: index + 1. Its order is
// part of the format and never changes; once a version was released, a further
// unit goes to the end and needs a new BlockVersion.
var unitCodes = [...]string{PPM, MgM3, GM3, Cel, RH, HPa, MS, LMin, OnOff, Deg}

// unitCode returns the byte that stands for unit in a block.
func unitCode(unit string) (byte, error) {
	for i, u := range unitCodes {
		if u == unit {
			return byte(i + 1), nil
		}
	}
	return 0, fmt.Errorf("the unit %q has no code in block version %d", unit, BlockVersion)
}

// CheckTime reports why t cannot be kept: it is unset or cannot be printed.
func CheckTime(t Time) error {
	if y := t.Std().Year(); t == 0 || y < 1 || y > 9999 {
		return fmt.Errorf("the field \"time\" is missing or outside the years 1 to 9999")
	}
	return nil
}

// Check reports why e cannot be kept in a logbook: its time or what its kind
// needs is missing, its Kind is not that of its type, it is of a newer version,
// or it is longer than can be exported and read again.
func Check(e Entry) error {
	h := e.Head()
	if err := CheckTime(h.Time); err != nil {
		return err
	}
	if want, err := New(h.Kind); err != nil {
		return err
	} else if reflect.TypeOf(want) != reflect.TypeOf(e) {
		return fmt.Errorf("a %T cannot be of kind %q", e, h.Kind)
	}
	if h.V > Version {
		return fmt.Errorf("kind %q has format version %d: %w", h.Kind, h.V, ErrNewer)
	}
	if err := e.Validate(); err != nil {
		return err
	}
	if r, ok := e.(*Reading); ok {
		if len(r.Channel) > maxText || len(r.Fault) > maxText || len(r.ID) > maxText {
			return fmt.Errorf("a text of channel %.40q is longer than %d bytes", r.Channel, maxText)
		}
		return nil
	}
	b, err := Encode(e)
	if err == nil && len(b) > MaxLine-128 { // room for seq, received and version
		err = fmt.Errorf("an entry of %d bytes is longer than %d", len(b), MaxLine-128)
	}
	return err
}

// encodeContent writes the block version (1 byte), the table of channels in the
// order of their first reading, and the items.
func encodeContent(h BlockHeader, entries []Entry) ([]byte, error) {
	var table []string
	index := map[string]uint64{}
	items := make([]byte, 0, 24*len(entries))
	var before Time
	for i, e := range entries {
		if err := inPlace(h, i, e.Head()); err != nil {
			return nil, err
		}
		r, ok := e.(*Reading)
		if !ok {
			text, err := Encode(e)
			if err != nil {
				return nil, err
			}
			items = append(items, itemJSON)
			items = appendText(items, string(text))
			continue
		}
		channel := strings.ToValidUTF8(r.Channel, "\uFFFD")
		at, ok := index[channel]
		if !ok {
			at = uint64(len(table))
			index[channel], table = at, append(table, channel)
		}
		var err error
		if items, err = appendReading(items, r, at, before); err != nil {
			return nil, err
		}
		before = r.Time
	}
	b := binary.AppendUvarint([]byte{BlockVersion}, uint64(len(table)))
	for _, c := range table {
		b = appendText(b, c)
	}
	if len(b)+len(items) > MaxBlockContent {
		return nil, fmt.Errorf("its content has %d bytes, more than %d", len(b)+len(items), MaxBlockContent)
	}
	return append(b, items...), nil
}

// inPlace checks that an entry's header is that of item i of the block.
func inPlace(h BlockHeader, i int, e *Header) error {
	if e.Seq != h.First+uint64(i) || e.Received != h.Received || e.V != int(h.Entries) {
		return fmt.Errorf("entry %d of the block has seq %d, received %v and version %d, want %d, %v and %d",
			i, e.Seq, e.Received, e.V, h.First+uint64(i), h.Received, h.Entries)
	}
	return CheckTime(e.Time)
}

// appendReading writes the tag, flags, channel index, time after the reading
// before it (zigzag varint, µs), value (IEEE 754 bits), unit, and the fault and
// id when flagged.
func appendReading(b []byte, r *Reading, channel uint64, before Time) ([]byte, error) {
	unit, err := unitCode(r.Unit)
	if err != nil {
		return nil, err
	}
	var flags byte
	for _, f := range []struct {
		on  bool
		bit byte
	}{{r.Retained, flagRetained}, {r.Stamped, flagStamped}, {r.Fault != "", flagFault}, {r.ID != "", flagID}} {
		if f.on {
			flags |= f.bit
		}
	}
	b = append(b, itemReading, flags)
	b = binary.AppendUvarint(b, channel)
	b = binary.AppendVarint(b, int64(r.Time-before))
	b = binary.BigEndian.AppendUint64(b, math.Float64bits(r.Value))
	b = append(b, unit)
	if r.Fault != "" {
		b = appendText(b, r.Fault)
	}
	if r.ID != "" {
		b = appendText(b, r.ID)
	}
	return b, nil
}

// appendText writes the length and the bytes of s; what is not UTF-8 becomes U+FFFD.
func appendText(b []byte, s string) []byte {
	s = strings.ToValidUTF8(s, "\uFFFD")
	return append(binary.AppendUvarint(b, uint64(len(s))), s...)
}

// decodeContent reads what encodeContent wrote, and nothing that it would not write.
func decodeContent(h BlockHeader, content []byte) ([]Entry, error) {
	c := &cursor{b: content}
	if v := c.byte(); v > BlockVersion {
		return nil, fmt.Errorf("content version %d: %w", v, ErrNewer)
	} else if v != BlockVersion {
		return nil, fmt.Errorf("%w: content version %d", ErrBlockDamaged, v)
	}
	n := c.uvarint()
	if n > uint64(h.Count) {
		c.fail("%d channels for %d entries", n, h.Count)
		n = 0
	}
	table, seen := make([]string, n), map[string]bool{}
	for i := range table {
		table[i] = c.text(maxText * 3)
		if seen[table[i]] {
			c.fail("channel %q stands twice in the table", table[i])
		}
		seen[table[i]] = true
	}
	entries, used, before := make([]Entry, 0, h.Count), uint64(0), Time(0)
	for i := range int(h.Count) {
		e, err := c.item(h, i, table, &used, &before)
		if err != nil {
			return nil, err
		}
		entries = append(entries, e)
	}
	if used != n || c.off != len(content) {
		return nil, fmt.Errorf("%w: %d bytes and %d channels are left over", ErrBlockDamaged, len(content)-c.off, n-used)
	}
	return entries, nil
}

// cursor reads a block's content; after the first fault it stands still.
type cursor struct {
	b   []byte
	off int
	err error
}

// fail notes what is wrong, if nothing was before.
func (c *cursor) fail(format string, args ...any) {
	if c.err == nil {
		c.err = fmt.Errorf("%w at byte %d: %s", ErrBlockDamaged, c.off, fmt.Sprintf(format, args...))
	}
}

// take reads n bytes; nil when they are not there.
func (c *cursor) take(n uint64) []byte {
	if c.err != nil || n > uint64(len(c.b)-c.off) {
		c.fail("%d bytes are missing", n)
		return nil
	}
	b := c.b[c.off : c.off+int(n)]
	c.off += int(n)
	return b
}

// byte reads one byte; 0 when there is none.
func (c *cursor) byte() byte {
	if b := c.take(1); b != nil {
		return b[0]
	}
	return 0
}

// uvarint reads a varint in its shortest form.
func (c *cursor) uvarint() uint64 {
	v, n := binary.Uvarint(c.b[c.off:])
	if n <= 0 || n > 1 && c.b[c.off+n-1] == 0 {
		c.fail("a number is cut or not in its shortest form")
		return 0
	}
	c.take(uint64(n))
	return v
}

// text reads a length and a text of at most limit bytes.
func (c *cursor) text(limit uint64) string {
	n := c.uvarint()
	if n > limit {
		c.fail("a text of %d bytes", n)
		return ""
	}
	s := string(c.take(n))
	if !utf8.ValidString(s) {
		c.fail("a text is not UTF-8")
	}
	return s
}

// item reads item i of the block.
func (c *cursor) item(h BlockHeader, i int, table []string, used *uint64, before *Time) (Entry, error) {
	switch tag := c.byte(); {
	case c.err != nil:
	case tag == itemReading:
		return c.reading(h, i, table, used, before)
	case tag == itemJSON:
		text := c.text(MaxBlockContent)
		if c.err != nil {
			break
		}
		e, err := Decode([]byte(text))
		if err == nil {
			err = inPlace(h, i, e.Head())
		}
		if _, ok := e.(*Reading); ok && err == nil {
			err = fmt.Errorf("%w: a reading stands as JSON", ErrBlockDamaged)
		}
		if err != nil {
			return nil, fmt.Errorf("entry %d: %w", h.First+uint64(i), err)
		}
		return e, nil
	default:
		c.fail("item %d has the unknown tag %d", i, tag)
	}
	return nil, c.err
}

// reading reads item i, a reading. used is how many channels of the table came before it, before the time of the
// reading before it; both are moved on.
func (c *cursor) reading(h BlockHeader, i int, table []string, used *uint64, before *Time) (Entry, error) {
	r := &Reading{Header: Header{Kind: KindReading, Seq: h.First + uint64(i), Received: h.Received, V: int(h.Entries)}}
	flags, channel, step := c.byte(), c.uvarint(), c.uvarint()
	if b := c.take(8); b != nil {
		r.Value = math.Float64frombits(binary.BigEndian.Uint64(b))
	}
	unit := c.byte()
	if flags&^flagsKnown != 0 || channel > *used || channel >= uint64(len(table)) || unit == 0 || int(unit) > len(unitCodes) {
		c.fail("a reading has flags %#x, channel %d of %d, unit %d", flags, channel, len(table), unit)
		return nil, c.err
	}
	*used = max(*used, channel+1)
	*before += Time(int64(step>>1) ^ -int64(step&1))
	r.Time, r.Channel, r.Unit = *before, table[channel], unitCodes[unit-1]
	r.Retained, r.Stamped = flags&flagRetained != 0, flags&flagStamped != 0
	if flags&flagFault != 0 {
		r.Fault = c.flagged()
	}
	if flags&flagID != 0 {
		r.ID = c.flagged()
	}
	if c.err != nil {
		return nil, c.err
	}
	if err := r.Validate(); err != nil {
		return nil, fmt.Errorf("%w: entry %d: %w", ErrBlockDamaged, r.Seq, err)
	}
	if err := CheckTime(r.Time); err != nil {
		return nil, fmt.Errorf("%w: entry %d: %w", ErrBlockDamaged, r.Seq, err)
	}
	return r, nil
}

// flagged reads a text whose flag says that it is not empty.
func (c *cursor) flagged() string {
	s := c.text(maxText * 3)
	if s == "" {
		c.fail("a flagged text is empty")
	}
	return s
}

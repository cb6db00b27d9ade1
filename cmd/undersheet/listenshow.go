package main

import (
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"undersheet/logbook"
)

// spelled writes bytes of a wire for a person: quoted when they are text, else
// hexadecimal, so that no byte of an instrument can steer the terminal.
func spelled(b []byte, binary bool) string {
	if !binary && isText(b) {
		return strconv.QuoteToGraphic(string(b))
	}
	return strings.ToUpper(strings.TrimSpace(spaced(hex.EncodeToString(b))))
}

// spaced puts a blank after every second digit.
func spaced(digits string) string {
	var b strings.Builder
	for i := 0; i+1 < len(digits); i += 2 {
		b.WriteString(digits[i : i+2])
		b.WriteByte(' ')
	}
	return b.String()
}

// isText reports whether b reads as text: valid UTF-8 with nothing but what is
// printed and what moves the paper.
func isText(b []byte) bool {
	if !utf8.Valid(b) {
		return false
	}
	for _, r := range string(b) {
		if !unicode.IsPrint(r) && r != '\r' && r != '\n' && r != '\t' {
			return false
		}
	}
	return true
}

// tame takes from outside text what could steer a terminal.
func tame(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return '\u00B7'
	}, s)
}

// inWords is a line of what was heard, for people.
func (l heardLine) inWords(binary bool) string {
	mark, text := " ", tame(l.Text)
	switch l.Kind {
	case "sent", "received":
		mark = map[string]string{"sent": ">", "received": "<"}[l.Kind]
		text = strings.TrimSpace(tame(l.Topic) + " " + spelled(l.Raw, binary) + " " + text)
	case "reading":
		text = fmt.Sprintf("%s = %s", tame(l.Reading.Channel), figure(l.Reading.Value, l.Reading.Unit))
		if l.Text != "" {
			mark, text = "!", tame(l.Reading.Channel)+": "+tame(l.Text)
			if l.Reading.Fault == "" {
				text += " (" + figure(l.Reading.Value, l.Reading.Unit) + ")"
			}
		}
	case "refused":
		mark = "!"
		text = "not read: " + text
	case "state":
		if !l.OK {
			mark = "!"
		}
		text = strings.TrimSpace(tame(l.Device) + " " + text)
	}
	return fmt.Sprintf("%s %-14s %s %s", l.At.Format("15:04:05.000"), tame(l.Instrument), mark, text)
}

// figure writes a value and its unit.
func figure(v float64, unit string) string {
	s := strconv.FormatFloat(v, 'g', 6, 64)
	if unit != "" {
		s += " " + unit
	}
	return s
}

// plainShower prints line by line, and the table at the end.
type plainShower struct{ w io.Writer }

// line implements shower.
func (p *plainShower) line(l heardLine, binary bool) { fmt.Fprintln(p.w, l.inWords(binary)) }

// table implements shower: at the end only.
func (p *plainShower) table(b *board, last bool) {
	if last {
		fmt.Fprintln(p.w)
		for _, l := range b.lines() {
			fmt.Fprintln(p.w, l)
		}
	}
}

// keptLines is how many lines a screen remembers.
const keptLines = 200

// screen redraws a terminal: the table above, what came last below.
type screen struct {
	w    io.Writer
	size func() (width, height int, err error)
	tail []string
}

// line implements shower: it is drawn with the table.
func (s *screen) line(l heardLine, binary bool) {
	if len(s.tail) == keptLines {
		s.tail = s.tail[1:]
	}
	s.tail = append(s.tail, l.inWords(binary))
}

// table implements shower.
func (s *screen) table(b *board, last bool) {
	width, height, err := s.size()
	if err != nil || width < 20 || height < 5 {
		width, height = 80, 24
	}
	lines := append(b.lines(), "")
	room := max(3, height-len(lines)-1)
	lines = append(lines, s.tail[max(0, len(s.tail)-room):]...)
	var out strings.Builder
	out.WriteString("\x1b[H\x1b[2J")
	for _, l := range lines {
		if r := []rune(l); len(r) > width {
			l = string(r[:width-1]) + "…"
		}
		out.WriteString(l + "\r\n")
	}
	fmt.Fprint(s.w, out.String())
}

// lines is the table: states of instruments, then channels.
func (b *board) lines() []string {
	now := b.now()
	lines := []string{fmt.Sprintf("%s   %d bytes heard", now.Format("15:04:05"), b.bytes)}
	for _, name := range slices.Sorted(maps.Keys(b.states)) {
		state := "ok"
		if why := b.states[name]; why != "" {
			state = "! " + why
		}
		lines = append(lines, fmt.Sprintf("%-20s %s", tame(name), tame(state)))
	}
	if len(b.rows) == 0 {
		return lines
	}
	lines = append(lines, fmt.Sprintf("%-20s %14s %9s %8s  %s", "channel", "last value", "a minute", "age", "last error"))
	for _, name := range slices.Sorted(maps.Keys(b.rows)) {
		row := b.rows[name]
		value, rate, age := "nothing yet", "", ""
		if row.last != nil {
			if value = figure(row.last.Value, row.last.Unit); row.last.Fault != "" {
				value = "fault"
			}
			age = now.Sub(row.times[len(row.times)-1]).Truncate(time.Second).String()
		}
		if r := row.perMinute(); r > 0 {
			rate = strconv.FormatFloat(r, 'g', 3, 64)
		}
		lines = append(lines, strings.TrimRight(fmt.Sprintf("%-20s %14s %9s %8s  %s", tame(name), value, rate, age, tame(row.err)), " "))
	}
	return lines
}

// jsonShower prints one JSON object a line.
type jsonShower struct{ w io.Writer }

// spoken is a line of --json.
type spoken struct {
	Time       logbook.Time `json:"time"`
	Kind       string       `json:"kind"` // sent, received, ignored, reading, refused, state, channel
	Instrument string       `json:"instrument,omitempty"`
	Device     string       `json:"device,omitempty"`
	Topic      string       `json:"topic,omitempty"`
	Text       *string      `json:"text,omitempty"` // of sent and received: the bytes as text, or
	Hex        string       `json:"hex,omitempty"`  // in hexadecimal
	Channel    string       `json:"channel,omitempty"`
	Value      *float64     `json:"value,omitempty"`
	Unit       string       `json:"unit,omitempty"`
	OK         *bool        `json:"ok,omitempty"`
	Why        string       `json:"why,omitempty"`
	Readings   *int         `json:"readings,omitempty"`    // of kind channel: how many came
	PerMinute  float64      `json:"per_minute,omitempty"`  // and how often
	AgeSeconds *float64     `json:"age_seconds,omitempty"` // of the last one
}

// print prints one line.
func (j *jsonShower) print(s spoken) {
	b, err := json.Marshal(s)
	if err != nil {
		return // values are finite; no other field can fail
	}
	fmt.Fprintf(j.w, "%s\n", b)
}

// line implements shower.
func (j *jsonShower) line(l heardLine, binary bool) {
	s := spoken{Time: logbook.At(l.At), Kind: l.Kind, Instrument: l.Instrument, Device: l.Device, Topic: l.Topic, Why: l.Text}
	switch {
	case l.Reading != nil:
		s.Channel, s.Value, s.Unit = l.Reading.Channel, &l.Reading.Value, l.Reading.Unit
	case l.Kind == "state":
		s.OK = &l.OK
	case l.Raw != nil && !binary && isText(l.Raw):
		text := string(l.Raw)
		s.Text = &text
	case l.Raw != nil:
		s.Hex = hex.EncodeToString(l.Raw)
	}
	j.print(s)
}

// table implements shower: at the end only.
func (j *jsonShower) table(b *board, last bool) {
	if !last {
		return
	}
	now := b.now()
	for _, name := range slices.Sorted(maps.Keys(b.rows)) {
		row := b.rows[name]
		s := spoken{Time: logbook.At(now), Kind: "channel", Channel: name, Readings: &row.count, PerMinute: row.perMinute(), Why: row.err}
		if row.last != nil {
			age := now.Sub(row.times[len(row.times)-1]).Seconds()
			s.Value, s.Unit, s.AgeSeconds = &row.last.Value, row.last.Unit, &age
		}
		j.print(s)
	}
}

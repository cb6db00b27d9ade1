package frames

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"undersheet/sensor"
)

// MaxLine is the longest line that is read, in bytes without its end.
const MaxLine = 1024

// ErrIgnored says that a line holds no reading and is not meant to: it is blank,
// or fits Format.Ignore.
var ErrIgnored = errors.New("no reading in this line")

// Reason is the kind of a refusal.
type Reason string

// Reasons of refusals.
const (
	NoFit     Reason = "no fit"     // the pattern does not account for the line
	NoChannel Reason = "no channel" // the channel is not known, or not there
	NoUnit    Reason = "no unit"    // the unit is not known
	TwoValues Reason = "two values" // one channel has two values
	TooLong   Reason = "too long"   // more than MaxLine bytes came without a line end
	Torn      Reason = "torn"       // the line broke off
)

const (
	maxShown       = 60               // bytes of outside text shown in an error
	betweenMatches = " \t\r\n\v\f,;|" // what may stand between two matches and around them
)

// Refusal is the error of a line, or of a part of it, that could not be read.
type Refusal struct {
	Reason Reason
	Why    string // for people
}

// Error implements error.
func (r *Refusal) Error() string { return r.Why }

// Decoder reads lines. Make one with Compile. It does not change, so it may be
// used by several goroutines.
type Decoder struct {
	format                       Format
	pattern, ignore              *regexp.Regexp // ignore may be nil
	value, channel, unit, status int            // numbers of the pattern's groups; 0 = none
	sound                        map[string]bool
}

// Channels lists the channels that the decoder can give, in the order of their
// names; none when the line itself names them.
func (d *Decoder) Channels() []string {
	if d.channel == 0 {
		return []string{d.format.Channel}
	}
	return slices.Sorted(maps.Values(d.format.Channels))
}

// Decode reads one line without its end. The readings have no Time and no Source.
// The error is ErrIgnored, or a *Refusal of the line or of one or more of its
// values; what stands beside those in the same line is returned with it.
func (d *Decoder) Decode(line []byte) ([]sensor.Reading, error) {
	switch {
	case len(line) > MaxLine:
		return nil, tooLong
	case d.ignores(line):
		return nil, ErrIgnored
	}
	matches := d.pattern.FindAllSubmatchIndex(line, -1)
	if err := accounted(line, matches); err != nil {
		return nil, err
	}
	var rs []sensor.Reading
	var refused *Refusal
	seen := map[string]bool{}
	for _, m := range matches {
		r, err := d.reading(line, m)
		switch {
		case err != nil && refused == nil:
			refused = err
		case err != nil:
			refused.Why += "; " + err.Why
		case seen[r.Channel]:
			return nil, &Refusal{TwoValues, fmt.Sprintf("the line gives the channel %s two values", shown(r.Channel))}
		default:
			seen[r.Channel] = true
			rs = append(rs, r)
		}
	}
	if refused != nil {
		return rs, refused
	}
	return rs, nil
}

// tooLong refuses a line of more than MaxLine bytes.
var tooLong = &Refusal{TooLong, fmt.Sprintf("more than %d bytes came without a line end: are baud and end right?", MaxLine)}

// ignores says whether a line is not meant to hold a reading.
func (d *Decoder) ignores(line []byte) bool {
	return len(bytes.TrimSpace(line)) == 0 || d.ignore != nil && d.ignore.Match(line)
}

// accounted refuses a line of which the matches leave something out: half a line,
// or two that ran together, must never pass for a reading.
func accounted(line []byte, matches [][]int) error {
	if len(matches) == 0 {
		return &Refusal{NoFit, "the pattern does not fit the line"}
	}
	from := 0
	for _, m := range append(matches, []int{len(line), len(line)}) {
		if rest := bytes.Trim(line[from:m[0]], betweenMatches); len(rest) > 0 {
			return &Refusal{NoFit, fmt.Sprintf("the pattern does not account for %s in the line (if it may stand there, put it into the pattern)", shown(string(rest)))}
		}
		from = m[1]
	}
	return nil
}

// reading reads one match.
func (d *Decoder) reading(line []byte, m []int) (sensor.Reading, *Refusal) {
	group := func(i int) string {
		if i == 0 || m[2*i] < 0 {
			return ""
		}
		return string(bytes.TrimSpace(line[m[2*i]:m[2*i+1]]))
	}
	channel, err := d.channelOf(group(d.channel))
	if err != nil {
		return sensor.Reading{}, err
	}
	value, fault := number(group(d.value))
	unit, err := d.unitOf(group(d.unit))
	switch {
	case err != nil && fault == "":
		return sensor.Reading{}, err
	case err != nil:
		unit = d.format.Unit // dashes where the unit stands, too
	}
	if status := group(d.status); d.status > 0 && !d.sound[status] {
		if fault != "" {
			fault += ", "
		}
		fault += "status " + shown(status)
	}
	return sensor.Reading{Channel: channel, Value: value, Unit: unit, Fault: fault}, nil
}

// channelOf returns the channel that text means.
func (d *Decoder) channelOf(text string) (string, *Refusal) {
	switch {
	case d.channel == 0:
		return d.format.Channel, nil
	case text == "":
		return "", &Refusal{NoChannel, "the line names no channel"}
	case len(d.format.Channels) == 0:
		return strings.ToValidUTF8(text, "\uFFFD"), nil
	}
	if ch, ok := d.format.Channels[text]; ok {
		return ch, nil
	}
	return "", &Refusal{NoChannel, fmt.Sprintf("channel %s is none of %s", shown(text), listed(d.format.Channels))}
}

// unitOf returns the unit that text means.
func (d *Decoder) unitOf(text string) (string, *Refusal) {
	if text == "" {
		return d.format.Unit, nil
	}
	if len(d.format.Units) > 0 {
		if u, ok := d.format.Units[text]; ok {
			return u, nil
		}
		return "", &Refusal{NoUnit, fmt.Sprintf("unit %s is none of %s", shown(text), listed(d.format.Units))}
	}
	for _, u := range Units {
		if strings.EqualFold(u, text) {
			return u, nil
		}
	}
	return "", &Refusal{NoUnit, fmt.Sprintf("unit %s is none of %s: say under units what it means", shown(text), strings.Join(Units, ", "))}
}

// decimal is a number as instruments print it: sign, perhaps set apart, decimal
// point or comma, exponent.
var decimal = regexp.MustCompile(`^([+-]?)\s*(\d+(?:[.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?$`)

// number reads a value. When there is no finite number, the value is 0 and fault
// says what stands there instead.
func number(text string) (value float64, fault string) {
	if text == "" {
		return 0, "shows no value"
	}
	parts := decimal.FindStringSubmatch(strings.Replace(text, "\u2212", "-", 1)) // the minus sign of typography
	if parts == nil {
		return 0, fmt.Sprintf("shows %s, no number", shown(text))
	}
	v, err := strconv.ParseFloat(parts[1]+strings.Replace(parts[2], ",", ".", 1)+parts[3], 64)
	if err != nil || math.IsInf(v, 0) {
		return 0, fmt.Sprintf("shows %s, out of all bounds", shown(text))
	}
	return v, ""
}

// listed quotes the keys of m, sorted; the first few of many.
func listed(m map[string]string) string {
	keys := slices.Sorted(maps.Keys(m))
	var b strings.Builder
	for i, k := range keys {
		if i == 10 {
			fmt.Fprintf(&b, " and %d more", len(keys)-i)
			break
		}
		if i > 0 {
			b.WriteString(", ")
		}
		b.WriteString(shown(k))
	}
	return b.String()
}

// shown quotes the start of outside text.
func shown(text string) string {
	if len(text) > maxShown {
		return fmt.Sprintf("%q…", text[:maxShown])
	}
	return fmt.Sprintf("%q", text)
}

package frames

import (
	"errors"
	"fmt"
	"maps"
	"regexp"
	"regexp/syntax"
	"slices"
	"strings"
	"unicode/utf8"
)

// Names of the groups that a pattern may have.
const (
	groupValue   = "value"
	groupChannel = "channel"
	groupUnit    = "unit"
	groupStatus  = "status"
)

// maxPattern is the longest pattern, in bytes.
const maxPattern = 1024

// Units are the units that a reading may carry.
var Units = []string{"ppm", "mg/m3", "g/m3", "C", "%RH", "hPa", "m/s", "L/min", "state", "deg"}

// Format says how a line is read.
type Format struct {
	Pattern  string            // regular expression (RE2) with the group value and, as needed, channel, unit, status
	Channel  string            // of the value when Pattern has no group channel
	Channels map[string]string // what the group channel may hold, and the channel that it means; empty: it holds the channel's own name
	Unit     string            // of the value when Pattern has no group unit, or it is empty; "": the channel's own
	Units    map[string]string // what the group unit may hold, and the unit that it means; empty: one of Units, in any letter case
	Sound    []string          // what the group status holds when the value is to be trusted; empty: "", "ok" and "OK"
	Ignore   string            // regular expression of lines that are no readings: headings, echoes; "": none but blank ones
}

// Compile makes a decoder of f. Its error names all faults of f at once, each
// beginning with the field as a site file spells it.
func Compile(f Format) (*Decoder, error) {
	d := &Decoder{format: f, sound: map[string]bool{}}
	var faults []error
	check := func(ok bool, format string, args ...any) {
		if !ok {
			faults = append(faults, fmt.Errorf(format, args...))
		}
	}
	var err error
	d.pattern, err = compile("pattern", f.Pattern)
	check(err == nil, "%w", err)
	if err == nil {
		d.groups(check)
	}
	d.channels(check)
	d.units(check)
	sound := f.Sound
	if len(sound) == 0 {
		sound = []string{"", "ok", "OK"}
	}
	for _, s := range sound {
		d.sound[strings.TrimSpace(s)] = true
	}
	if f.Ignore != "" {
		d.ignore, err = compile("ignore", f.Ignore)
		check(err == nil, "%w", err)
		check(err != nil || !d.ignore.MatchString("") || !d.ignore.MatchString("\x01"), "ignore: %q fits every line", f.Ignore)
	}
	if len(faults) > 0 {
		return nil, errors.Join(faults...)
	}
	return d, nil
}

// compile compiles the expression of a field, and says where it is wrong.
func compile(field, expr string) (*regexp.Regexp, error) {
	switch {
	case expr == "":
		return nil, fmt.Errorf("%s: missing; give a regular expression with the group (?P<value>…)", field)
	case len(expr) > maxPattern:
		return nil, fmt.Errorf("%s: longer than %d bytes", field, maxPattern)
	}
	re, err := regexp.Compile(expr)
	var wrong *syntax.Error
	if errors.As(err, &wrong) {
		at := strings.Index(expr, wrong.Expr)
		if at < 0 || wrong.Expr == expr {
			return nil, fmt.Errorf("%s: %s in %q", field, wrong.Code, expr)
		}
		return nil, fmt.Errorf("%s: %s at character %d: %q", field, wrong.Code, utf8.RuneCountInString(expr[:at])+1, wrong.Expr)
	}
	return re, err
}

// groups finds the pattern's groups.
func (d *Decoder) groups(check func(ok bool, format string, args ...any)) {
	for i, name := range d.pattern.SubexpNames() {
		switch name {
		case groupValue:
			d.value = i
		case groupChannel:
			d.channel = i
		case groupUnit:
			d.unit = i
		case groupStatus:
			d.status = i
		default:
			check(name == "", "pattern: there is no use for a group %q; groups are value, channel, unit and status", name)
		}
	}
	check(d.value > 0, "pattern: has no group (?P<value>…): which part of the line is the value?")
	check(!d.pattern.MatchString(""), "pattern: fits an empty line")
	check(d.channel > 0 || d.format.Channel != "", "channel: missing; name it, or give the pattern a group (?P<channel>…)")
	check(d.channel == 0 || d.format.Channel == "", "channel: the pattern has a group channel too; give one of the two")
	check(d.channel > 0 || len(d.format.Channels) == 0, "channels: of no use without a group (?P<channel>…) in the pattern")
	check(d.unit > 0 || len(d.format.Units) == 0, "units: of no use without a group (?P<unit>…) in the pattern")
	check(d.status > 0 || len(d.format.Sound) == 0, "sound: of no use without a group (?P<status>…) in the pattern")
}

// channels judges what the group channel may hold.
func (d *Decoder) channels(check func(ok bool, format string, args ...any)) {
	means := map[string]string{}
	for _, text := range slices.Sorted(maps.Keys(d.format.Channels)) {
		ch := d.format.Channels[text]
		check(text != "" && text == strings.TrimSpace(text), "channels: %q is empty or has blanks around it", text)
		check(ch != "", "channels: %q means no channel", text)
		check(ch == "" || means[ch] == "", "channels: %q and %q both mean %q: one channel comes from one place", means[ch], text, ch)
		means[ch] = text
	}
}

// units judges the units that are named.
func (d *Decoder) units(check func(ok bool, format string, args ...any)) {
	known := strings.Join(Units, ", ")
	check(d.format.Unit == "" || slices.Contains(Units, d.format.Unit), "unit: must be one of %s (got %q)", known, d.format.Unit)
	for _, text := range slices.Sorted(maps.Keys(d.format.Units)) {
		u := d.format.Units[text]
		check(slices.Contains(Units, u), "units: %q: must mean one of %s (got %q)", text, known, u)
		check(text != "" && text == strings.TrimSpace(text), "units: %q is empty or has blanks around it", text)
	}
}

package words

import (
	"math"
	"strconv"
	"strings"
	"time"

	"undersheet/logbook"
)

// style is how a language writes figures and times. Its zero value is English.
type style struct {
	decimal string            // mark between the whole and the broken part; empty: "."
	first   string            // ending of the first day of a month
	names   *strings.Replacer // from the English names of days and months; nil: as they are
	spaces  *strings.Replacer // to the spaces that a line is not broken at; nil: as they are
}

// moment is how times are written in sentences, in the reader's zone.
const moment = "Mon 2 Jan 15:04"

// frenchStyle is French as by common practice: a decimal comma, and a space that
// no line is broken at before high punctuation, signs of units and within « ».
// Days and months keep small letters and short forms end in a full stop.
var frenchStyle = style{
	decimal: ",",
	first:   "er",
	names: strings.NewReplacer(
		"Monday", "lundi", "Tuesday", "mardi", "Wednesday", "mercredi", "Thursday", "jeudi", "Friday", "vendredi", "Saturday", "samedi", "Sunday", "dimanche",
		"January", "janvier", "February", "février", "March", "mars", "April", "avril", "June", "juin", "July", "juillet",
		"August", "août", "September", "septembre", "October", "octobre", "November", "novembre", "December", "décembre",
		"Mon", "lun.", "Tue", "mar.", "Wed", "mer.", "Thu", "jeu.", "Fri", "ven.", "Sat", "sam.", "Sun", "dim.",
		"Jan", "janv.", "Feb", "févr.", "Mar", "mars", "Apr", "avr.", "May", "mai", "Jun", "juin", "Jul", "juil.",
		"Aug", "août", "Sep", "sept.", "Oct", "oct.", "Nov", "nov.", "Dec", "déc."),
	spaces: strings.NewReplacer(" :", "\u00a0:", " ;", "\u00a0;", " ?", "\u00a0?", " !", "\u00a0!", " %", "\u00a0%", "« ", "«\u00a0", " »", "\u00a0»",
		"} ppm", "}\u00a0ppm", "} °C", "}\u00a0°C", "} h ", "}\u00a0h ", "} min ", "}\u00a0min ", "} g ", "}\u00a0g ", "} m ", "}\u00a0m "),
}

// space puts the language's spaces into a sentence.
func (s style) space(text string) string {
	if s.spaces == nil {
		return text
	}
	return s.spaces.Replace(text)
}

// figure writes a figure, as Go writes it, as the language does.
func (c *catalogue) figure(plainly string) string {
	if c.style.decimal == "" {
		return plainly
	}
	return strings.Replace(plainly, ".", c.style.decimal, 1)
}

// when writes a time in a layout of package time, with the language's names.
func (c *catalogue) when(t time.Time, layout string) string {
	if t.Day() == 1 && c.style.first != "" {
		layout = strings.Replace(layout, "2 Jan", "2"+c.style.first+" Jan", 1)
	}
	s := t.Format(layout)
	if c.style.names == nil {
		return s
	}
	return c.style.names.Replace(s)
}

func (c *catalogue) moment(t logbook.Time, zone *time.Location) string {
	return c.when(t.Std().In(zone), moment)
}

// Figure writes a figure, given as Go writes it ("0.25"), as the language does.
func Figure(lang, plainly string) string { return of(lang).figure(plainly) }

// When writes a time in a layout of package time, with the language's names of days
// and months. Zones and other letters in the layout are left out of it.
func When(lang string, t time.Time, layout string) string { return of(lang).when(t, layout) }

// Moment writes a time as sentences do, in a zone.
func Moment(lang string, t logbook.Time, zone *time.Location) string { return of(lang).moment(t, zone) }

// Chance writes a probability in per cent, rounded down and never as certain.
func Chance(lang string, p float64) string { return of(lang).chance(p) }

func (c *catalogue) chance(p float64) string {
	switch {
	case !(p >= 0 && p <= 1):
		return "—"
	case p < 0.01:
		return c.phrase["chance-under"]
	case p > 0.99:
		return c.phrase["chance-over"]
	}
	return c.percent(math.Floor(100*p + 1e-9))
}

// percent writes whole per cents.
func (c *catalogue) percent(v float64) string {
	return strings.ReplaceAll(c.phrase["percent"], "{}", strconv.FormatFloat(v, 'f', 0, 64))
}

// Verdict returns the word for a verdict with how few points of the stack it rests
// on: three lines, top, heart and far low corner, are the least by common practice.
func Verdict(lang, verdict string, lines int) string {
	if verdict == "" {
		return ""
	}
	c := of(lang)
	return c.word("verdict", verdict) + c.texts["verdict-points/"+strconv.Itoa(lines)]
}

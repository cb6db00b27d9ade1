package web

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/rules"
	"undersheet/rules/reading"
)

// figure prints a concentration in ppm or another positive quantity with three
// significant digits, whole from 100 on; "—" when it is not finite.
func figure(v float64) string {
	switch {
	case math.IsNaN(v) || math.IsInf(v, 0):
		return "—"
	case v == 0:
		return "0"
	case math.Abs(v) >= 100:
		return strconv.FormatFloat(v, 'f', 0, 64)
	case math.Abs(v) < 0.0005:
		return strconv.FormatFloat(v, 'g', 2, 64)
	}
	r, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'e', 2, 64), 64)
	return strconv.FormatFloat(r, 'f', -1, 64)
}

// chance prints a probability; never as certain.
func chance(p float64) string {
	switch {
	case !(p >= 0 && p <= 1):
		return "chance not known"
	case p < 0.01:
		return "chance under 1 %"
	case p > 0.99:
		return "chance over 99 %"
	}
	return fmt.Sprintf("chance about %.0f %%", 100*p)
}

// ageOf prints how old something is; "" when it never was.
func ageOf(at, now logbook.Time) string {
	if at == 0 {
		return ""
	}
	return span(now.Sub(at))
}

// span prints a length of time to two figures at most; negative ones as 0.
func span(d time.Duration) string {
	switch d = max(d, 0); {
	case d < time.Minute:
		return fmt.Sprintf("%d s", int(d.Seconds()))
	case d < time.Hour:
		return fmt.Sprintf("%d min", int(d.Minutes()))
	case d < 48*time.Hour:
		return fmt.Sprintf("%d h %02d min", int(d.Hours()), int(d.Minutes())%60)
	}
	return fmt.Sprintf("%d d %d h", int(d.Hours())/24, int(d.Hours())%24)
}

// states are the words for what a reading is thought to be; "" needs no word.
var states = map[string]string{
	reading.OK: "", reading.None: "not read yet", reading.BelowDetection: "below detection", reading.OverRange: "over range",
	reading.Fault: "fault", reading.BelowZero: "below zero: fault", reading.Stuck: "stuck", reading.Silent: "silent", reading.Future: "from the future: not used",
	reading.Late: "late", reading.Retained: "stored value: not used", reading.SecondValue: "second value", reading.UnitMismatch: "wrong unit: not used",
}

// stateWord returns the word for a state; one without a word stands for itself.
func stateWord(s string) string {
	if w, ok := states[s]; ok {
		return w
	}
	return s
}

// last prints the newest value of a channel.
func last(s rules.Sample) string {
	switch s.State {
	case reading.None:
		return "—"
	case reading.UnitMismatch:
		return figure(s.Raw) + " " + s.Unit
	}
	return figure(s.PPM)
}

// plain turns a code into words.
func plain(code string) string { return strings.ReplaceAll(code, "-", " ") }

// sentence makes the first letter a capital.
func sentence(s string) string {
	if s == "" {
		return s
	}
	r := []rune(s)
	return strings.ToUpper(string(r[:1])) + string(r[1:])
}

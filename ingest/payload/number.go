package payload

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"

	"undersheet/sensor"
)

// decimal is a number as people and instruments write it: no hexadecimal, no
// "inf", no thousands separators.
var decimal = regexp.MustCompile(`^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$`)

// number reads a bare number.
func (s *source) number(topic string, payload []byte, _ time.Time) ([]sensor.Reading, []error) {
	v, err := parseNumber(strings.TrimSpace(string(payload)))
	return s.one(topic, found{value: v}, err)
}

// parseNumber reads a finite decimal number.
func parseNumber(text string) (float64, error) {
	if !decimal.MatchString(text) {
		hint := "send digits with a decimal point, nothing else"
		if decimal.MatchString(strings.Replace(text, ",", ".", 1)) {
			hint = "write a decimal point, not a comma"
		}
		return 0, fmt.Errorf("%.100q is no number: %s", text, hint)
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsInf(v, 0) {
		return 0, fmt.Errorf("the number %.100q is too large", text)
	}
	return v, nil
}

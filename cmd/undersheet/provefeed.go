package main

import (
	"undersheet/logbook"
	"undersheet/rules/dose"
	"undersheet/rules/reading"
)

// inChannelUnit brings a value to the unit of its channel; false when its unit
// does not fit. No unit means the channel's own.
func inChannelUnit(ch logbook.Channel, value float64, unit string) (float64, bool) {
	if unit == "" || unit == ch.Unit {
		return value, true
	}
	if !reading.IsGas(ch) {
		return 0, false
	}
	ppm, err := dose.PPM(value, unit, dose.StandardC, dose.StandardKPa)
	if err != nil {
		return 0, false
	}
	return ppm / reading.PPM(ch, 1), true
}

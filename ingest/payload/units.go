package payload

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"undersheet/logbook"
)

// conversion brings a unit to one of logbook.Units: value·mul/div + add.
type conversion struct {
	unit          string
	mul, div, add float64
}

// same is a unit that needs no arithmetic.
func same(unit string) conversion { return conversion{unit: unit, mul: 1, div: 1} }

// senmlUnits are the units that a SenML record may carry: those of the registry
// that RFC 8428, section 12.1, opened (Cel, K, %RH, Pa, m/s, m3/s, l/s, kg/m3, rad),
// secondary units of RFC 8798, section 3 (ppm, ug/m3, hPa, km/h), and this
// program's own for what they lack (mg/m3, g/m3, l/min, L/min, deg, state).
var senmlUnits = map[string]conversion{
	"ppm":   same(logbook.PPM),
	"mg/m3": same(logbook.MgM3),
	"g/m3":  same(logbook.GM3),
	"ug/m3": {logbook.MgM3, 1, 1000, 0},
	"kg/m3": {logbook.GM3, 1000, 1, 0},
	"Cel":   same(logbook.Cel),
	"K":     {logbook.Cel, 1, 1, -273.15},
	"%RH":   same(logbook.RH),
	"hPa":   same(logbook.HPa),
	"Pa":    {logbook.HPa, 1, 100, 0},
	"m/s":   same(logbook.MS),
	"km/h":  {logbook.MS, 1, 3.6, 0},
	"l/min": same(logbook.LMin),
	"L/min": same(logbook.LMin),
	"l/s":   {logbook.LMin, 60, 1, 0},
	"m3/s":  {logbook.LMin, 60000, 1, 0},
	"rad":   {logbook.Deg, 180, math.Pi, 0},
	"deg":   same(logbook.Deg),
	"state": same(logbook.OnOff),
}

// convert brings value to one of logbook.Units. No unit stays none.
func convert(value float64, unit string) (float64, string, error) {
	if unit == "" {
		return value, "", nil
	}
	c, ok := senmlUnits[unit]
	switch {
	case ok:
		return value*c.mul/c.div + c.add, c.unit, nil
	case unit == "C":
		return 0, "", fmt.Errorf("the unit %q is the coulomb in SenML: send a temperature as %q", unit, "Cel")
	case unit == "/":
		return 0, "", fmt.Errorf("the unit %q is any ratio: send a gas as %q", unit, "ppm")
	}
	return 0, "", fmt.Errorf("the unit %.40q is not known here, known are %s", unit, knownUnits())
}

// knownUnits lists the units that a record may carry, for people.
func knownUnits() string {
	return strings.Join(slices.Sorted(maps.Keys(senmlUnits)), ", ")
}

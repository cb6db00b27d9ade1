// Package dose holds the arithmetic of gas and dose: ppm against mass per
// volume, the gas space under a sheet, the concentration that a dose would give
// without any loss, flammability, and commodities that phosphine does not suit.
//
// [PPM] is the first call for a reading in another unit. The package refuses
// units that are no concentration and temperatures that are none of this world.
package dose

import (
	"fmt"
	"math"
	"strings"
)

// Constants of the gas.
const (
	MolarMass   = 33.99758    // g/mol, phosphine
	gasConstant = 8.314462618 // J/(mol·K), CODATA 2018
	StandardC   = 25.0        // °C at which ppm and mg/m³ are converted unless measured
	StandardKPa = 101.325     // kPa
	LELppm      = 17900.0     // lower explosive limit 1.79 % by volume: NIOSH IDLH documentation 7803-51-2 (1994)
)

// Fractions of the lower explosive limit at which attention and alarm are due:
// 10 % = 1,790 ppm is the figure of the NIOSH document; 25 % is common practice.
const (
	AttentionLEL = 0.10
	AlarmLEL     = 0.25
)

// MgPerPPM returns the mg/m³ that 1 ppm of phosphine is at tempC (°C) and kPa:
// M·p/(R·T), the ideal gas law.
func MgPerPPM(tempC, kPa float64) float64 {
	return MolarMass * kPa / (gasConstant * (tempC + 273.15))
}

// PPM converts a concentration in unit (ppm, mg/m3, g/m3) to ppm by volume at
// tempC (°C) and kPa.
func PPM(value float64, unit string, tempC, kPa float64) (float64, error) {
	mg := MgPerPPM(tempC, kPa)
	if !(mg > 0) || math.IsInf(mg, 0) {
		return 0, fmt.Errorf("convert %g %s: %g °C and %g kPa are no conditions of air", value, unit, tempC, kPa)
	}
	switch unit {
	case "ppm":
		return value, nil
	case "mg/m3":
		return value / mg, nil
	case "g/m3":
		return 1000 * value / mg, nil
	}
	return 0, fmt.Errorf("convert %g %q: the unit is none of ppm, mg/m3, g/m3", value, unit)
}

// kernelDensity is the mass of kernels per volume of kernels in t/m³, without
// the air between them. From memory (agricultural engineering handbooks, as
// ASAE D241); a gas space given with the treatment always wins.
var kernelDensity = []struct {
	name string
	tm3  float64
}{
	{"milled rice", 1.45}, {"brown rice", 1.40}, {"paddy", 1.30}, {"rice", 1.45}, {"wheat", 1.40}, {"maize", 1.28}, {"corn", 1.28},
	{"sorghum", 1.33}, {"barley", 1.30}, {"millet", 1.35}, {"groundnut", 1.05}, {"cocoa", 1.05}, {"coffee", 1.20},
	{"bean", 1.35}, {"pea", 1.38}, {"lentil", 1.40}, {"flour", 1.45}, {"soy", 1.22},
}

// defaultDensity stands for commodities that are not listed, t/m³.
const defaultDensity = 1.35

// KernelDensity returns the kernel density of a commodity in t/m³, and whether
// it is listed.
func KernelDensity(commodity string) (float64, bool) {
	c := strings.ToLower(commodity)
	for _, k := range kernelDensity {
		if strings.Contains(c, k.name) {
			return k.tm3, true
		}
	}
	return defaultDensity, false
}

// GasSpace returns the gas space under a sheet in m³: given when it is positive,
// else the volume without the kernels. It is 0 when it cannot be told.
func GasSpace(given, volumeM3, tonnes float64, commodity string) float64 {
	if given > 0 {
		return given
	}
	density, _ := KernelDensity(commodity)
	free := volumeM3 - tonnes/density
	if !(volumeM3 > 0) || !(free > 0.1*volumeM3) {
		return math.Max(0, 0.1*volumeM3) // a stack is never solid: the figures do not fit together
	}
	return free
}

// FullPPM returns the ppm that grams of phosphine would give in gasSpaceM3
// without loss or sorption, at tempC; 0 when either is unknown.
func FullPPM(grams, gasSpaceM3, tempC float64) float64 {
	if !(grams > 0) || !(gasSpaceM3 > 0) {
		return 0
	}
	return 1000 * grams / gasSpaceM3 / MgPerPPM(tempC, StandardKPa)
}

// UnsuitedList is the list of commodities that phosphine does not suit by common
// practice (no published source could be read); a site with an authority for
// more or fewer names it in its file.
var UnsuitedList = []string{"linseed", "flaxseed", "cottonseed", "cotton seed"}

// Unsuited returns the entry of list that commodity falls under, or "".
func Unsuited(list []string, commodity string) string {
	c := strings.ToLower(commodity)
	for _, u := range list {
		if u != "" && strings.Contains(c, strings.ToLower(u)) {
			return u
		}
	}
	return ""
}

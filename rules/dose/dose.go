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
	"slices"
	"strings"

	"undersheet/rules/commodity"
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
var kernelDensity = map[commodity.Kind]float64{
	commodity.MilledRice: 1.45, commodity.BrownRice: 1.40, commodity.Paddy: 1.30, commodity.Rice: 1.45, commodity.Wheat: 1.40, commodity.Maize: 1.28,
	commodity.Sorghum: 1.33, commodity.Barley: 1.30, commodity.Millet: 1.35, commodity.Groundnuts: 1.05, commodity.Cocoa: 1.05, commodity.Coffee: 1.20,
	commodity.Beans: 1.35, commodity.Peas: 1.38, commodity.Lentils: 1.40, commodity.Flour: 1.45, commodity.Soya: 1.22,
}

// defaultDensity stands for commodities that are not listed, t/m³.
const defaultDensity = 1.35

// KernelDensity returns the kernel density of what a text names in t/m³, and whether
// it is listed.
func KernelDensity(text string) (float64, bool) {
	if d, ok := kernelDensity[commodity.Of(text)]; ok {
		return d, true
	}
	return defaultDensity, false
}

// GasSpace returns the gas space under a sheet in m³: given when it is positive,
// else the volume without the kernels of what text names. known is false where volume
// or tonnes are missing or do not fit together: then it is a figure to reckon with, no
// fact, and 0 when nothing can be told.
func GasSpace(given, volumeM3, tonnes float64, text string) (m3 float64, known bool) {
	if given > 0 {
		return given, true
	}
	density, _ := KernelDensity(text)
	free := volumeM3 - tonnes/density
	if !(volumeM3 > 0) || !(free > 0.1*volumeM3) {
		return math.Max(0, 0.1*volumeM3), false // a stack is never solid: the figures do not fit together
	}
	return free, tonnes > 0
}

// FullPPM returns the ppm that grams of phosphine would give in gasSpaceM3
// without loss or sorption, at tempC; 0 when either is unknown.
func FullPPM(grams, gasSpaceM3, tempC float64) float64 {
	if !(grams > 0) || !(gasSpaceM3 > 0) {
		return 0
	}
	return 1000 * grams / gasSpaceM3 / MgPerPPM(tempC, StandardKPa)
}

// CylinderGas names the form of phosphine that comes as a gas.
const CylinderGas = "gas"

// phosphides are in the names of what releases phosphine, in English and French.
var phosphides = []string{"tablet", "pellet", "sachet", "plate", "phosphid", "comprim", "pastille", "granul", "plaque", "phosphur"}

// FromCylinders reports whether a form, as people write it in English or French, is
// gas let in from cylinders and nothing else: all of it is there at once, and no phosphide
// releases it.
func FromCylinders(form string) bool {
	f := strings.ToLower(strings.TrimSpace(form))
	if slices.ContainsFunc(phosphides, func(name string) bool { return strings.Contains(f, name) }) {
		return false
	}
	return f == CylinderGas || f == "gaz" || strings.Contains(f, "cylinder") || strings.Contains(f, "bouteille")
}

// UnsuitedList is the list of commodities that phosphine does not suit by common
// practice (no published source could be read); a site with an authority for
// more or fewer names it in its file.
var UnsuitedList = []string{"linseed", "flaxseed", "cottonseed", "cotton seed"}

// Unsuited returns the entry of list that a commodity's text falls under, or "".
func Unsuited(list []string, text string) string {
	c := strings.ToLower(text)
	for _, u := range list {
		if u != "" && strings.Contains(c, strings.ToLower(u)) {
			return u
		}
	}
	return ""
}

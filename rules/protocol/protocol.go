// Package protocol holds what a treatment must keep to: the shortest exposure,
// the end level on the last day, the shortest airing, and the temperatures under
// which phosphine is slow or does not work.
//
// [Resolve] is the first call: it gives the figures that hold for a name, the
// built-in ones with whatever the site tightened. It refuses to loosen: a site's
// figure that is weaker than the built-in one is not taken (and [Loosens] names
// it, so that the site file is refused before).
package protocol

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"undersheet/logbook"
	"undersheet/rules/dose"
)

// Names of the built-in protocols.
const (
	FiveDay  = "five-day"
	EightDay = "eight-day"
	Twice    = "twice"
)

// Temperatures of the grain in °C. Below TooColdC phosphine is not effective;
// 7 days at > 25 °C, 10 days at 15–25 °C (GRDC Groundcover; Australian import
// page: "poor efficacy below 15 C").
const (
	TooColdC = 15.0
	CoolC    = 25.0
)

// MinAiring is the shortest airing before anybody goes back: common practice.
const MinAiring = 2 * time.Hour

// builtIn are the protocols of common practice. 150 ppm to the end is also what
// Brice & Golob 2000 recommend (J. agric. Engng Res. 76:17-26); 38 ppm over 8
// days against psocids and two treatments 10 days apart are common practice
// without a published source.
var builtIn = map[string]logbook.Protocol{
	FiveDay: {Hours: 120, EndLevel: 150, EndLevelUnit: logbook.PPM, Airing: logbook.Duration(MinAiring),
		Source: "common practice; end level also Brice & Golob 2000"},
	EightDay: {Hours: 192, EndLevel: 38, EndLevelUnit: logbook.PPM, Airing: logbook.Duration(MinAiring),
		Source: "common practice, against psocids"},
	Twice: {Hours: 120, EndLevel: 150, EndLevelUnit: logbook.PPM, Airing: logbook.Duration(MinAiring),
		SecondAfterDays: 10, SecondWindow: logbook.Duration(48 * time.Hour),
		Source: "common practice: two five-day exposures, the second 10 days after the first one ended"},
}

// BuiltIn returns the built-in protocol of that name.
func BuiltIn(name string) (logbook.Protocol, bool) {
	p, ok := builtIn[name]
	return p, ok
}

// Names returns the names of the built-in protocols, sorted.
func Names() []string {
	return slices.Sorted(maps.Keys(builtIn))
}

// EndPPM returns the end level in ppm; one set in mg/m³ or g/m³ is converted at
// 25 °C and 101.325 kPa.
func EndPPM(p logbook.Protocol) float64 {
	ppm, err := dose.PPM(p.EndLevel, p.EndLevelUnit, dose.StandardC, dose.StandardKPa)
	if err != nil {
		return p.EndLevel
	}
	return ppm
}

// Loosens names the figures of site that are set and weaker than those of base.
func Loosens(base, site logbook.Protocol) []string {
	var weak []string
	if site.Hours != 0 && !(site.Hours >= base.Hours) {
		weak = append(weak, fmt.Sprintf("hours %g is shorter than the %g of the protocol it is based on", site.Hours, base.Hours))
	}
	if site.EndLevel != 0 {
		if site.EndLevelUnit == "" {
			site.EndLevelUnit = base.EndLevelUnit
		}
		if got, want := EndPPM(site), EndPPM(base); !(got >= want*(1-1e-12)) {
			weak = append(weak, fmt.Sprintf("end_level %g %s is below the %g %s of the protocol it is based on",
				site.EndLevel, site.EndLevelUnit, base.EndLevel, base.EndLevelUnit))
		}
	}
	if site.Airing != 0 && site.Airing < base.Airing {
		weak = append(weak, fmt.Sprintf("airing %v is shorter than the %v of the protocol it is based on",
			site.Airing.Std(), base.Airing.Std()))
	}
	return weak
}

// Resolve returns the protocol that holds for name on a site, and whether the
// name is known. A name that nobody knows gets the strictest of all figures:
// the gas is in the stack, whatever it was called.
func Resolve(site *logbook.Site, name string) (logbook.Protocol, bool) {
	base, known := builtIn[name]
	own, set := logbook.Protocol{}, false
	if site != nil {
		own, set = site.Protocols[name]
	}
	if set && !known {
		if base, known = builtIn[own.Base]; !known {
			base, known = strictest(nil), own.Base == ""
		}
	}
	if !known {
		return strictest(site), false
	}
	if set {
		base = tighten(base, own)
	}
	return base, true
}

// strictest returns the longest exposure, the highest end level and the longest
// airing of all, those of the site included; site may be nil.
func strictest(site *logbook.Site) logbook.Protocol {
	s := logbook.Protocol{EndLevelUnit: logbook.PPM, Airing: logbook.Duration(MinAiring), Source: "strictest of all figures"}
	for _, p := range builtIn {
		s = tighten(s, logbook.Protocol{Hours: p.Hours, EndLevel: p.EndLevel, EndLevelUnit: p.EndLevelUnit, Airing: p.Airing})
	}
	if site == nil {
		return s
	}
	for _, n := range slices.Sorted(maps.Keys(site.Protocols)) {
		p := site.Protocols[n]
		if p.EndLevelUnit == "" {
			p.EndLevelUnit = builtIn[p.Base].EndLevelUnit
		}
		s = tighten(s, logbook.Protocol{Hours: p.Hours, EndLevel: p.EndLevel, EndLevelUnit: p.EndLevelUnit, Airing: p.Airing, ByTemperature: p.ByTemperature})
	}
	return s
}

// tighten returns base with the figures of own that are stricter.
func tighten(base, own logbook.Protocol) logbook.Protocol {
	base.Hours = math.Max(base.Hours, own.Hours)
	if own.EndLevel != 0 {
		if own.EndLevelUnit == "" {
			own.EndLevelUnit = base.EndLevelUnit
		}
		if EndPPM(own) > EndPPM(base) {
			base.EndLevel, base.EndLevelUnit = own.EndLevel, own.EndLevelUnit
		}
	}
	base.Airing = max(base.Airing, own.Airing)
	base.ByTemperature = base.ByTemperature || own.ByTemperature
	if own.SecondAfterDays > 0 {
		base.SecondAfterDays = own.SecondAfterDays
	}
	if own.SecondWindow > 0 {
		base.SecondWindow = own.SecondWindow
	}
	if own.Source != "" {
		base.Source = own.Source
	}
	return base
}

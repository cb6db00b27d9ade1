package plan

import (
	"errors"
	"fmt"
	"math"
	"time"

	"undersheet/logbook"
)

// Ask is what is known before the treatment.
type Ask struct {
	Store     string
	Outdoors  bool   // stacks on a plinth in the open: an exclusion zone stands for the store
	Pest      string // as people write it; psocids ask for the eight-day protocol
	Stacks    []Stack
	LeftOut   []string // stacks of the store that this plan does not treat
	Protocol  string   // of the site or built in; "" = chosen by the pest
	Site      *logbook.Site
	Guide     *Guide // national guide that the site chose; may be nil
	Dose      Dose   // the site's own; zero: the guide's
	Form      string // tablets, pellets, sachets or plates
	SheetM    [2]float64
	Start     logbook.Time   // when the sheet is to be shut; 0 = not yet fixed
	Zone      *time.Location // of the depot; nil = UTC
	ZoneM     float64        // exclusion zone around stacks outdoors, the site's own
	Dwellings float64        // m from the nearest dwelling; 0 = not said
	DwellMinM float64        // least distance that the site keeps to dwellings; 0 = not said
}

// Stack is one stack of the plan. Tonnes or the three dimensions are enough.
type Stack struct {
	Name        string
	Commodity   string
	Tonnes      float64
	LengthM     float64
	WidthM      float64
	HeightM     float64
	TempC       float64 // of the grain; NaN = not measured
	MoisturePct float64 // wet basis; 0 = not measured
	Lines       int     // fixed sampling lines that it has; 0 = none yet
}

// Dose is how much phosphine (as gas) is laid. One of the figures is set.
type Dose struct {
	PerTonne float64 // g/t
	PerM3    float64 // g/m³ of the volume under the sheet
	Source   string
}

// set reports whether there is a dose.
func (d Dose) set() bool { return d.PerTonne > 0 || d.PerM3 > 0 }

// Bounds of what is believed.
const (
	mostTonnes = 50000
	mostMetres = 200
	mostDose   = 50 // g per t or m³: several times of any guide's
)

// Fault is one thing for which a plan cannot be made: a code for the words of pages,
// with what it is about.
type Fault struct {
	Stack string // empty: it is of the whole plan
	Code  string
	About string
	Value float64
	text  string // for programs and commands
}

// Error says it in English, with the stack.
func (f *Fault) Error() string {
	if f.Stack == "" {
		return f.text
	}
	return fmt.Sprintf("stack %q: %s", f.Stack, f.text)
}

// check refuses what cannot be planned, naming all that is wrong.
func (a *Ask) check() error {
	var errs []error
	if len(a.Stacks) == 0 {
		errs = append(errs, &Fault{Code: "no-stack", text: "no stack: name at least one, with its tonnes or its length, width and height"})
	}
	seen := map[string]bool{}
	for i := range a.Stacks {
		s := &a.Stacks[i]
		if seen[s.Name] {
			errs = append(errs, &Fault{Stack: s.Name, Code: "named-twice", text: "it is named twice"})
		}
		seen[s.Name] = true
		if f := s.check(); f != nil {
			f.Stack = s.Name
			errs = append(errs, f)
		}
	}
	if d := a.Dose; !within(d.PerTonne, mostDose) || !within(d.PerM3, mostDose) || d.PerTonne > 0 && d.PerM3 > 0 {
		errs = append(errs, &Fault{Code: "dose", Value: mostDose,
			text: fmt.Sprintf("dose %g g/t, %g g/m³: give one of them, above 0 and at most %d, in g of phosphine (not of tablets)", d.PerTonne, d.PerM3, mostDose)})
	}
	if a.Dose.set() && a.Dose.Source == "" {
		errs = append(errs, &Fault{Code: "dose-source", text: "the site's own dose needs its source: the label, the authority, or who answers for it"})
	}
	if a.Form != "" {
		if _, ok := FormOf(a.Form); !ok {
			errs = append(errs, &Fault{Code: "form", About: a.Form, text: fmt.Sprintf("form %q is none of %v", a.Form, FormNames())})
		}
	}
	for i := range a.SheetM {
		if !within(a.SheetM[i], mostMetres) {
			errs = append(errs, &Fault{Code: "sheet", Value: mostMetres, text: fmt.Sprintf("sheet of %g m: sheets are up to %d m long", a.SheetM[i], mostMetres)})
		}
	}
	return errors.Join(errs...)
}

// within reports whether x is a number from 0 to most.
func within(x, most float64) bool { return x >= 0 && x <= most && !math.IsNaN(x) }

// check refuses a stack without a size, or with figures that are none.
func (s *Stack) check() *Fault {
	dims := 0
	for _, m := range []float64{s.LengthM, s.WidthM, s.HeightM} {
		if !within(m, mostMetres) {
			return &Fault{Code: "side", Value: m, text: fmt.Sprintf("%g m is no side of a stack", m)}
		}
		if m > 0 {
			dims++
		}
	}
	switch {
	case dims != 0 && dims != 3:
		return &Fault{Code: "sides", text: "give length, width and height together"}
	case !within(s.Tonnes, mostTonnes):
		return &Fault{Code: "weight", Value: s.Tonnes, text: fmt.Sprintf("%g t is no weight of a stack", s.Tonnes)}
	case dims == 0 && s.Tonnes == 0:
		return &Fault{Code: "size", text: "tonnes or length, width and height are missing"}
	case s.Commodity == "":
		return &Fault{Code: "commodity", text: "the commodity is missing"}
	case !math.IsNaN(s.TempC) && (s.TempC < -20 || s.TempC > 60):
		return &Fault{Code: "temperature", Value: s.TempC, text: fmt.Sprintf("%g °C is no temperature of stored grain", s.TempC)}
	case !within(s.MoisturePct, 40):
		return &Fault{Code: "moisture", Value: s.MoisturePct, text: fmt.Sprintf("%g %% is no moisture of stored grain", s.MoisturePct)}
	}
	return nil
}

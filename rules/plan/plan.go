package plan

import (
	"math"
	"slices"

	"undersheet/logbook"
	"undersheet/rules/protocol"
)

// Figure is a number of the plan and where it is from. Code names it; the words are
// made elsewhere.
type Figure struct {
	Code   string  `json:"code"`
	Value  float64 `json:"value"`
	Unit   string  `json:"unit"`
	Source string  `json:"source"`
}

// Say is something that the plan says in words: a refusal, something owed, or a
// caution.
type Say struct {
	Code   string  `json:"code"`
	About  string  `json:"about,omitempty"`
	Value  float64 `json:"value,omitempty"`
	Source string  `json:"source,omitempty"`
	Stops  bool    `json:"stops,omitempty"` // the treatment must not begin like this
}

// Plan is the treatment of a store as it is meant.
type Plan struct {
	Store       string       `json:"store"`
	Outdoors    bool         `json:"outdoors,omitempty"`
	Pest        string       `json:"pest,omitempty"`
	Protocol    string       `json:"protocol"`
	Figures     []Figure     `json:"figures"` // exposure, end level, airing, withholding
	Says        []Say        `json:"says,omitempty"`
	Stacks      []StackPlan  `json:"stacks"`
	Times       *Times       `json:"times,omitempty"`
	Checks      []string     `json:"checks"` // codes, in the order in which they are signed
	Start       logbook.Time `json:"start,omitzero"`
	Hours       float64      `json:"exposure_hours"`
	EndLevelPPM float64      `json:"end_level_ppm"`
	Form        string       `json:"form,omitempty"`
	Guide       *Guide       `json:"guide,omitempty"`
}

// StackPlan is one stack of it.
type StackPlan struct {
	Stack     Stack    `json:"-"`
	Name      string   `json:"name"`
	Commodity string   `json:"commodity"`
	Figures   []Figure `json:"figures"`
	Says      []Say    `json:"says,omitempty"`
	Courses   []Course `json:"courses,omitempty"`
	Lines     []string `json:"lines"` // codes of the places of sampling lines
	GramsPH3  float64  `json:"phosphine_g,omitempty"`
	Pieces    int      `json:"pieces,omitempty"`
}

// Stops reports whether anything of the plan forbids to begin.
func (p *Plan) Stops() bool {
	for _, s := range p.Says {
		if s.Stops {
			return true
		}
	}
	for i := range p.Stacks {
		for _, s := range p.Stacks[i].Says {
			if s.Stops {
				return true
			}
		}
	}
	return false
}

// Sources of figures that no document stands behind.
const (
	commonPractice = "common practice"
	sitesOwn       = "site's own"
	asGiven        = "as given"
)

// Make works out the plan. The error names all that keeps it from being made;
// what forbids the treatment is in the plan itself.
func Make(a Ask) (*Plan, error) {
	if err := a.check(); err != nil {
		return nil, err
	}
	p := &Plan{Store: a.Store, Outdoors: a.Outdoors, Pest: a.Pest, Start: a.Start, Form: a.Form, Guide: a.Guide}
	p.exposure(&a)
	for _, name := range a.LeftOut {
		p.Says = append(p.Says, Say{Code: "stack-left-out", About: name, Source: commonPractice})
	}
	for i := range a.Stacks {
		p.Stacks = append(p.Stacks, p.stack(&a, &a.Stacks[i]))
	}
	p.distances(&a)
	if a.Start != 0 {
		p.Times = timesOf(&a, p.Hours, p.figure("airing"))
	}
	p.Checks = Checks(a.Outdoors)
	return p, nil
}

// figure returns a figure of the plan, 0 where it is not there.
func (p *Plan) figure(code string) float64 {
	for _, f := range p.Figures {
		if f.Code == code {
			return f.Value
		}
	}
	return 0
}

// exposure settles the protocol, the shortest exposure and the end level: the
// stricter of the floor, the site's protocol and the guide, for the coldest stack.
func (p *Plan) exposure(a *Ask) {
	p.Protocol = a.Protocol
	if p.Protocol == "" {
		if p.Protocol = protocol.FiveDay; psocids(a.Pest) {
			p.Protocol = protocol.EightDay
		}
	}
	rule, known := protocol.Resolve(a.Site, p.Protocol)
	if !known {
		p.Says = append(p.Says, Say{Code: "protocol-unknown", About: p.Protocol, Stops: true})
	}
	hours := Figure{"exposure", rule.Hours, "h", rule.Source}
	level := Figure{"end-level", protocol.EndPPM(rule), string(logbook.PPM), rule.Source}
	coldest, measured := math.Inf(1), true
	for _, s := range a.Stacks {
		if measured = measured && !math.IsNaN(s.TempC); measured {
			coldest = min(coldest, s.TempC)
		}
	}
	switch {
	case !measured:
		p.Says = append(p.Says, Say{Code: "temperature-owed", Stops: true, Source: commonPractice})
	case coldest < protocol.TooColdC:
		p.Says = append(p.Says, Say{Code: "too-cold", Value: coldest, Stops: true, Source: tooColdSource})
	case coldest <= protocol.CoolC:
		p.Says = append(p.Says, Say{Code: "cool", Value: coldest, Source: tooColdSource})
		if a.Guide == nil {
			stricter(&hours, coolHours, tooColdSource)
		}
	}
	if measured {
		p.guided(a, coldest, &hours, &level)
	} else if a.Guide != nil {
		p.Says = append(p.Says, Say{Code: "guide-needs-temperature", About: a.Guide.Title})
	}
	p.Hours, p.EndLevelPPM = hours.Value, level.Value
	p.Figures = append(p.Figures, hours, level)
	airing := Figure{"airing", rule.Airing.Std().Hours(), "h", commonPractice}
	withheld := Figure{"withholding", 48, "h", "common practice; 48 h also in the Indian table of approved use"}
	if a.Site != nil && a.Site.Settings.Withholding > 0 {
		withheld.Value, withheld.Source = a.Site.Settings.Withholding.Std().Hours(), sitesOwn
	}
	if g := a.Guide; g != nil {
		stricter(&airing, g.Airing, g.cite())
		stricter(&withheld, g.Withheld, g.cite())
	}
	p.Figures = append(p.Figures, airing, withheld)
}

// tooColdSource is where the temperatures are from.
const tooColdSource = "GRDC Groundcover: 7 days above 25 °C, 10 days at 15–25 °C, below 15 °C not effective"

// coolHours is the shortest exposure of grain that is not above 25 °C, where no
// guide was chosen: 10 days.
const coolHours = 240

// guided lets the guide ask for more.
func (p *Plan) guided(a *Ask, tempC float64, hours, level *Figure) {
	if a.Guide == nil {
		p.Says = append(p.Says, Say{Code: "no-guide"})
		return
	}
	fitted := false
	if a.Pest == "" && slices.ContainsFunc(a.Guide.Exposures, func(e Exposure) bool { return len(e.Pests) > 0 }) {
		p.Says = append(p.Says, Say{Code: "pest-owed", About: a.Guide.Title})
	}
	for i := range a.Guide.Exposures {
		e := &a.Guide.Exposures[i]
		if !e.fits(a.Pest, tempC) {
			continue
		}
		fitted = true
		if e.Refuse {
			p.Says = append(p.Says, Say{Code: "guide-refuses", About: e.Words, Value: tempC, Source: a.Guide.cite(), Stops: true})
			continue
		}
		stricter(hours, e.Hours, e.Words+": "+a.Guide.cite())
		stricter(level, e.EndPPM, e.Words+": "+a.Guide.cite())
	}
	if !fitted {
		p.Says = append(p.Says, Say{Code: "guide-silent", About: a.Guide.Title, Value: tempC})
	}
}

// stricter lets a figure that asks for more take the place of f.
func stricter(f *Figure, value float64, source string) {
	if value > f.Value {
		f.Value, f.Source = value, source
	}
}

// distances says what the site keeps away from.
func (p *Plan) distances(a *Ask) {
	if a.Outdoors {
		f := Figure{"exclusion-zone", a.ZoneM, "m", sitesOwn}
		if !(a.ZoneM > 0) {
			p.Says = append(p.Says, Say{Code: "zone-owed", Stops: true})
		} else {
			p.Figures = append(p.Figures, f)
		}
	}
	switch {
	case !(a.Dwellings > 0) || !(a.DwellMinM > 0):
		p.Says = append(p.Says, Say{Code: "dwellings-owed"})
	case a.Dwellings < a.DwellMinM:
		p.Says = append(p.Says, Say{Code: "dwellings-near", Value: a.Dwellings, Source: sitesOwn, Stops: true})
		fallthrough
	default:
		p.Figures = append(p.Figures, Figure{"dwellings", a.Dwellings, "m", asGiven}, Figure{"dwellings-least", a.DwellMinM, "m", sitesOwn})
	}
}

package plan

import "strings"

// Guide is what a national guide asks for, beside the built-in floor.
type Guide struct {
	Country   string     `json:"country" yaml:"-"`
	Title     string     `json:"title" yaml:"title"`
	Dated     string     `json:"dated" yaml:"dated"` // as the source says it
	Source    string     `json:"source" yaml:"source"`
	Sure      string     `json:"sure" yaml:"sure"` // verified, secondary or memory
	Doses     []Laid     `json:"doses,omitempty" yaml:"doses"`
	Exposures []Exposure `json:"exposures" yaml:"exposures"`
	Airing    float64    `json:"airing_hours,omitempty" yaml:"airing_hours"`           // shortest, hours; 0 = not said
	Withheld  float64    `json:"withholding_hours,omitempty" yaml:"withholding_hours"` // shortest, hours; 0 = not said
}

// Laid is a dose of a guide, in g of phosphine.
type Laid struct {
	For      []string `json:"for,omitempty" yaml:"for"` // words of the commodity; empty = any
	PerTonne float64  `json:"g_per_tonne,omitempty" yaml:"g_per_tonne"`
	PerM3    float64  `json:"g_per_m3,omitempty" yaml:"g_per_m3"`
	Words    string   `json:"words" yaml:"words"` // as the source says it
}

// Exposure is an exposure of a guide. Of several that fit, the longest holds.
type Exposure struct {
	Pests  []string `json:"pests,omitempty" yaml:"pests"`     // words of the pest; empty = any
	FromC  *float64 `json:"from_c,omitempty" yaml:"from_c"`   // grain temperature, °C: from here on
	BelowC *float64 `json:"below_c,omitempty" yaml:"below_c"` // and below this
	Hours  float64  `json:"hours,omitempty" yaml:"hours"`
	EndPPM float64  `json:"end_ppm,omitempty" yaml:"end_ppm"`
	Refuse bool     `json:"refuse,omitempty" yaml:"refuse"` // not effective: not to be done
	Words  string   `json:"words" yaml:"words"`
}

// fits reports whether the exposure is for the pest and a grain of tempC.
func (e *Exposure) fits(pest string, tempC float64) bool {
	if e.FromC != nil && !(tempC >= *e.FromC) || e.BelowC != nil && !(tempC < *e.BelowC) {
		return false
	}
	return len(e.Pests) == 0 || anyIn(pest, e.Pests)
}

// dose returns the guide's dose for a commodity; one that names it goes before one
// for any.
func (g *Guide) dose(commodity string) (Dose, bool) {
	var any *Laid
	for i := range g.Doses {
		d := &g.Doses[i]
		if len(d.For) == 0 {
			if any == nil {
				any = d
			}
			continue
		}
		if anyIn(commodity, d.For) {
			any = d
			break
		}
	}
	if any == nil {
		return Dose{}, false
	}
	return Dose{any.PerTonne, any.PerM3, any.Words + ": " + g.cite()}, true
}

// cite names the guide, its date and how sure it is.
func (g *Guide) cite() string {
	c := g.Source
	if g.Dated != "" {
		c += " (" + g.Dated + ")"
	}
	switch g.Sure {
	case "secondary":
		c += ", from a secondary copy"
	case "memory":
		c += ", from memory: look it up"
	}
	return c
}

// anyIn reports whether one of words is in text, whatever the case.
func anyIn(text string, words []string) bool {
	t := strings.ToLower(text)
	for _, w := range words {
		if strings.Contains(t, strings.ToLower(w)) {
			return true
		}
	}
	return false
}

// psocids reports whether the pest is booklice, against which the eight-day
// protocol is common practice.
func psocids(pest string) bool {
	return anyIn(pest, []string{"psocid", "booklice", "booklouse", "liposcelis", "psocopt"})
}

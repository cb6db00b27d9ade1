package configs

import (
	_ "embed" // guides.yaml
	"fmt"
	"sync"

	"undersheet/rules/plan"

	"github.com/goccy/go-yaml"
)

//go:embed guides.yaml
var guidesYAML []byte

// guides reads the embedded guides once. The tests read them too, so that a broken
// file cannot be shipped.
var guides = sync.OnceValue(func() map[string]plan.Guide {
	g, err := readGuides(guidesYAML)
	if err != nil {
		panic(fmt.Sprintf("embedded guides.yaml: %v", err))
	}
	return g
})

// readGuides reads national guides and refuses what cannot be one.
func readGuides(text []byte) (map[string]plan.Guide, error) {
	var t struct {
		Guides map[string]plan.Guide `yaml:"guides"`
	}
	if err := yaml.UnmarshalWithOptions(text, &t, yaml.Strict()); err != nil {
		return nil, err
	}
	for _, country := range sortedKeys(t.Guides) {
		g := t.Guides[country]
		if g.Title == "" || g.Source == "" || surety[g.Sure] == "" || len(g.Exposures) == 0 {
			return nil, fmt.Errorf("%s: title, source, sure or exposures are missing", country)
		}
		for i, e := range g.Exposures {
			if e.Words == "" || !(e.Hours > 0) && !e.Refuse || e.EndPPM < 0 {
				return nil, fmt.Errorf("%s: exposures[%d]: words or hours are missing", country, i)
			}
		}
		for i, d := range g.Doses {
			if d.Words == "" || d.PerTonne < 0 || d.PerM3 < 0 || (d.PerTonne > 0) == (d.PerM3 > 0) {
				return nil, fmt.Errorf("%s: doses[%d]: words and one of g_per_tonne and g_per_m3 are needed", country, i)
			}
		}
		g.Country = country
		t.Guides[country] = g
	}
	return t.Guides, nil
}

// Guides returns the national guides that are shipped, by country.
func Guides() []plan.Guide {
	var all []plan.Guide
	for _, country := range sortedKeys(guides()) {
		all = append(all, guides()[country])
	}
	return all
}

// Guide returns the national guide of a country, or false.
func Guide(country string) (plan.Guide, bool) {
	g, ok := guides()[country]
	return g, ok
}

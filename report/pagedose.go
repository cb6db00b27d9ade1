package report

import (
	"fmt"
	"strings"

	"undersheet/logbook"
	"undersheet/report/paper"
	"undersheet/rules/dose"
	"undersheet/rules/people"
)

// kernels says which density of kernels the gas space was reckoned with.
func (p *page) kernels() string {
	density, listed := dose.KernelDensity(p.r.Given.Commodity)
	s := p.given(density) + "\u00a0t/m³"
	if !listed {
		s += ", " + p.text("density-default")
	}
	return s
}

// dosed is what was laid, by whom and on whose word.
func (p *page) dosed() {
	r, g := p.r, &p.r.Given
	p.head("dose")
	laid := p.given(g.PhosphineG) + "\u00a0g"
	if g.Form != "" {
		count := ""
		if g.Count > 0 {
			count = fmt.Sprint(g.Count) + " "
		}
		laid += " " + p.text("as-form", "{form}", count+p.code("product", g.Form))
	}
	terms := paper.Terms{
		{Name: p.text("term/phosphine"), Value: laid},
		{Name: p.text("term/per-tonne"), Value: p.maybe(r.Dose.GPerTonne, "g/t")},
		{Name: p.text("term/per-volume"), Value: p.maybe(r.Dose.GPerVolume, "g/m³")},
		{Name: p.text("term/per-gas"), Value: p.maybe(r.Dose.GPerGas, "g/m³")},
		{Name: p.text("term/dose-source"), Value: p.recorded(g.DoseSource)},
		{Name: p.text("term/product"), Value: p.recorded(p.products())},
		{Name: p.text("term/placement"), Value: p.recorded(p.placements())},
		{Name: p.text("term/fumigator"), Value: p.fumigator()},
		{Name: p.text("term/second-person"), Value: p.recorded(g.Second)},
	}
	for _, x := range r.Aired.Extra {
		terms = append(terms, paper.Term{Name: p.text("term/added"), Value: p.text("added-on", "{g}", p.given(x.Grams), "{time}", p.time(x.At))})
	}
	if r.Dose.AddedG > 0 {
		terms = append(terms, paper.Term{Name: p.text("term/in-all"), Value: p.inAll()})
	}
	terms = append(terms, paper.Term{Name: p.text("term/full-dose"), Value: p.maybe(r.Dose.FullPPM, "ppm")})
	p.put(terms)
	p.note("dose-note")
}

// inAll is what was laid with what was added, against weight and volume where these are
// known.
func (p *page) inAll() string {
	r := p.r
	g := r.Dose.PhosphineG + r.Dose.AddedG
	parts := []string{p.given(g) + "\u00a0g"}
	for _, x := range []struct {
		by   *float64
		unit string
	}{{ratio(g, r.Given.Tonnes), "g/t"}, {ratio(g, r.Given.VolumeM3), "g/m³"}} {
		if x.by != nil {
			parts = append(parts, p.unit(*x.by, x.unit))
		}
	}
	return p.list(parts)
}

// placed lists the acts by which product was laid.
func (r *Report) placed() []*logbook.DosePlaced {
	var out []*logbook.DosePlaced
	for _, a := range r.Acts {
		if d, ok := a.entry.(*logbook.DosePlaced); ok && a.Refused == "" {
			out = append(out, d)
		}
	}
	return out
}

// products names product and batch as they were recorded; "" = they were not.
func (p *page) products() string {
	var parts []string
	for _, d := range p.r.placed() {
		if d.Name == "" && d.Batch == "" {
			continue
		}
		parts = append(parts, p.text("product-is", "{name}", p.recorded(d.Name), "{batch}", p.recorded(d.Batch)))
	}
	return p.list(parts)
}

// placements says where product was laid; "" = it was not recorded.
func (p *page) placements() string {
	var parts []string
	for _, d := range p.r.placed() {
		s := fmt.Sprintf("%d %s", d.Count, p.code("product", d.Form))
		if d.Places > 0 {
			s += ", " + p.text("in-places", "{count}", fmt.Sprint(d.Places))
		}
		if d.Placement != "" {
			s += ": " + d.Placement
		}
		parts = append(parts, s)
	}
	return p.list(parts)
}

// fumigator is the licensed fumigator in charge with licence and contact.
func (p *page) fumigator() string {
	name := p.r.Given.Fumigator
	if name == "" {
		return p.text("not-recorded")
	}
	x := p.r.inCharge()
	return p.list([]string{name, p.licence(x), p.contact(x)})
}

// inCharge is the licensed fumigator as the site file has them; their licence must hold to
// the end of the exposure.
func (r *Report) inCharge() *Person {
	x := r.known(r.Given.Fumigator)
	x.Expired = people.LicenceOver(x.LicenceUntil, r.end())
	return x
}

// licence says what is known of a person's licence.
func (v voice) licence(of *Person) string {
	if of.Licence == "" && of.LicenceUntil == "" {
		return v.text("licence-none")
	}
	s := v.text("licence-is", "{number}", v.recorded(of.Licence), "{until}", v.recorded(of.LicenceUntil))
	if of.Expired {
		s += " " + v.text("licence-expired")
	}
	return s
}

// contact says how a person is reached.
func (v voice) contact(of *Person) string {
	var parts []string
	for _, s := range []string{of.Phone, of.Email} {
		if s != "" {
			parts = append(parts, s)
		}
	}
	return v.pair(v.text("contact"), v.recorded(strings.Join(parts, ", ")))
}

// residues are what became of the product.
func (p *page) residues() {
	p.head("residues")
	var rows [][]paper.Cell
	for _, x := range p.r.Product {
		rows = append(rows, paper.Row(p.code("product", x.Form), fmt.Sprint(x.Placed), fmt.Sprint(x.Taken), fmt.Sprint(x.Live), fmt.Sprint(x.Disposed), fmt.Sprint(x.Placed-x.Taken), fmt.Sprint(x.Taken-x.Disposed)))
	}
	p.table("no-product", p.columns("form", ">placed", ">taken", ">live", ">disposed", ">inside", ">waiting"), rows)
	var how [][]paper.Cell
	for i, a := range p.r.Acts {
		switch a.entry.(type) {
		case *logbook.ResidueTaken, *logbook.ResidueDisposed:
			how = append(how, paper.Row(fmt.Sprint(i+1), p.time(a.At), p.code("kind", string(a.Kind)), a.By, p.particulars(a.Entry)))
		}
	}
	if len(rows)+len(how) > 0 {
		p.table("no-residue", p.columns(">no", "when!", "act!", "by!", "particulars+"), how)
	}
}

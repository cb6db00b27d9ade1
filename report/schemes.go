package report

import (
	"fmt"
	"strings"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/report/paper"
)

// asked is a field that a public scheme asks for: its name, the value in this report,
// and the heading under which it stands; without one it stands in another paper.
type asked struct{ field, value, head string }

// scheme is a public scheme of records, and the fields that could be read of it.
type scheme struct {
	name   string // key of its name and source
	fields []asked
}

// index says where each field that public schemes ask for stands in this report, and
// which of them the log lacks. The lists are those parts of the schemes that could be
// read: AU DAFF treatment certificate (IAN 2015-51) and its manual of importing
// countries; India NSPM 22 with the stock register; the fumigation management plan of
// USAID's tools (Annex T-3), kept 2 years; NAPPO TP 03 and EPPO PM 10/22.
func (p *page) index() {
	p.head("index")
	p.note("index-note")
	for _, s := range p.schemes() {
		p.sub(p.text("scheme/" + s.name))
		var rows [][]paper.Cell
		for _, f := range s.fields {
			part := p.text("not-in-report")
			if f.head != "" {
				part = p.text("head/"+f.head, "{store}", p.r.Place.Store)
			}
			rows = append(rows, paper.Row(p.text("asked/"+f.field), p.recorded(f.value), part))
		}
		p.put(paper.Table{Columns: p.columns("field++", "value++", "section+"), Rows: rows})
	}
}

// schemes fills in the fields from the report.
func (p *page) schemes() []scheme {
	r, g := p.r, &p.r.Given
	n := func(v float64, unit string) string {
		if v == 0 {
			return ""
		}
		return p.given(v) + "\u00a0" + unit
	}
	count := func(k int) string {
		if k == 0 {
			return ""
		}
		return fmt.Sprint(k)
	}
	signer := ""
	if g.Fumigator != "" {
		signer = p.fumigator()
	}
	place := asked{"place", r.Place.Site + ", " + r.Place.Store + ", " + r.Place.Stack, "treated"}
	fumigator := asked{"fumigator", signer, "dose"}
	fumigant := asked{"fumigant", p.text("phosphine"), "dose"}
	dose := asked{"dose", p.perVolume(), "dose"}
	dates := asked{"dates", p.span(r.Course.Started, r.Course.AiringStarted), "treated"}
	temp := asked{"temperature", p.given(g.GrainTempC) + "\u00a0°C", "treated"}
	goods := asked{"commodity", strings.TrimSpace(p.code("commodity", g.Commodity) + " " + n(g.Tonnes, "t")), "treated"}
	days := asked{"days", words.Text(p.lang, "page/days", "{days}", p.num(r.Course.ExposureHours/24)), "short"}
	lines := asked{"lines", p.lineNames(), "instruments"}
	clear := asked{"cleared", p.clearance(), "acts"}
	return []scheme{
		{"au", []asked{place, fumigator, fumigant, dose, days, dates, temp, {"destination", g.Destination, "treated"}, {"lot", g.Lot, "treated"}, goods}},
		{"micor", []asked{dose, temp, days, {"holds", g.Destination, "treated"}, goods, fumigator, lines, {"sealing", g.Sheet, "treated"}, {"clearing", p.aired(), "airing"}, clear, {"signature", p.text("to-sign"), "endorsement"}}},
		{"india", []asked{{"date", p.time(r.Course.Started), "treated"}, {"used", p.used(), "residues"}, {"batch", p.products(), "dose"}, {"stock", p.text("stock-elsewhere"), ""}, goods, dose, days, {"bags", count(g.Bags), "treated"}, {"airing", p.aired(), "airing"}, {"waiting", p.withheld(), "phases"}}},
		{"usaid", []asked{place, goods, {"size", p.ifKnown(p.size()), "treated"}, {"sheet", g.Sheet, "treated"}, {"pests", g.Pests, "treated"}, {"product", p.products(), "dose"}, {"placement", p.placements(), "dose"}, fumigator,
			{"second", p.second(), "people"}, lines, {"readings", p.text("in-csv"), "days"}, {"calibration", p.calibrated(), "instruments"}, clear, {"residue", p.disposed(), "residues"}, {"kept", p.text("kept-two-years"), "origin"}}},
		{"field", []asked{{"job", r.Course.Name, "origin"}, {"moisture", n(g.GrainMoisturePct, "%"), "treated"}, {"ratio", p.evenness(), "distribution"}, {"ctp", p.lowestCTP(), "end-level"}, {"end-level", p.lowestEnd(), "end-level"},
			{"leaks", fmt.Sprint(len(r.Leaks)), "leaks"}, {"ambient", p.ambient(), "exposure"}, {"inspection", p.inspected(), "criteria"}, {"next-use", p.released(), "phases"}}},
		{"nappo", []asked{{"label", g.DoseSource, "dose"}, {"dissipated", p.clearance(), "acts"}}},
	}
}

// perVolume is the dose in g/m³, and with what was added; "" = not known.
func (p *page) perVolume() string {
	d := &p.r.Dose
	if d.GPerVolume == nil {
		return ""
	}
	s := p.unit(*d.GPerVolume, "g/m³")
	if all := ratio(d.PhosphineG+d.AddedG, p.r.Given.VolumeM3); d.AddedG > 0 && all != nil {
		s = p.text("with-added", "{dose}", s, "{all}", p.unit(*all, "g/m³"))
	}
	return s
}

// ifKnown turns the words for what was not recorded into nothing.
func (p *page) ifKnown(s string) string {
	if s == p.text("not-recorded") {
		return ""
	}
	return s
}

func (p *page) lineNames() string {
	var names []string
	for _, l := range p.r.Lines {
		name := p.text("line-length-missing", "{line}", l.Name)
		if l.LengthM > 0 {
			name = l.Name + " " + p.unit(l.LengthM, "m")
		}
		names = append(names, name)
	}
	return p.list(names)
}

// clearance is who cleared the store, when.
func (p *page) clearance() string {
	for i := range p.r.Acts {
		a := &p.r.Acts[i]
		if a.Kind == logbook.KindEntryConfirmed && a.Refused == "" && p.r.Course.AiringStarted != 0 && a.At >= p.r.Course.AiringStarted {
			return p.text("by-whom", "{time}", p.time(a.At), "{by}", a.By)
		}
	}
	return ""
}

// aired is from when to when the stack was aired.
func (p *page) aired() string {
	if p.r.Course.AiringStarted == 0 {
		return ""
	}
	return p.span(p.r.Course.AiringStarted, p.r.Course.Cleared)
}

// used is what was laid, by form.
func (p *page) used() string {
	var parts []string
	for _, x := range p.r.Product {
		parts = append(parts, fmt.Sprintf("%d %s", x.Placed, p.code("product", x.Form)))
	}
	if len(parts) == 0 && p.r.Given.Count > 0 {
		return fmt.Sprintf("%d %s", p.r.Given.Count, p.code("product", p.r.Given.Form))
	}
	return p.list(parts)
}

// withheld is from when to when the goods were kept back.
func (p *page) withheld() string {
	if p.r.Course.Cleared == 0 {
		return ""
	}
	return p.span(p.r.Course.Cleared, p.waited())
}

// waited is when withholding ended, as it was recorded; 0 = it has not. A log of an older
// program, which recorded no follow-ups, closed the treatment with it.
func (p *page) waited() logbook.Time {
	for _, f := range p.r.FollowUps {
		if f.FollowUp != logbook.FollowWithholding {
			continue
		}
		if f.State == logbook.FollowDone {
			return f.At
		}
		return 0
	}
	for _, x := range p.r.Phases {
		if x.Phase == logbook.PhaseClosed {
			return x.Time
		}
	}
	return 0
}

// released is when the goods were free to be used again.
func (p *page) released() string {
	if p.waited() == 0 {
		return ""
	}
	return p.time(p.waited())
}

// second are those who are named as a second person.
func (p *page) second() string {
	var names []string
	for _, x := range p.r.People {
		for _, as := range x.Named {
			if as == namedSecond || as == namedAtDoor {
				names = append(names, x.Name)
				break
			}
		}
	}
	return strings.Join(names, ", ")
}

// calibrated is the newest calibration of each line's instrument.
func (p *page) calibrated() string {
	var parts []string
	for _, x := range p.r.Instruments {
		for _, s := range x.States {
			if s.What == logbook.CheckCalibration && s.Newest != 0 {
				parts = append(parts, x.Place+" "+p.time(s.Newest))
			}
		}
	}
	return p.list(parts)
}

// disposed is where residue went.
func (p *page) disposed() string {
	var parts []string
	for _, a := range p.r.Acts {
		if d, ok := a.entry.(*logbook.ResidueDisposed); ok && a.Refused == "" {
			parts = append(parts, p.code("value", d.How)+", "+d.Where)
		}
	}
	return p.list(parts)
}

// evenness is the lowest daily ratio of lowest to highest line.
func (p *page) evenness() string {
	if len(p.r.Days) == 0 {
		return ""
	}
	low := p.r.Days[0].Ratio
	for _, d := range p.r.Days {
		low = min(low, d.Ratio)
	}
	return p.num(low)
}

// ambient names the air points that were read.
func (p *page) ambient() string {
	var names []string
	for _, a := range p.r.Air {
		if a.Readings > 0 {
			names = append(names, a.Name)
		}
	}
	return p.list(names)
}

// inspected is what the last inspection of the grain found.
func (p *page) inspected() string {
	s := ""
	for _, a := range p.r.Acts {
		if g, ok := a.entry.(*logbook.GrainInspected); ok && a.Refused == "" {
			s = p.pair(p.text("by-whom", "{time}", p.time(a.At), "{by}", a.By), p.code("value", g.Insects))
		}
	}
	return s
}

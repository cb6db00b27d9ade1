package plan

import (
	"math"

	"undersheet/rules/decay"
	"undersheet/rules/dose"
)

// Course is what the gas is expected to do under a sheet.
type Course struct {
	Sheet      string    `json:"sheet"` // tight, average or leaky
	LossPerDay float64   `json:"loss_per_day"`
	Hours      []float64 `json:"hours"`
	PPM        []float64 `json:"ppm"` // expected (median) at those hours, lowest line
	Chance     float64   `json:"chance_met"`
	P05        float64   `json:"end_p05_ppm"`
	P50        float64   `json:"end_p50_ppm"`
	P95        float64   `json:"end_p95_ppm"`
}

// Sheets whose courses are shown. The loss rates are the tenth, the half and the
// nine tenths of what sheeted stacks lose, from memory.
var sheets = []struct {
	name string
	loss float64 // per day
}{{"tight", 0.10}, {"average", 0.25}, {"leaky", 0.60}}

// SheetSource is where the loss rates are from.
const SheetSource = "from memory: 10–20 % a day under a good sheet, 30–50 % under a poor one"

// stack plans one stack.
func (p *Plan) stack(a *Ask, s *Stack) StackPlan {
	sp := StackPlan{Stack: *s, Name: s.Name, Commodity: s.Commodity, Lines: places}
	p.suited(a, &sp)
	volume, tonnes := sp.size()
	if s.LengthM > 0 {
		sp.cover(a)
	}
	sp.sampled()
	if grams := sp.dosed(a, volume, tonnes); grams > 0 {
		sp.counted(a, grams)
		sp.expect(p, volume, tonnes, grams)
	}
	return sp
}

func (sp *StackPlan) add(code string, value float64, unit, source string) {
	sp.Figures = append(sp.Figures, Figure{code, value, unit, source})
}

func (sp *StackPlan) say(s Say) { sp.Says = append(sp.Says, s) }

// suited refuses what phosphine does not suit.
func (p *Plan) suited(a *Ask, sp *StackPlan) {
	list, source := dose.UnsuitedList, commonPractice
	if a.Site != nil && len(a.Site.Unsuited) > 0 {
		list, source = a.Site.Unsuited, a.Site.Authority
	}
	if u := dose.Unsuited(list, sp.Commodity); u != "" {
		sp.say(Say{Code: "unsuited", About: u, Source: source, Stops: true})
	}
	if anyIn(sp.Commodity, []string{"paddy", "rough rice", "groundnut", "peanut"}) && !a.Dose.set() {
		sp.say(Say{Code: "sorbs-more", About: sp.Commodity, Source: "husks take up much phosphine (Foods 2024, 13(20), 3293); no published factor could be read"})
	}
	if sp.Stack.MoisturePct == 0 {
		sp.say(Say{Code: "moisture-owed"})
	}
}

// size settles volume (m³) and weight (t) of the stack; one that is not given is
// worked out from the other.
func (sp *StackPlan) size() (volume, tonnes float64) {
	s := &sp.Stack
	volume, tonnes = s.LengthM*s.WidthM*s.HeightM, s.Tonnes
	b, known := DensityOf(s.Commodity)
	density := b.TM3 * bagged
	worked := b.Source + "; bags 10 % less, from memory"
	if volume > 0 {
		sp.add("volume", volume, "m3", asGiven)
	}
	if tonnes > 0 {
		sp.add("weight", tonnes, "t", asGiven)
	}
	switch {
	case known && volume == 0:
		volume = tonnes / density
		sp.add("volume", volume, "m3", worked)
	case known && tonnes == 0:
		tonnes = volume * density
		sp.add("weight", tonnes, "t", worked)
	case !known && (volume == 0 || tonnes == 0):
		sp.say(Say{Code: "density-owed", About: s.Commodity})
	case volume > 0 && (tonnes/volume > 1.25*b.TM3 || tonnes/volume < 0.5*b.TM3) && known:
		sp.say(Say{Code: "size-odd", About: s.Commodity, Value: tonnes / volume, Source: b.Source})
	}
	return volume, tonnes
}

// cover adds sheet and snakes.
func (sp *StackPlan) cover(a *Ask) {
	c := sp.Stack.sheet(a.SheetM)
	sp.add("cover-length", c.LengthM, "m", "computed, 1 m on the floor all round: common practice")
	sp.add("cover-width", c.WidthM, "m", "computed, 1 m on the floor all round: common practice")
	if c.Sheets > 0 {
		sp.add("sheets", float64(c.Sheets), "", "site's own size; joins of 1 m rolled together: common practice")
	}
	sp.add("cover-area", c.AreaM2, "m2", "computed")
	sp.add("snakes", float64(c.Snakes), "", "1 m long, 0.2 m over the next, two rows: common practice")
	sp.add("snake-length", c.SnakeM, "m", "computed")
}

// sampled asks for the least sampling lines.
func (sp *StackPlan) sampled() {
	if n := sp.Stack.Lines; n > 0 && n < LeastLines {
		sp.say(Say{Code: "few-lines", Value: float64(n), Source: commonPractice})
	}
}

// dosed settles the dose in g of phosphine; 0 where it is owed.
func (sp *StackPlan) dosed(a *Ask, volume, tonnes float64) float64 {
	d := a.Dose
	if !d.set() && a.Guide != nil {
		d, _ = a.Guide.dose(sp.Commodity)
	}
	if !d.set() {
		sp.say(Say{Code: "dose-owed", About: sp.Commodity, Stops: true})
		return 0
	}
	grams := 0.0
	switch {
	case d.PerTonne > 0 && tonnes > 0:
		grams = d.PerTonne * tonnes
		sp.add("dose-per-tonne", d.PerTonne, "g/t", d.Source)
	case d.PerM3 > 0 && volume > 0:
		grams = d.PerM3 * volume
		sp.add("dose-per-m3", d.PerM3, "g/m3", d.Source)
	default:
		sp.say(Say{Code: "dose-needs-size", About: sp.Commodity, Stops: true})
		return 0
	}
	sp.GramsPH3 = grams
	sp.add("dose", grams, "g", "computed")
	return grams
}

// counted turns the dose into pieces and trays.
func (sp *StackPlan) counted(a *Ask, grams float64) {
	f, ok := FormOf(a.Form)
	if !ok {
		sp.say(Say{Code: "form-owed"})
		return
	}
	sp.Pieces = f.Pieces(grams)
	sp.add("pieces", float64(sp.Pieces), f.Name, f.Source)
	if per := f.perTray(); per > 1 {
		sp.add("trays", math.Ceil(float64(sp.Pieces)/float64(per)), "", "300 mm × 300 mm, one layer: common practice; pieces a tray from memory")
	} else {
		sp.add("places", float64(sp.Pieces), "", "each by itself, flat, not touching: common practice")
	}
}

// expect works out what the gas will do.
func (sp *StackPlan) expect(p *Plan, volume, tonnes, grams float64) {
	s := &sp.Stack
	if !(volume > 0) || math.IsNaN(s.TempC) {
		return
	}
	space, known := dose.GasSpace(0, volume, tonnes, s.Commodity)
	if !known {
		sp.say(Say{Code: "size-odd", About: s.Commodity, Value: tonnes / volume, Source: "the kernels would fill the stack"})
		return
	}
	sp.add("gas-space", space, "m3", "volume less the kernels (kernel density from memory)")
	full := dose.FullPPM(grams, space, s.TempC)
	sp.add("full-ppm", full, "ppm", "ideal gas, no loss and no sorption")
	if full > dose.AttentionLEL*dose.LELppm {
		sp.say(Say{Code: "flammable-near", Value: full, Source: "NIOSH IDLH 7803-51-2: 10 % of the lower explosive limit is 1,790 ppm"})
	}
	setup := decay.Setup{DoseG: grams, GasSpaceM3: space, TempC: s.TempC, MoisturePct: s.MoisturePct, Commodity: s.Commodity, Form: p.Form, Lines: make([]decay.Line, max(s.Lines, LeastLines))}
	hours := []float64{}
	for h := 0.0; h < p.Hours; h += 6 {
		hours = append(hours, h)
	}
	hours = append(hours, p.Hours)
	for _, sheet := range sheets {
		c := Course{Sheet: sheet.name, LossPerDay: sheet.loss, Hours: hours}
		course := decay.Promise(setup, sheet.loss, hours, p.EndLevelPPM)
		for _, f := range course {
			c.PPM = append(c.PPM, f.P50)
		}
		end := course[len(course)-1]
		c.Chance, c.P05, c.P50, c.P95 = end.ChanceMet, end.P05, end.P50, end.P95
		sp.Courses = append(sp.Courses, c)
	}
}

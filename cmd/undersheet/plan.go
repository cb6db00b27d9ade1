package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"undersheet/configs"
	"undersheet/logbook"
	"undersheet/report/planned"
	"undersheet/rules/plan"
)

// planCmd works out a treatment before any gas is there.
type planCmd struct {
	Site      string   `placeholder:"FILE" help:"Site file: its protocols, its list of unsuited commodities, its night."`
	Store     string   `placeholder:"NAME" help:"Store to be treated. With --site, its stacks that are not planned are named."`
	Stack     []string `sep:"none" placeholder:"NAME=TONNES[,LxWxH]" help:"A stack: its tonnes and its sides in m, or one of them (B=180 or B=,9x6x4). Once for each stack."`
	Commodity string   `required:"" placeholder:"NAME" help:"What is treated, for example milled rice."`
	Tonnes    float64  `placeholder:"T" help:"Weight, when there is one stack without a name."`
	Sides     string   `placeholder:"LxWxH" help:"Length, width and height in m, when there is one stack without a name."`
	Temp      *float64 `placeholder:"C" help:"Temperature of the grain in °C, of the coldest stack."`
	Moisture  float64  `placeholder:"PCT" help:"Moisture of the grain in %, wet basis."`
	Pest      string   `placeholder:"NAME" help:"Insect that is found; psocids ask for eight days."`
	Form      string   `placeholder:"FORM" help:"tablets, pellets, sachets or plates."`
	Guide     string   `placeholder:"CC" help:"National guide: ${guides}. The stricter of it and the built-in figures holds."`
	Protocol  string   `placeholder:"NAME" help:"Protocol of the site or built in, in place of the one that the pest asks for."`
	Dose      string   `placeholder:"G/t|G/m3" help:"The site's own dose of phosphine, for example 3g/t or 1.5g/m3; needs --dose-source."`
	DoseFrom  string   `name:"dose-source" placeholder:"TEXT" help:"Where the site's own dose is from: label, authority."`
	Lines     int      `placeholder:"N" help:"Fixed sampling lines of each stack. With --site, those of the site file."`
	Sheet     string   `placeholder:"LxW" help:"Size of the site's sheets in m."`
	Start     string   `placeholder:"TIME" help:"When the sheet is to be shut (RFC 3339): gives the hours of airing by daylight."`
	Outdoors  bool     `help:"Stacks on a plinth in the open: an exclusion zone stands for the store."`
	Zone      float64  `placeholder:"M" help:"Width of the exclusion zone, the site's own figure."`
	Dwelling  float64  `placeholder:"M" help:"How far the nearest dwelling is."`
	LeastM    float64  `name:"dwelling-least" placeholder:"M" help:"How far dwellings must be, the site's own figure."`
	Charge    string   `name:"in-charge" placeholder:"NAME" help:"Person in charge, for signs and card."`
	Phone     string   `placeholder:"NUMBER" help:"Telephone of the person in charge."`
	Hospital  string   `placeholder:"TEXT" help:"Hospital, for the emergency card."`
	Poison    string   `name:"poison-centre" placeholder:"TEXT" help:"Poison centre, for the emergency card."`
	Entrances int      `default:"1" help:"Signs to print."`
	HTML      string   `name:"html" placeholder:"FILE" help:"Also write the page that prints on A4: plan, checks to sign, emergency card, signs."`
	JSON      bool     `name:"json" help:"One JSON object instead of text."`
	speaking
}

// Help teaches a newcomer.
func (*planCmd) Help() string {
	return `Works out a treatment before it begins, for all stacks of a store together: whether commodity and temperature suit
phosphine, the shortest exposure and the end level, the dose and its pieces, sheets, sand-snakes, sampling lines, what the
gas is expected to do under a tight, an average and a leaky sheet, when airing is over by daylight, what to check and sign.
Every figure stands beside its source. What is owed is said, never invented. Exit status 1 where something forbids to begin.

  undersheet plan --commodity "milled rice" --stack B=180,9x6x5 --stack C=160,9x6x4.5 --temp 29 --guide IN --form tablets
  undersheet plan --site depot.yaml --store "Store 2" --commodity wheat --stack B=180 --temp 27 --dose 2g/t --dose-source "the label" --html plan.html

A plan is no permission: local law, the label and the licensed fumigator decide.`
}

// Run implements the command.
func (c *planCmd) Run(con *console) error {
	ask, site, err := c.ask()
	if err != nil {
		return err
	}
	p, err := plan.Make(*ask)
	if err != nil {
		return err
	}
	sheet := &planned.Sheet{Plan: p, Zone: ask.Zone, Lang: c.of(site), Responsible: c.Charge, Phone: c.Phone, Hospital: c.Hospital, Poison: c.Poison, Entrances: min(max(c.Entrances, 1), 50)}
	if site != nil {
		sheet.Site = site.Name
	}
	if c.HTML != "" {
		if err := writeWhole(c.HTML, sheet.WriteHTML); err != nil {
			return err
		}
	}
	if c.JSON {
		err = json.NewEncoder(con.out).Encode(p)
	} else {
		err = sheet.WriteText(con.out)
	}
	if err == nil && p.Stops() {
		return errReported
	}
	return err
}

// ask makes the question from the flags.
func (c *planCmd) ask() (*plan.Ask, *logbook.Site, error) {
	a := &plan.Ask{Store: c.Store, Outdoors: c.Outdoors, Pest: c.Pest, Protocol: c.Protocol, Form: c.Form, ZoneM: c.Zone, Dwellings: c.Dwelling, DwellMinM: c.LeastM}
	var site *logbook.Site
	if c.Site != "" {
		var err error
		if site, _, err = configs.Load(c.Site); err != nil {
			return nil, nil, err
		}
		a.Site = site
		if a.Zone, err = time.LoadLocation(site.Timezone); err != nil {
			return nil, nil, fmt.Errorf("read timezone %q: %w", site.Timezone, err)
		}
	}
	if c.Guide != "" {
		g, ok := configs.Guide(strings.ToUpper(c.Guide))
		if !ok {
			return nil, nil, fmt.Errorf("--guide %s: there are guides of %s", c.Guide, guideCountries())
		}
		a.Guide = &g
	}
	err := errors.Join(c.stacks(a), c.dose(a), c.sizes(a), c.leftOut(a, site))
	return a, site, err
}

// stacks reads the stacks that are planned.
func (c *planCmd) stacks(a *plan.Ask) error {
	temp := math.NaN()
	if c.Temp != nil {
		temp = *c.Temp
	}
	specs := c.Stack
	if c.Tonnes != 0 || c.Sides != "" {
		if len(specs) > 0 {
			return errors.New("give stacks either by --stack or one by --tonnes and --sides")
		}
		specs = []string{"=" + strconv.FormatFloat(c.Tonnes, 'f', -1, 64) + "," + c.Sides}
	}
	for _, spec := range specs {
		s := plan.Stack{Commodity: c.Commodity, TempC: temp, MoisturePct: c.Moisture, Lines: c.Lines}
		var size string
		var ok bool
		if s.Name, size, ok = strings.Cut(spec, "="); !ok {
			return fmt.Errorf("--stack %q: want NAME=TONNES,LxWxH, for example B=180,9x6x5", spec)
		}
		tonnes, sides, _ := strings.Cut(size, ",")
		var err error
		if tonnes != "" {
			if s.Tonnes, err = strconv.ParseFloat(tonnes, 64); err != nil {
				return fmt.Errorf("--stack %q: %q is no weight in tonnes", spec, tonnes)
			}
		}
		if sides != "" {
			m, err := lengths(sides, 3)
			if err != nil {
				return fmt.Errorf("--stack %q: %w", spec, err)
			}
			s.LengthM, s.WidthM, s.HeightM = m[0], m[1], m[2]
		}
		a.Stacks = append(a.Stacks, s)
	}
	return nil
}

// lengths reads n lengths in m, "9x6x4.5".
func lengths(text string, n int) ([]float64, error) {
	parts := strings.Split(strings.ReplaceAll(strings.ToLower(text), "×", "x"), "x")
	if len(parts) != n {
		return nil, fmt.Errorf("%q: want %d lengths in m, for example %s", text, n, strings.Join([]string{"9", "6", "4.5"}[:n], "x"))
	}
	out := make([]float64, n)
	for i, p := range parts {
		v, err := strconv.ParseFloat(strings.TrimSpace(p), 64)
		if err != nil || !(v > 0) {
			return nil, fmt.Errorf("%q: %q is no length in m", text, p)
		}
		out[i] = v
	}
	return out, nil
}

// dose reads the site's own dose.
func (c *planCmd) dose(a *plan.Ask) error {
	if c.Dose == "" {
		return nil
	}
	text := strings.ReplaceAll(strings.ReplaceAll(c.Dose, " ", ""), "³", "3")
	number, per, _ := strings.Cut(text, "/")
	v, err := strconv.ParseFloat(strings.TrimSuffix(number, "g"), 64)
	if err != nil || !(v > 0) {
		return fmt.Errorf("--dose %q: want grams of phosphine a tonne or a cubic metre, for example 3g/t or 1.5g/m3", c.Dose)
	}
	a.Dose.Source = "site's own: " + c.DoseFrom
	if c.DoseFrom == "" {
		a.Dose.Source = ""
	}
	switch per {
	case "t":
		a.Dose.PerTonne = v
	case "m3":
		a.Dose.PerM3 = v
	default:
		return fmt.Errorf("--dose %q: per %q is neither t nor m3", c.Dose, per)
	}
	return nil
}

// sizes reads sheet and start.
func (c *planCmd) sizes(a *plan.Ask) error {
	if c.Sheet != "" {
		m, err := lengths(c.Sheet, 2)
		if err != nil {
			return fmt.Errorf("--sheet %w", err)
		}
		a.SheetM = [2]float64{m[0], m[1]}
	}
	if c.Start != "" {
		t, err := logbook.ParseTime(c.Start)
		if err != nil {
			return fmt.Errorf("--start: %w", err)
		}
		a.Start = t
	}
	return nil
}

// leftOut names the stacks of the store that the plan does not treat, and takes the
// number of lines of those that it does.
func (c *planCmd) leftOut(a *plan.Ask, site *logbook.Site) error {
	if site == nil {
		return nil
	}
	for i := range site.Stores {
		st := &site.Stores[i]
		if st.Name != c.Store {
			continue
		}
		for _, s := range st.Stacks {
			j := slices.IndexFunc(a.Stacks, func(t plan.Stack) bool { return t.Name == s.Name })
			switch {
			case j < 0:
				a.LeftOut = append(a.LeftOut, s.Name)
			case c.Lines == 0:
				a.Stacks[j].Lines = len(s.Lines)
			}
		}
		return nil
	}
	return fmt.Errorf("--store %q: %s has no store of that name", c.Store, c.Site)
}

// guideCountries lists the countries that have a guide.
func guideCountries() string {
	var all []string
	for _, g := range configs.Guides() {
		all = append(all, g.Country)
	}
	return strings.Join(all, ", ")
}

package web

import (
	"errors"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"

	"undersheet/logbook/words"
	"undersheet/report/planned"
	"undersheet/rules"
	"undersheet/rules/plan"
	"undersheet/rules/protocol"
	"undersheet/web/form"
)

// planPage asks for what a plan of a store needs to know.
type planPage struct {
	frame
	Store  string
	Path   string
	Fields []fieldView
	Stacks []planStack
	Paper  []fieldView // what goes on signs and card
	Faults []faultView
}

// planStack is the row of one stack.
type planStack struct {
	Name   string
	Fields []fieldView
}

func planPath(store string) string { return "/plan/" + url.PathEscape(store) }

// planFields are what is asked for the store, in order.
func (p *site) planFields(lang string) []form.Field {
	guides := []form.Option{}
	for _, g := range p.opts.Guides {
		guides = append(guides, form.Option{Value: g.Country, Label: g.Title})
	}
	protocols := []form.Option{}
	for _, n := range protocol.Names() {
		protocols = append(protocols, form.Option{Value: n, Label: words.Word(lang, "protocol", n)})
	}
	return form.Worded(lang, "plan", []form.Field{
		{Name: "pest"},
		{Name: "protocol", Sort: form.Choice, Choices: protocols},
		{Name: "guide", Sort: form.Choice, Choices: guides},
		{Name: "form", Sort: form.Choice, Choices: form.Named(lang, "product", plan.FormNames()...)},
		{Name: "per_tonne", Sort: form.Number},
		{Name: "per_m3", Sort: form.Number},
		{Name: "dose_source"},
		{Name: "start", Sort: form.Moment},
		{Name: "sheet_length", Unit: "m", Sort: form.Number},
		{Name: "sheet_width", Unit: "m", Sort: form.Number},
		{Name: "dwelling", Unit: "m", Sort: form.Number},
		{Name: "dwelling_least", Unit: "m", Sort: form.Number},
		{Name: "outdoors", Sort: form.Yes},
		{Name: "zone", Unit: "m", Sort: form.Number},
	})
}

// paperFields are what is printed on signs and card; empty ones give lines to fill in.
var paperFields = []form.Field{{Name: "charge"}, {Name: "phone"}, {Name: "hospital"}, {Name: "poison"}, {Name: "entrances", Sort: form.Whole}}

// stackFields are what is asked of a stack.
func stackFields(lang string) []form.Field {
	return form.Worded(lang, "plan", []form.Field{
		{Name: "commodity", Suggest: form.Named(lang, "commodity", form.Commodities...)}, {Name: "tonnes", Unit: "t", Sort: form.Number},
		{Name: "length", Unit: "m", Sort: form.Number}, {Name: "width", Unit: "m", Sort: form.Number}, {Name: "height", Unit: "m", Sort: form.Number},
		{Name: "temp", Unit: "°C", Sort: form.Number, Signed: true}, {Name: "moisture", Unit: "%", Sort: form.Number},
	})
}

// askPlan shows the form.
func (p *site) askPlan(w http.ResponseWriter, r *http.Request) {
	v := p.source.View()
	if st := v.Store(r.PathValue("store")); st != nil {
		p.show(w, r, http.StatusOK, "plan", p.planPage(r, v, st, r.URL.Query(), nil))
		return
	}
	p.missing(w, r)
}

// planPage fills the form with what was sent.
func (p *site) planPage(r *http.Request, v *rules.View, st *rules.StoreView, sent url.Values, faults []form.Fault) planPage {
	page := planPage{frame: p.frame(r, v, "page/plan-for", "{store}", st.Name), Store: st.Name, Path: planPath(st.Name) + "/sheet"}
	page.Still = true
	wrong := map[string]string{}
	for _, x := range faults {
		wrong[x.Field] = x.Text
	}
	if len(sent) == 0 {
		sent = nil
	}
	for _, f := range p.planFields(page.Lang) {
		page.Fields = append(page.Fields, viewOf(f, sent, wrong[f.Name]))
	}
	for _, f := range form.Worded(page.Lang, "plan", paperFields) {
		page.Paper = append(page.Paper, viewOf(f, sent, wrong[f.Name]))
	}
	asked := slices.Concat(page.Fields, page.Paper)
	for i, s := range st.Stacks {
		row := planStack{Name: s.Name}
		known := map[string]string{"commodity": s.Commodity}
		if s.GrainTempC != 0 {
			known["temp"] = page.figure(s.GrainTempC)
		}
		for _, f := range stackFields(page.Lang) {
			f.Preset = known[f.Name]
			f.Name += "-" + strconv.Itoa(i)
			row.Fields = append(row.Fields, viewOf(f, sent, wrong[f.Name]))
		}
		page.Stacks = append(page.Stacks, row)
		asked = append(asked, row.Fields...)
	}
	for _, x := range faults {
		page.Faults = append(page.Faults, faultOf(x, asked))
	}
	return page
}

// planSheet works the plan out and shows the page that prints; with faults, the form.
func (p *site) planSheet(w http.ResponseWriter, r *http.Request) {
	v := p.source.View()
	st := v.Store(r.PathValue("store"))
	if st == nil {
		p.missing(w, r)
		return
	}
	sent := r.URL.Query()
	ask, faults := p.planAsk(r, v, st, sent)
	var made *plan.Plan
	if len(faults) == 0 {
		var err error
		if made, err = plan.Make(*ask); err != nil {
			for _, e := range parts(err) {
				faults = append(faults, form.Fault{Text: planFault(langOf(r), e)})
			}
		}
	}
	if len(faults) > 0 {
		p.show(w, r, http.StatusUnprocessableEntity, "plan", p.planPage(r, v, st, sent, faults))
		return
	}
	entrances, _ := strconv.Atoi(sent.Get("entrances"))
	sheet := planned.Sheet{Plan: made, Site: v.Site, Zone: ask.Zone, Lang: langOf(r), Responsible: printable(sent.Get("charge")), Phone: printable(sent.Get("phone")),
		Hospital: printable(sent.Get("hospital")), Poison: printable(sent.Get("poison")), Entrances: min(max(entrances, 1), 20)}
	w.Header().Set("Content-Security-Policy", reportPolicy)
	p.file(w, r, sheet.WriteHTML, "text/html; charset=utf-8", "plan.html", sent.Has("download"))
}

// planFault says why there is no plan.
func planFault(lang string, err error) string {
	var f *plan.Fault
	if !errors.As(err, &f) {
		return err.Error()
	}
	text := words.Text(lang, "plan-fault/"+f.Code, "{about}", f.About, "{value}", words.Quantity(lang, f.Value))
	if f.Stack == "" {
		return text
	}
	return words.Text(lang, "plan-fault/of-stack", "{stack}", f.Stack, "{text}", text)
}

// parts are the errors that were joined.
func parts(err error) []error {
	if j, ok := err.(interface{ Unwrap() []error }); ok {
		return j.Unwrap()
	}
	return []error{err}
}

// planAsk reads what was sent.
func (p *site) planAsk(r *http.Request, v *rules.View, st *rules.StoreView, sent url.Values) (*plan.Ask, []form.Fault) {
	f := p.frame(r, v, "page/plan-for", "{store}", st.Name)
	var faults []form.Fault
	number := func(name string, empty float64) float64 {
		if sent.Get(name) == "" {
			return empty
		}
		x, err := form.ParseNumber(f.Lang, sent.Get(name))
		if err != nil {
			faults = append(faults, form.Fault{Field: name, Text: err.Error()})
		}
		return x
	}
	a := &plan.Ask{Store: st.Name, Zone: f.zone, Site: v.Config, Pest: printable(sent.Get("pest")), Protocol: sent.Get("protocol"), Form: sent.Get("form"), Outdoors: sent.Get("outdoors") != "",
		ZoneM: number("zone", 0), Dwellings: number("dwelling", 0), DwellMinM: number("dwelling_least", 0), SheetM: [2]float64{number("sheet_length", 0), number("sheet_width", 0)},
		Dose: plan.Dose{PerTonne: number("per_tonne", 0), PerM3: number("per_m3", 0)}}
	if source := printable(sent.Get("dose_source")); source != "" {
		a.Dose.Source = "site's own: " + source
	}
	for i := range p.opts.Guides {
		if p.opts.Guides[i].Country == sent.Get("guide") {
			a.Guide = &p.opts.Guides[i]
		}
	}
	if at := sent.Get("start"); at != "" {
		t, err := form.ParseLocal(f.Lang, at, f.zone, f.now.Std().AddDate(1, 0, 0)) // a plan is made ahead
		if err != nil {
			faults = append(faults, form.Fault{Field: "start", Text: err.Error()})
		}
		a.Start = t
	}
	for i, s := range st.Stacks {
		of := func(name string) string { return name + "-" + strconv.Itoa(i) }
		commodity := printable(sent.Get(of("commodity")))
		if commodity == "" {
			a.LeftOut = append(a.LeftOut, s.Name)
			continue
		}
		a.Stacks = append(a.Stacks, plan.Stack{Name: s.Name, Commodity: commodity, Lines: len(s.Lines), Tonnes: number(of("tonnes"), 0), TempC: number(of("temp"), math.NaN()),
			LengthM: number(of("length"), 0), WidthM: number(of("width"), 0), HeightM: number(of("height"), 0), MoisturePct: number(of("moisture"), 0)})
	}
	if len(a.Stacks) == 0 && len(faults) == 0 {
		faults = append(faults, form.Fault{Field: "commodity-0", Text: f.text("page/plan-nothing")})
	}
	return a, faults
}

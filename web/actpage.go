package web

import (
	"net/http"
	"net/url"
	"slices"
	"strconv"

	"undersheet/logbook"
	"undersheet/web/form"
)

// actPage is the page of a form.
type actPage struct {
	frame
	Kind, Path, Title, Button string
	Fields, More              []fieldView // More: seldom filled in, folded away
	MoreOpen                  bool
	ID                        string
	Faults                    []faultView
	Cautions                  []string
	Night                     string // set at night for what would send people into a store
	About                     *aboutStore
	ShowConditions            bool // the gate's conditions are shown beside the form
	Stack                     *aboutStack
	Withheld                  string // why the form is not offered; empty = it is
	Instead                   []actLink
	Back                      string
}

// fieldView is a field with what stands in it.
type fieldView struct {
	form.Field
	ID, Value, Fault string
	Groups           []optionGroup
}

// optionGroup is choices under one heading.
type optionGroup struct {
	Name    string
	Options []optionView
}

// optionView is one choice.
type optionView struct {
	Value, Label string
	Chosen       bool
}

// faultView is what is wrong, with a way to its field.
type faultView struct{ ID, Label, Text string }

// actPage shows a form, empty (sent nil) or as it was sent, with what is wrong.
func (p *site) actPage(f frame, made *form.Form, sent url.Values, faults []form.Fault) actPage {
	f.Here = "acts"
	if sent != nil {
		made.Fill(sent)
	}
	if what := placeFirst[made.Kind]; what != "" {
		made.Narrow(what)
	}
	page := actPage{frame: f, Kind: string(made.Kind), Path: actPath(made.Kind), Title: made.Title, Button: made.Button, Back: "/act"}
	wrong := map[string]string{}
	for _, x := range faults {
		wrong[x.Field] = x.Text
	}
	for _, fl := range made.Fields {
		v := viewOf(fl, sent, wrong[fl.Name])
		switch {
		case fl.Sort == form.Hidden:
			page.ID = v.Value
		case fl.Advanced:
			page.More = append(page.More, v)
			page.MoreOpen = page.MoreOpen || v.Fault != "" || sent != nil && v.Value != ""
		default:
			page.Fields = append(page.Fields, v)
		}
	}
	page.blame(faults)
	p.around(&page, made)
	return page
}

// blame lists what is wrong, each with its field.
func (a *actPage) blame(faults []form.Fault) {
	asked := slices.Concat(a.Fields, a.More)
	for _, x := range faults {
		a.Faults = append(a.Faults, faultOf(x, asked))
	}
}

// faultOf is what is wrong, with the field that it is of; without one where none was asked.
func faultOf(x form.Fault, asked []fieldView) faultView {
	v := faultView{Text: x.Text}
	if i := slices.IndexFunc(asked, func(f fieldView) bool { return f.Name == x.Field }); i >= 0 {
		v.ID, v.Label = asked[i].ID, asked[i].Label
	}
	return v
}

// viewOf is a field with what was sent for it in it, else with what is preset.
func viewOf(f form.Field, sent url.Values, fault string) fieldView {
	v := fieldView{Field: f, ID: "f-" + f.Name, Value: f.Preset, Fault: fault}
	if sent != nil {
		v.Value = printable(sent.Get(f.Name))
	}
	for _, o := range f.Choices {
		if n := len(v.Groups); n == 0 || v.Groups[n-1].Name != o.Group {
			v.Groups = append(v.Groups, optionGroup{Name: o.Group})
		}
		g := &v.Groups[len(v.Groups)-1]
		g.Options = append(g.Options, optionView{Value: o.Value, Label: o.Label, Chosen: o.Value == v.Value})
	}
	return v
}

// answerPage says what became of an act.
type answerPage struct {
	frame
	Title, State, Word, Lead string
	Again                    bool // it was on record before it was sent
	Seq                      uint64
	Facts                    []fact
	Why                      string
	Reasons                  []string
	Findings                 []string
	Gates                    []gateLine
	Next                     []actLink
}

// gateLine is the gate of a store in one line.
type gateLine struct {
	gateView
	Store, Path string
}

// answer shows what became of an act.
func (p *site) answer(w http.ResponseWriter, r *http.Request) {
	seq, err := strconv.ParseUint(r.PathValue("seq"), 10, 63)
	if err != nil || seq == 0 || p.opts.Log == nil {
		p.missing(w, r)
		return
	}
	e, a, err := ReadAnswer(r.Context(), p.opts.Log, langOf(r), seq)
	if err != nil {
		p.failed(w, r, err)
		return
	}
	if e == nil {
		p.missing(w, r)
		return
	}
	page := p.answerPage(r, e, a)
	page.Again = r.URL.Query().Has(againField)
	p.show(w, r, http.StatusOK, "answer", page)
}

func (p *site) answerPage(r *http.Request, e logbook.Acting, a Answer) answerPage {
	v := p.source.View()
	page := answerPage{frame: p.frame(r, v, "kind/"+string(e.Head().Kind)), State: a.State, Seq: a.Seq, Why: a.Why}
	page.Here, page.Title = "acts", form.Title(page.Lang, e.Head().Kind)
	page.Word, page.Lead = page.text("answer/"+a.State), page.text("answer/"+a.State+"/lead") // accepted, refused or pending
	if a.State == Accepted && len(a.Findings) > 0 {
		page.Lead = page.text("answer/noted")
	}
	page.Facts = page.factsOf(e)
	for _, f := range a.Findings {
		page.Findings = append(page.Findings, f.Text)
	}
	store, stack := e.Place()
	if s, _ := v.Stack(stack); s != nil {
		store = s.Name
	}
	if s := v.Store(store); s != nil {
		page.Gates = append(page.Gates, gateLine{page.gate(s.Name, s.Gate), s.Name, storePath(s.Name)})
	}
	page.Next = page.next(e, a, store)
	return page
}

// next are the forms that are often wanted after an act.
func (f *frame) next(e logbook.Acting, a Answer, store string) []actLink {
	if a.State == Refused {
		return []actLink{f.linkToAct(e.Head().Kind, "store", store)}
	}
	switch e := e.(type) {
	case *logbook.DosingStarted:
		return []actLink{f.linkToAct(logbook.KindTreatmentStarted, "stack", e.Stack)}
	case *logbook.MaskedEntry:
		return []actLink{f.linkToAct(logbook.KindMaskedExit, "store", e.Store, "out", e.In), f.linkToAct(logbook.KindMaskedEntry, "store", e.Store)}
	case *logbook.HandReading:
		if e.Store != "" {
			return []actLink{f.linkToAct(logbook.KindHandReading, "store", e.Store), f.linkToAct(logbook.KindEntryConfirmed, "store", e.Store)}
		}
		return []actLink{f.linkToAct(logbook.KindHandReading, "stack", e.Stack, "where", e.Where)}
	case *logbook.CagesPlaced, *logbook.CagesJudged, *logbook.SheetTorn, *logbook.SheetRepaired, *logbook.GrainInspected, *logbook.ResidueDisposed:
		_, stack := e.Place()
		return []actLink{{photoPath(stack) + "?of=" + strconv.FormatUint(a.Seq, 10), f.text("due/photo")}, {"/follow-ups", f.text("due/all")}}
	case *logbook.CagesRetrieved:
		return []actLink{f.linkToAct(logbook.KindCagesJudged, "stack", e.Stack, "treatment", e.Treatment, "after", logbook.JudgedExposure)}
	case *logbook.AiringPaused:
		return []actLink{f.linkToAct(logbook.KindAiringResumed, "stack", e.Stack)}
	case *logbook.LineProved:
		return []actLink{f.linkToAct(logbook.KindLineProved)}
	}
	return nil
}

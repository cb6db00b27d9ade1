package web

import (
	"cmp"
	"time"

	"undersheet/alert"
	"undersheet/logbook"
	"undersheet/rules"
	"undersheet/rules/daylight"
	"undersheet/web/form"
)

// aboutStore is what a form shows of the store that it is about, renewed while
// the form is filled in.
type aboutStore struct {
	gateView
	Store, Path string
	Inside      string
	Air         []airRow
	Limit       string
	Conditions  []condition
	Protection  string
}

// aboutStack is what a form shows of the stack that it is about.
type aboutStack struct {
	link
	stackHead
	Shortest string
}

// goesIn are the acts for which people go into a store, or open one that is under gas.
var goesIn = map[logbook.Kind]bool{logbook.KindLineProved: true, logbook.KindCagesPlaced: true, logbook.KindDosingStarted: true, logbook.KindDosePlaced: true,
	logbook.KindAiringStarted: true, logbook.KindAiringResumed: true, logbook.KindSheetRepaired: true, logbook.KindMaskedEntry: true, logbook.KindDoseAdded: true, logbook.KindHandReading: true, logbook.KindEntryConfirmed: true,
	logbook.KindInspected: true, logbook.KindCagesRetrieved: true, logbook.KindResidueTaken: true}

// around puts beside a form what whoever fills it in has to know: store, stack, air, cautions.
func (p *site) around(page *actPage, made *form.Form) {
	defer func() { page.Still = page.Withheld == "" }() // a page without a form may be renewed as a whole
	store, stack := placeOf(made)
	if stack != "" { // the page is renewed from its address, so that must name the place
		page.Path = actPath(made.Kind, "stack", stack)
	} else {
		page.Path = actPath(made.Kind, "store", store)
	}
	if s, k := page.view.Stack(stack); k != nil {
		store = s.Name
		page.Stack = &aboutStack{link: linkTo(k.Name), stackHead: page.head(*k)}
		if end, ok := form.ShortestEnd(page.view, stack); ok {
			page.Stack.Shortest = page.clock(end)
		}
		page.Back = page.Stack.Path
	}
	if s := page.view.Store(store); s != nil {
		page.About = page.aboutStore(*s)
		if stack == "" {
			page.Back = storePath(s.Name)
		}
		p.withhold(page, made.Kind, *s)
	}
	p.placeFirst(page, made, store, stack)
	page.ShowConditions = made.Kind == logbook.KindEntryConfirmed
	page.Cautions = page.cautions(made.Kind)
	if goesIn[made.Kind] {
		page.Night = page.night()
	}
	if made.Kind == logbook.KindAcknowledged {
		page.Back = "/alarms"
	}
}

// placeOf returns the store and stack that stand in a form.
func placeOf(made *form.Form) (store, stack string) {
	for _, name := range []string{"store", "stack", "place"} {
		f := made.Field(name)
		if f == nil || f.Preset == "" {
			continue
		}
		switch name {
		case "store":
			store = f.Preset
		case "stack":
			stack = f.Preset
		default:
			store, stack = form.PlaceOf(f.Preset)
		}
	}
	return store, stack
}

func (f *frame) aboutStore(s rules.StoreView) *aboutStore {
	a := &aboutStore{gateView: f.gate(s.Name, s.Gate), Store: s.Name, Path: storePath(s.Name), Inside: f.insideNow(s), Air: f.air(s),
		Limit: f.figure(float64(s.Gate.LimitPPM))}
	a.Conditions = f.conditions(s)
	a.Protection = f.protection(s.Protection)
	return a
}

// withhold keeps a confirmation from being offered before its time: the form says
// what is owed first.
func (p *site) withhold(page *actPage, kind logbook.Kind, s rules.StoreView) {
	if kind != logbook.KindEntryConfirmed {
		return
	}
	g := page.About.gateView
	if g.State != logbook.GateCheckOwed {
		page.Withheld = page.text("page/not-ready", "{store}", s.Name)
		if g.State == logbook.GateCleared {
			page.Withheld = page.text("page/cleared-already", "{store}", s.Name)
		}
		return
	}
	for _, r := range s.Gate.Reasons {
		if handCodes[r.Code] {
			page.Withheld = page.text("page/hands-first")
			page.Instead = append(page.Instead, page.linkToAct(logbook.KindHandReading, "store", s.Name, "point", "beside "+r.About))
		}
	}
}

// placeFirst names the acts whose form is only shown once the store or stack has been chosen,
// since the air there has to be shown beside it.
var placeFirst = map[logbook.Kind]string{logbook.KindMaskedEntry: "store", logbook.KindEntryConfirmed: "store", logbook.KindDoseAdded: "stack"}

// placeFirst asks for the store or the stack before the form is offered.
func (p *site) placeFirst(page *actPage, made *form.Form, store, stack string) {
	if made.Kind == logbook.KindPhoto { // a file is taken beside its stack
		page.Withheld = page.text("page/photo-first")
		for _, s := range page.view.Stores {
			for _, k := range s.Stacks {
				page.Instead = append(page.Instead, actLink{Path: photoPath(k.Name), Title: page.text("page/stack", "{stack}", k.Name)})
			}
		}
		return
	}
	what := placeFirst[made.Kind]
	if what == "" || store != "" && (what == "store" || stack != "") {
		return
	}
	page.Withheld = page.text("page/choose-" + what)
	for _, o := range made.Field(what).Choices {
		page.Instead = append(page.Instead, actLink{Path: actPath(made.Kind, what, o.Value), Title: o.Label})
	}
}

// night says that nobody goes in now; empty by day.
func (f *frame) night() string {
	if !f.nights.Dark(f.now.Std()) {
		return ""
	}
	from, to, known := f.nights.Hours()
	if !known {
		return f.text("page/night-unknown")
	}
	return f.text("page/night", "{from}", from, "{to}", to)
}

// nightsOf reads when it is night at a depot, and with it the depot's zone.
func nightsOf(v *rules.View) daylight.Night { return alert.NightOf(cmp.Or(v.Config, &logbook.Site{})) }

// cautionsOf are the keys of what people have to know before an act, the weightiest first;
// anEntry stands for the cautions of every masked entry.
var cautionsOf = map[logbook.Kind][]string{
	logbook.KindMaskedEntry:       {anEntry, "caution/while-inside"},
	logbook.KindDoseAdded:         {"caution/dose-added", "caution/airing-moves", anEntry},
	logbook.KindHandReading:       {"caution/hand-reading"},
	logbook.KindEntryConfirmed:    {"caution/lets-people-in", "caution/clearance-falls"},
	logbook.KindNoGasDeclared:     {"caution/no-gas"},
	logbook.KindDosingStarted:     {"caution/dosing"},
	logbook.KindTreatmentStarted:  {"caution/t-zero"},
	logbook.KindAiringStarted:     {"caution/airing", "caution/downwind"},
	logbook.KindAiringPaused:      {"caution/paused"},
	logbook.KindAiringResumed:     {"caution/paused"},
	logbook.KindAbandoned:         {"caution/abandoned"},
	logbook.KindInspected:         {"caution/inspected", "caution/eggs"},
	logbook.KindCagesPlaced:       {"caution/cages-placed"},
	logbook.KindCagesRetrieved:    {"caution/cages"},
	logbook.KindCagesJudged:       {"caution/stunned"},
	logbook.KindSheetTorn:         {"caution/torn"},
	logbook.KindSheetRepaired:     {"caution/mended"},
	logbook.KindCanister:          {"caution/canister"},
	logbook.KindGrainIssued:       {"caution/issued"},
	logbook.KindWrittenOff:        {"caution/written-off"},
	logbook.KindMaskedExit:        {"caution/exit"},
	logbook.KindAcknowledged:      {"caution/acknowledged"},
	logbook.KindLineProved:        {"caution/proof"},
	logbook.KindChecksSigned:      {"caution/checks"},
	logbook.KindDosePlaced:        {"caution/dose-placed"},
	logbook.KindResidueTaken:      {"caution/residue", anEntry},
	logbook.KindResidueDisposed:   {"caution/disposed"},
	logbook.KindInstrumentChecked: {"caution/instrument"},
	logbook.KindExposureExtended:  {"caution/extended"},
}

// anEntry stands for the cautions of every masked entry.
const anEntry = "caution/entry"

// cautions are what has to be known before an act.
func (f *frame) cautions(kind logbook.Kind) []string {
	most := 20 * time.Minute
	if c := f.view.Config; c != nil && c.Settings.MaskedEntryMax > 0 {
		most = c.Settings.MaskedEntryMax.Std()
	}
	var all []string
	for _, key := range cautionsOf[kind] {
		if key != anEntry {
			all = append(all, f.text(key))
			continue
		}
		all = append(all, f.text("caution/two-people"),
			f.text("caution/out-again",
				"{time}", f.span(most), "{clock}", f.now.Add(most).Std().In(f.zone).Format("15:04")),
			f.text("caution/fixed-points"))
	}
	return all
}

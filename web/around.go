package web

import (
	"fmt"
	"time"

	"undersheet/logbook"
	"undersheet/rules"
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

// goesIn are the acts for which people go into a store under gas.
var goesIn = map[logbook.Kind]bool{logbook.KindMaskedEntry: true, logbook.KindDoseAdded: true, logbook.KindHandReading: true, logbook.KindEntryConfirmed: true}

// around puts beside a form what whoever fills it in has to know.
func (p *site) around(page *actPage, made *form.Form) {
	defer func() { page.Still = page.Withheld == "" }() // without a form the page is renewed as a whole
	store, stack := placeOf(made)
	if stack != "" { // the page is renewed by its address, which then names the place
		page.Path = actPath(made.Kind, "stack", stack)
	} else {
		page.Path = actPath(made.Kind, "store", store)
	}
	if s, k, ok := find(page.view, stack); ok && stack != "" {
		store = s.Name
		page.Stack = &aboutStack{link: linkTo(k.Name), stackHead: page.head(k)}
		if end, ok := form.ShortestEnd(page.view, stack); ok {
			page.Stack.Shortest = page.clock(end)
		}
		page.Back = page.Stack.Path
	}
	for _, s := range page.view.Stores {
		if s.Name == store {
			page.About = page.aboutStore(s)
			if stack == "" {
				page.Back = storePath(s.Name)
			}
			p.withhold(page, made.Kind, s)
		}
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
		Limit: figure(float64(s.Gate.LimitPPM))}
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
		page.Withheld = "The gate of " + s.Name + " is not ready for a confirmation. What is owed first stands above; the form comes when it is done."
		if g.State == logbook.GateCleared {
			page.Withheld = s.Name + " is cleared already. Nothing is owed now; a confirmation can be renewed when it lapses."
		}
		return
	}
	for _, r := range s.Gate.Reasons {
		if handCodes[r.Code] {
			page.Withheld = "Hand readings are owed first, beside every stack named above."
			page.Instead = append(page.Instead, linkToAct(logbook.KindHandReading, "store", s.Name, "point", "beside "+r.About))
		}
	}
}

// placeFirst are the acts whose form comes only when it is known what it is about:
// the air there stands beside it.
var placeFirst = map[logbook.Kind]string{logbook.KindMaskedEntry: "store", logbook.KindEntryConfirmed: "store", logbook.KindDoseAdded: "stack"}

// placeFirst asks for the store or the stack before the form is offered.
func (p *site) placeFirst(page *actPage, made *form.Form, store, stack string) {
	what := placeFirst[made.Kind]
	if what == "" || store != "" && (what == "store" || stack != "") {
		return
	}
	page.Withheld = "Choose the " + what + " first: its air then stands beside the form."
	for _, o := range made.Field(what).Choices {
		page.Instead = append(page.Instead, actLink{Path: actPath(made.Kind, what, o.Value), Title: o.Label})
	}
}

// night says that nobody goes in now; empty by day.
func (f *frame) night() string {
	from, to := "20:00", "06:00"
	if c := f.view.Config; c != nil && c.Settings.Night != nil {
		from, to = c.Settings.Night.From, c.Settings.Night.To
	}
	if !isNight(f.now.Std().In(f.zone), from, to) {
		return ""
	}
	return fmt.Sprintf("It is night, %s to %s at this depot: nobody goes in. Wait for daylight. Record here only what has already been done.", from, to)
}

// isNight reports whether the clock of at stands between from and to ("15:04"),
// which may span midnight. What cannot be read counts as night.
func isNight(at time.Time, from, to string) bool {
	a, errA := time.Parse("15:04", from)
	b, errB := time.Parse("15:04", to)
	if errA != nil || errB != nil {
		return true
	}
	minute := func(t time.Time) int { return 60*t.Hour() + t.Minute() }
	m, x, y := minute(at), minute(a), minute(b)
	if x <= y {
		return m >= x && m < y
	}
	return m >= x || m < y
}

// cautions are what has to be known before an act, in the order of its weight.
func (f *frame) cautions(kind logbook.Kind) []string {
	most := 20 * time.Minute
	if c := f.view.Config; c != nil && c.Settings.MaskedEntryMax > 0 {
		most = c.Settings.MaskedEntryMax.Std()
	}
	entry := []string{
		"Two trained people, breathing protection that the air allows, daylight; else wait. One goes in, one stays at the door and does nothing else.",
		fmt.Sprintf("Out again after %s at the latest, by %s if the entry is now. Later an alarm calls people.", span(most), f.now.Add(most).Std().In(f.zone).Format("15:04")),
		"The readings below are of fixed points. Where sheets are lifted or phosphide lies open there can be far more.",
	}
	switch kind {
	case logbook.KindMaskedEntry:
		return append(entry, "While anybody is inside, the gate stays shut and no clearance is taken.")
	case logbook.KindDoseAdded:
		return append([]string{"More phosphide is laid by the licensed fumigator and by nobody else. It is a masked entry: record the entry and the exit too.",
			"The new dose has to give off its gas first: the earliest airing moves back."}, entry...)
	case logbook.KindHandReading:
		return []string{"A reading at a door or at the end of a line is taken from outside. One inside a store that is not cleared is a masked entry: two trained people, breathing protection, daylight; else wait."}
	case logbook.KindEntryConfirmed:
		return []string{"With this a person with a name lets people in. Do it only on readings that you have seen yourself, and never because somebody is waiting.",
			"Local law, the label and the licensed fumigator come first. The clearance falls by itself when the air is no longer shown to be below the limit."}
	case logbook.KindNoGasDeclared:
		return []string{"This is a signed statement that nothing in the store is under gas. Sign it only when you know it, not because nothing was heard of."}
	case logbook.KindDosingStarted:
		return []string{"The gate is shut from here on. Count the people, lock and mark the doors, and prove every line before the first tablet."}
	case logbook.KindTreatmentStarted:
		return []string{"When the dosing is done and the sheet is shut all round: that moment is t = 0."}
	case logbook.KindAiringStarted:
		return []string{"Doors and ventilators are opened from outside, and the sheet's edge is freed by two trained people with breathing protection, in daylight.",
			"People downwind are warned first: what leaves the store is gas."}
	case logbook.KindAiringPaused, logbook.KindAiringResumed:
		return []string{"After a pause the whole airing time runs again."}
	case logbook.KindAbandoned:
		return []string{"The stack stays under gas until it was aired, whatever the treatment is called: the gate stays shut."}
	case logbook.KindInspected:
		return []string{"Grain is inspected after the store was cleared, never under gas or while it is being aired.",
			"Eggs and pupae are not seen: samples that are kept warm for some weeks tell more than a look."}
	case logbook.KindMaskedExit:
		return []string{"Count the people at the door. An exit that is not on record keeps the gate shut."}
	case logbook.KindAcknowledged:
		return []string{"To acknowledge is to take charge: the alarm stands until its cause is gone."}
	case logbook.KindLineProved:
		return []string{"A proof is made before dosing, with no gas under the sheet. Span gas is let in at the end of the line in the open air, upwind of people."}
	case logbook.KindChecksSigned:
		return []string{"Sign only what you have seen yourself, today. What is found wanting is put right before the first tablet."}
	case logbook.KindDosePlaced:
		return []string{"Phosphide is laid by two trained people or more, with gloves and breathing protection, in one layer, dry, never heaped."}
	case logbook.KindResidueTaken:
		return append([]string{"Residue can still give off gas, and burns when it is heaped, wet or closed in. Count what comes out: it must be what went in."}, entry...)
	case logbook.KindResidueDisposed:
		return []string{"Only what was shown spent is buried, deep and away from dwellings and water, or handed to somebody who is allowed to take it. Local law and the label decide."}
	case logbook.KindInstrumentChecked:
		return []string{"Zero and bump test are made at the instrument, in the open air, upwind of people; never by going to the end of a line under gas."}
	case logbook.KindExposureExtended:
		return []string{"An exposure can only be made longer than the protocol's; a shorter one is noted and not used."}
	}
	return nil
}

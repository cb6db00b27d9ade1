package web

import (
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/rules"
	"undersheet/rules/exposure"
	"undersheet/rules/gate"
	"undersheet/rules/people"
)

// storePath is where the page of a store is.
func storePath(store string) string { return "/store/" + url.PathEscape(store) }

// storePage is the page of one store.
type storePage struct {
	frame
	gateView
	Name             string
	Inside           string
	Conditions       []condition
	Care             []string // to look out for although the gate is cleared
	Alarms           []alarmView
	Air              []airRow
	Limit, LimitOf   string
	Air8, Air15      string
	Stacks           []stackCard
	Acts             []actLink
	People           []personRow
	Plan             string // where the next treatment is planned
	Protection       string // what breathing protection the live air allows
	ProtectionSource string
	Signals          []fact
	Due              []dueRow     // what is owed of its stacks
	Hands            []journalRow // newest confirmations, declarations and hand readings
}

// condition is one condition of the gate.
type condition struct {
	State, Word string // met, unmet, later or unknown; and in words
	Text        string
	Behind      []string // what stands against it
	Reading     string   // the readings behind it; empty = none are
}

// conditionOf are the conditions of a gate, each with the codes of the reasons for which it does
// not hold. A reason with any other code is shown as a condition of its own.
var conditionOf = []struct {
	key   string // of its words
	last  bool   // judged only when all those before hold
	codes []string
}{
	{"condition/no-gas", false, []string{gate.Dosing, gate.UnderGas}},
	{"condition/nobody-inside", false, []string{gate.Inside}},
	{"condition/on-record", false, []string{gate.NoClearance, gate.RestoredLog}},
	{"condition/air-read", false,
		[]string{gate.NoPoints, gate.NoReading, gate.PointSilent, gate.ClockAhead, gate.OverRange, gate.PointStuck, gate.PointFault, gate.BelowZero, gate.TooCoarse, "second-value", "late-reading-above-limit"}},
	{"condition/air-below", false, []string{gate.AboveLimit, gate.NotBelowLong}},
	{"condition/aired", false, []string{gate.AiringTooShort, gate.AiringPaused}},
	{"condition/hands", true, []string{gate.HandOwed, gate.HandAbove, gate.HandTooCoarse, gate.HandTooOld}},
	{"condition/confirmed", true, []string{gate.ConfirmOwed, gate.Lapsed}},
}

// handCodes are the codes of reasons that a new hand reading can take away.
var handCodes = map[string]bool{gate.HandOwed: true, gate.HandAbove: true, gate.HandTooCoarse: true, gate.HandTooOld: true}

// careCodes are the codes of reasons that do not keep a gate from opening: they say what to look
// out for.
var careCodes = map[string]bool{"lines-still-read-gas": true, "withholding": true}

// conditions lists the conditions of a store's gate, each with how it stands.
// While the watch does not keep up, none is known to hold.
func (f *frame) conditions(s rules.StoreView) []condition {
	against := map[string][]string{}
	var strange []condition
	for _, r := range s.Gate.Reasons {
		text := words.Reason(f.Lang, r)
		switch i := conditionFor(r.Code); {
		case careCodes[r.Code]:
		case i < 0:
			strange = append(strange, condition{State: "unmet", Word: f.text("condition/unmet"), Text: text})
		default:
			against[conditionOf[i].key] = append(against[conditionOf[i].key], text)
		}
	}
	gassed := len(against[conditionOf[0].key]) > 0
	early := s.Gate.State != logbook.GateCheckOwed && s.Gate.State != logbook.GateCleared
	var all []condition
	for _, c := range conditionOf {
		x := condition{State: "met", Text: f.text(c.key), Behind: against[c.key], Reading: f.behind(s, c.codes[0])}
		switch {
		case len(x.Behind) > 0:
			x.State = "unmet"
		case f.shut != "" || s.Gate.State == "":
			x.State = "unknown"
		case c.last && early, gassed && c.codes[0] == gate.AiringTooShort:
			x.State = "later"
		}
		x.Word = f.text("condition/" + x.State)
		all = append(all, x)
	}
	return append(strange, all...)
}

// behind tells the readings behind the condition whose first code this is.
func (f *frame) behind(s rules.StoreView, code string) string {
	var parts []string
	switch code {
	case gate.AboveLimit:
		for _, r := range s.Gate.Read {
			parts = append(parts, f.text("page/point-up-to", "{point}", r.Point, "{value}", f.figure(float64(r.PPM)), "{upper}", f.figure(float64(r.Upper))))
		}
		if len(parts) > 0 {
			parts = append(parts, f.text("page/limit-is", "{limit}", f.figure(float64(s.Gate.LimitPPM))))
		}
	case gate.NoPoints:
		for _, r := range s.Gate.Read {
			parts = append(parts, f.text("page/point-read", "{point}", r.Point, "{age}", f.ageOf(r.At)))
		}
	case gate.AiringTooShort:
		if s.AiringH > 0 {
			parts = append(parts, f.text("page/aired-for", "{time}", f.span(time.Duration(s.AiringH*float64(time.Hour)))))
		}
	case gate.Inside:
		if s.Inside != "" {
			parts = append(parts, f.insideNow(s))
		}
	}
	return sentence(f.list(parts))
}

// conditionFor returns the index of the condition that a code speaks against; -1: none.
func conditionFor(code string) int {
	for i, c := range conditionOf {
		for _, k := range c.codes {
			if k == code {
				return i
			}
		}
	}
	return -1
}

// personRow is what somebody met by masked entries in a day.
type personRow struct{ Name, Entries, TWA8 string }

// people lists who went in.
func (f *frame) people(ps []people.Day) []personRow {
	var rows []personRow
	for _, p := range ps {
		row := personRow{Name: p.Name, Entries: strconv.Itoa(len(p.Visits)), TWA8: f.figure(p.TWA8)}
		if !p.Known {
			row.TWA8 = f.text("page/at-least", "{value}", row.TWA8)
		}
		rows = append(rows, row)
	}
	return rows
}

// store shows the page of one store.
func (p *site) store(w http.ResponseWriter, r *http.Request) {
	v := p.source.View()
	s := v.Store(r.PathValue("name"))
	if s == nil {
		p.missing(w, r)
		return
	}
	p.show(w, r, http.StatusOK, "store", p.storePage(r, v, *s))
}

func (p *site) storePage(r *http.Request, v *rules.View, s rules.StoreView) storePage {
	page := storePage{frame: p.frame(r, v, "page/title", "{name}", s.Name), Name: s.Name, Plan: planPath(s.Name)}
	page.People, page.Limit = page.people(s.People), page.figure(float64(s.Gate.LimitPPM))
	page.LimitOf = sentence(words.Source(page.Lang, s.Gate.LimitOf))
	page.Inside, page.Signals, page.Hands = page.insideNow(s), page.signals(s), p.recentRows(r.Context(), &page.frame, s.Name)
	page.gateView, page.Conditions = page.gate(s.Name, s.Gate), page.conditions(s)
	if page.State != logbook.GateCleared {
		page.Protection, page.ProtectionSource = page.protection(s.Protection), exposure.ProtectionSource
	}
	for _, r := range s.Gate.Reasons {
		if careCodes[r.Code] {
			page.Care = append(page.Care, words.Reason(page.Lang, r))
		}
	}
	mine := map[string]bool{}
	for _, k := range s.Stacks {
		mine[k.Name] = true
		page.Stacks = append(page.Stacks, page.stackCard(k))
	}
	page.Due = page.dueOf(v, func(x *rules.FollowUpView) bool { return x.Store == s.Name && x.State == logbook.FollowOpen })
	page.Alarms = page.alarms(v, func(a *rules.AlarmView) bool {
		return a.Alarm.Store == s.Name || a.Alarm.Stack != "" && mine[a.Alarm.Stack]
	})
	page.Air = page.air(s)
	if len(s.Air) > 0 {
		page.Air8, page.Air15 = page.over8h(s.AirTWA8h, leastRead(s.Air)), page.worst15(s)
	}
	page.Acts = page.storeActs(s, page.gateView.State)
	return page
}

// air lists the air points of a store.
func (f *frame) air(s rules.StoreView) []airRow {
	upper := map[string]logbook.PointRead{}
	for _, r := range s.Gate.Read {
		upper[r.Point] = r
	}
	var rows []airRow
	for _, a := range s.Air {
		row := airRow{Name: a.Name, Where: f.whereOf(a), Last: f.last(a.Last), State: f.state(a.Last.State), Upper: "—", Age: f.ageOf(a.Last.At),
			Mean15: "—", TWA8: f.over8h(a.TWA8h, a.Read8h)}
		if f.read15(a) {
			row.Mean15 = f.figure(a.Mean15min)
		}
		if r, ok := upper[a.Name]; ok && r.At == a.Last.At {
			row.Upper = f.figure(float64(r.Upper))
		}
		rows = append(rows, row)
	}
	return rows
}

// wholeShift is how many of the 8 hours readings must cover for their average to stand as
// it is: all but the time of a reading or two.
const wholeShift = 7.5

// over8h writes an average over 8 hours (ppm); where fewer were read it is the least that it
// can be, and where none were read there is none.
func (f *frame) over8h(ppm, read float64) string {
	if !(read > 0 || ppm > 0) {
		return "—"
	}
	if read < wholeShift {
		return "≥ " + f.figure(ppm)
	}
	return f.figure(ppm)
}

// whereOf says where an air point is, unless its name does.
func (f *frame) whereOf(a rules.AirView) string {
	if where := f.code("where", a.Where); !strings.EqualFold(where, a.Name) {
		return where
	}
	return ""
}

// read15 reports whether a point was read in the last 15 minutes, so that its mean over them is one.
func (f *frame) read15(a rules.AirView) bool {
	return a.Mean15min > 0 || shows(a.Last) && f.now.Sub(a.Last.At) < shortTerm
}

// worst15 writes the highest mean over 15 minutes (ppm) at the points of the gate; where not each
// of them was read it is the least that it can be.
func (f *frame) worst15(s rules.StoreView) string {
	all, any := true, false
	for _, a := range s.Air {
		if a.Where == logbook.WhereInside || a.Where == logbook.WhereDoor {
			read := f.read15(a)
			all, any = all && read, any || read
		}
	}
	switch {
	case !any:
		return "—"
	case !all:
		return "≥ " + f.figure(s.Air15min)
	}
	return f.figure(s.Air15min)
}

// leastRead is how many of the 8 hours were read at the point of the gate that was read least.
func leastRead(air []rules.AirView) float64 {
	least := 8.0
	for _, a := range air {
		if a.Where == logbook.WhereInside || a.Where == logbook.WhereDoor {
			least = min(least, a.Read8h)
		}
	}
	return least
}

// storeActs are the acts that a store may ask for as it stands.
func (f *frame) storeActs(s rules.StoreView, state string) []actLink {
	var acts []actLink
	add := func(kind logbook.Kind) { acts = append(acts, f.linkToAct(kind, "store", s.Name)) }
	if s.Inside != "" {
		add(logbook.KindMaskedExit)
	}
	for _, r := range s.Gate.Reasons {
		if handCodes[r.Code] {
			l := f.linkToAct(logbook.KindHandReading, "store", s.Name, "point", "beside "+r.About)
			l.Title = f.text("page/act-beside", "{act}", l.Title, "{stack}", r.About)
			acts = append(acts, l)
		}
	}
	if state == logbook.GateCheckOwed {
		add(logbook.KindEntryConfirmed)
	}
	add(logbook.KindHandReading)
	add(logbook.KindMaskedEntry)
	if slices.ContainsFunc(s.Gate.Reasons, func(r logbook.Reason) bool { return r.Code == gate.NoClearance || r.Code == gate.RestoredLog }) {
		add(logbook.KindNoGasDeclared)
	}
	return acts
}

// stackActs are the acts that a stack may ask for as it stands.
func (f *frame) stackActs(k rules.StackView) []actLink {
	kinds := []logbook.Kind{logbook.KindLineProved, logbook.KindDosingStarted}
	switch k.Phase {
	case logbook.PhaseDosing:
		kinds = []logbook.Kind{logbook.KindTreatmentStarted, logbook.KindAbandoned}
	case logbook.PhaseExposure:
		kinds = []logbook.Kind{logbook.KindHandReading, logbook.KindAiringStarted}
		if awaited(k) {
			kinds = append(kinds, logbook.KindExposureExtended, logbook.KindDoseAdded, logbook.KindAbandoned)
		}
	case logbook.PhaseAiring:
		kinds = []logbook.Kind{logbook.KindHandReading, logbook.KindAiringPaused, logbook.KindAiringResumed}
	case logbook.PhaseWithholding, logbook.PhaseClosed:
		kinds = append(kinds, logbook.KindInspected)
	}
	var acts []actLink
	for _, kind := range kinds {
		if kind == logbook.KindHandReading && k.Phase == logbook.PhaseAiring {
			acts = append(acts, f.linkToAct(kind, "store", k.Store, "point", "beside "+k.Name))
			continue
		}
		acts = append(acts, f.linkToAct(kind, "stack", k.Name))
	}
	return acts
}

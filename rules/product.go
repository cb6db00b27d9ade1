package rules

import (
	"strings"

	"undersheet/logbook"
	"undersheet/rules/followup"
	"undersheet/rules/ledger"
	"undersheet/rules/people"
	"undersheet/rules/treatment"
)

// residue finds the account that residue is of: that of the treatment that is named; else,
// while the current treatment is under its sheet, the oldest before it of which some is
// left. It is nil where the stack remembers no treatment of that name.
func (k *Stack) residue(named, form string, left func(*ledger.Account) int) (*ledger.Account, *treatment.Treatment) {
	if named = strings.TrimSpace(named); named != "" && (k.Treatment == nil || !k.Treatment.Is(named)) {
		for _, p := range k.Owing {
			if p.Treatment.Is(named) {
				return p.Product.Of(form), p.Treatment
			}
		}
		return nil, nil
	}
	if t := k.Treatment; named == "" && (t == nil || t.AiringFirst == 0) {
		for _, p := range k.Owing {
			if a := p.Product[ledger.Name(form)]; a != nil && left(a) > 0 {
				return a, p.Treatment
			}
		}
	}
	return k.Product.Of(form), k.Treatment
}

// stockReceived takes product into the stock.
func (s *State) stockReceived(e *logbook.StockReceived) { s.Stock.Of(e.Form).Receive(e.Count) }

// stockCounted sets the stock to what was counted, and notes by how much the ledger was off.
func (s *State) stockCounted(e *logbook.StockCounted) {
	st := s.Stock.Of(e.Form)
	first := st.Received == 0 && st.Used == 0 && st.Counted == 0
	if off := st.Count(e.Count); off != 0 && !first {
		s.find(logbook.Finding{Code: "stock-count-off", About: ledger.Name(e.Form), Value: logbook.Number(off), Limit: logbook.Number(e.Count)})
	}
}

// dosePlaced moves product from the stock to under a sheet. Where no dosing and no exposure
// is running, a new treatment begins with it, since phosphide was laid.
func (s *State) dosePlaced(e *logbook.DosePlaced, k *Stack, at logbook.Time) {
	if t := k.Treatment; e.Count > 0 && (t == nil || t.AiringFirst != 0 && at >= t.AiringFirst) {
		s.newTreatment(k, e.Stack, at)
	} else if e.Count > 0 {
		t.Lay(at)
	}
	note := func(when bool, f logbook.Finding) {
		if when {
			f.Store, f.Stack = k.Store, e.Stack
			s.find(f)
		}
	}
	st := s.Stock.Of(e.Form)
	short := st.Use(e.Count)
	note(short, logbook.Finding{Code: "stock-negative", About: ledger.Name(e.Form), Value: logbook.Number(st.Left)})
	note(len(e.People) > 0 && people.Alone(e.People...), logbook.Finding{Code: "dose-placed-alone", About: strings.Join(e.People, ", ")})
	note(strings.TrimSpace(e.Protection) == "", logbook.Finding{Code: "dose-placed-no-protection"})
	for _, name := range e.People {
		s.licensed(name, k.Store, e.Stack)
	}
	k.Product.Of(e.Form).Placed += e.Count
	if t := k.Treatment; t != nil && t.Given.PhosphineG > 0 {
		grams, known := k.Product.Grams()
		total := t.Given.PhosphineG
		for _, d := range t.Extra {
			total += d.Grams
		}
		note(known && (grams < 0.9*total || grams > 1.1*total) && t.Started != 0, logbook.Finding{Code: "dose-placed-differs", Value: logbook.Number(grams), Limit: logbook.Number(total)})
	}
}

// licensed notes a person whose licence has run out by the site file.
func (s *State) licensed(name, store, stack string) {
	for _, p := range s.Site.People {
		if people.Same(p.Name, name) && people.LicenceOver(p.LicenceUntil, s.At) {
			s.find(logbook.Finding{Code: "licence-expired", Store: store, Stack: stack, About: p.Name})
		}
	}
}

// residueTaken takes residue out from under a sheet. Once all of it is out, nothing releases
// gas under the sheet any more, and a dose that was added late no longer holds back airing.
func (s *State) residueTaken(e *logbook.ResidueTaken, k *Stack) {
	a, t := k.residue(e.Treatment, e.Form, (*ledger.Account).Inside)
	if a == nil {
		s.find(logbook.Finding{Code: "nothing-owed", Store: k.Store, Stack: e.Stack, About: logbook.FollowResidue})
		a = &ledger.Account{Placed: e.Count}
	}
	a.Taken += e.Count
	if e.Residue != logbook.ResidueSpent {
		a.Live += e.Count
		s.find(logbook.Finding{Code: "residue-live", Store: k.Store, Stack: e.Stack, About: e.Residue, Value: logbook.Number(e.Count)})
	} else if strings.TrimSpace(e.ShownBy) == "" {
		s.find(logbook.Finding{Code: "residue-spent-not-shown", Store: k.Store, Stack: e.Stack, Value: logbook.Number(e.Count)})
	}
	if a.Taken > a.Placed {
		s.find(logbook.Finding{Code: "residue-count", Store: k.Store, Stack: e.Stack, About: ledger.Name(e.Form), Value: logbook.Number(a.Taken), Limit: logbook.Number(a.Placed)})
	}
	if t != nil && t == k.Treatment && k.Product.AllTaken() {
		t.ReleaseUntil = min(t.ReleaseUntil, e.Time, s.At)
	}
}

// residueDisposed notes where residue went.
func (s *State) residueDisposed(e *logbook.ResidueDisposed, k *Stack, at logbook.Time) {
	note := func(when bool, code string, value, limit int) {
		if when {
			s.find(logbook.Finding{Code: code, Store: k.Store, Stack: e.Stack, About: ledger.Name(e.Form), Value: logbook.Number(value), Limit: logbook.Number(limit)})
		}
	}
	a, t := k.residue(e.Treatment, e.Form, (*ledger.Account).Waiting)
	if a == nil {
		s.find(logbook.Finding{Code: "nothing-owed", Store: k.Store, Stack: e.Stack, About: logbook.FollowResidue})
		a = &ledger.Account{Placed: e.Count, Taken: e.Count}
	}
	a.Disposed += e.Count
	if t != nil {
		t.After.Residue = followup.Done{At: at, By: e.By, Result: e.How}
	}
	note(e.How == logbook.DisposedHeap, "residue-heaped", e.Count, 0)
	note(e.How == logbook.DisposedDrum, "residue-closed-drum", e.Count, 0)
	note(a.Live > 0 && e.How == logbook.DisposedBuried, "residue-buried-live", a.Live, 0)
	note(e.How == logbook.DisposedHanded && strings.TrimSpace(e.To) == "", "residue-handed-to-nobody", e.Count, 0)
	note(a.Disposed > a.Taken, "residue-count", a.Disposed, a.Taken)
	note(a.Disposed == a.Taken && a.Taken < a.Placed, "residue-count", a.Taken, a.Placed)
}

package season

import (
	"maps"
	"slices"
	"strings"

	"undersheet/logbook"
	"undersheet/rules/ledger"
)

// books are the ledgers of product as they stand at a moment.
type books struct {
	stock   map[string]ledger.Stock   // by form
	residue map[string]ledger.Account // under the sheet of one stack, by form
}

// books copies the ledgers that an act may change.
func (g *gatherer) books(e logbook.Acting) books {
	b := books{stock: map[string]ledger.Stock{}, residue: map[string]ledger.Account{}}
	for form, st := range g.player.State.Stock {
		b.stock[form] = *st
	}
	_, stack := e.Place()
	if k := g.player.State.Stacks[stack]; k != nil {
		for form, a := range k.Product {
			b.residue[form] = *a
		}
	}
	return b
}

// moved notes what an act did to the ledgers: how they stand after it, less before.
func (g *gatherer) moved(e logbook.Acting, before books) {
	at, after := e.Head().Time, g.books(e)
	for _, form := range slices.Sorted(maps.Keys(after.stock)) {
		was, is := before.stock[form], after.stock[form]
		if was == is {
			continue
		}
		m := Move{At: at, Form: form, About: about(e), By: e.Who().By, Opening: was.Left, In: is.Received - was.Received,
			Used: is.Used - was.Used, Counted: is.Counted > was.Counted, Left: is.Left}
		m.Off = m.Left - m.Opening - m.In + m.Used
		st := g.form(form)
		switch {
		case at < g.s.From:
			st.Opening += m.Left - m.Opening
		case g.within(at):
			st.Received, st.Used, st.Off = st.Received+m.In, st.Used+m.Used, st.Off+m.Off
			g.s.Moves = append(g.s.Moves, m)
		}
		st.Closing = st.Opening + st.Received - st.Used + st.Off
	}
	switch e.(type) {
	case *logbook.ResidueTaken, *logbook.ResidueDisposed:
		for form, is := range after.residue {
			if was := before.residue[form]; was != is && g.within(at) {
				st := g.form(form)
				st.Taken, st.Disposed = st.Taken+is.Taken-was.Taken, st.Disposed+is.Disposed-was.Disposed
			}
		}
	}
}

// form is the sum of a form.
func (g *gatherer) form(name string) *Stock {
	if g.stock[name] == nil {
		g.stock[name] = &Stock{Form: name}
	}
	return g.stock[name]
}

// about says what a line of the register is about: batch and invoice, or the stack.
func about(e logbook.Acting) string {
	switch e := e.(type) {
	case *logbook.StockReceived:
		return strings.Join(slices.DeleteFunc([]string{e.Batch, e.Invoice}, func(s string) bool { return s == "" }), ", ")
	case *logbook.DosePlaced:
		return e.Stack
	}
	return ""
}

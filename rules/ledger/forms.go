package ledger

import (
	"maps"
	"slices"
	"strings"

	"undersheet/rules/dose"
	"undersheet/rules/plan"
)

// Name is the name that a form is kept under: the usual name where it is one, in the
// singular, too; else what people wrote, in small letters.
func Name(form string) string {
	if f, ok := plan.FormOf(form); ok {
		return f.Name
	}
	return strings.ToLower(strings.TrimSpace(form))
}

// of returns what m keeps of a form, from now on at least that it is kept.
func of[T any](m *map[string]*T, form string) *T {
	if *m == nil {
		*m = map[string]*T{}
	}
	key := Name(form)
	if (*m)[key] == nil {
		(*m)[key] = new(T)
	}
	return (*m)[key]
}

// Stocks is the store of chemicals: a stock of each form, by its name.
type Stocks map[string]*Stock

// Of returns the stock of a form, an empty one where there was none.
func (s *Stocks) Of(form string) *Stock { return of((*map[string]*Stock)(s), form) }

// FormStock is one form with its stock.
type FormStock struct {
	Form string
	Stock
}

// List copies the stocks, by form.
func (s Stocks) List() []FormStock {
	var out []FormStock
	for _, form := range slices.Sorted(maps.Keys(s)) {
		out = append(out, FormStock{form, *s[form]})
	}
	return out
}

// Product is what was laid under the sheet of one treatment: an account of each form, by
// its name.
type Product map[string]*Account

// Of returns the account of a form, an empty one where there was none.
func (p *Product) Of(form string) *Account { return of((*map[string]*Account)(p), form) }

// FormAccount is one form with its account.
type FormAccount struct {
	Form string
	Account
}

// List copies the accounts, by form.
func (p Product) List() []FormAccount {
	var out []FormAccount
	for _, form := range slices.Sorted(maps.Keys(p)) {
		out = append(out, FormAccount{form, *p[form]})
	}
	return out
}

// Left tells what there is of the product: whether any is on record, whether some is still
// under the sheet, and whether some was not disposed of yet, wherever it is.
func (p Product) Left() (known, inside, remaining bool) {
	for _, a := range p {
		known = known || *a != Account{}
		inside = inside || a.Inside() > 0
		remaining = remaining || a.Inside() > 0 || a.Waiting() > 0
	}
	return known, inside, remaining
}

// AllTaken reports whether product was placed, and none of it is under the sheet any more.
func (p Product) AllTaken() bool {
	_, inside, _ := p.Left()
	return len(p) > 0 && !inside
}

// Phosphide reports whether product that releases phosphine is under the sheet.
func (p Product) Phosphide() bool {
	for form, a := range p {
		if !dose.FromCylinders(form) && a.Inside() > 0 {
			return true
		}
	}
	return false
}

// Grams is what all pieces that were placed give off in full, g of phosphine; false where a
// form's yield is not known.
func (p Product) Grams() (grams float64, known bool) {
	for _, form := range slices.Sorted(maps.Keys(p)) {
		f, ok := plan.FormOf(form)
		if !ok {
			return 0, false
		}
		grams += float64(p[form].Placed) * f.GasG
	}
	return grams, true
}

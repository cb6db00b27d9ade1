package logbook

import (
	"errors"
	"fmt"
)

// Kinds of acts on the product: its way from the stock to its place under the sheet
// and out again as residue.
const (
	KindStockReceived   Kind = "stock-received"
	KindStockCounted    Kind = "stock-counted"
	KindDosePlaced      Kind = "dose-placed"
	KindResidueTaken    Kind = "residue-taken"
	KindResidueDisposed Kind = "residue-disposed"
)

// OnSite is the part of acts that name no store and no stack.
type OnSite struct{}

// Place implements Acting.
func (OnSite) Place() (store, stack string) { return "", "" }

// Product is a number of pieces of one form.
type Product struct {
	Form  string `json:"form"` // tablets, pellets, sachets, plates, or the site's own word
	Count int    `json:"count"`
}

// Validate refuses a product without a form, or fewer than no pieces.
func (p *Product) Validate() error {
	return errors.Join(need("form", p.Form), notNegative("count", float64(p.Count)))
}

// StockReceived: product came into the store of chemicals.
type StockReceived struct {
	Header
	OnSite
	Product
	Batch   string `json:"batch,omitempty"`
	Invoice string `json:"invoice,omitempty"`
	Act
}

// StockCounted: somebody counted what is there. It is what the ledger goes on from.
type StockCounted struct {
	Header
	OnSite
	Product
	Act
}

// DosePlaced: pieces were laid under the sheet of a stack.
type DosePlaced struct {
	Header
	OnStack
	Product
	Name       string   `json:"product,omitempty"` // as it stands on the packing, with its registration number
	Batch      string   `json:"batch,omitempty"`
	Placement  string   `json:"placement,omitempty"` // where it was laid, and on what
	Places     int      `json:"places,omitempty"`    // trays or places
	People     []string `json:"people,omitempty"`    // who laid it
	Protection string   `json:"protection,omitempty"`
	Act
}

// Validate implements Entry.
func (d *DosePlaced) Validate() error {
	return errors.Join(d.OnStack.Validate(), d.Product.Validate(), notNegative("places", float64(d.Places)))
}

// What residue is found to be.
const (
	ResidueSpent    = "spent"     // shown spent: gives off no more gas
	ResidueNotSpent = "not-spent" // still gives off gas
	ResidueNotKnown = "not-known" // nobody looked
)

// ResidueTaken: pieces, or what is left of them, were taken from under the sheet.
type ResidueTaken struct {
	Header
	OnStack
	Product
	Residue   string `json:"residue"`             // spent, not-spent or not-known
	ShownBy   string `json:"shown_by,omitempty"`  // how it was shown to be spent
	Treatment string `json:"treatment,omitempty"` // whose product it was; empty: the oldest of which some is left
	Act
}

// Validate implements Entry.
func (r *ResidueTaken) Validate() error {
	err := errors.Join(r.OnStack.Validate(), r.Product.Validate())
	switch r.Residue {
	case ResidueSpent, ResidueNotSpent, ResidueNotKnown:
		return err
	}
	return errors.Join(err, fmt.Errorf("the field \"residue\" is %q: want %s, %s or %s", r.Residue, ResidueSpent, ResidueNotSpent, ResidueNotKnown))
}

// Ways in which residue goes.
const (
	DisposedBuried = "buried"      // deep, and away from dwellings and water
	DisposedHanded = "handed-over" // to somebody who is allowed to take it
	DisposedHeap   = "heaped"      // never: it catches fire
	DisposedDrum   = "closed-drum" // never: it bursts
)

// ResidueDisposed: residue of a stack went for good, or was put where it must not be.
type ResidueDisposed struct {
	Header
	OnStack
	Product
	How       string `json:"how"`   // buried, handed-over, heaped or closed-drum
	Where     string `json:"where"` // the place
	To        string `json:"to,omitempty"`
	Treatment string `json:"treatment,omitempty"` // whose product it was; empty: the oldest of which some is left
	Act
}

// Validate implements Entry.
func (r *ResidueDisposed) Validate() error {
	err := errors.Join(r.OnStack.Validate(), r.Product.Validate(), need("where", r.Where))
	switch r.How {
	case DisposedBuried, DisposedHanded, DisposedHeap, DisposedDrum:
		return err
	}
	return errors.Join(err, fmt.Errorf("the field \"how\" is %q: want %s, %s, %s or %s", r.How, DisposedBuried, DisposedHanded, DisposedHeap, DisposedDrum))
}

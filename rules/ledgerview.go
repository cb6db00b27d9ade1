package rules

import (
	"maps"
	"slices"

	"undersheet/logbook"
	"undersheet/rules/ledger"
)

// StockView is one form of product in stock, in pieces.
type StockView struct {
	Form string
	ledger.Stock
}

// ProductView is one form of product under a sheet, in pieces.
type ProductView struct {
	Form string
	ledger.Account
}

// CheckView is the newest zero, bump test or calibration of a channel.
type CheckView struct {
	What string
	Check
}

func (s *State) stockViews() []StockView {
	var out []StockView
	for _, form := range slices.Sorted(maps.Keys(s.Stock)) {
		out = append(out, StockView{form, *s.Stock[form]})
	}
	return out
}

func productViews(product map[string]*ledger.Account) []ProductView {
	var out []ProductView
	for _, form := range slices.Sorted(maps.Keys(product)) {
		out = append(out, ProductView{form, *product[form]})
	}
	return out
}

// checkViews shows the checks of a channel, and the code of what it owes before it
// counts for a gate.
func (c *Channel) checkViews() []CheckView {
	var out []CheckView
	for _, what := range []string{logbook.CheckZero, logbook.CheckBump, logbook.CheckCalibration} {
		if k, ok := c.Checks[what]; ok {
			out = append(out, CheckView{what, k})
		}
	}
	return slices.Clip(out)
}

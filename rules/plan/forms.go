package plan

import (
	"math"
	"strings"
)

// Form is a formulation that is laid under the sheet.
type Form struct {
	Name   string
	PieceG float64 // g of one piece as it is sold
	GasG   float64 // g of phosphine that a piece gives off in full
	Source string
}

// forms are the usual pieces. A label that says otherwise holds.
var forms = []Form{
	{"tablets", 3, 1, "3 g tablet = 1 g phosphine: table of formulations, secondary copy; 0.9855 g by stoichiometry at 56 % AlP"},
	{"pellets", 0.6, 0.2, "0.6 g pellet = 0.2 g phosphine: from memory; 0.197 g by stoichiometry at 56 % AlP"},
	{"sachets", 34, 11, "34 g sachet = 11 g phosphine: table of formulations, secondary copy; 11.17 g by stoichiometry at 56 % AlP"},
	{"plates", 117, 33, "117 g magnesium plate = 33 g phosphine: table of formulations, secondary copy"},
}

// FormNames lists the names of the formulations.
func FormNames() []string {
	names := make([]string, len(forms))
	for i, f := range forms {
		names[i] = f.Name
	}
	return names
}

// FormOf returns the formulation of that name, in the singular too.
func FormOf(name string) (Form, bool) {
	n := strings.ToLower(strings.TrimSpace(name))
	for _, f := range forms {
		if n == f.Name || n == strings.TrimSuffix(f.Name, "s") {
			return f, true
		}
	}
	return Form{}, false
}

// Pieces is how many pieces give off at least grams of phosphine.
func (f Form) Pieces(grams float64) int { return int(math.Ceil(grams/f.GasG - 1e-9)) }

// Stoichiometry: what a pure phosphide gives off in full, g of phosphine per g,
// from AlP + 3 H₂O → Al(OH)₃ + PH₃ and Mg₃P₂ + 6 H₂O → 2 PH₃ + 3 Mg(OH)₂ with
// the IUPAC standard atomic weights (2021, abridged).
const (
	hydrogen, aluminium, magnesium, phosphorus = 1.008, 26.982, 24.305, 30.974

	PhosphineOfAlP   = (phosphorus + 3*hydrogen) / (aluminium + phosphorus)
	PhosphineOfMg3P2 = 2 * (phosphorus + 3*hydrogen) / (3*magnesium + 2*phosphorus)
)

// perTray is how many pieces lie on a tray one deep without touching: tablets of
// some 20 mm on a 30 mm grid of a 300 mm × 300 mm tray, pellets of some 10 mm on a
// 15 mm grid; bags and plates lie on their own. Common practice is one layer, never
// heaped; the sizes are from memory.
func (f Form) perTray() int {
	switch f.Name {
	case "tablets":
		return 100
	case "pellets":
		return 400
	}
	return 1
}

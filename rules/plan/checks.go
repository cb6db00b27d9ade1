package plan

import "slices"

// Checks that are signed before dosing, in the order of a walk: round the stack,
// the building, what is near, the people, their equipment, the papers. Common
// practice.
var inStore = []string{
	"floor", "sheet-holes", "corners", "roof-leaks", "water-near", "distance-dwellings", "neighbours-told", "adjoining-bays", "keys", "guards", "signs",
	"store-empty", "sampling-lines", "gloves", "masks-canisters", "breathing-apparatus", "second-person", "canister-life", "licences", "instruments-checked", "emergency-card", "weather", "cages-placed",
}

// atPlinth stand in the place of what only a building has.
var atPlinth = map[string]string{"roof-leaks": "rain-cover", "keys": "barrier", "adjoining-bays": "zone-clear", "store-empty": "zone-empty"}

// Checks lists the codes of what is signed before dosing.
func Checks(outdoors bool) []string {
	out := make([]string, 0, len(inStore))
	for _, c := range inStore {
		if other, ok := atPlinth[c]; ok && outdoors {
			c = other
		}
		out = append(out, c)
	}
	return out
}

// IsCheck reports whether code is one of those that are signed.
func IsCheck(code string) bool { return slices.Contains(EveryCheck(), code) }

// places of the least sampling lines: under the sheet at the middle of the top, in
// the heart of the stack, and low at the corner that is farthest from the dose.
var places = []string{"top-middle", "heart", "far-low-corner"}

// LeastLines is how many sampling lines a stack needs for its gas to be known in
// more than one point: common practice.
const LeastLines = 3

// EveryCheck lists the codes of all checks there are, in a store or in the open.
func EveryCheck() []string {
	all := Checks(false)
	for _, c := range Checks(true) {
		if !slices.Contains(all, c) {
			all = append(all, c)
		}
	}
	return all
}

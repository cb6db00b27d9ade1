package people

import (
	"cmp"
	"maps"
	"slices"

	"undersheet/logbook"
)

// Canister is that of a person's mask.
type Canister struct {
	At, Expires logbook.Time
	By          string
	Minutes     float64      // of use that its maker allows; 0 = not said
	Used        float64      // minutes inside by masked entry since it was changed
	UsedUp      logbook.Time // when that was as much as is allowed; 0 = not yet
}

// Due is when the canister is to be changed: when it expires, or when it was used up.
func (c *Canister) Due() logbook.Time {
	if c.UsedUp != 0 {
		return min(c.Expires, c.UsedUp)
	}
	return c.Expires
}

// keepCanisters bounds the people whose canisters are remembered: those that were changed last.
const keepCanisters = 200

// Canisters are those of masks, by name of the person.
type Canisters map[string]Canister

// Change takes a new canister of a person's mask, and reports whether it is the newest that
// is known.
func (cs *Canisters) Change(person string, c Canister) (newest bool) {
	name, known := called(*cs, person)
	if known && (*cs)[name].At > c.At {
		return false
	}
	if !known && len(*cs) >= keepCanisters {
		delete(*cs, cs.oldest())
	}
	if *cs == nil {
		*cs = Canisters{}
	}
	(*cs)[name] = c
	return true
}

// oldest is whose canister was changed longest ago.
func (cs Canisters) oldest() string {
	return slices.MinFunc(slices.Sorted(maps.Keys(cs)), func(a, b string) int { return cmp.Compare(cs[a].At, cs[b].At) })
}

// Wear counts a stay inside against the canister of whoever was in.
func (cs Canisters) Wear(person string, in, out logbook.Time) {
	name, known := called(cs, person)
	c := cs[name]
	if !known || out <= c.At {
		return
	}
	c.Used += out.Sub(max(in, c.At)).Minutes()
	if c.UsedUp == 0 && c.Minutes > 0 && c.Used >= c.Minutes {
		c.UsedUp = out
	}
	cs[name] = c
}

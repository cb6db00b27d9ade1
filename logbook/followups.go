package logbook

import (
	"errors"
	"fmt"
	"slices"
	"strings"
)

// Kinds of acts after a treatment, and of the record that says what is owed.
const (
	KindCagesPlaced    Kind = "cages-placed"
	KindCagesRetrieved Kind = "cages-retrieved"
	KindCagesJudged    Kind = "cages-judged"
	KindSheetTorn      Kind = "sheet-torn"
	KindSheetRepaired  Kind = "sheet-repaired"
	KindCanister       Kind = "canister-changed"
	KindGrainIssued    Kind = "grain-issued"
	KindWrittenOff     Kind = "follow-up-written-off"
	KindFollowUp       Kind = "follow-up" // a record
)

// Follow-ups: what is owed after a treatment, and around it.
const (
	FollowWithholding     = "withholding"      // the grain is not issued
	FollowBagGas          = "bag-gas"          // the gas inside bags is read before closed lorries are loaded
	FollowInspection      = "inspection"       // the grain is looked at for live insects
	FollowSecondLook      = "second-look"      // and once more
	FollowCagesRetrieval  = "cages-retrieval"  // cages of test insects are taken out
	FollowCagesJudgement  = "cages-judgement"  // and judged
	FollowJar             = "jar"              // their samples are judged again, a month on
	FollowSecondTreatment = "second-treatment" // of a pair
	FollowSheetRepair     = "sheet-repair"     // before the sheet is used again
	FollowResidue         = "residue-disposal" // what is left of the product goes for good
	FollowCalibration     = "calibration"      // of an instrument
	FollowBumpTest        = "bump-test"        // of an instrument
	FollowLicence         = "licence"          // of a fumigator: renewed
	FollowCanister        = "canister"         // of a mask: changed
)

// FollowUps lists the follow-ups, those of a treatment in their usual order first.
var FollowUps = []string{FollowWithholding, FollowBagGas, FollowInspection, FollowSecondLook, FollowCagesRetrieval, FollowCagesJudgement, FollowJar,
	FollowSecondTreatment, FollowSheetRepair, FollowResidue, FollowCalibration, FollowBumpTest, FollowLicence, FollowCanister}

// States of a follow-up.
const (
	FollowOpen       = "open"
	FollowDone       = "done"
	FollowWrittenOff = "written-off" // by a named person with a reason, or because another treatment took its place
)

// CagesPlaced: cages of live test insects were laid into a stack before it was
// sheeted (a bioassay).
type CagesPlaced struct {
	Header
	OnStack
	Count     int    `json:"count"`               // cages
	Positions string `json:"positions,omitempty"` // where in the stack
	Insects   string `json:"insects"`             // which, and at what stages
	Act
}

// Validate implements Entry.
func (c *CagesPlaced) Validate() error {
	return errors.Join(need("stack", c.Stack, "insects", c.Insects), positive("count", float64(c.Count)))
}

// CagesRetrieved: the cages were taken out after the store was cleared.
type CagesRetrieved struct {
	Header
	OnStack
	Treatment string `json:"treatment,omitempty"` // empty: the one whose cages are out longest
	Count     int    `json:"count,omitempty"`     // cages found
	Act
}

// Validate implements Entry.
func (c *CagesRetrieved) Validate() error {
	return errors.Join(c.OnStack.Validate(), notNegative("count", float64(c.Count)))
}

// When test insects are judged.
const (
	JudgedExposure = "exposure" // after the exposure: those of the cages
	JudgedMonth    = "month"    // after a month in a jar: what hatched since
)

// InsectsUnknown is the result when cages or jars were lost or spoilt.
const InsectsUnknown = "not-known"

// CagesJudged: somebody counted live and dead insects of the cages, or of their
// samples in the jar a month later.
type CagesJudged struct {
	Header
	OnStack
	Treatment string `json:"treatment,omitempty"` // empty: the one that owes it longest
	After     string `json:"after"`               // exposure or month
	Result    string `json:"result"`              // none-found, live-found or not-known
	Live      int    `json:"live,omitempty"`
	Dead      int    `json:"dead,omitempty"`
	Act
}

// Validate implements Entry.
func (c *CagesJudged) Validate() error {
	err := errors.Join(c.OnStack.Validate(), notNegative("live", float64(c.Live), "dead", float64(c.Dead)))
	if c.After != JudgedExposure && c.After != JudgedMonth {
		err = errors.Join(err, fmt.Errorf("the field \"after\" is %q: want %s or %s", c.After, JudgedExposure, JudgedMonth))
	}
	switch c.Result {
	case InsectsNone, InsectsUnknown:
		if c.Live > 0 {
			err = errors.Join(err, fmt.Errorf("the field \"result\" is %q, and yet %d live insects were counted: want %s", c.Result, c.Live, InsectsLive))
		}
		return err
	case InsectsLive:
		return err
	}
	return errors.Join(err, fmt.Errorf("the field \"result\" is %q: want %s, %s or %s", c.Result, InsectsNone, InsectsLive, InsectsUnknown))
}

// SheetTorn: the sheet of a stack was found torn.
type SheetTorn struct {
	Header
	OnStack
	Where string `json:"where,omitempty"`
	Act
}

// SheetRepaired: the sheet of a stack was looked over and mended, or nothing was found.
type SheetRepaired struct {
	Header
	OnStack
	Treatment string `json:"treatment,omitempty"` // empty: the one that owes it longest
	Found     string `json:"found"`               // what was found and done
	Act
}

// Validate implements Entry.
func (s *SheetRepaired) Validate() error { return need("stack", s.Stack, "found", s.Found) }

// CanisterChanged: a person's mask got a new canister.
type CanisterChanged struct {
	Header
	OnSite
	Person  string  `json:"person"`
	Serial  string  `json:"serial"`
	Expires Expiry  `json:"expires"`           // it is not used after that, worn or not
	Minutes float64 `json:"minutes,omitempty"` // of use in gas that its maker allows; 0 = not said
	Act
}

// Validate implements Entry.
func (c *CanisterChanged) Validate() error {
	err := errors.Join(need("person", c.Person, "serial", c.Serial), notNegative("minutes", c.Minutes))
	if c.Expires == "" {
		return errors.Join(err, errors.New("the field \"expires\" is missing: it stands on the canister"))
	}
	_, _, bad := c.Expires.Read()
	return errors.Join(err, bad)
}

// GrainIssued: grain of a stack left the depot.
type GrainIssued struct {
	Header
	OnStack
	Tonnes        float64 `json:"tonnes"`
	ClosedVehicle bool    `json:"closed_vehicle,omitempty"` // a closed lorry or container, in which gas would gather
	Act
}

// Validate implements Entry.
func (g *GrainIssued) Validate() error {
	return errors.Join(g.OnStack.Validate(), positive("tonnes", g.Tonnes))
}

// FollowUpWrittenOff: a named person says why something owed after a treatment will not
// be done. Neither withholding can be written off, nor gas that was found in bags.
type FollowUpWrittenOff struct {
	Header
	OnStack
	Treatment string `json:"treatment,omitempty"` // empty: the one that owes it longest
	FollowUp  string `json:"follow_up"`
	Why       string `json:"why"`
	Act
}

// Validate implements Entry.
func (f *FollowUpWrittenOff) Validate() error {
	if err := need("stack", f.Stack, "follow_up", f.FollowUp, "why", f.Why, "by", f.By); err != nil {
		return err
	}
	if !slices.Contains(FollowUps, f.FollowUp) {
		return fmt.Errorf("the field \"follow_up\" is %q: want one of %s", f.FollowUp, strings.Join(FollowUps, ", "))
	}
	return nil
}

// FollowUp is something owed, as it was opened, moved, done or written off.
type FollowUp struct {
	Header
	Record
	Store     string `json:"store,omitempty"`
	Stack     string `json:"stack,omitempty"`
	Treatment string `json:"treatment,omitempty"`
	Channel   string `json:"channel,omitempty"` // of an instrument
	Person    string `json:"person,omitempty"`  // whose licence or canister it is
	FollowUp  string `json:"follow_up"`
	State     string `json:"state"`          // open, done or written-off
	Due       Time   `json:"due,omitzero"`   // 0 = it waits for something
	Until     Time   `json:"until,omitzero"` // last time; 0 = none is set
	Owner     string `json:"owner,omitempty"`
	By        string `json:"by,omitempty"`     // who did it or wrote it off
	At        Time   `json:"at,omitzero"`      // when
	Result    string `json:"result,omitempty"` // a code, or the reason given
}

// Validate implements Entry.
func (f *FollowUp) Validate() error { return need("follow_up", f.FollowUp, "state", f.State) }

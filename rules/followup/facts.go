package followup

import (
	"slices"
	"time"

	"undersheet/logbook"
)

// Done is something that somebody did; At = 0: nobody did.
type Done struct {
	At         logbook.Time
	By, Result string
}

// Cages are cages of live test insects under a sheet.
type Cages struct {
	Placed                     Done
	Count                      int
	Retrieved, Exposure, Month Done
}

// Facts are what is on record of one treatment, as far as follow-ups rest on it.
type Facts struct {
	Cages      *Cages          `json:",omitempty"` // nil: none were placed
	Looks      []Done          `json:",omitempty"` // inspections of the grain, oldest first
	Gas        logbook.Time    `json:",omitempty"` // when gas was last found inside bags
	NoGas      Done            // newest reading inside bags below the limit
	Torn       logbook.Time    `json:",omitempty"` // when a leak was raised or the sheet was found torn last
	Repaired   Done            //
	SecondFrom logbook.Time    `json:",omitempty"` // when the second treatment of a pair is due; 0 = none owed
	SecondTill logbook.Time    `json:",omitempty"`
	Second     Done            // the second began
	Residue    Done            // the last of it went
	WrittenOff map[string]Done `json:",omitempty"` // by follow-up
}

// None reports whether nothing is on record for which something is owed even before the stack
// is aired.
func (f *Facts) None() bool { return f.Cages == nil && f.Torn == 0 }

// keepLooks bounds the inspections that are remembered. The first ones are kept: follow-ups
// rest on them.
const keepLooks = 8

// Look notes an inspection of the grain.
func (f *Facts) Look(d Done) {
	at, _ := slices.BinarySearchFunc(f.Looks, d.At+1, func(l Done, t logbook.Time) int { return int(max(-1, min(l.At-t, 1))) })
	if f.Looks = slices.Insert(f.Looks, at, d); len(f.Looks) > keepLooks {
		f.Looks = f.Looks[:keepLooks]
	}
}

// oneLook is the time within which readings inside several bags count as one look at the stack;
// the highest of them decides.
const oneLook = time.Hour

// Bags notes a reading of the gas inside bags.
func (f *Facts) Bags(d Done, below bool) {
	switch {
	case !below:
		f.Gas = max(f.Gas, d.At)
	case d.At >= f.NoGas.At:
		f.NoGas = d
	}
}

// GasInBags reports whether the last look inside bags found gas.
func (f *Facts) GasInBags() bool { return f.Gas != 0 && f.NoGas.At <= f.Gas.Add(oneLook) }

// Judge notes how test insects were found. Cages that were judged must have been taken out, so
// that is noted, too.
func (c *Cages) Judge(after string, d Done) {
	if c.Retrieved.At == 0 {
		c.Retrieved = Done{At: d.At, By: d.By}
	}
	of := &c.Exposure
	if after == logbook.JudgedMonth {
		of = &c.Month
	}
	if of.Result != logbook.InsectsLive { // once found, they stay found
		*of = d
	}
}

// MayWriteOff reports whether follow-ups of a kind may be written off at all: not withholding,
// which ends by itself, and not what is owed of an instrument or a person, which no treatment
// ends.
func MayWriteOff(kind string) bool {
	switch kind {
	case logbook.FollowWithholding, logbook.FollowCalibration, logbook.FollowBumpTest, logbook.FollowLicence, logbook.FollowCanister:
		return false
	}
	return true
}

// WriteOff notes that a follow-up will not be done, and reports whether that counts: only where
// it may be written off, and not while gas was last found in the bags that are to be read.
func (f *Facts) WriteOff(kind string, d Done) bool {
	if !MayWriteOff(kind) || kind == logbook.FollowBagGas && f.GasInBags() {
		return false
	}
	if f.WrittenOff == nil {
		f.WrittenOff = map[string]Done{}
	}
	f.WrittenOff[kind] = d
	return true
}

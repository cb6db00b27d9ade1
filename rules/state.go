package rules

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"

	"undersheet/logbook"
	"undersheet/rules/exposure"
	"undersheet/rules/followup"
	"undersheet/rules/gas"
	"undersheet/rules/gate"
	"undersheet/rules/instrument"
	"undersheet/rules/ledger"
	"undersheet/rules/people"
	"undersheet/rules/plan"
	"undersheet/rules/proof"
	"undersheet/rules/reading"
	"undersheet/rules/treatment"
	"undersheet/rules/wiring"
)

// State is the fold of all entries so far. Its exported fields are what a
// snapshot keeps: encoding/json writes and reads it without loss. Use its
// methods; the fields are not for others to change.
type State struct {
	Site        *logbook.Site          // as last configured; nil before
	At          logbook.Time           // now: the running maximum of received
	Begun       logbook.Time           // now, at the first entry
	LastSeq     uint64                 // last entry folded
	PassedAt    logbook.Time           // when time was last let pass over everything
	Due         logbook.Time           // when causes of silence are looked at again, at the latest
	Channels    map[string]*Channel    // by name
	Stores      map[string]*Store      // by name
	Stacks      map[string]*Stack      // by name
	Instruments map[string]*Instrument // by name and unit
	Signals     map[string]*Signal     // doors, water, mains and pumps, by channel
	Alarms      map[AlarmKey]*Alarm    // by what they are of
	Pending     []Pending              // permissions whose verdict is not recorded yet
	Treatments  map[string]int         // names used, and how often
	Stock       ledger.Stocks          // product in stock, by form
	People      people.Book            `json:",omitempty"` // stays by masked entry that are over, by name
	Canisters   people.Canisters       `json:",omitempty"` // of masks, by name of the person
	Owed        map[string]Owed        `json:",omitempty"` // what is owed of no stack, as last recorded
	Ahead       map[string]Ahead       `json:",omitempty"` // clocks that run ahead, by channel
	Behind      Behind                 `json:",omitzero"`  // the machine's clock, while it stands before now
	Jumps       []Jump                 `json:",omitempty"` // of now, the newest ones
	Skips       []treatment.Skipped    `json:",omitempty"` // where the machine's clock was set ahead, the newest ones
	Watched     logbook.Time           `json:",omitzero"`  // received time of the newest entry that a program writes while it runs
	Unwatched   *Unwatched             `json:",omitempty"` // the newest time in which nobody watched; nil = none
	Found       []logbook.Finding      // the last ones
	Flagged     map[string]bool        // findings that are not repeated

	wires    *wiring.Wiring      // made from Site
	inStore  map[string][]string // stacks by store, sorted; made on demand
	rounds   []round             // what a pass looks at, in order; made on demand
	due      logbook.Time        // of what is being looked at
	out      []logbook.Recorded
	outdated uint64 // seq of a correction that it does not show yet; 0 = none
	remade   bool   // it is being made again, for a correction
}

// Channel is what is known of one channel.
type Channel struct {
	reading.History
	instrument.Record
	Flag     string  // the state last noted as a finding
	Unturned float64 `json:",omitempty"` // the most that it has shown since its newest reading, while now stood still
}

// Store is what is known of one building.
type Store struct {
	Declared  bool                     // a clearance or a no-gas declaration is on record
	Restored  bool                     // the logbook was restored, and nothing declared since
	Cleared   *gate.Clearance          // standing clearance
	RanOut    *gate.Clearance          // a confirmation that lapsed, until the next one
	HandAfter logbook.Time             // when the last clearance fell
	Rebound   bool                     // gas came back after a clearance
	HandOwed  map[string]bool          // stacks that need a hand reading beside them
	Inside    people.Inside            // who is in by masked entry
	WorkedAt  logbook.Time             // when people who had the doors open on record were done
	Hands     map[string]gate.Hand     // newest per point
	Tracks    map[string]*gate.Track   // gate air points, by name
	Air       map[string]*exposure.Air // all air points, by name
	Proofs    proof.Kept               // of the lines of air points, by name
	Signed    plan.Signed              `json:",omitempty"` // checks before dosing, by code
	Gate      logbook.Gate             // as last recorded
	Due       logbook.Time             // when it is looked at again, at the latest
}

// Stack is what is known of one stack.
type Stack struct {
	Store     string
	Treatment *treatment.Treatment // current or last
	Gas       *gas.State           // fit, leak test and forecast of the current exposure
	Owing     []*Past              `json:",omitempty"` // treatments before it that are still owed something, oldest first
	TempC     *float64             // newest grain temperature, °C
	Cages     *followup.Cages      `json:",omitempty"` // placed for the next treatment
	Resisted  *Resisted            `json:",omitempty"` // insects that lived through one
	Owed      map[string]Owed      `json:",omitempty"` // what is owed, as last recorded
	Proofs    proof.Kept           // of its lines, by name
	Product   ledger.Product       `json:",omitempty"` // of the current treatment, by form
	Events    []EventView
	Due       logbook.Time // when it is looked at again, at the latest
}

// Instrument is whether a device answers.
type Instrument struct {
	Name, Unit string
	OK         bool
	Since      logbook.Time
}

// Pending is a permission that waits for its recorded verdict.
type Pending struct {
	Seq   uint64
	Kind  logbook.Kind
	Store string
	By    string
	At    logbook.Time
}

// New returns the state before any entry.
func New() *State {
	return &State{wires: wiring.Of(nil), Channels: map[string]*Channel{}, Stores: map[string]*Store{}, Stacks: map[string]*Stack{},
		Instruments: map[string]*Instrument{}, Signals: map[string]*Signal{}, Alarms: map[AlarmKey]*Alarm{}, Treatments: map[string]int{}, Stock: ledger.Stocks{}, Flagged: map[string]bool{}}
}

// Seq returns the seq of the last entry folded.
func (s *State) Seq() uint64 { return s.LastSeq }

// Now returns the running maximum of received.
func (s *State) Now() logbook.Time { return s.At }

// UnmarshalJSON reads a snapshot. It refuses one in which what is known of a stack's gas does
// not fit its lines, as one of a program that kept it otherwise, and leaves s as it was.
func (s *State) UnmarshalJSON(b []byte) error {
	type plain State
	p := plain(*New())
	if err := json.Unmarshal(b, &p); err != nil {
		return fmt.Errorf("read snapshot: %w", err)
	}
	for _, name := range slices.Sorted(maps.Keys(p.Stacks)) {
		if k := p.Stacks[name]; k.Gas != nil && (k.Treatment == nil || !k.Gas.Fits(len(k.Treatment.Lines))) {
			return fmt.Errorf("read snapshot: what is known of the gas of stack %q does not fit its lines", name)
		}
	}
	*s = State(p)
	s.index()
	return nil
}

// index makes what is derived from the site.
func (s *State) index() { s.wires, s.rounds = wiring.Of(s.Site), nil }

// store returns what is known of a store, from now on at least that it exists.
func (s *State) store(name string) *Store {
	st := s.Stores[name]
	if st == nil {
		st = &Store{HandOwed: map[string]bool{}, Hands: map[string]gate.Hand{}, Tracks: map[string]*gate.Track{}, Air: map[string]*exposure.Air{}}
		s.Stores[name], s.rounds = st, nil
	}
	return st
}

// stack returns what is known of a stack, from now on at least that it exists.
func (s *State) stack(name string) *Stack {
	k := s.Stacks[name]
	if k == nil {
		k = &Stack{}
		s.Stacks[name], s.inStore, s.rounds = k, nil, nil
	}
	return k
}

// siteStack returns the stack as the site describes it.
func (s *State) siteStack(name string) (logbook.Stack, bool) {
	for _, st := range s.Site.Stores {
		for _, k := range st.Stacks {
			if k.Name == name {
				return k, true
			}
		}
	}
	return logbook.Stack{}, false
}

// siteStore returns the store as the site describes it.
func (s *State) siteStore(name string) (logbook.Store, bool) {
	if s.Site != nil {
		for _, st := range s.Site.Stores {
			if st.Name == name {
				return st, true
			}
		}
	}
	return logbook.Store{}, false
}

// storeNames lists the site's stores in its order, then those that only the
// record knows, by name.
func (s *State) storeNames() []string {
	var names, rest []string
	seen := map[string]bool{}
	if s.Site != nil {
		for _, st := range s.Site.Stores {
			names, seen[st.Name] = append(names, st.Name), true
		}
	}
	for n := range s.Stores {
		if !seen[n] {
			rest = append(rest, n)
		}
	}
	slices.Sort(rest)
	return append(names, rest...)
}

// stacksIn lists the stacks of a store by name, those of the record included. The
// list is not to be changed.
func (s *State) stacksIn(store string) []string {
	if s.inStore == nil {
		s.inStore = map[string][]string{}
		for _, n := range slices.Sorted(maps.Keys(s.Stacks)) {
			k := s.Stacks[n]
			s.inStore[k.Store] = append(s.inStore[k.Store], n)
		}
	}
	return s.inStore[store]
}

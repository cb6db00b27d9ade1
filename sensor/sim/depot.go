// Package sim is a simulated depot: bag-stacks under gas, the air of the stores
// they stand in, and the instruments that measure both, on real wires — a Modbus
// RTU slave behind a pseudo-terminal and an MQTT broker in this process.
//
// [Depot] is the gas; [Depot.Advance] lets depot time pass over it; [Clock] is a
// depot clock that a driver moves; [Line] puts channels on a serial line and
// [Broker] on MQTT. The gas is richer than what the fit assumes: two-way sorption,
// a day-night swing of the leak rate, unequal lines, noise. Figures are plausible,
// from memory, and invented: they prove nothing about a real treatment.
//
// It is for demonstrations and tests. It refuses to pretend that depot time is
// the wall clock's: whoever reads it must take its Clock.
package sim

import (
	"fmt"
	"math"
	"math/rand/v2"
	"sync"
	"time"
)

// Sheet is the gas under one sheet.
type Sheet struct {
	Yield    float64            // ppm that the whole dose would give without loss
	Release  float64            // per day
	Lag      time.Duration      // from dosing to the first gas
	Loss     float64            // per day through a sound sheet and into the grain for good
	Sorb     float64            // per day onto the grain, and half as fast back
	Lines    map[string]float64 // channel → factor of the line against the mean
	Torn     float64            // extra loss per day since a tear; 0 = sound
	TornAt   string             // channel beside the tear: reads lower
	Deep     float64            // ppm equivalent deep in the kernels, which comes out for days after the sheet is lifted
	Store    string
	off      map[string]bool // lines that came off and draw store air
	started  time.Time
	opened   bool
	solid    float64 // fraction of the dose not yet released
	gas      float64 // ppm
	sorbed   float64 // ppm equivalent
	tornDays float64
}

// Air is the air at one point.
type Air struct {
	Channel string
	Share   float64 // of the store's gas that reaches the point
}

// Store is a building.
type Store struct {
	Air  []Air
	gas  float64 // ppm
	Open bool    // doors and ventilators
}

// Depot is the gas of a whole depot. Its methods may be called from any goroutine.
type Depot struct {
	mu     sync.Mutex
	now    time.Time
	sheets map[string]*Sheet
	stores map[string]*Store
	rng    *rand.Rand
	values map[string]float64 // channel → reading
	fixed  map[string]float64 // channels that show what they were set to
}

// NewDepot returns a depot at the given time; seed fixes its noise.
func NewDepot(now time.Time, seed uint64) *Depot {
	return &Depot{now: now, sheets: map[string]*Sheet{}, stores: map[string]*Store{},
		rng: rand.New(rand.NewPCG(seed, 1)), values: map[string]float64{}, fixed: map[string]float64{}}
}

// AddStore puts up a building.
func (d *Depot) AddStore(name string, s Store) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.stores[name] = &s
}

// AddSheet puts a stack under its sheet, without gas.
func (d *Depot) AddSheet(name string, s Sheet) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.sheets[name] = &s
}

// Dose lays the phosphide: the gas comes after the lag.
func (d *Depot) Dose(stack string) {
	d.change(stack, func(s *Sheet) { s.started, s.solid, s.opened = d.now, 1, false })
}

// Tear opens a hole in the sheet beside a line.
func (d *Depot) Tear(stack, channel string, lossPerDay float64) {
	d.change(stack, func(s *Sheet) { s.Torn, s.TornAt = lossPerDay, channel })
}

// Mend closes the hole.
func (d *Depot) Mend(stack string) {
	d.change(stack, func(s *Sheet) { s.Torn, s.tornDays = 0, 0 })
}

// Pull takes the end of a line out from under the sheet: it draws store air until
// Refit puts it back.
func (d *Depot) Pull(stack, channel string) {
	d.change(stack, func(s *Sheet) { s.off = map[string]bool{channel: true} })
}

// Refit puts the lines of a stack back under its sheet.
func (d *Depot) Refit(stack string) { d.change(stack, func(s *Sheet) { s.off = nil }) }

// Seep lets ppm equivalent sit deep in the kernels of a stack; it comes out for
// days after the sheet was lifted.
func (d *Depot) Seep(stack string, ppm float64) { d.change(stack, func(s *Sheet) { s.Deep = ppm }) }

// Set lets a channel show value from the next Advance on: a door contact, a
// pump's flow, the mains.
func (d *Depot) Set(channel string, value float64) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.fixed[channel] = value
}

// Add lays more phosphide: a share of the first dose, in the same form.
func (d *Depot) Add(stack string, share float64) {
	d.change(stack, func(s *Sheet) { s.solid += share })
}

// Lift takes the sheet off.
func (d *Depot) Lift(stack string) {
	d.change(stack, func(s *Sheet) { s.opened, s.solid = true, 0 })
}

// OpenDoors opens or closes a store.
func (d *Depot) OpenDoors(store string, open bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if s := d.stores[store]; s != nil {
		s.Open = open
	}
}

// change calls f with the sheet over a stack, if there is one.
func (d *Depot) change(stack string, f func(*Sheet)) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if s := d.sheets[stack]; s != nil {
		f(s)
	}
}

// step is the grain of the integration.
const step = time.Minute

// Advance lets depot time pass to now and measures every channel anew.
func (d *Depot) Advance(now time.Time) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for d.now.Before(now) {
		dt := min(step, now.Sub(d.now))
		d.now = d.now.Add(dt)
		d.pass(dt.Hours() / 24)
	}
	d.measure()
}

// pass lets days pass over the gas (explicit Euler; a minute is short against
// every rate here).
func (d *Depot) pass(days float64) {
	leaked := map[string]float64{}
	for _, name := range sortedKeys(d.sheets) {
		leaked[d.sheets[name].Store] += d.sheets[name].pass(d.now, days)
	}
	for _, name := range sortedKeys(d.stores) {
		d.stores[name].pass(leaked[name], days)
	}
}

// pass returns the ppm that left the sheet into the store.
func (s *Sheet) pass(now time.Time, days float64) float64 {
	if !s.started.IsZero() && now.Sub(s.started) > s.Lag {
		out := s.solid * s.Release * days
		s.solid -= out
		s.gas += out * s.Yield
	}
	hour := now.Sub(now.Truncate(24 * time.Hour)).Hours()
	swing := 1 + 0.25*math.Sin(2*math.Pi*(hour-9)/24) // warm afternoons breathe more
	leak := (s.Loss + s.Torn) * swing
	if s.Torn > 0 {
		s.tornDays += days
	}
	if s.opened {
		leak = 45 // per day: half gone in 22 minutes
	}
	gone := s.gas * math.Min(leak*days, 1)
	on, off := s.gas*s.Sorb*days, s.sorbed*s.Sorb/2*days
	s.gas = math.Max(s.gas-gone-on+off, 0)
	s.sorbed = math.Max(s.sorbed+on-off, 0)
	if s.opened {
		s.sorbed *= math.Exp(-2 * days * 10)
		deep := s.Deep * (1 - math.Exp(-deepRate*days))
		s.Deep -= deep
		gone += deep
	}
	return gone
}

// deepRate is how fast gas leaves the kernels of an aired stack, per day.
const deepRate = 1.0

// Exchange of a store's air, per day: closed as good as a shed is, open as doors
// and ventilators make it. A sheet's gas space is small against the building.
const (
	closedExchange = 12.0
	openExchange   = 140.0
	dilution       = 1.0 / 130
)

// pass lets time pass over the store's air: leaked is what came out of the sheets in it, days how long it took.
func (s *Store) pass(leaked, days float64) {
	rate := closedExchange
	if s.Open {
		rate = openExchange
	}
	s.gas = s.gas*math.Exp(-rate*days) + leaked*dilution
}

// measure reads every channel: 2 % and a digit of noise under the sheets, one
// digit of the cells in air.
func (d *Depot) measure() {
	for _, name := range sortedKeys(d.sheets) {
		s := d.sheets[name]
		for _, ch := range sortedKeys(s.Lines) {
			v := s.gas * s.Lines[ch]
			if s.off[ch] {
				v = d.airOf(s.Store)
			}
			if ch == s.TornAt && s.Torn > 0 {
				v *= 1 - 0.35*(1-math.Exp(-s.tornDays*6))
			}
			v *= 1 + 0.02*d.rng.NormFloat64()
			d.values[ch] = math.Max(0, math.Round(v+0.4*d.rng.NormFloat64()))
		}
	}
	for ch, v := range d.fixed {
		d.values[ch] = v
	}
	for _, name := range sortedKeys(d.stores) {
		for _, a := range d.stores[name].Air {
			v := d.stores[name].gas*a.Share + 0.008*d.rng.NormFloat64() + 0.01
			d.values[a.Channel] = math.Max(0, math.Round(100*v)/100)
		}
	}
}

// airOf returns the gas in the air of a store, ppm.
func (d *Depot) airOf(store string) float64 {
	if s := d.stores[store]; s != nil {
		return s.gas
	}
	return 0
}

// Read returns what the instrument of a channel shows now.
func (d *Depot) Read(channel string) (float64, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	v, ok := d.values[channel]
	if !ok {
		return 0, fmt.Errorf("read channel %q: the simulated depot has none of that name", channel)
	}
	return v, nil
}

package main

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"undersheet/logbook"
	"undersheet/sensor/sim"
)

// chapter is one moment of the demonstration's story: what happens to the gas,
// what people do, and what the console says of it.
type chapter struct {
	after time.Duration // from the story's start
	say   string
	gas   func(d *sim.Depot)
	acts  []string // kind and fields, as "undersheet act" takes them
}

// storyStart is a Monday morning.
var storyStart = time.Date(2026, 4, 6, 6, 0, 0, 0, time.UTC)

const (
	day  = 24 * time.Hour
	byOM = `by=Odile Marsh`
	byTR = `by=Tobias Renn`
)

// newStoryDepot is the gas of the story's depot.
func newStoryDepot() *sim.Depot {
	d := sim.NewDepot(storyStart, 20260406)
	d.AddStore("Long Store", sim.Store{Air: []sim.Air{{Channel: "long-door", Share: 0.25}, {Channel: "long-inside", Share: 1}}})
	d.AddStore("Round Store", sim.Store{Air: []sim.Air{{Channel: "round-door", Share: 0.25}, {Channel: "office", Share: 0}}})
	d.AddSheet("L1", sim.Sheet{Store: "Long Store", Yield: 900, Release: 1.2, Lag: 2 * time.Hour, Loss: 0.14, Sorb: 0.15,
		Lines: map[string]float64{"l1-top": 0.97, "l1-middle": 1.02, "l1-low": 1.01}})
	d.AddSheet("L2", sim.Sheet{Store: "Long Store", Yield: 900, Release: 1.2, Lag: 2 * time.Hour, Loss: 0.16, Sorb: 0.15,
		Lines: map[string]float64{"l2-top": 0.98, "l2-middle": 1.01, "l2-low": 1.03}})
	d.AddSheet("R1", sim.Sheet{Store: "Round Store", Yield: 420, Release: 1.0, Lag: 3 * time.Hour, Loss: 0.18, Sorb: 0.2,
		Lines: map[string]float64{"r1-top": 0.96, "r1-middle": 1.01, "r1-low": 1.04}})
	for channel, value := range map[string]float64{"pump-flow": 1.2, "mains": 1, "east-door": 0, "wind-speed": 3.4, "wind-from": 240} {
		d.Set(channel, value)
	}
	return d
}

// story is the whole demonstration, in order of time.
func story() []chapter {
	s := slices.Concat(keeping(), dosing(), exposure(), airing())
	s = append(s, clearance("Long Store", 7*day+6*time.Hour, "L1", "L2")...)
	s = append(s, clearance("Round Store", 9*day+4*time.Hour, "R1")...)
	for _, morning := range []time.Duration{8*day + 4*time.Hour, 9*day + 2*time.Hour, 10*day + 2*time.Hour} {
		s = append(s, clearance("Long Store", morning, "L1", "L2")...)
	}
	for _, morning := range []time.Duration{10*day + 3*time.Hour, 11*day + 2*time.Hour} {
		s = append(s, clearance("Round Store", morning, "R1")...)
	}
	slices.SortStableFunc(s, func(a, b chapter) int { return cmp.Compare(a.after, b.after) })
	return s
}

// dosing is the first day.
func dosing() []chapter {
	return []chapter{
		{after: 0, say: "Monday morning. Both stores are empty and clean; the supervisor signs for it. Two technicians have proved every line.",
			acts: append(proofs(), `no-gas-declared|store=Long Store|`+byOM, `no-gas-declared|store=Round Store|`+byOM)},
		{after: 70 * time.Minute, say: "The licensed fumigator lays tablets in trays under the sheets of L1 and L2.", acts: []string{
			`dosing-started|stack=L1|store_empty=true|` + byTR, `dosing-started|stack=L2|store_empty=true|` + byTR}},
		{after: 2 * time.Hour, say: "The sheets of L1 and L2 are shut: t = 0.", gas: func(d *sim.Depot) { d.Dose("L1"); d.Dose("L2") }, acts: []string{
			`treatment-started|stack=L1|treatment=L1-26|protocol=five-day|commodity=milled rice|tonnes=180|volume_m3=260|phosphine_g=170|grain_temp_c=27|form=tablets|count=170|bags=3600|lot=MR-2611|length_m=9|width_m=6|height_m=4.8|sheet=polyethylene 250 µm under two rows of sand-snakes|dose_source=label of the product|fumigator=Tobias Renn|second=Bela Quist|` + byTR,
			`treatment-started|stack=L2|treatment=L2-26|protocol=five-day|commodity=milled rice|tonnes=180|volume_m3=260|phosphine_g=170|grain_temp_c=27|form=tablets|count=170|bags=3600|lot=MR-2612|length_m=9|width_m=6|height_m=4.8|sheet=polyethylene 250 µm under two rows of sand-snakes|dose_source=label of the product|fumigator=Tobias Renn|second=Bela Quist|` + byTR}},
		{after: 3 * time.Hour, say: "R1 has psocids: eight days.", acts: []string{`dosing-started|stack=R1|store_empty=true|` + byTR}},
		{after: 4 * time.Hour, gas: func(d *sim.Depot) { d.Dose("R1") }, acts: []string{
			`treatment-started|stack=R1|treatment=R1-26|protocol=eight-day|commodity=maize|tonnes=120|volume_m3=190|phosphine_g=57|grain_temp_c=26|form=tablets|count=57|bags=2400|lot=MZ-2604|length_m=8|width_m=6|height_m=4|sheet=polyethylene 250 µm under two rows of sand-snakes|dose_source=label of the product|fumigator=Tobias Renn|second=Bela Quist|` + byTR}},
	}
}

// proofs are what the technicians found at each line before the first dosing.
func proofs() []string {
	var acts []string
	for _, stack := range []string{"L1", "L2", "R1"} {
		for _, line := range []string{"top", "middle", "low far corner"} {
			acts = append(acts, fmt.Sprintf(`line-proved|stack=%s|line=%s|zero=0|flow=1.1|end_test=span gas|span=500|read=496|unit=ppm|seen=true|lag=40s|%s`, stack, line, byIF))
		}
	}
	return acts
}

// exposure is what goes wrong under gas, and how it is put right.
func exposure() []chapter {
	return []chapter{
		{after: day + 16*time.Hour, say: "At night somebody opens the east door of the Long Store, which is under gas.",
			gas: func(d *sim.Depot) { d.Set("east-door", 1) }},
		{after: day + 16*time.Hour + 20*time.Minute, say: "The supervisor, woken, calls from the door: it was the watchman, who is out. The door is shut and guarded.",
			gas:  func(d *sim.Depot) { d.Set("east-door", 0) },
			acts: []string{`alarm-acknowledged|alarm=door-opened|store=Long Store|` + byOM}},
		{after: 2*day + 8*time.Hour, say: "A line comes off: the middle one of L1 slips out from under the sheet.",
			gas: func(d *sim.Depot) { d.Pull("L1", "l1-middle") }},
		{after: 3*day + 3*time.Hour, say: "A gust tears the sheet of L2 near the low far corner. Nobody sees it.",
			gas: func(d *sim.Depot) { d.Tear("L2", "l2-low", 0.9); d.Set("wind-speed", 13) }},
		{after: 3*day + 4*time.Hour + 40*time.Minute, say: "The licensed fumigator takes charge, on the telephone.", gas: func(d *sim.Depot) { d.Set("wind-speed", 4) },
			acts: []string{`alarm-acknowledged|alarm=leak|stack=L2|` + byTR, `alarm-acknowledged|alarm=end-level-at-risk|stack=L2|` + byTR}},
		{after: 3*day + 5*time.Hour, acts: []string{`alarm-acknowledged|alarm=end-level-at-risk|stack=L2|` + byTR}}, // it grew graver
		{after: 3*day + 7*time.Hour + 20*time.Minute, acts: []string{`alarm-acknowledged|alarm=air-gas|store=Long Store|point=door|` + byOM}},
		{after: 3*day + 9*time.Hour, say: "Warned by SMS and mail, three trained people with breathing protection come by daylight: two mend the sheet, add tablets and put the line back, the third stays at the door.",
			gas: func(d *sim.Depot) { d.Mend("L2"); d.Add("L2", 0.45); d.Refit("L1") }, acts: []string{
				`masked-entry|store=Long Store|in=Tobias Renn|at_door=Ines Fall|protection=self-contained apparatus|` + byOM,
				`masked-entry|store=Long Store|in=Bela Quist|at_door=Ines Fall|protection=self-contained apparatus|` + byOM,
				`dose-added|stack=L2|phosphine_g=75|` + byTR,
				`dose-placed|stack=L2|form=tablets|count=75|places=6|people=Tobias Renn,Bela Quist|protection=self-contained apparatus|` + byTR,
				`exposure-extended|stack=L2|exposure_hours=168|` + byTR}},
		{after: 3*day + 9*time.Hour + 20*time.Minute, acts: []string{`masked-exit|store=Long Store|out=Tobias Renn|` + byOM, `masked-exit|store=Long Store|out=Bela Quist|` + byOM}},
	}
}

// airing is how the stores become clear: too early, interrupted by the night,
// and with gas that comes back.
func airing() []chapter {
	return []chapter{
		{after: 7*day + 3*time.Hour, say: "L1 and L2 have had their days. Doors and ventilators open, the sheets' edges are freed.",
			gas: func(d *sim.Depot) {
				d.OpenDoors("Long Store", true)
				d.Set("east-door", 1)
				d.Lift("L1")
				d.Lift("L2")
			},
			acts: []string{`airing-started|stack=L1|` + byOM, `airing-started|stack=L2|` + byOM}},
		{after: 7*day + 3*time.Hour + 20*time.Minute, acts: []string{`alarm-acknowledged|alarm=air-gas|store=Long Store|point=door|` + byOM}},
		{after: 7*day + 4*time.Hour, say: "Somebody is in a hurry and asks for the store after one hour.", acts: []string{`entry-confirmed|store=Long Store|` + byOM}},
		{after: 7*day + 10*time.Hour, say: "Too soon, the doors of the Long Store are shut for the night. The kernels still give off gas.",
			gas: func(d *sim.Depot) { d.OpenDoors("Long Store", false); d.Set("east-door", 0); d.Seep("L2", 450) }},
		{after: 7*day + 10*time.Hour + 50*time.Minute, say: "The supervisor counts the people out, has the doors guarded, and takes charge.",
			acts: []string{`alarm-acknowledged|alarm=gate-rebound|store=Long Store|` + byOM}},
		{after: 8 * day, say: "In the morning the doors are opened again.",
			gas: func(d *sim.Depot) { d.OpenDoors("Long Store", true); d.Set("east-door", 1); d.Seep("L2", 0) }},
		{after: 8*day + 11*time.Hour, say: "R1 has had its eight days. Airing begins late in the afternoon …", gas: func(d *sim.Depot) { d.OpenDoors("Round Store", true); d.Lift("R1") },
			acts: []string{`airing-started|stack=R1|` + byOM}},
		{after: 8*day + 12*time.Hour + 30*time.Minute, say: "… and the night interrupts it: the doors of the Round Store are shut. The two hours will run anew.",
			gas: func(d *sim.Depot) { d.OpenDoors("Round Store", false) }, acts: []string{`airing-paused|stack=R1|` + byOM}},
		{after: 9*day + time.Hour, gas: func(d *sim.Depot) { d.OpenDoors("Round Store", true) }, say: "By daylight the airing of R1 goes on.",
			acts: []string{`airing-resumed|stack=R1|` + byOM}},
	}
}

// clearance is what a store owes: a hand reading beside each stack, then a named
// person's word; again after twelve hours, until withholding has ended.
func clearance(store string, at time.Duration, stacks ...string) []chapter {
	c := chapter{after: at, say: "Hand readings beside the stacks of " + store + ", then the supervisor confirms."}
	for _, k := range stacks {
		c.acts = append(c.acts, fmt.Sprintf(`hand-reading|store=%s|point=beside %s|value=0.02|unit=ppm|method=electrochemical hand meter|detection_limit=0.02|%s`, store, k, byTR))
	}
	confirm := chapter{after: at + 10*time.Minute, acts: []string{`entry-confirmed|store=` + store + `|` + byOM}}
	return []chapter{c, confirm}
}

// storyEnd is when the last withholding is over.
const storyEnd = 11*day + 12*time.Hour

// rackUnits and others say which wire each channel of the story is on.
var (
	rackUnits = map[byte][]string{1: {"l1-top", "l1-middle", "l1-low"}, 2: {"l2-top", "l2-middle", "l2-low"}, 3: {"long-door", "long-inside"}}
	onPaper   = []sim.Printed{{Name: "FLOW", Channel: "pump-flow", Unit: "LPM"}, {Name: "MAINS", Channel: "mains", Unit: "BOOL"},
		{Name: "EAST", Channel: "east-door", Unit: "BOOL"}, {Name: "WIND", Channel: "wind-speed", Unit: "MPS"}, {Name: "VANE", Channel: "wind-from", Unit: "DEG"}}
	onMQTT = []string{"r1-top", "r1-middle", "r1-low", "round-door", "office"}
)

// storyTreatments are those that end with a report.
var storyTreatments = []string{"L1-26", "L2-26", "R1-26"}

// entryOf makes an act of "kind|name=value|…" at the given time.
func entryOf(act string, now time.Time) (logbook.Entry, error) {
	c := actCmd{}
	parts := splitAct(act)
	c.Kind, c.Fields = parts[0], parts[1:]
	return c.entry(now)
}

package main

import (
	"fmt"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/rules/plan"
)

const (
	byIF   = `by=Ines Fall` // a technician, who is in no site file
	laidBy = `people=Tobias Renn,Bela Quist|protection=gloves and full-face masks with fresh canisters|` + byTR

	lateAfternoon = 9*time.Hour + 40*time.Minute // of the story's days: 16:30 by the depot's clock
)

// keeping is what is kept in order around the treatments: instruments, stock, checks
// before dosing; and afterwards residue and inspections.
func keeping() []chapter {
	return []chapter{
		{after: 0, say: "The technician tests the instruments of the air with a known gas, and counts what came into the store of chemicals.", acts: append(tests(storyStart.Add(7*day)),
			`stock-received|form=tablets|count=1000|batch=HF-0326|invoice=1187|`+byIF, `stock-counted|form=tablets|count=998|`+byIF, canister("Tobias Renn", "C-2041"), canister("Bela Quist", "C-2042"))},
		{after: 30 * time.Minute, say: "Two people walk round both stores and sign every check before dosing.", acts: []string{signedIn("Long Store"), signedIn("Round Store")}},
		{after: 80 * time.Minute, acts: []string{`dose-placed|stack=L1|form=tablets|count=170|places=12|` + laidBy, `dose-placed|stack=L2|form=tablets|count=170|places=12|` + laidBy}},
		{after: 2*time.Hour + 50*time.Minute, say: "Cages of live psocids go into R1 before its sheet: they will show what the gas did.", acts: []string{
			`cages-placed|stack=R1|count=6|insects=booklice, all stages|positions=two near the top, two in the heart, two low at the far corner|` + byIF}},
		{after: 3*time.Hour + 10*time.Minute, acts: []string{`dose-placed|stack=R1|form=tablets|count=57|places=6|` + laidBy}},
		{after: 6*day + 2*time.Hour, say: "The instruments of the air are tested again, a day before it is due.", acts: tests(storyStart.Add(13 * day))},
		{after: 8*day + 5*time.Hour, say: "The store is cleared: what is left of the tablets is taken out of L1 and L2, and shown to be spent.", acts: []string{
			`residue-taken|stack=L1|form=tablets|count=170|residue=spent|shown_by=no gas from a sample in water, outdoors|` + byTR,
			`residue-taken|stack=L2|form=tablets|count=245|residue=spent|shown_by=no gas from a sample in water, outdoors|` + byTR,
			`residue-disposed|stack=L1|form=tablets|count=170|how=buried|where=pit 4, behind the north fence|` + byTR}},
		{after: 8*day + lateAfternoon, say: "Late in the afternoon, when insects move, the grain of L1 and L2 is looked at.", acts: []string{
			`grain-inspected|stack=L1|insects=none-found|method=sieved samples|` + byIF, `grain-inspected|stack=L2|insects=none-found|method=sieved samples|` + byIF}},
		{after: 9*day + 5*time.Hour, say: "R1 is cleared: the cages come out. Next day their insects are counted; what they held is kept in a jar for a month.", acts: []string{
			`cages-retrieved|stack=R1|count=6|` + byIF}},
		{after: 10*day + 5*time.Hour, acts: []string{`cages-judged|stack=R1|after=exposure|result=none-found|dead=214|` + byIF,
			`residue-taken|stack=R1|form=tablets|count=57|residue=spent|shown_by=no gas from a sample in water, outdoors|` + byTR}},
		{after: 10*day + lateAfternoon, say: "The grain of R1 is looked at, too, and what was left of the tablets is buried.", acts: []string{
			`grain-inspected|stack=R1|insects=none-found|method=sieved samples|` + byIF,
			`residue-disposed|stack=L2|form=tablets|count=245|how=buried|where=pit 4, behind the north fence|` + byTR,
			`residue-disposed|stack=R1|form=tablets|count=57|how=buried|where=pit 5, behind the north fence|` + byTR}},
		{after: 11*day + 3*time.Hour, say: "Before closed lorries come, the gas within the bags is read; the sheet of L2 is mended for the next time. R1 stays open until its jar is looked at, a month on.", acts: []string{
			bags("L1"), bags("L2"), bags("R1"), `sheet-repaired|stack=L2|found=tear at the low far corner patched and welded|` + byIF}},
		{after: 11*day + 4*time.Hour, acts: []string{`grain-issued|stack=L1|tonnes=24|closed_vehicle=true|` + byOM}},
	}
}

// canister puts a new canister on a person's mask.
func canister(person, serial string) string {
	return fmt.Sprintf(`canister-changed|person=%s|serial=%s|expires=2026-09-30|minutes=60|%s`, person, serial, byIF)
}

// bags reads the gas within the bags of a stack.
func bags(stack string) string {
	return fmt.Sprintf(`hand-reading|stack=%s|where=bags|value=0.03|unit=ppm|method=electrochemical hand meter|detection_limit=0.02|%s`, stack, byTR)
}

// tests are bump tests of the instruments that read the air; the next ones are due at
// the given time.
func tests(due time.Time) []string {
	var acts []string
	for _, channel := range []string{"long-door", "long-inside", "round-door", "office"} {
		acts = append(acts, fmt.Sprintf(`instrument-checked|channel=%s|check=bump|applied=1|read=0.97|unit=ppm|passed=true|due=%v|%s`, channel, logbook.At(due), byIF))
	}
	return acts
}

// signedIn signs every check before dosing in a store.
func signedIn(store string) string {
	return fmt.Sprintf(`checks-signed|store=%s|in_order=%s|second=Ines Fall|%s`, store, strings.Join(plan.Checks(false), ","), byTR)
}

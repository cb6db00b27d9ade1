package people_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules/people"
	"undersheet/rules/reading"
)

var noon = logbook.At(time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC))

func hours(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }

func TestNames(t *testing.T) {
	assert.True(t, people.Same(" ada OKORO", "Ada Okoro "))
	assert.False(t, people.Same("Ada", "Ada Okoro"))
	assert.True(t, people.Alone("Ada", "", " ada"))
	assert.True(t, people.Alone())
	assert.False(t, people.Alone("Ada", "Bo", "ada"))
}

// The last day counts until it is over in the last place on earth, UTC−12.
func TestLicenceOver(t *testing.T) {
	for text, over := range map[string]bool{"2026-02-28": false, "2026-02-27": true, "": false, "soon": false} {
		assert.Equal(t, over, people.LicenceOver(text, noon), text)
	}
	assert.True(t, people.LicenceOver("2026-02-28", noon+1))
}

// 29 CFR 1910.1000(d)(1)(ii), worked example: 2 h at 150, 2 h at 75 and 4 h at 50 ppm
// are a mean of 81.25 over 8 hours. HSE EH40, example 1: 7 h 20 min at 0.12, the rest
// nothing, is 0.11 (from memory). All exposure in 24 hours counts as one of 8.
func TestExposureOfADay(t *testing.T) {
	stay := func(from, lasts, ppm float64) people.Visit {
		return people.Visit{In: noon.Add(hours(from)), Out: noon.Add(hours(from + lasts)), PPM: ppm, Known: true}
	}
	ppm, known := people.Exposure([]people.Visit{stay(0, 2, 150), stay(2, 2, 75), stay(4, 4, 50)}, noon.Add(hours(8)))
	assert.InDelta(t, 81.25, ppm, 1e-9)
	assert.True(t, known)
	ppm, _ = people.Exposure([]people.Visit{stay(0, 22.0/3, 0.12)}, noon.Add(hours(8)))
	assert.InDelta(t, 0.11, ppm, 1e-9)
	ppm, _ = people.Exposure([]people.Visit{stay(0, 2, 150)}, noon.Add(hours(25)))
	assert.InDelta(t, 150.0/8, ppm, 1e-9, "an hour of it is longer ago than a day")
	ppm, _ = people.Exposure([]people.Visit{stay(0, 2, 150)}, noon.Add(hours(27)))
	assert.Zero(t, ppm)
}

// Who leaves without a name went in first; by name, it is the last entry before the exit.
func TestLeave(t *testing.T) {
	in := people.Inside{{Name: "Ada", Since: noon}, {Name: "Bo", Since: noon.Add(hours(1))}, {Name: "ada", Since: noon.Add(hours(2))}}
	_, inside, out := in.Leave("Cy", noon.Add(hours(3)))
	assert.Equal(t, [2]bool{false, false}, [2]bool{inside, out})
	who, inside, out := in.Leave("Bo", noon)
	assert.Equal(t, [2]bool{true, false}, [2]bool{inside, out}, "an earlier visit")
	assert.Equal(t, "Bo", who.Name)
	require.Len(t, in, 3)
	who, _, out = in.Leave("Ada ", noon.Add(hours(3)))
	assert.True(t, out)
	assert.Equal(t, noon.Add(hours(2)), who.Since)
	who, _, _ = in.Leave("", noon.Add(hours(3)))
	assert.Equal(t, noon, who.Since)
	assert.Equal(t, people.Inside{{Name: "Bo", Since: noon.Add(hours(1))}}, in)
}

// A visit holds the worst that was read: inside and at the door for who is in, at the door
// alone for who stays there. What was not trusted makes it unknown.
func TestVisits(t *testing.T) {
	in := people.Inside{{Name: "Ada", AtDoor: "Bo", Since: noon, Air: 0.2, AirAtDoor: 0.1, Known: true}}
	read := func(where string, at, upper float64, state string) {
		in.Breathe(where, &reading.Judged{At: noon.Add(hours(at)), Upper: upper, State: state})
	}
	read(logbook.WhereInside, -1, 9, reading.OK)
	read(logbook.WhereInside, 1, 9, reading.Late)
	read(logbook.WhereOffice, 1, 9, reading.OK)
	read(logbook.WhereInside, 1, 2, reading.OK)
	read(logbook.WhereDoor, 1, 0.5, reading.BelowDetection)
	ada, bo := in[0].Visits("Long Barn", noon.Add(hours(2)), true)
	assert.Equal(t, people.Visit{Store: "Long Barn", In: noon, Out: noon.Add(hours(2)), PPM: 2, Known: true}, ada)
	assert.Equal(t, people.Visit{Store: "Long Barn", In: noon, Out: noon.Add(hours(2)), PPM: 0.5, Known: true, AtDoor: true}, bo)
	read(logbook.WhereInside, 2, 1, reading.Stuck)
	ada, bo = in[0].Visits("Long Barn", noon.Add(hours(2)), true)
	assert.Equal(t, [2]bool{false, true}, [2]bool{ada.Known, bo.Known})
}

func TestBookShowsADay(t *testing.T) {
	var b people.Book
	stay := func(name, store string, out float64) string {
		called, _, _ := b.Add(name, people.Visit{Store: store, In: noon.Add(hours(out - 1)), Out: noon.Add(hours(out)), PPM: 0.8, Known: true})
		return called
	}
	assert.Equal(t, "Ada", stay("Ada", "Long Barn", 1))
	assert.Equal(t, "Ada", stay(" ada", "Brick Store", 2))
	stay("Bo", "Brick Store", 2)
	day := b.Today("Long Barn", noon.Add(hours(3)))
	require.Len(t, day, 1)
	assert.Equal(t, [2]any{"Ada", 0.2}, [2]any{day[0].Name, day[0].TWA8}, "two hours at 0.8, wherever")
	assert.Empty(t, b.Today("Long Barn", noon.Add(hours(26))))
	for i := range 40 {
		stay("Bo", "Brick Store", float64(3+i))
	}
	assert.Len(t, b["Bo"], 24)
}

func TestCanisters(t *testing.T) {
	var cs people.Canisters
	cs.Wear("Ada", noon, noon.Add(hours(1)))
	expires := noon.Add(hours(1000))
	assert.True(t, cs.Change("Ada", people.Canister{At: noon, Expires: expires, Minutes: 30}))
	assert.False(t, cs.Change("ada", people.Canister{At: noon - 1, Expires: expires}), "a newer one is known")
	due := func() logbook.Time { c := cs["Ada"]; return c.Due() }
	cs.Wear(" ADA", noon.Add(hours(-1)), noon.Add(hours(0.25)))
	assert.Equal(t, expires, due(), "15 minutes since it was changed")
	cs.Wear("Ada", noon.Add(hours(1)), noon.Add(hours(1.25)))
	assert.Equal(t, noon.Add(hours(1.25)), due())
	for i := range 300 {
		cs.Change(fmt.Sprint("Person ", i), people.Canister{At: noon.Add(hours(float64(i + 1)))})
	}
	assert.Len(t, cs, 200)
	assert.NotContains(t, cs, "Ada", "changed longest ago")
	assert.Contains(t, cs, "Person 299", "never the new one")
}

package gate

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"undersheet/logbook"
	"undersheet/rules/reading"
)

// The rules here are common practice: two hours of airing, 0.3 ppm, a hand
// reading beside every stack. Where a country sets lower figures, those hold.

var noon = logbook.At(time.Date(2026, 3, 6, 12, 0, 0, 0, time.UTC))

// cleanTrack is a track that read v every five minutes from noon − 3 h to noon.
func cleanTrack(v float64) *Track {
	t := &Track{}
	for m := -180; m <= 0; m += 5 {
		t.Add(readAt(time.Duration(m)*time.Minute, v), 10*time.Minute)
	}
	return t
}

// readAt is a judged reading at noon + d; its upper value is v.
func readAt(d time.Duration, v float64) reading.Judged {
	return reading.Judged{At: noon.Add(d), Value: v, Upper: v, State: reading.OK, Counts: true, Fits: true, Live: true, Against: true}
}

// ready is a store that meets every condition: one stack aired for 2.5 h, two
// points clean, and a hand reading beside the stack.
func ready() *Store {
	return &Store{Now: noon, Limit: 0.3, Declared: true,
		Stacks: []Stack{{Name: "A", Phase: logbook.PhaseAiring, AiringSince: noon.Add(-150 * time.Minute), MinAiring: 2 * time.Hour, HandOwed: true}},
		Points: []Point{
			{Name: "door", Detection: 0.03, AllowedGap: 10 * time.Minute, Track: cleanTrack(0.1)},
			{Name: "beside A", Detection: 0.03, AllowedGap: 10 * time.Minute, Track: cleanTrack(0.2)}},
		Hands: []Hand{{Point: "beside A", Beside: "A", At: noon.Add(-10 * time.Minute), PPM: 0.1, Detection: 0.05}},
	}
}

func codes(rs []logbook.Reason) []string {
	var out []string
	for _, r := range rs {
		out = append(out, r.Code)
	}
	return out
}

func TestEveryConditionMet(t *testing.T) {
	s := ready()
	d := Decide(s)
	assert.Equal(t, logbook.GateCheckOwed, d.State)
	assert.Equal(t, []string{ConfirmOwed}, codes(d.Reasons))
	s.Cleared = &Clearance{At: noon, By: "N. Ferreira"}
	assert.True(t, Decide(s).Failed, "a stack is still being aired")
	s.Stacks[0].Phase = logbook.PhaseWithholding
	d = Decide(s)
	assert.Equal(t, logbook.GateCleared, d.State)
	assert.False(t, d.Failed || d.Lapsed)
	assert.Len(t, d.Read, 2, "it says what was read")
}

// Each doubt by itself keeps the gate from opening, and says why.
func TestEachDoubtKeepsTheGateFromOpening(t *testing.T) {
	for name, c := range map[string]struct {
		doubt func(*Store)
		state string
		code  string
	}{
		"a stack in dosing":                   {func(s *Store) { s.Stacks[0].Phase = logbook.PhaseDosing }, logbook.GateShut, Dosing},
		"a stack in exposure":                 {func(s *Store) { s.Stacks[0].Phase = logbook.PhaseExposure }, logbook.GateShut, UnderGas},
		"a second stack under gas":            {func(s *Store) { s.Stacks = append(s.Stacks, Stack{Name: "B", Phase: logbook.PhaseExposure}) }, logbook.GateShut, UnderGas},
		"someone inside":                      {func(s *Store) { s.Inside = []string{"I. Okafor"} }, logbook.GateShut, Inside},
		"no clearance on record":              {func(s *Store) { s.Declared = false }, logbook.GateShut, NoClearance},
		"a restored logbook":                  {func(s *Store) { s.Block = []logbook.Reason{{Code: RestoredLog}} }, logbook.GateShut, RestoredLog},
		"airing for 119 minutes":              {func(s *Store) { s.Stacks[0].AiringSince = noon.Add(-119 * time.Minute) }, logbook.GateAiring, AiringTooShort},
		"airing never timed":                  {func(s *Store) { s.Stacks[0].AiringSince = 0 }, logbook.GateAiring, AiringTooShort},
		"airing paused":                       {func(s *Store) { s.Stacks[0].Paused = true }, logbook.GateAiring, AiringPaused},
		"a protocol that airs longer":         {func(s *Store) { s.Stacks[0].MinAiring = 4 * time.Hour }, logbook.GateAiring, AiringTooShort},
		"no air points":                       {func(s *Store) { s.Points = nil }, logbook.GateAiring, NoPoints},
		"a point that never read":             {func(s *Store) { s.Points[1].Track = &Track{} }, logbook.GateAiring, NoReading},
		"a point silent for 11 minutes":       {func(s *Store) { s.Now = noon.Add(11 * time.Minute) }, logbook.GateAiring, PointSilent},
		"silent by a clock that runs ahead":   {func(s *Store) { s.Now, s.Points[0].Ahead = noon.Add(11*time.Minute), 30*time.Minute }, logbook.GateAiring, ClockAhead},
		"never read by a clock that is ahead": {func(s *Store) { s.Points[1].Track, s.Points[1].Ahead = &Track{}, 30*time.Minute }, logbook.GateAiring, ClockAhead},
		"live 11 minutes ago, a stored value since": {func(s *Store) {
			j := readAt(5*time.Minute, 0.01)
			j.Live, j.Against = false, true
			s.Points[0].Add(j, 10*time.Minute)
			s.Now = noon.Add(11 * time.Minute)
		}, logbook.GateAiring, PointSilent},
		"the newest reading at the limit": {func(s *Store) { s.Points[0].Add(readAt(time.Second, 0.3), 10*time.Minute) }, logbook.GateAiring, AboveLimit},
		"a reading above 29 minutes ago":  {func(s *Store) { s.Points[0].Track = spiked(-29 * time.Minute) }, logbook.GateAiring, NotBelowLong},
		"over range":                      {odd(reading.OverRange), logbook.GateAiring, OverRange},
		"stuck":                           {odd(reading.Stuck), logbook.GateAiring, PointStuck},
		"faulted":                         {odd(reading.Fault), logbook.GateAiring, PointFault},
		"below zero":                      {odd(reading.BelowZero), logbook.GateAiring, BelowZero},
		"a detection limit at the limit":  {func(s *Store) { s.Points[0].Detection = 0.3 }, logbook.GateAiring, TooCoarse},
		"a hand reading at the limit":     {func(s *Store) { s.Hands[0].PPM = 0.3 }, logbook.GateAiring, HandAbove},
		"a lower national limit":          {func(s *Store) { s.Limit = 0.2 }, logbook.GateAiring, AboveLimit},
	} {
		t.Run(name, func(t *testing.T) {
			s := ready()
			s.Cleared = &Clearance{At: noon, By: "N. Ferreira"}
			c.doubt(s)
			d := Decide(s)
			assert.Equal(t, c.state, d.State)
			assert.Contains(t, codes(d.Reasons), c.code)
			assert.True(t, d.Failed, "a standing clearance falls at once")
		})
	}
}

// odd makes the newest reading of the first point one of that state.
func odd(state string) func(*Store) {
	return func(s *Store) {
		j := readAt(time.Second, 0.1)
		j.State, j.Live = state, state == reading.OverRange
		s.Points[0].Add(j, 10*time.Minute)
	}
}

// spiked is a clean track with one reading above the limit at noon + d.
func spiked(d time.Duration) *Track {
	t := cleanTrack(0.1)
	late := readAt(d, 0.5)
	late.Live = false // it came out of order: it still counts against
	t.Add(late, 10*time.Minute)
	return t
}

func TestHalfAnHourOfEveryReading(t *testing.T) {
	s := ready()
	s.Points[0].Track = spiked(-31 * time.Minute)
	assert.Equal(t, logbook.GateCheckOwed, Decide(s).State, "above 31 minutes ago, below at 30 and since")
	s.Points[0].Track = spiked(-30 * time.Minute)
	assert.Equal(t, logbook.GateAiring, Decide(s).State)
}

// Airing counts only time in which every point was live: a gap at one point does
// not count, whatever the others read.
func TestGapsDoNotCountAsAiring(t *testing.T) {
	gapped := &Track{}
	for m := -180; m <= 0; m += 5 {
		if m < -120 || m > -80 {
			gapped.Add(readAt(time.Duration(m)*time.Minute, 0.1), 10*time.Minute)
		}
	}
	s := ready()
	s.Points[0].Track = gapped
	d := Decide(s)
	assert.Equal(t, logbook.GateAiring, d.State)
	assert.Equal(t, AiringTooShort, d.Reasons[0].Code)
	assert.EqualValues(t, 25+75, d.Reasons[0].Value, "150 minutes less the 50 from the last reading before the gap to the first after it")
}

// Retained, back-filled and late readings never count for the gate.
func TestReadingsThatAreNotLiveShowNothing(t *testing.T) {
	track := &Track{}
	for m := -180; m <= 0; m += 5 {
		j := readAt(time.Duration(m)*time.Minute, 0.05)
		j.Live = false
		track.Add(j, 10*time.Minute)
	}
	s := ready()
	s.Points[0].Track = track
	d := Decide(s)
	assert.Equal(t, logbook.GateAiring, d.State)
	assert.Subset(t, codes(d.Reasons), []string{AiringTooShort, NotBelowLong})
}

// A broker's stored value that says when it was measured is no sign that the point is being read,
// and what is told of it counts from that time, not from the beginning of all time.
func TestOnlyAStoredReading(t *testing.T) {
	for age, want := range map[time.Duration]logbook.Reason{
		time.Minute: {Code: NoReading, About: "door"},
		time.Hour:   {Code: PointSilent, About: "door", Value: 60, Limit: 10},
	} {
		j := readAt(-age, 0.05)
		j.Live = false
		s := ready()
		s.Points[0].Track = &Track{}
		s.Points[0].Add(j, 10*time.Minute)
		d := Decide(s)
		assert.Equal(t, logbook.GateAiring, d.State)
		assert.Contains(t, d.Reasons, want)
		assert.Equal(t, age < 10*time.Minute, s.Next() < noon.Add(10*time.Minute), "it falls silent when the gap is over")
	}
}

// Hand readings: beside every stack, after the two hours, within the last hour,
// below the limit, by a method that can show it.
func TestHandReadingsThatDoNotCount(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*Store)
		code   string
	}{
		"none":                              {func(s *Store) { s.Hands = nil }, HandOwed},
		"beside another stack":              {func(s *Store) { s.Hands[0].Beside = "B" }, HandOwed},
		"61 minutes old":                    {func(s *Store) { s.Hands[0].At = noon.Add(-61 * time.Minute) }, HandTooOld},
		"before the two hours were over":    {func(s *Store) { s.Hands[0].At = noon.Add(-31 * time.Minute) }, HandTooOld},
		"before the clearance fell":         {func(s *Store) { s.HandAfter = noon.Add(-5 * time.Minute) }, HandTooOld},
		"a method that shows only 0.3 ppm":  {func(s *Store) { s.Hands[0].Detection = 0.3 }, HandTooCoarse},
		"nothing found, no detection limit": {func(s *Store) { s.Hands[0].PPM, s.Hands[0].Detection = 0, -1 }, HandTooCoarse},
	} {
		t.Run(name, func(t *testing.T) {
			s := ready()
			c.change(s)
			d := Decide(s)
			assert.Equal(t, logbook.GateCheckOwed, d.State)
			assert.Equal(t, []string{c.code, ConfirmOwed}, codes(d.Reasons))
		})
	}
	s := ready()
	s.Hands[0].Detection = -1
	assert.Equal(t, []string{ConfirmOwed}, codes(Owed(s)), "a value that was read shows that the method can read it")
}

// A confirmation lapses after 12 h until withholding has ended.
func TestConfirmationLapses(t *testing.T) {
	s := ready()
	s.Stacks[0].Phase = logbook.PhaseWithholding
	s.Cleared = &Clearance{At: noon.Add(-12 * time.Hour), By: "N. Ferreira"}
	d := Decide(s)
	assert.True(t, d.Lapsed)
	assert.Equal(t, logbook.GateCheckOwed, d.State)
	assert.Equal(t, Lapsed, d.Reasons[0].Code)
	s.Cleared.At++
	assert.Equal(t, logbook.GateCleared, Decide(s).State, "a microsecond before")
	s.Cleared.At, s.Again = noon.Add(-5*time.Hour), 4*time.Hour
	assert.True(t, Decide(s).Lapsed, "the site's own figure")
	s.Stacks[0].Phase = logbook.PhaseClosed
	assert.Equal(t, logbook.GateCleared, Decide(s).State, "withholding has ended")
}

// A store that nobody treated, with a signed statement that nothing is under gas.
func TestNoGasDeclared(t *testing.T) {
	s := ready()
	s.Stacks, s.Hands = []Stack{{Name: "A"}}, nil
	assert.Equal(t, logbook.GateCheckOwed, Decide(s).State)
}

func TestReadingsCloserThanTenSecondsAreKeptAtTheirHighest(t *testing.T) {
	track := cleanTrack(0.1)
	for i := 1; i <= 600; i++ {
		v := 0.1
		if i == 300 {
			v = 0.4
		}
		track.Add(readAt(time.Duration(i)*time.Second, v), 10*time.Minute)
	}
	assert.Less(t, len(track.Recent), 200, "a fast instrument does not grow the state")
	assert.Less(t, track.BelowFor(0.3), 5*time.Minute+time.Second)
}

// A fault ends the running stretch, however soon sound readings come again; a reading that
// came late, or a second one, does not.
func TestAFaultEndsTheStretch(t *testing.T) {
	for state, stretches := range map[string]int{reading.Stuck: 2, reading.Fault: 2, reading.OverRange: 2, reading.BelowZero: 2, reading.Late: 1, reading.SecondValue: 1} {
		var tr Track
		for m := range 3 {
			if m == 1 {
				odd := readAt(-29*time.Minute, 0)
				odd.State, odd.Live, odd.Counts = state, false, false
				tr.Add(odd, 5*time.Minute)
			} else {
				tr.Add(readAt(time.Duration(m-30)*time.Minute, 0), 5*time.Minute)
			}
		}
		assert.Len(t, tr.Live, stretches, state)
	}
}

// Gas was seen where a figure says so; that nothing was read says nothing of gas.
func TestGasSeen(t *testing.T) {
	for code, seen := range map[string]bool{AboveLimit: true, HandAbove: true, OverRange: true, PointSilent: false, ConfirmOwed: false} {
		assert.Equal(t, seen, GasSeen([]logbook.Reason{{Code: ConfirmOwed}, {Code: code}}), code)
	}
	assert.False(t, GasSeen(nil))
}

// A clearance falls whatever speaks against it, and however many things do at once.
func TestAClearanceFailsOnAnyDoubt(t *testing.T) {
	inside := func(s *Store) { s.Inside = []string{"I. Okafor"} }
	silent := func(s *Store) { s.Points[0].Track = &Track{} }
	for name, doubts := range map[string][]func(*Store){"none": nil, "somebody inside": {inside}, "a point never read": {silent}, "both": {inside, silent}} {
		s := ready()
		s.Stacks[0].Phase, s.Cleared = logbook.PhaseWithholding, &Clearance{At: noon.Add(-time.Hour), By: "N. Ferreira"}
		for _, doubt := range doubts {
			doubt(s)
		}
		assert.Equal(t, len(doubts) > 0, Decide(s).Failed, name)
	}
}

// Readings exactly as far apart as is allowed are one stretch; a microsecond more and they are two.
func TestAStretchHoldsUpToTheGapAllowed(t *testing.T) {
	for late, stretches := range map[time.Duration]int{0: 1, time.Microsecond: 2} {
		var tr Track
		tr.Add(readAt(-20*time.Minute, 0.1), 10*time.Minute)
		tr.Add(readAt(-10*time.Minute+late, 0.1), 10*time.Minute)
		assert.Len(t, tr.Live, stretches, late)
	}
}

// What is shown of an airing is what the gate counts of it (common practice: only time in which
// the air was read): the stack with the least, nothing for a pause or for a gap in the readings.
func TestAiredIsWhatTheGateCounts(t *testing.T) {
	s := ready()
	assert.Equal(t, 2*time.Hour, s.Aired(), "no more than is asked for")
	s.Stacks = append(s.Stacks, Stack{Name: "B", Phase: logbook.PhaseAiring, AiringSince: noon.Add(-40 * time.Minute), MinAiring: 2 * time.Hour})
	assert.Equal(t, 40*time.Minute, s.Aired())
	assert.Equal(t, logbook.Number(40), Decide(s).Reasons[0].Value)
	s.Now = noon.Add(24 * time.Hour) // nobody read the air meanwhile, or the clock was set
	assert.Equal(t, 40*time.Minute, s.Aired())
	s.Stacks[1].Paused = true
	assert.Zero(t, s.Aired())
	s.Stacks[0].Phase, s.Stacks[1].Phase = logbook.PhaseWithholding, logbook.PhaseExposure
	assert.Zero(t, s.Aired())
}

package rules

import (
	"fmt"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

// history draws what happens in the Long Barn, mostly as it should, with everything
// that goes wrong between.
type history struct {
	*daemon
	rng   *rand.Rand
	o     *reentry
	now   logbook.Time
	seen  int
	acts  []uint64
	check func(after string)
	foul  float64 // chance of a reading that is not clean
	busy  float64 // chance of an act out of turn between two readings
}

func newHistory(seed uint64) *history {
	h := &history{rng: rand.New(rand.NewPCG(seed, 7)), now: epoch}
	h.o = &reentry{site: testSite(), right: map[uint64]*logbook.Corrected{}}
	h.o.every = pick(h, 3*time.Minute, 5*time.Minute, 10*time.Minute)
	h.foul, h.busy = pick(h, 0, 0.002, 0.04), pick(h, 0.01, 0.05)
	h.daemon = newDaemon(testSite())
	return h
}

func (h *history) chance(p float64) bool { return h.rng.Float64() < p }

func pick[T any](h *history, of ...T) T { return of[h.rng.IntN(len(of))] }

// give commits an entry and lets the oracle see all that was written.
func (h *history) give(e logbook.Entry, kind logbook.Kind, back time.Duration) {
	hd := e.Head()
	hd.Kind, hd.Received, hd.Time = kind, h.now, h.now.Add(-back)
	h.commit(e)
	if _, act := e.(logbook.Acting); act && logbook.Correctable(kind) {
		h.acts = append(h.acts, hd.Seq)
	}
	for _, c := range h.log[h.seen:] {
		h.o.take(c)
	}
	h.seen = len(h.log)
	if h.check != nil && (kind != logbook.KindReading || h.chance(0.3)) {
		h.check(string(kind))
	}
}

// read gives one reading of each gate point, clean or as the chance of foul ones will have it.
func (h *history) read(foul float64) {
	for _, ch := range []string{"door", "inside"} {
		r := &logbook.Reading{Channel: ch, Unit: logbook.PPM, Value: float64(h.rng.IntN(7)) / 100}
		back := time.Duration(0)
		if h.chance(foul) {
			switch h.rng.IntN(12) {
			case 0:
				continue // it is missing
			case 1:
				r.Value = pick(h, 0.2, 0.24, 0.25, 0.3, 0.5, 5)
			case 2:
				r.Value = pick(h, 20, 25.0, 1e6)
			case 3:
				r.Value = pick(h, -0.03, -0.04, -3)
			case 4:
				r.Fault = "self test"
			case 5:
				r.Retained, r.Stamped = true, h.chance(0.5)
				back = pick(h, 0, 20*time.Minute)
			case 6, 7:
				back = pick(h, time.Minute, 8*time.Minute, 20*time.Minute, 50*time.Minute, 3*time.Hour)
			case 8:
				back = -pick(h, time.Minute, 4*time.Minute, 6*time.Minute, time.Hour)
			case 9:
				back, r.Value = pick(h, 3*time.Minute, 20*time.Minute, 3*time.Hour), pick(h, 0.28, 2.0)
			case 10:
				r.Unit, r.Value = pick(h, logbook.MgM3, logbook.GM3, logbook.Cel), pick(h, 0, 0.2, 0.4)
			case 11:
				for range h.rng.IntN(12) { // it is lost for a while
					h.now = h.now.Add(h.o.every)
					h.give(&logbook.Clock{}, logbook.KindClock, 0)
				}
			}
		}
		h.give(r, logbook.KindReading, back)
	}
}

// pass lets time pass with readings.
func (h *history) pass(d time.Duration, foul float64) {
	for end := h.now.Add(d); h.now < end; {
		h.now = h.now.Add(h.o.every)
		h.read(foul)
		if foul > 0 && h.chance(h.busy) {
			h.act()
		}
	}
}

func (h *history) stack() logbook.OnStack { return logbook.OnStack{Stack: pick(h, "A", "A", "B")} }

var barn = logbook.OnStore{Store: "Long Barn"}

// act does one thing out of turn.
func (h *history) act() {
	back := pick(h, 0, 0, 0, 0, 10*time.Minute, time.Hour, 4*time.Hour, -time.Hour)
	switch h.rng.IntN(20) {
	case 0:
		h.give(&logbook.DosingStarted{OnStack: h.stack(), StoreEmpty: true, Act: someone}, logbook.KindDosingStarted, back)
	case 1:
		h.start(h.stack(), back)
	case 2, 3:
		h.give(&logbook.AiringStarted{OnStack: h.stack(), Act: someone}, logbook.KindAiringStarted, back)
	case 4:
		h.give(&logbook.AiringPaused{OnStack: h.stack(), Act: someone}, logbook.KindAiringPaused, back)
	case 5, 6:
		h.give(&logbook.AiringResumed{OnStack: h.stack(), Act: someone}, logbook.KindAiringResumed, back)
	case 7:
		h.give(&logbook.TreatmentAbandoned{OnStack: h.stack(), Why: "sheet lost", Act: someone}, logbook.KindAbandoned, back)
	case 8:
		h.give(&logbook.MaskedEntry{OnStore: barn, In: pick(h, "I. Okafor", "M. Sund"), AtDoor: "P. Lindqvist", Protection: "self-contained", Act: someone}, logbook.KindMaskedEntry, back)
	case 9, 10:
		h.give(&logbook.MaskedExit{OnStore: barn, Out: pick(h, "I. Okafor", "M. Sund"), Act: someone}, logbook.KindMaskedExit, back)
	case 11, 12:
		h.hand(h.stack().Stack, pick(h, 0.05, 0.1, 0.29, 0.3, 0.4), pick(h, 0.05, 0.05, 0.3), back)
	case 13, 14:
		h.give(&logbook.EntryConfirmed{OnStore: barn, Act: someone}, logbook.KindEntryConfirmed, back)
	case 15:
		h.give(&logbook.ClockStepped{StepSeconds: 90}, logbook.KindClockStepped, 0)
	case 16:
		h.correct()
	case 18:
		h.give(&logbook.DosePlaced{OnStack: h.stack(), Product: logbook.Product{Form: "tablet", Count: 100}, People: []string{"I. Okafor", "M. Sund"}, Protection: "full mask", Act: someone}, logbook.KindDosePlaced, back)
	case 19:
		h.give(&logbook.DoseAdded{OnStack: h.stack(), PhosphineG: 50, Act: someone}, logbook.KindDoseAdded, back)
	case 17:
		h.give(&logbook.NoGasDeclared{OnStore: barn, Act: someone}, logbook.KindNoGasDeclared, back)
	}
}

func (h *history) start(on logbook.OnStack, back time.Duration) {
	h.give(&logbook.TreatmentStarted{OnStack: on, Treatment: fmt.Sprintf("%s-%d", on.Stack, h.seq), Protocol: "five-day", Commodity: "maize", Tonnes: 100, VolumeM3: 150, PhosphineG: 200, GrainTempC: 27,
		Act: someone}, logbook.KindTreatmentStarted, back)
}

func (h *history) hand(stack string, ppm, finds float64, back time.Duration) {
	h.give(&logbook.HandReading{Store: "Long Barn", Point: "beside " + stack, Value: ppm, Unit: logbook.PPM, Method: "detector tube", DetectionLimit: &finds, Act: someone}, logbook.KindHandReading, back)
}

// correct strikes one of the acts, or moves it.
func (h *history) correct() {
	if len(h.acts) == 0 {
		return
	}
	c := &logbook.Corrected{Of: pick(h, h.acts...), Why: "misread", Act: someone}
	c.Withdrawn = h.chance(0.4)
	if !c.Withdrawn {
		text, err := logbook.Encode(h.log[c.Of-1])
		if err != nil {
			panic(err)
		}
		right, err := logbook.Decode(text)
		if err != nil {
			panic(err)
		}
		hd := right.Head()
		hd.Time = hd.Time.Add(pick(h, -3*time.Hour, -20*time.Minute, 20*time.Minute, 3*time.Hour))
		hd.Seq, hd.Received = 0, 0
		if c.Entry, err = logbook.Encode(right); err != nil {
			panic(err)
		}
	}
	h.give(c, logbook.KindCorrected, 0)
}

// whole plays dosing, airing, hand readings and confirmation of one or both stacks.
func (h *history) whole() {
	stacks := pick(h, []string{"A"}, []string{"B"}, []string{"A", "B"})
	for _, s := range stacks {
		h.give(&logbook.DosingStarted{OnStack: logbook.OnStack{Stack: s}, StoreEmpty: true, Act: someone}, logbook.KindDosingStarted, 0)
		h.pass(time.Hour, h.foul)
		h.start(logbook.OnStack{Stack: s}, 0)
	}
	h.pass(pick(h, time.Hour, 3*time.Hour), h.foul)
	for _, s := range stacks {
		h.give(&logbook.AiringStarted{OnStack: logbook.OnStack{Stack: s}, Early: "drill", Act: someone}, logbook.KindAiringStarted, 0)
		h.pass(pick(h, 0, 30*time.Minute), h.foul)
	}
	h.pass(pick(h, 100*time.Minute, 2*time.Hour, 130*time.Minute, 3*time.Hour), h.foul)
	for _, s := range stacks {
		h.hand(s, 0.05, 0.05, 0)
	}
	h.pass(pick(h, 0, 0, 40*time.Minute, 70*time.Minute), h.foul)
	h.give(&logbook.EntryConfirmed{OnStore: barn, Act: someone}, logbook.KindEntryConfirmed, 0)
	h.pass(pick(h, time.Hour, 13*time.Hour), h.foul)
}

// wayOut does all that a careful crew can do to clear the store.
func (h *history) wayOut() {
	for len(h.state.Stores["Long Barn"].Inside) > 0 {
		h.give(&logbook.MaskedExit{OnStore: barn, Act: someone}, logbook.KindMaskedExit, 0)
	}
	for _, ch := range []string{"door", "inside"} {
		h.give(&logbook.InstrumentChecked{Channel: ch, Check: logbook.CheckZero, Applied: 0, Read: 0, Unit: logbook.PPM, Passed: true, Act: someone}, logbook.KindInstrumentChecked, 0)
		h.give(&logbook.InstrumentChecked{Channel: ch, Check: logbook.CheckBump, Applied: 1, Read: 1, Unit: logbook.PPM, Passed: true, Act: someone}, logbook.KindInstrumentChecked, 0)
	}
	for _, s := range []string{"A", "B"} {
		on := logbook.OnStack{Stack: s}
		h.give(&logbook.AiringStarted{OnStack: on, Early: "drill", Act: someone}, logbook.KindAiringStarted, 0)
		h.give(&logbook.AiringResumed{OnStack: on, Act: someone}, logbook.KindAiringResumed, 0)
	}
	h.give(&logbook.NoGasDeclared{OnStore: barn, Act: someone}, logbook.KindNoGasDeclared, 0)
	h.pass(4*time.Hour, 0)
	h.give(&logbook.NoGasDeclared{OnStore: barn, Act: someone}, logbook.KindNoGasDeclared, 0)
	for _, s := range []string{"A", "B"} {
		h.hand(s, 0.05, 0.05, 0)
	}
	h.read(0)
	h.give(&logbook.EntryConfirmed{OnStore: barn, Act: someone}, logbook.KindEntryConfirmed, 0)
}

// reentryEnough is how many histories TestReentryJudgedTwice draws; REENTRY=12000 looks longer.
func reentryEnough() uint64 {
	if n, err := strconv.ParseUint(os.Getenv("REENTRY"), 10, 64); err == nil {
		return n
	}
	return 80
}

// A gate is never more open than the facts allow, and whatever happened: people who then do
// all that is owed come in again.
func TestReentryJudgedTwice(t *testing.T) {
	seen := map[string]int{}
	for seed := range reentryEnough() {
		h := newHistory(seed)
		h.check = func(after string) {
			g := h.state.Stores["Long Barn"].Gate
			seen[g.State]++
			if most, why := h.o.most(); howOpen(g.State) > howOpen(most) {
				t.Fatalf("seed %d, after %s at %s: the gate is %s, and may be %s at most: %s", seed, after, h.now, g.State, most, why)
			}
		}
		h.give(&logbook.NoGasDeclared{OnStore: barn, Act: someone}, logbook.KindNoGasDeclared, 0)
		for range 1 + h.rng.IntN(2) {
			h.whole()
		}
		h.wayOut()
		g := h.state.Stores["Long Barn"].Gate
		require.Equal(t, logbook.GateCleared, g.State, "seed %d: all was done, and yet %v", seed, g.Reasons)
	}
	for _, state := range []string{logbook.GateShut, logbook.GateAiring, logbook.GateCheckOwed, logbook.GateCleared} {
		require.Greater(t, seen[state], 100, "hardly ever %s: the histories show nothing", state)
	}
}

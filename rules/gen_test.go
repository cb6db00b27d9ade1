package rules

import (
	"fmt"
	"time"

	"pgregory.net/rapid"

	"undersheet/logbook"
	"undersheet/rules/alarm"
)

// testSite is an invented depot: two stores, the first with two stacks.
func testSite() logbook.Site {
	line := logbook.Channel{Gas: "ph3", Unit: "ppm", Range: 2000, Resolution: 1, DetectionLimit: 1, Accuracy: 0.05}
	air := logbook.Channel{Gas: "ph3", Unit: "ppm", Range: 20, Resolution: 0.01, DetectionLimit: 0.03, Accuracy: 0.1}
	return logbook.Site{Name: "Ford Mill", Timezone: "UTC",
		Channels: map[string]logbook.Channel{"a1": line, "a2": line, "b1": line, "door": air, "inside": air, "office": air, "door2": air},
		Stores: []logbook.Store{
			{Name: "Long Barn", Air: []logbook.AirPoint{{Name: "door", Channel: "door", Where: "door"}, {Name: "beside A", Channel: "inside"}, {Name: "office", Channel: "office", Where: "office"}},
				Stacks: []logbook.Stack{{Name: "A", Lines: []logbook.Line{{Name: "top", Channel: "a1"}, {Name: "low", Channel: "a2"}}}, {Name: "B", Lines: []logbook.Line{{Name: "top", Channel: "b1"}}}}},
			{Name: "Brick Store", Air: []logbook.AirPoint{{Name: "door", Channel: "door2", Where: "door"}}},
		}}
}

var epoch = logbook.At(time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC))

// script makes random entries in the order in which a logbook would hold them.
type script struct {
	t       *rapid.T
	now     logbook.Time
	n       int
	airy    bool // mostly clean air, so that gates come to open
	wired   bool // doors, water, mains, pumps and wind are read, alarms acknowledged and lines proved
	restore bool
	correct bool            // acts are put right or struck
	given   []logbook.Entry // all of it, in order
	steps   []time.Duration // between its moments; nil = those of a depot read every few minutes
}

func (g *script) stamp(e logbook.Entry, kind logbook.Kind, back time.Duration) logbook.Entry {
	h := e.Head()
	h.Kind, h.Received, h.Time = kind, g.now, g.now.Add(-back)
	return e
}

// next returns the entries of the next moment: every gate point read, and
// sometimes an act or something odd.
func (g *script) next() []logbook.Entry {
	g.n++
	steps := g.steps
	if steps == nil {
		steps = []time.Duration{5 * time.Minute, 5 * time.Minute, 5 * time.Minute, 10 * time.Minute, time.Minute, 10 * time.Second, 40 * time.Minute, 5 * time.Hour}
	}
	g.now = g.now.Add(rapid.SampledFrom(steps).Draw(g.t, "step"))
	var es []logbook.Entry
	for _, ch := range []string{"door", "inside", "door2", "office", "a1", "a2", "b1"} {
		if rapid.IntRange(0, 19).Draw(g.t, "drop") > 0 {
			es = append(es, g.reading(ch))
		}
	}
	if rapid.IntRange(0, 2).Draw(g.t, "act") == 0 {
		es = append(es, g.act())
	}
	if g.wired {
		es = append(g.signals(), es...)
	}
	if g.correct && rapid.IntRange(0, 5).Draw(g.t, "correct") == 0 {
		if c := g.correction(); c != nil {
			es = append(es, c)
		}
	}
	g.given = append(g.given, es...)
	return es
}

// correction strikes an act, or puts it right with another time; nil where none was given.
func (g *script) correction() logbook.Entry {
	c := &logbook.Corrected{Withdrawn: rapid.Bool().Draw(g.t, "withdrawn"), Why: "misread", Act: someone}
	var acts []int
	for i, e := range g.given {
		if _, act := e.(logbook.Acting); act {
			acts = append(acts, i)
		}
	}
	if len(acts) == 0 {
		return nil
	}
	i := rapid.SampledFrom(acts).Draw(g.t, "of")
	if c.Of = g.given[i].Head().Seq; c.Of == 0 {
		c.Of = uint64(i + 1)
	}
	c.Withdrawn = c.Withdrawn || !logbook.Correctable(g.given[i].Head().Kind)
	if !c.Withdrawn {
		text, err := logbook.Encode(g.given[i])
		if err != nil {
			g.t.Fatal(err)
		}
		right, err := logbook.Decode(text)
		if err != nil {
			g.t.Fatal(err)
		}
		h := right.Head()
		h.Seq, h.Received = 0, 0
		h.Time = h.Time.Add(rapid.SampledFrom([]time.Duration{-3 * time.Hour, -time.Minute, 0, time.Minute, 3 * time.Hour, 40 * time.Hour}).Draw(g.t, "moved"))
		if c.Entry, err = logbook.Encode(right); err != nil {
			g.t.Fatal(err)
		}
	}
	return g.stamp(c, logbook.KindCorrected, 0)
}

// signals are what contacts and pumps say at a moment, a word of an instrument, and
// what technicians do.
func (g *script) signals() []logbook.Entry {
	var es []logbook.Entry
	units := map[string]string{"flow": logbook.LMin, "wind": logbook.MS, "vane": logbook.Deg}
	for _, ch := range []string{"gate-1", "floor", "grid", "flow", "wind", "vane"} {
		r := &logbook.Reading{Channel: ch, Value: rapid.SampledFrom([]float64{1, 1, 1, 1, 0, 0.4, -3, 1e300}).Draw(g.t, "signal"), Unit: units[ch]}
		if r.Unit == "" {
			r.Unit = logbook.OnOff
		}
		back := rapid.SampledFrom([]time.Duration{0, 0, 0, 0, 0, 0, 0, 3 * time.Minute, 3 * time.Hour, -time.Minute, -time.Hour}).Draw(g.t, "signal back")
		if rapid.IntRange(0, 5).Draw(g.t, "signal dropped") > 0 {
			es = append(es, g.stamp(r, logbook.KindReading, back))
		}
	}
	by := logbook.Act{By: "P. Lindqvist"}
	switch rapid.IntRange(0, 5).Draw(g.t, "wired act") {
	case 0:
		name := rapid.SampledFrom([]string{alarm.AirGas, alarm.DoorOpened, alarm.PowerLost, alarm.Fire, alarm.PumpOff, alarm.PointSilent}).Draw(g.t, "alarm")
		es = append(es, g.stamp(&logbook.AlarmAcknowledged{Alarm: name, Act: by}, logbook.KindAcknowledged, 0))
	case 1:
		v := rapid.SampledFrom([]float64{0, 1, 395, 1e300}).Draw(g.t, "proof")
		es = append(es, g.stamp(&logbook.LineProved{Stack: "A", Line: rapid.SampledFrom([]string{"top", "low", "none"}).Draw(g.t, "line"), Zero: &v, Flow: &v, EndTest: logbook.EndTestSpan,
			Span: 400, Read: v, Unit: logbook.PPM, Seen: rapid.Bool().Draw(g.t, "seen"), Act: by}, logbook.KindLineProved, 0))
	case 2:
		es = append(es, g.stamp(&logbook.InstrumentState{Instrument: "rack", OK: rapid.Bool().Draw(g.t, "answers")}, logbook.KindInstrumentState, 0))
	}
	return es
}

// wiredSite is the test site with everything on it that can be read.
func wiredSite() logbook.Site {
	site := testSite()
	wired(&site)
	site.Instruments = []logbook.Instrument{{Name: "rack", Frames: &logbook.Frames{Channels: map[string]string{"1": "a1", "2": "inside", "3": "gate-1"}}}}
	return site
}

func (g *script) reading(ch string) logbook.Entry {
	r := &logbook.Reading{Channel: ch, Unit: "ppm"}
	odd := rapid.IntRange(0, 60).Draw(g.t, "odd")
	switch {
	case ch[0] == 'a' || ch[0] == 'b':
		r.Value = rapid.SampledFrom([]float64{0, 20, 300, 310, 320, 900, 2000, 3e9}).Draw(g.t, "ppm")
	case g.airy && odd < 55:
		r.Value = rapid.SampledFrom([]float64{0, 0.01, 0.02, 0.05}).Draw(g.t, "clean")
	default:
		r.Value = rapid.SampledFrom([]float64{-5, -0.02, 0.2, 0.23, 0.25, 0.3, 0.5, 7, 20, 1e300}).Draw(g.t, "foul")
	}
	var back time.Duration
	switch odd {
	case 1:
		back = rapid.SampledFrom([]time.Duration{time.Minute, 20 * time.Minute, 3 * time.Hour, -time.Hour, -4 * time.Minute}).Draw(g.t, "back")
	case 2:
		r.Fault = "self test"
	case 3:
		r.Retained, r.Stamped = true, true
	case 4:
		r.Unit = rapid.SampledFrom([]string{"mg/m3", "C", "g/m3"}).Draw(g.t, "unit")
	case 5:
		r.Channel = "nobody's"
	}
	return g.stamp(r, logbook.KindReading, back)
}

func (g *script) act() logbook.Entry {
	by := logbook.Act{By: rapid.SampledFrom([]string{"N. Ferreira", "N. Ferreira", "N. Ferreira", ""}).Draw(g.t, "by")}
	stack := logbook.OnStack{Stack: rapid.SampledFrom([]string{"A", "A", "A", "B", "Z"}).Draw(g.t, "stack")}
	store := logbook.OnStore{Store: rapid.SampledFrom([]string{"Long Barn", "Long Barn", "Brick Store"}).Draw(g.t, "store")}
	kinds := []logbook.Kind{
		logbook.KindNoGasDeclared, logbook.KindDosingStarted, logbook.KindTreatmentStarted, logbook.KindDoseAdded, logbook.KindExposureExtended,
		logbook.KindAiringStarted, logbook.KindAiringStarted, logbook.KindAiringStarted, logbook.KindAiringPaused, logbook.KindAiringResumed, logbook.KindAbandoned,
		logbook.KindHandReading, logbook.KindHandReading, logbook.KindHandReading, logbook.KindMaskedEntry, logbook.KindMaskedExit, logbook.KindMaskedExit,
		logbook.KindEntryConfirmed, logbook.KindEntryConfirmed, logbook.KindEntryConfirmed, logbook.KindClockStepped, logbook.KindRestored, logbook.KindClock,
	}
	if g.n%3 == 0 {
		kinds = append(kinds, logbook.KindInspected, logbook.KindCagesPlaced, logbook.KindCagesRetrieved, logbook.KindCagesJudged, logbook.KindSheetTorn,
			logbook.KindSheetRepaired, logbook.KindWrittenOff, logbook.KindGrainIssued, logbook.KindResidueDisposed, logbook.KindCanister)
	}
	if g.n%5 == 0 { // seldom, for they shut gates
		kinds = append(kinds, logbook.KindDosePlaced, logbook.KindResidueTaken, logbook.KindInstrumentChecked, logbook.KindInstrumentSwapped, logbook.KindChecksSigned, logbook.KindStockCounted)
	}
	kind := rapid.SampledFrom(kinds).Draw(g.t, "kind")
	back := rapid.SampledFrom([]time.Duration{0, 0, 0, 0, 0, 3 * time.Hour, -time.Hour}).Draw(g.t, "act back")
	if kind == logbook.KindRestored && !g.restore {
		kind = logbook.KindClock
	}
	switch kind {
	case logbook.KindNoGasDeclared:
		return g.stamp(&logbook.NoGasDeclared{OnStore: store, Act: by}, kind, back)
	case logbook.KindDosingStarted:
		return g.stamp(&logbook.DosingStarted{OnStack: stack, StoreEmpty: true, Act: by}, kind, back)
	case logbook.KindTreatmentStarted:
		return g.stamp(&logbook.TreatmentStarted{OnStack: stack, Treatment: fmt.Sprintf("T-%d", g.n%5), Protocol: rapid.SampledFrom([]string{"five-day", "twice", "x"}).Draw(g.t, "protocol"),
			Commodity: "maize", Tonnes: 100, VolumeM3: 150, PhosphineG: 200, GrainTempC: 27, Act: by}, kind, back)
	case logbook.KindDoseAdded:
		return g.stamp(&logbook.DoseAdded{OnStack: stack, PhosphineG: 50, Act: by}, kind, back)
	case logbook.KindExposureExtended:
		return g.stamp(&logbook.ExposureExtended{OnStack: stack, ExposureHours: 168, Act: by}, kind, back)
	case logbook.KindAiringStarted:
		return g.stamp(&logbook.AiringStarted{OnStack: stack, Act: by}, kind, back)
	case logbook.KindAiringPaused:
		return g.stamp(&logbook.AiringPaused{OnStack: stack, Act: by}, kind, back)
	case logbook.KindAiringResumed:
		return g.stamp(&logbook.AiringResumed{OnStack: stack, Act: by}, kind, back)
	case logbook.KindAbandoned:
		return g.stamp(&logbook.TreatmentAbandoned{OnStack: stack, Why: "sheet lost", Act: by}, kind, back)
	case logbook.KindInspected, logbook.KindCagesPlaced, logbook.KindCagesRetrieved, logbook.KindCagesJudged, logbook.KindSheetTorn, logbook.KindSheetRepaired,
		logbook.KindWrittenOff, logbook.KindGrainIssued, logbook.KindResidueDisposed, logbook.KindCanister:
		return g.stamp(g.afterwards(kind, stack, by), kind, back)
	case logbook.KindHandReading:
		if rapid.IntRange(0, 3).Draw(g.t, "in bags") == 0 {
			limit := rapid.SampledFrom([]float64{0.05, 0.5}).Draw(g.t, "finds")
			return g.stamp(&logbook.HandReading{Stack: stack.Stack, Where: logbook.WhereBags, Value: rapid.SampledFrom([]float64{0, 0.1, 0.4}).Draw(g.t, "in bags"),
				Unit: "ppm", Method: "detector tube", DetectionLimit: &limit, Act: by}, kind, back)
		}
		h := &logbook.HandReading{Store: "Long Barn", Point: "beside " + stack.Stack, Value: rapid.SampledFrom([]float64{0, 0.1, 0.1, 0.1, 0.4}).Draw(g.t, "hand"), Unit: "ppm", Method: "detector tube", Act: by}
		if rapid.Bool().Draw(g.t, "states its limit") {
			limit := rapid.SampledFrom([]float64{0.05, 0.5}).Draw(g.t, "limit")
			h.DetectionLimit = &limit
		}
		return g.stamp(h, kind, back)
	case logbook.KindMaskedEntry:
		return g.stamp(&logbook.MaskedEntry{OnStore: store, In: "I. Okafor", AtDoor: "P. Lindqvist", Protection: "self-contained", Act: by}, kind, back)
	case logbook.KindMaskedExit:
		return g.stamp(&logbook.MaskedExit{OnStore: store, Act: by}, kind, back)
	case logbook.KindEntryConfirmed:
		return g.stamp(&logbook.EntryConfirmed{OnStore: store, Act: by}, kind, back)
	case logbook.KindDosePlaced:
		return g.stamp(&logbook.DosePlaced{OnStack: stack, Product: tablets(g.n % 7), Act: by}, kind, back)
	case logbook.KindResidueTaken:
		return g.stamp(&logbook.ResidueTaken{OnStack: stack, Product: tablets(g.n % 5), Residue: logbook.ResidueNotKnown, Act: by}, kind, back)
	case logbook.KindInstrumentChecked:
		return g.stamp(&logbook.InstrumentChecked{Channel: rapid.SampledFrom([]string{"door", "inside"}).Draw(g.t, "channel"), Check: logbook.CheckBump, Applied: 1,
			Read: rapid.SampledFrom([]float64{1, 1, 0.2}).Draw(g.t, "answer"), Unit: "ppm", Passed: true, Act: by}, kind, back)
	case logbook.KindInstrumentSwapped:
		return g.stamp(&logbook.InstrumentSwapped{Channel: "door", In: "2", Act: by}, kind, back)
	case logbook.KindChecksSigned:
		return g.stamp(&logbook.ChecksSigned{OnStore: store, InOrder: []string{"floor"}, Act: by}, kind, back)
	case logbook.KindStockCounted:
		return g.stamp(&logbook.StockCounted{Product: tablets(g.n % 9), Act: by}, kind, back)
	case logbook.KindClockStepped:
		return g.stamp(&logbook.ClockStepped{StepSeconds: 90}, kind, 0)
	case logbook.KindRestored:
		return g.stamp(&logbook.Restored{Log: "b", Was: "a", From: "0"}, kind, 0)
	}
	return g.stamp(&logbook.Clock{}, logbook.KindClock, 0)
}

// daemon folds entries as the daemon does: with seq, and with the proposed
// records committed behind the entry that made them.
type daemon struct {
	state *State
	log   []logbook.Entry    // as committed
	made  []logbook.Recorded // records, in order
	seq   uint64
}

func newDaemon(site logbook.Site) *daemon {
	d := &daemon{state: New()}
	c := &logbook.SiteConfigured{Site: site}
	c.Kind, c.Time, c.Received = logbook.KindSiteConfigured, epoch, epoch
	d.commit(c)
	return d
}

// commit gives an entry its seq, folds it, and commits what it makes.
func (d *daemon) commit(e logbook.Entry) {
	d.seq++
	h := e.Head()
	h.Seq = d.seq
	if h.Received == 0 {
		h.Received = h.Time
	}
	d.log = append(d.log, e)
	recs := d.state.Fold(e)
	if d.state.Outdated() {
		more, err := d.state.Refold(entriesOf(d.log), false)
		if err != nil {
			panic(err)
		}
		recs = append(recs, more...)
	}
	for _, r := range recs {
		d.made = append(d.made, r)
		d.commit(r)
	}
}

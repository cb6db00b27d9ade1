package main

import (
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"undersheet/cmd/bench/scenario"
	"undersheet/logbook"
	"undersheet/rules/decay"
	"undersheet/rules/fault"
	"undersheet/rules/leak"
	"undersheet/rules/reading"
)

// Figures of package rules and of the protocol.
const (
	firstRefit = 2     // hour of exposure
	endPPM     = 150.0 // end level of the five-day protocol
)

// t0 is when every treatment begins.
var t0 = logbook.At(time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC))

// outlook is a forecast of the end, made at an hour.
type outlook struct {
	lines  []decay.Forecast
	lowest decay.Forecast
}

// event is one of the leak test and the hour at which it came.
type event struct {
	leak.Event
	at float64
}

// course is what the daemon makes of a record.
type course struct {
	rec      *scenario.Record
	outlooks map[int]outlook // by the hour at which they were made
	events   []event
	stuck    []float64 // hour at which a line was first judged stuck; 0 = never
	silent   []float64 // hour at which the newest silence of a line that was too long began; 0 = never
}

func newCourse(r *scenario.Record) course {
	n := r.Lines()
	return course{rec: r, outlooks: map[int]outlook{}, stuck: make([]float64, n), silent: make([]float64, n)}
}

// watched is a record as the daemon sees it: its readings judged, binned, fitted
// and tested by the same calls, in the same order, as package rules makes them.
type watched struct {
	fit      *decay.State
	leak     *leak.State
	faults   *fault.State
	channels []logbook.Channel
	history  []reading.History
	next     int // reading
	hour     int
	bin      fault.Bin
	doses    []decay.Dose // still to be told
	at       []int        // hours at which to forecast
	course
	refit  func()        // brings the fit up to the hour
	deaf   bool          // the leak test does not tell the fit
	oracle leak.Expecter // in the place of the fit, for the leak test; nil = none
	every  func(w *watched, hour int)
}

// watch runs a record through fit and leak test, with forecasts at the given hours.
func watch(r *scenario.Record, at ...int) *watched {
	w := &watched{course: newCourse(r), doses: r.Doses, at: at}
	w.fit = decay.New(r.Setup)
	w.refit = func() { w.fit.Update(float64(w.hour)) }
	n := r.Lines()
	w.leak, w.faults, w.bin = leak.New(leak.Setup{Lines: n}), fault.New(r.Setup.Lines), fault.NewBin(n)
	w.history = make([]reading.History, n)
	for _, l := range r.Setup.Lines {
		w.channels = append(w.channels, channelOf(l))
	}
	return w
}

// run takes every reading.
func (w *watched) run() *watched {
	w.until(scenario.Hours + 1)
	return w
}

// until takes the readings before hours that it has not taken.
func (w *watched) until(hours float64) {
	for ; w.next < len(w.rec.Readings) && w.rec.Readings[w.next].Hours < hours; w.next++ {
		w.read(&w.rec.Readings[w.next])
	}
}

// branch is a copy that goes on with another record of the same stack, which so
// far read the same. Fit and leak test go through their JSON form, as they do
// where the daemon starts again.
func (w *watched) branch(r *scenario.Record) (*watched, error) {
	b := *w
	b.rec, b.doses, b.fit, b.leak, b.faults = r, r.Doses, &decay.State{}, &leak.State{}, &fault.State{}
	for _, p := range [][2]any{{w.fit, b.fit}, {w.leak, b.leak}, {w.faults, b.faults}} {
		text, err := json.Marshal(p[0])
		if err != nil {
			return nil, fmt.Errorf("copy the state of a stack: %w", err)
		}
		if err := json.Unmarshal(text, p[1]); err != nil {
			return nil, fmt.Errorf("copy the state of a stack: %w", err)
		}
	}
	b.refit = func() { b.fit.Update(float64(b.hour)) }
	b.bin.Sums, b.events, b.stuck, b.silent = slices.Clone(w.bin.Sums), slices.Clone(w.events), slices.Clone(w.stuck), slices.Clone(w.silent)
	b.history = slices.Clone(w.history)
	for i := range b.history {
		b.history[i].Gaps, b.history[i].Recent = slices.Clone(b.history[i].Gaps), slices.Clone(b.history[i].Recent)
	}
	b.outlooks = map[int]outlook{}
	return &b, nil
}

// read takes one reading.
func (w *watched) read(r *scenario.Reading) {
	at := moment(r.Hours)
	hours := at.Hours(t0)
	for h := w.hour + 1; float64(h) <= hours; h++ {
		w.pass(h) // as the daemon's clock does where no reading comes
	}
	w.tellDoses(hours)
	w.listen(at)
	e := &logbook.Reading{Header: logbook.Header{Time: at, Received: at, Kind: logbook.KindReading}, Value: r.PPM, Unit: logbook.PPM}
	j := w.history[r.Line].Judge(w.channels[r.Line], e, at)
	if j.State == reading.Stuck && w.stuck[r.Line] == 0 {
		w.stuck[r.Line] = hours
	}
	if !j.Counts || !j.Fits {
		return
	}
	w.closeBin(hours)
	if !w.leak.Out(r.Line) {
		w.fit.Observe(hours, r.Line, j.Value)
	}
	w.bin.Add(hours, r.Line, j.Value, j.State != reading.OK)
}

// listen notes which lines have been silent too long.
func (w *watched) listen(now logbook.Time) {
	for i := range w.history {
		if d, long := w.history[i].SilentFor(w.channels[i], now); long && w.history[i].Newest != 0 {
			w.silent[i] = now.Hours(t0) - d.Hours()
		}
	}
}

// tellDoses tells of the doses that were added until hours.
func (w *watched) tellDoses(hours float64) {
	for len(w.doses) > 0 && w.doses[0].Hours <= hours {
		w.fit.AddDose(w.doses[0].Hours, w.doses[0].Grams)
		w.leak.DoseAdded(w.doses[0].Hours)
		w.faults.DoseAdded(w.doses[0].Hours)
		w.doses = w.doses[1:]
	}
}

// closeBin hands the running bin to the leak test.
func (w *watched) closeBin(hours float64) {
	if !w.bin.Over(hours) {
		return
	}
	at, obs := w.bin.Next(hours, w.rec.Setup.Lines)
	if len(obs) == 0 {
		return
	}
	for _, e := range w.faults.Observe(at, obs, w.leak, w.expecter()) {
		w.events = append(w.events, event{e, hours})
		if line, since, ok := e.Misled(); ok {
			w.fit.Strike(line, since, hours)
		}
		if w.deaf {
			continue
		}
		switch changed, mended := w.leak.LossOf(&e); {
		case changed:
			w.fit.LossChanged(e.Onset, decay.Value{Value: e.LossAfter - e.LossBefore, SE: e.LossSD})
		case mended:
			w.fit.LossMended(max(hours-leak.CalmHours, e.Onset+1))
		}
	}
}

// expecter is what the leak test asks.
func (w *watched) expecter() leak.Expecter {
	if w.oracle != nil {
		return w.oracle
	}
	return w.fit
}

// pass lets an hour begin: from the second on the fit is made anew.
func (w *watched) pass(hour int) {
	w.hour = hour
	if hour < firstRefit {
		return
	}
	w.refit()
	if slices.Contains(w.at, hour) {
		if lines, lowest, ok := w.fit.Forecasts(scenario.Hours, endPPM); ok {
			w.outlooks[hour] = outlook{lines, lowest}
		}
	}
	if w.every != nil {
		w.every(w, hour)
	}
}

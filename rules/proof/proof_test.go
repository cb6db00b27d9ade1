package proof_test

import (
	"math"
	"testing"
	"time"

	"undersheet/logbook"
	"undersheet/rules/proof"

	"github.com/stretchr/testify/assert"
)

var (
	noon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	site = &logbook.Site{Stores: []logbook.Store{{Name: "Store 1", Stacks: []logbook.Stack{{Name: "A"}}}}, Channels: map[string]logbook.Channel{
		"top":  {Unit: logbook.PPM, DetectionLimit: 1, Resolution: 1, Range: 2000, Accuracy: 0.05},
		"low":  {Unit: logbook.MgM3, DetectionLimit: 1, Resolution: 1},
		"flow": {Unit: logbook.LMin, Resolution: 0.1},
	}}
	before = proof.Heard{"top": {{Channel: "top", Value: 1, At: noon}, {Channel: "top", Value: 2, At: noon}, {Channel: "top", Fault: "warming up", At: noon}},
		"low":  {{Channel: "low", Value: 0, At: noon}, {Channel: "low", Value: 1, At: noon}},
		"flow": {{Channel: "flow", Value: 1.2, At: noon}, {Channel: "flow", Value: 1.2, At: noon}}}
)

func at(s int, channel string, value float64) proof.Reading {
	return proof.Reading{Channel: channel, Value: value, At: noon.Add(time.Duration(s) * time.Second)}
}

// A tenth of the span gas, or twice the zero error or digit, whichever is more (common
// practice); 100 ppm of phosphine are 139 mg/m³ at 25 °C (ideal gas law, 34.00 g/mol).
func TestRise(t *testing.T) {
	assert.Equal(t, 30.0, proof.Rise(site.Channels["top"], 300, logbook.PPM))
	assert.Equal(t, 2.0, proof.Rise(site.Channels["top"], 3, logbook.PPM))
	assert.InDelta(t, 13.9, proof.Rise(site.Channels["low"], 100, logbook.PPM), 0.01)
	assert.Equal(t, math.Inf(1), proof.Rise(site.Channels["flow"], 100, logbook.PPM), "it is no gas")
	least := proof.LeastSpan(site.Channels["top"])
	assert.GreaterOrEqual(t, least-proof.Rise(site.Channels["top"], least, logbook.PPM), proof.Rise(site.Channels["top"], least, logbook.PPM)/10,
		"the weakest gas that may be used is told from no answer")
	assert.Equal(t, []string{"low", "top"}, proof.GasChannels(site))
}

// What a reading may be off, by hand: 5 % of 300 ppm, 1 ppm of zero error and 1 ppm of digits;
// where the site states no accuracy, 5 % stands for it.
func TestErrors(t *testing.T) {
	assert.Equal(t, 1.0, proof.ZeroError(site.Channels["top"]))
	assert.Equal(t, 0.1, proof.ZeroError(site.Channels["flow"]), "a digit")
	assert.InDelta(t, 17, proof.SpanError(site.Channels["top"], 300), 1e-12)
	assert.InDelta(t, 22, proof.SpanError(site.Channels["low"], 400), 1e-12)
}

// It ends when the channel stands still and the other one was read since; what it read is
// the mean of the last three.
func TestSpanAnsweredAlone(t *testing.T) {
	w := proof.WatchSpan(site, "top", 300, before, noon)
	assert.False(t, w.Take(at(-1, "top", 300)), "read before the gas came")
	assert.False(t, w.Take(at(5, "top", 32)), "30 ppm over the 2 before is not more than 30")
	_, answered := w.Lag("top")
	assert.False(t, answered)
	for i, v := range []float64{33, 200, 298, 300, 303} {
		assert.False(t, w.Take(at(10+i, "top", v)), "low was not read since")
	}
	assert.Equal(t, []string{"low"}, w.NotRead())
	assert.True(t, w.Take(at(20, "low", 1)))
	lag, answered := w.Lag("top")
	assert.True(t, answered)
	assert.Equal(t, 10*time.Second, lag)
	assert.InDelta(t, (298+300+303)/3.0, w.Read(), 1e-9)
	assert.Empty(t, w.Others())
	assert.Empty(t, w.NotRead())
	assert.Empty(t, w.Fault())
}

// Where another channel answers, too, it is named; one that never stands still shows its top.
func TestSpanAnsweredElsewhere(t *testing.T) {
	w := proof.WatchSpan(site, "top", 300, before, noon)
	assert.False(t, w.Take(at(5, "low", 400)))
	assert.False(t, w.Take(proof.Reading{Channel: "top", Fault: "pump", At: noon.Add(6 * time.Second)}))
	for i, v := range []float64{50, 300, 100, 250} {
		assert.False(t, w.Take(at(10+i, "top", v)))
	}
	assert.Equal(t, []string{"low"}, w.Others())
	assert.Equal(t, [3]any{300.0, 400.0, "pump"}, [3]any{w.Read(), w.Top("low"), w.Fault()})
}

// A move counts from three times the spread before, 3 ppm of top here, and 5 % of the value,
// 0.06 L/min of the flow, but two of its digits are more (common practice).
func TestBreath(t *testing.T) {
	w := proof.WatchBreath(site, before, noon)
	w.Take(at(3, "top", 5))
	w.Take(at(3, "flow", 1.0))
	assert.Empty(t, w.Moved())
	w.Take(at(4, "top", 5.1))
	w.Take(at(5, "top", 9))
	w.Take(at(2, "flow", 0.9))
	w.Take(at(-1, "low", 90))
	assert.Equal(t, []string{"flow", "top"}, w.Moved(), "the first first")
	by, after, moved := w.Move("top")
	assert.True(t, moved)
	assert.Equal(t, [2]any{7.0, 4 * time.Second}, [2]any{by, after})
	_, _, moved = w.Move("low")
	assert.False(t, moved)
}

// Nobody holds the end of a line where a stack is under gas, whatever the gate shows.
func TestStandingAllowsNothingUnknown(t *testing.T) {
	st := &site.Stores[0]
	s := proof.NewStanding(site)
	assert.False(t, s.Allows(st, true), "nothing is known")
	s.Take(&logbook.Gate{Store: "Store 1", State: logbook.GateCleared})
	assert.Equal(t, [2]bool{true, false}, [2]bool{s.Allows(st, true), s.Allows(st, false)}, "a clearance counts while a daemon watches")
	s.Take(&logbook.DosingStarted{OnStack: logbook.OnStack{Stack: "A"}})
	assert.False(t, s.Allows(st, true))
	stack, phase, under := s.UnderGas(st)
	assert.Equal(t, [3]any{"A", logbook.PhaseDosing, true}, [3]any{stack, phase, under})
	s.Take(&logbook.Accepted{Entry: logbook.KindNoGasDeclared, Store: "Store 1"})
	assert.False(t, s.Allows(st, true), "a word does not take gas away")
	s.Take(&logbook.Phase{Stack: "A", Phase: logbook.PhaseClosed})
	s.Take(&logbook.Accepted{Entry: logbook.KindNoGasDeclared, Store: "Store 1"})
	assert.True(t, s.Allows(st, false))
}

// Phosphide that is laid or added ends the word that nothing is under gas, in whatever phase.
func TestStandingHearsOfPhosphide(t *testing.T) {
	st, on := &site.Stores[0], logbook.OnStack{Stack: "A"}
	for _, laid := range []logbook.Entry{&logbook.DosePlaced{OnStack: on}, &logbook.DoseAdded{OnStack: on}} {
		s := proof.NewStanding(site)
		s.Take(&logbook.Accepted{Entry: logbook.KindNoGasDeclared, Store: "Store 1"})
		assert.True(t, s.Allows(st, false))
		s.Take(laid)
		assert.False(t, s.Allows(st, false), "%T", laid)
		s.Take(&logbook.Phase{Stack: "A", Phase: logbook.PhaseExposure})
		s.Take(laid)
		_, phase, _ := s.UnderGas(st)
		assert.Equal(t, logbook.PhaseExposure, phase, "%T", laid)
	}
}

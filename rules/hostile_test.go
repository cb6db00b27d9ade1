package rules

import (
	"encoding/json"
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

// Values that no instrument and no person can mean: every record can be written,
// the state can be kept, and no gate opens. (Contract: one bad input never stops
// the others.)
func TestHostileValues(t *testing.T) {
	values := []float64{math.MaxFloat64, -math.MaxFloat64, -1e300, 5e-324, math.Copysign(0, -1), 1e18, 1e6}
	for i, v := range values {
		for k, w := range values {
			if testing.Short() && k != (i+1)%len(values) {
				continue // each value once in each place
			}
			t.Run(fmt.Sprintf("%g %g", v, w), func(t *testing.T) {
				d := aday(t, func(s *logbook.Site) {
					s.Channels["grain"] = logbook.Channel{Unit: logbook.Cel}
					s.Channels["bare"] = logbook.Channel{Gas: "ph3", Unit: logbook.GM3}
					s.Stores[0].Stacks[0].Temperature = "grain"
					s.Stores[0].Stacks[1].Lines[0].Channel = "bare"
				})
				d.declare()
				plus := func(x float64) float64 { return math.Abs(x) }
				for _, stack := range []string{"A", "B"} {
					d.act(&logbook.TreatmentStarted{OnStack: logbook.OnStack{Stack: stack}, Treatment: stack + "-1", Protocol: "five-day", Commodity: "maize", Tonnes: plus(w),
						VolumeM3: plus(values[(i+k)%len(values)]), PhosphineG: plus(v), GrainTempC: w, GrainMoisturePct: plus(v), GasSpaceM3: plus(values[(i+2*k)%len(values)]),
						ExposureHours: plus(v)}, logbook.KindTreatmentStarted, 0)
				}
				for _, ch := range []string{"a1", "a2", "door", "inside", "office", "door2", "grain", "bare", "nobody's"} {
					for step, x := range []float64{v, w, 20, v} {
						for _, unit := range []string{logbook.PPM, logbook.GM3, logbook.Cel} {
							r := readingAt(d.now.Add(time.Duration(step)*time.Second), d.now, ch, x)
							r.Unit = unit
							d.commit(r)
						}
					}
				}
				if v != 0 {
					d.act(&logbook.DoseAdded{OnStack: onA(), PhosphineG: plus(v)}, logbook.KindDoseAdded, 0)
					d.act(&logbook.ExposureExtended{OnStack: onA(), ExposureHours: plus(v)}, logbook.KindExposureExtended, 0)
				}
				d.act(&logbook.HandReading{Store: "Long Barn", Point: "door", Value: plus(v), Unit: logbook.GM3, DetectionLimit: &w}, logbook.KindHandReading, 0)
				d.act(&logbook.HandReading{Stack: "A", Line: "top", Value: plus(w), Unit: logbook.GM3}, logbook.KindHandReading, 0)
				d.commit(d.stamp(&logbook.ClockStepped{StepSeconds: v}, logbook.KindClockStepped, 0))
				d.level["a1"], d.level["a2"], d.level["bare"] = flat(v/2), flat(w/2), flat(w/2)
				d.run(16)
				d.air()
				d.run(1)
				d.state.View()
				require.NotEqual(t, logbook.GateCheckOwed, d.gate())
				for _, r := range d.made {
					_, err := logbook.Encode(r)
					require.NoError(t, err, "%+v", r)
				}
				_, err := json.Marshal(d.state)
				require.NoError(t, err)
				_, err = json.Marshal(d.state.View())
				require.NoError(t, err)
			})
		}
	}
}

// Times of other centuries: the same.
func TestHostileTimes(t *testing.T) {
	for year := 1; year <= 9999; year += 211 {
		far := logbook.At(time.Date(year, 5, 1, 0, 0, 0, 0, time.UTC))
		d := underGas(t)
		before := d.state.Stacks["A"].Treatment.Lines[0].CTP.PPMh
		for _, ch := range []string{"a1", "door", "inside", "office"} {
			d.commit(readingAt(far, d.now, ch, 0.01))
		}
		d.act(&logbook.HandReading{Store: "Long Barn", Point: "beside A", Value: 0.1, Unit: logbook.PPM}, logbook.KindHandReading, d.now.Sub(far)%time.Hour)
		e := &logbook.AiringStarted{OnStack: onA(), Act: someone}
		d.stamp(e, logbook.KindAiringStarted, 0)
		e.Time = far
		d.commit(e)
		want := logbook.GateAiring
		if far < d.now {
			want = logbook.GateShut // it aired nothing that was laid since
		}
		require.Equal(t, want, d.gate(), "year %d", year)
		d.run(1)
		require.Equal(t, want, d.gate(), "year %d", year)
		require.InDelta(t, before, d.state.Stacks["A"].Treatment.Lines[0].CTP.PPMh, before+700)
		for _, r := range d.made {
			_, err := logbook.Encode(r)
			require.NoError(t, err)
		}
	}
}

// A stack with more lines than the fit and the leak test take is read all the same.
func TestVeryManyLines(t *testing.T) {
	var more []string
	for i := range 70 {
		more = append(more, fmt.Sprintf("m%d", i))
	}
	d := aday(t, lines(more...))
	d.declare()
	d.dose("five-day")
	for range 36 {
		for _, name := range append(more, "a1", "a2") {
			d.read(name, 500)
		}
		d.run(5.0 / 60)
	}
	last := d.state.Stacks["A"].Treatment.Lines[71]
	assert.InDelta(t, 3*500, last.CTP.PPMh, 250)
	d.act(&logbook.HandReading{Stack: "A", Line: last.Name, Value: 480, Unit: logbook.PPM, Method: "detector tube"}, logbook.KindHandReading, 0)
	assert.NotNil(t, d.state.View())
}

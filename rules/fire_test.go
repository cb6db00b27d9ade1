package rules

import (
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules/alarm"
)

// 10 % of the lower explosive limit (1.79 % by volume) is 1,790 ppm: NIOSH IDLH
// documentation 7803-51-2 (1994); 25 % is common practice.
func TestFireRisk(t *testing.T) {
	wide := func(s *logbook.Site) {
		c := s.Channels["a1"]
		c.Range = 10000
		s.Channels["a1"] = c
	}
	big := func(t *testing.T, change ...func(*logbook.Site)) *day {
		d := aday(t, change...)
		d.act(&logbook.TreatmentStarted{OnStack: onA(), Treatment: "A-1", Protocol: "five-day", Commodity: "maize", Tonnes: 100, VolumeM3: 150, PhosphineG: 2000, GrainTempC: 27},
			logbook.KindTreatmentStarted, 0) // 2 kg in 72 m³ of gas space would give about 20,000 ppm
		return d
	}
	d := big(t, wide)
	read := func(ppm float64) []string {
		d.now = d.now.Add(time.Hour)
		d.fresh()
		d.read("a1", ppm)
		return alarms(d.fresh(), alarm.Fire)
	}
	assert.Empty(t, read(1789))
	assert.Equal(t, []string{"attention raised"}, read(1790))
	assert.Empty(t, read(4474), "still attention")
	assert.Empty(t, read(4475), "one reading may be a spike")
	assert.Equal(t, []string{"lower-explosive-limit raised"}, read(4475))
	assert.Empty(t, read(4000))
	assert.Empty(t, read(1000), "gone for 0 minutes")
	assert.Equal(t, []string{"lower-explosive-limit cleared"}, read(1000))

	d = big(t)
	assert.Equal(t, []string{"over-range raised"}, read(2000), "at least that much, and perhaps much more")

	d = underGas(t) // 200 g would give about 2,000 ppm without any loss
	full := d.state.Stacks["A"].Gas.FullPPM
	assert.InDelta(t, 2000, full, 150)
	d.level["a1"], d.level["a2"] = nil, nil
	d.now = d.now.Add(2 * time.Hour)
	d.read("a1", 100)
	d.now = d.now.Add(30 * time.Minute)
	d.fresh()
	d.read("a1", 100+0.31*full)
	d.now = d.now.Add(time.Minute)
	d.read("a1", 100+0.31*full)
	assert.Equal(t, []string{"rise raised"}, alarms(d.fresh(), alarm.Fire), "30 % of the whole dose within an hour: from memory, see riseShare")

	d = aday(t, wide)
	d.act(&logbook.TreatmentStarted{OnStack: onA(), Treatment: "A-1", Protocol: "five-day", Commodity: "maize", Tonnes: 100, VolumeM3: 150, PhosphineG: 20, GrainTempC: 27},
		logbook.KindTreatmentStarted, 0)
	ppm := 0.0
	var got []string
	for i := 0; i < 10 && ppm < 500; i++ { // slowly, to more than twice what the dose explains
		ppm += 60
		got = append(got, read(ppm)...)
	}
	assert.Equal(t, []string{"above-dose raised"}, got)
}

// One wild reading is no fire; two that agree are, of one line or of two, and so is
// one after which nothing comes. A real rise shows in every reading since it began, a
// spike in one: common practice of process alarms.
func TestFireRiskOfOneReading(t *testing.T) {
	wide := func(s *logbook.Site) {
		for _, name := range []string{"a1", "a2"} {
			c := s.Channels[name]
			c.Range = 10000
			s.Channels[name] = c
		}
	}
	d := underGas(t, wide) // both lines read every 5 min
	next := func(a1, a2 float64) []string {
		d.fresh()
		d.now = d.now.Add(5 * time.Minute)
		d.read("a1", a1)
		d.read("a2", a2)
		return alarms(d.fresh(), alarm.Fire)
	}
	steady := func(hours int) (got []string) {
		for range 12 * hours {
			got = append(got, next(600, 500)...)
		}
		return got
	}
	d.level["a1"], d.level["a2"] = nil, nil
	require.Empty(t, steady(3))
	for minute := range 13 { // whatever reading it falls on, up or down
		assert.Empty(t, next(9000, 500), minute)
		assert.Empty(t, next(600, 500))
		assert.Empty(t, next(1, 500), minute)
		assert.Empty(t, steady(1))
	}

	assert.Empty(t, next(5000, 500))
	began := d.now
	assert.Equal(t, []string{"lower-explosive-limit raised"}, next(5000, 500))
	fire := d.state.Alarms[AlarmKey{Alarm: alarm.Fire, Store: "Long Barn", Stack: "A", Line: "top"}]
	require.NotNil(t, fire)
	assert.Equal(t, began, fire.Record.Onset, "from the first on")
	assert.Equal(t, []string{"lower-explosive-limit cleared"}, steady(1))

	assert.Equal(t, []string{"lower-explosive-limit raised"}, next(5000, 5000), "two lines, at once")
	assert.Equal(t, []string{"lower-explosive-limit raised"}, next(5000, 5000), "and the other is told too")
	assert.Len(t, steady(1), 2)

	assert.Empty(t, next(5000, 500))
	quiet := func(minutes int) []string {
		d.now = d.now.Add(time.Duration(minutes) * time.Minute)
		d.commit(d.stamp(&logbook.Clock{}, logbook.KindClock, 0))
		return alarms(d.fresh(), alarm.Fire)
	}
	assert.Empty(t, quiet(7))
	d.commit(d.stamp(&logbook.Reading{Channel: "a1", Value: 5000, Unit: logbook.PPM, Fault: "cell"}, logbook.KindReading, 0))
	assert.Equal(t, []string{"lower-explosive-limit raised"}, quiet(1), "half an interval late, and a fault is no answer")
	assert.Equal(t, []string{"lower-explosive-limit cleared"}, steady(1))
}

// A line at the top of its range, whose readings go over it and back, is told once.
func TestFireRiskAtTheTopOfTheRange(t *testing.T) {
	d := underGas(t) // ranges to 2,000 ppm
	d.level["a1"] = flat(1000)
	d.run(3)
	d.fresh()
	n := 0
	d.level["a1"] = func(logbook.Time) float64 { // 50 min over it, 50 min 3 % under it
		n++
		return map[bool]float64{true: 2000, false: 1940}[n/10%2 == 0]
	}
	d.run(10)
	assert.Equal(t, []string{"raised"}, linesOf(d.fresh(), alarm.Fire, "top"))
	d.level["a1"] = flat(1700)
	d.run(1)
	assert.Equal(t, []string{"cleared"}, linesOf(d.fresh(), alarm.Fire, "top"))
}

// A line that came off reads store air, and jumps when it is put back: that is no
// water on the phosphide. What it then reads is still held against the dose.
func TestLinePutBackIsNoFire(t *testing.T) {
	d := underGas(t)
	d.level["a1"], d.level["a2"] = decaying(1300, 0.1), decaying(1250, 0.1)
	d.run(30)
	d.fresh()
	d.level["a1"] = flat(0)
	d.run(3)
	require.Equal(t, []string{"raised"}, alarms(d.fresh(), alarm.LineOff))
	d.level["a1"] = decaying(1300, 0.1)
	require.Greater(t, d.level["a1"](d.now), d.state.Stacks["A"].Gas.MostRise(d.now, true))
	d.run(3)
	got := d.fresh()
	assert.Empty(t, alarms(got, alarm.Fire))
	assert.Equal(t, []string{"cleared"}, alarms(got, alarm.LineOff))
}

// A pump stands for hours, its cells use up what stands in them, and all lines are back at
// once when it runs again: no fire, though lines are read in turn and the first that is back
// ends the alarm of the pump for all.
func TestPumpThatRunsAgainIsNoFire(t *testing.T) {
	d := underGas(t)
	d.level["a1"], d.level["a2"] = decaying(1300, 0.1), decaying(1250, 0.1)
	d.run(40)
	top, low := d.level["a1"], d.level["a2"]
	d.level["a1"], d.level["a2"] = nil, nil
	turn := func(minutes int, stands bool) {
		stood := d.now
		for end := d.now.Add(time.Duration(minutes) * time.Minute); d.now < end; {
			for _, c := range []string{"a1", "a2"} {
				d.now = d.now.Add(5 * time.Minute)
				ppm := map[string]func(logbook.Time) float64{"a1": top, "a2": low}[c](d.now)
				if stands {
					ppm *= math.Exp(-2 * d.now.Hours(stood))
				}
				d.read(c, math.Round(ppm))
			}
		}
	}
	turn(240, true)
	require.Equal(t, []string{"by-gas raised"}, alarms(d.fresh(), alarm.PumpOff))
	turn(120, false)
	got := d.fresh()
	assert.Equal(t, []string{"by-gas cleared"}, alarms(got, alarm.PumpOff))
	assert.Empty(t, alarms(got, alarm.Fire))
}

// A line that goes to and fro about a limit shows a fire: one reading over it is borne out by
// the next, whatever lies between, as long as that is no more than 10 % below.
func TestFireRiskToAndFro(t *testing.T) {
	for name, c := range map[string]struct {
		span, high, low float64
		want            []string
	}{
		"about the top of the range":                     {1000, 1000, 980, []string{"over-range raised"}},
		"from far above the explosive limit to below it": {10000, 6000, 1850, []string{"lower-explosive-limit raised"}},
	} {
		t.Run(name, func(t *testing.T) {
			d := aday(t, func(s *logbook.Site) {
				c1 := s.Channels["a1"]
				c1.Range = c.span
				s.Channels["a1"] = c1
			})
			d.act(&logbook.TreatmentStarted{OnStack: onA(), Treatment: "A-1", Protocol: "five-day", Commodity: "maize", Tonnes: 100, VolumeM3: 150, PhosphineG: 2000, GrainTempC: 27},
				logbook.KindTreatmentStarted, 0)
			d.level["a1"], d.level["a2"] = nil, nil
			for i := range 12 {
				d.now = d.now.Add(5 * time.Minute)
				d.read("a1", map[bool]float64{true: c.high, false: c.low}[i%2 == 0])
			}
			assert.Equal(t, c.want, alarms(d.fresh(), alarm.Fire))
		})
	}
}

// What was told stands by its own limit: a rise that comes with it does not let it stand for
// ever, and it is told anew when it comes again.
func TestFireRiskKeepsItsLimit(t *testing.T) {
	d := underGas(t) // ranges to 2,000 ppm; 200 g would give about as much
	d.level["a1"] = flat(300)
	d.run(3)
	d.fresh()
	d.level["a1"] = flat(2000)
	d.run(1)
	require.Equal(t, []string{"raised"}, linesOf(d.fresh(), alarm.Fire, "top"))
	d.level["a1"] = flat(1200) // a rise since an hour ago, still
	d.run(4)
	assert.Equal(t, []string{"cleared"}, linesOf(d.fresh(), alarm.Fire, "top"))
	d.level["a1"] = flat(2000)
	d.run(1)
	assert.Equal(t, []string{"raised"}, linesOf(d.fresh(), alarm.Fire, "top"))
}

// The figure of a rise is by how much the line rose, in what is told and in what stands: never
// the level that it reached.
func TestRiseTellsTheRise(t *testing.T) {
	d := underGas(t) // 200 g would give about 2,000 ppm
	d.level["a1"], d.level["a2"] = flat(1000), nil
	d.run(3)
	d.fresh()
	d.level["a1"] = flat(1800) // attention, too, once the rise is an hour old
	d.run(3)
	rises := slices.DeleteFunc(of[*logbook.Alarm](d.fresh()), func(a *logbook.Alarm) bool { return a.Code != alarm.CodeRise })
	require.NotEmpty(t, rises)
	for _, a := range rises {
		assert.InDelta(t, 800, float64(a.Value), 20, "%s", a.State)
	}
	for _, a := range d.state.View().Alarms {
		if a.Alarm.Code == alarm.CodeRise {
			assert.InDelta(t, 800, float64(a.Alarm.Value), 20)
		}
	}
}

// About a tenth of the lower explosive limit, 1,790 ppm, one stands at attention: to and fro
// is no danger of fire, whatever lies less than 10 % below, and nobody is woken.
func TestAttentionToAndFroIsNoDanger(t *testing.T) {
	d := underGas(t)
	d.level["a1"], d.level["a2"] = flat(1740), nil
	d.run(3)
	d.fresh()
	d.level["a1"] = nil
	for i := range 24 {
		d.now = d.now.Add(5 * time.Minute)
		d.read("a1", map[bool]float64{true: 1800, false: 1740}[i%2 == 0])
	}
	var raised []*logbook.Alarm
	for _, a := range of[*logbook.Alarm](d.fresh()) {
		if a.Alarm == alarm.Fire {
			raised = append(raised, a)
		}
	}
	require.Len(t, raised, 1)
	assert.Equal(t, alarm.CodeAttention, raised[0].Code)
	assert.False(t, raised[0].Wake)
}

// A line that goes on from attention to the top of its range can no more be watched: that is
// told once, wakes nobody, and is not said of it again as it goes to and fro.
func TestAttentionThenTopOfRange(t *testing.T) {
	d := underGas(t) // 200 g would give about 2,000 ppm
	d.level["a1"], d.level["a2"] = flat(1600), nil
	d.run(3)
	d.fresh()
	d.level["a1"] = nil
	for _, ppm := range []float64{1800, 1810, 1850, 1900, 2000, 2000, 2000, 1850, 1850, 2000, 2000} { // 2,000 is the top of a1
		d.now = d.now.Add(20 * time.Minute)
		d.read("a1", ppm)
	}
	var codes []string
	for _, a := range of[*logbook.Alarm](d.fresh()) {
		if a.Alarm == alarm.Fire {
			codes = append(codes, a.Code+" "+a.State)
			assert.False(t, a.Wake)
		}
	}
	assert.Equal(t, []string{"attention raised", "top-of-range raised"}, codes)
}

// An instrument of a short range stands at its top in every treatment: where the dose,
// without any loss, gives so much and less than 25 % of the lower explosive limit (common
// practice), it asks for attention. A dose that gives more, or less than is read, and one that
// is not known, explain nothing.
func TestShortRangeIsNoDangerWhereTheDoseGivesSoMuch(t *testing.T) {
	for grams, want := range map[float64]string{200: "top-of-range raised", 2000: "over-range raised", 40: "over-range raised", 0: "over-range raised"} {
		d := aday(t, func(s *logbook.Site) {
			c := s.Channels["a1"]
			c.Range = 500
			s.Channels["a1"] = c
		})
		d.level["a1"], d.level["a2"] = nil, nil
		d.act(&logbook.TreatmentStarted{OnStack: onA(), Treatment: "A-1", Protocol: "five-day", Commodity: "maize", Tonnes: 100, VolumeM3: 150, PhosphineG: grams, GrainTempC: 27},
			logbook.KindTreatmentStarted, 0)
		d.fresh()
		for ppm := 100.0; ppm <= 700; ppm += 50 { // 200 g give about 2,000 ppm; 50 in half an hour are slower than 30 % even of what 40 g give, an hour
			d.now = d.now.Add(30 * time.Minute)
			d.read("a1", min(ppm, 500))
		}
		assert.Equal(t, []string{want}, alarms(d.fresh(), alarm.Fire), "%g g", grams)
	}
}

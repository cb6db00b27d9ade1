package rules

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules/gate"
)

// Names, delays and places of alarms: the project's contract, and common practice
// where a figure is not in it.

// Air gas is an alarm only where people can be: not inside a store under treatment.
func TestAirGasWherePeopleCanBe(t *testing.T) {
	d := underGas(t)
	d.level["inside"], d.level["door"], d.level["office"], d.level["door2"] = flat(0.5), flat(0.5), flat(0.5), flat(0.5)
	d.fresh()
	d.run(1)
	points := map[string]string{}
	for _, a := range of[*logbook.Alarm](d.fresh()) {
		if a.Alarm == alarmAirGas {
			points[a.Store+"/"+a.Point] += a.State
			assert.Equal(t, logbook.PriorityHigh, a.Priority)
		}
	}
	assert.Equal(t, map[string]string{"Long Barn/door": "raised", "Long Barn/office": "raised", "Brick Store/door": "raised"}, points)
}

func TestAirGasRaisesAndClearsOnce(t *testing.T) {
	d := aday2(t)
	d.fresh()
	d.read("office", 0.5)
	d.now = d.now.Add(119 * time.Second)
	d.read("office", 0.5)
	assert.Empty(t, alarms(d.fresh(), alarmAirGas), "it must last two minutes")
	d.now = d.now.Add(time.Second)
	d.read("office", 0.5)
	d.level["office"] = flat(0.5)
	d.run(2)
	assert.Equal(t, []string{"office raised"}, alarms(d.fresh(), alarmAirGas))
	d.level["office"] = nil
	d.run(2)
	assert.Empty(t, alarms(d.fresh(), alarmAirGas), "what nobody reads any more is not gone")
	d.level["office"] = flat(0.02)
	d.run(0.2)
	assert.Empty(t, alarms(d.fresh(), alarmAirGas))
	d.run(0.2)
	assert.Equal(t, []string{"office cleared"}, alarms(d.fresh(), alarmAirGas), "15 minutes below")
	d.run(3)
	assert.Empty(t, alarms(d.fresh(), alarmAirGas))
}

// Gas after a clearance: the gate falls at once, hand readings are owed again, and
// withholding runs anew.
func TestReboundRestartsWithholding(t *testing.T) {
	d := cleared(t)
	d.run(10)
	d.fresh()
	d.now = d.now.Add(time.Minute)
	d.read("inside", 0.4)
	back := d.now
	rs := d.fresh()
	assert.Equal(t, []string{"raised"}, alarms(rs, alarmRebound))
	assert.Equal(t, logbook.GateAiring, d.gate())
	assert.Equal(t, back, d.state.Stacks["A"].Treatment.ClearedAt)
	d.level["inside"] = flat(0.4)
	d.run(6)
	assert.Equal(t, d.now, d.state.Stacks["A"].Treatment.ClearedAt, "while gas stands, withholding does not run")
	d.level["inside"] = flat(0.02)
	d.run(1)
	assert.Equal(t, []string{"cleared"}, alarms(d.fresh(), alarmRebound))
	assert.Equal(t, logbook.GateCheckOwed, d.gate())
	assert.Contains(t, d.reasons(), gate.HandTooOld)
	d.confirm()
	assert.Equal(t, logbook.GateCheckOwed, d.gate(), "refused without a new hand reading")
	d.hand("beside A", 0.1)
	d.confirm()
	assert.Equal(t, logbook.GateCleared, d.gate())
	for d.state.Stacks["A"].Treatment.GasPhase() == logbook.PhaseWithholding {
		d.run(1)
	}
	assert.InDelta(t, 48+6, d.now.Hours(back), 1.1, "48 h after the gas was gone")
}

// Airing again while in withholding goes on with the same treatment.
func TestAiringAgain(t *testing.T) {
	d := cleared(t)
	d.fresh()
	d.air()
	assert.Equal(t, []string{logbook.PhaseAiring, logbook.VerdictProvisional}, d.phase())
	assert.Equal(t, "A-1", d.state.Stacks["A"].Treatment.Name)
	assert.NotContains(t, findings(d.fresh()), "airing-early")
	assert.Equal(t, logbook.GateAiring, d.gate())
}

func TestMaskedEntryOverdue(t *testing.T) {
	d := aday2(t)
	d.act(&logbook.MaskedEntry{OnStore: inBarn(), In: "I. Okafor", AtDoor: "P. Lindqvist"}, logbook.KindMaskedEntry, 5*time.Minute)
	d.fresh()
	d.run(0.25)
	assert.Empty(t, alarms(d.fresh(), alarmMaskedLong), "20 minutes: common practice")
	d.run(5.0 / 60)
	assert.Equal(t, []string{"raised"}, alarms(d.fresh(), alarmMaskedLong))
	d.act(&logbook.MaskedExit{OnStore: inBarn()}, logbook.KindMaskedExit, 0)
	assert.Equal(t, []string{"cleared"}, alarms(d.fresh(), alarmMaskedLong))
	e := aday(t, func(s *logbook.Site) { s.Settings.MaskedEntryMax = logbook.Duration(10 * time.Minute) })
	e.act(&logbook.MaskedEntry{OnStore: inBarn(), In: "I. Okafor", AtDoor: "P. Lindqvist"}, logbook.KindMaskedEntry, 0)
	e.run(0.25)
	assert.Equal(t, []string{"raised"}, alarms(e.fresh(), alarmMaskedLong), "the site's own figure")
}

// A line that says nothing is an alarm of its own, unless its instrument is known
// not to answer: then that alarm speaks for it.
func TestLineSilentAndInstrumentDown(t *testing.T) {
	rack := func(s *logbook.Site) {
		s.Instruments = []logbook.Instrument{{Name: "rack", Modbus: &logbook.Modbus{Units: []logbook.ModbusUnit{
			{Address: 1, Registers: []logbook.ModbusRegister{{Channel: "a1"}}}, {Address: 2, Registers: []logbook.ModbusRegister{{Channel: "a2"}}}}}}}
	}
	d := underGas(t, rack)
	d.level["a1"] = nil
	d.fresh()
	d.run(0.5)
	assert.Empty(t, alarms(d.fresh(), alarmLineSilent))
	d.run(0.1)
	assert.Equal(t, []string{"raised"}, alarms(d.fresh(), alarmLineSilent))
	d.level["a1"] = flat(580)
	d.run(2)
	assert.Equal(t, []string{"cleared"}, alarms(d.fresh(), alarmLineSilent))

	d = underGas(t, rack)
	d.level["a1"], d.level["a2"] = nil, nil
	d.commit(d.stamp(&logbook.InstrumentState{Instrument: "rack", Unit: "unit 1"}, logbook.KindInstrumentState, 0))
	d.fresh()
	d.run(2)
	rs := d.fresh()
	assert.Equal(t, []string{"unit 1 raised"}, alarms(rs, alarmInstrument))
	assert.Equal(t, []string{"raised"}, alarms(rs, alarmLineSilent), "only the line of unit 2")
	d.commit(d.stamp(&logbook.InstrumentState{Instrument: "rack", Unit: "unit 1", OK: true}, logbook.KindInstrumentState, 0))
	d.level["a1"] = flat(580)
	d.run(1)
	rs = d.fresh()
	assert.Equal(t, []string{"unit 1 cleared"}, alarms(rs, alarmInstrument))
	assert.Empty(t, alarms(rs, alarmLineSilent))
}

// A faulty instrument is an alarm after ten minutes, whatever comes in between.
func TestInstrumentFault(t *testing.T) {
	d := aday2(t)
	d.level["door"] = flat(-1)
	d.fresh()
	for i := 0; i < 4; i++ {
		d.run(5.0 / 60)
		d.commit(readingAt(d.now.Add(-4*time.Hour), d.now, "door", 0.02+float64(i))) // late
		d.commit(readingAt(d.now.Add(time.Hour), d.now, "door", 0.02))               // future
	}
	assert.Equal(t, []string{"below-zero raised"}, alarms(d.fresh(), alarmFault))
	d.level["door"] = flat(0.02)
	d.run(1)
	assert.Equal(t, []string{"below-zero cleared"}, alarms(d.fresh(), alarmFault))
}

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
		return alarms(d.fresh(), alarmFire)
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
	assert.Equal(t, []string{"rise raised"}, alarms(d.fresh(), alarmFire), "30 % of the whole dose within an hour: from memory, see riseShare")

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
		return alarms(d.fresh(), alarmFire)
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
	fire := d.state.Alarms[AlarmKey{Alarm: alarmFire, Store: "Long Barn", Stack: "A", Line: "top"}]
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
		return alarms(d.fresh(), alarmFire)
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
	assert.Equal(t, []string{"raised"}, linesOf(d.fresh(), alarmFire, "top"))
	d.level["a1"] = flat(1700)
	d.run(1)
	assert.Equal(t, []string{"cleared"}, linesOf(d.fresh(), alarmFire, "top"))
}

// GRDC: phosphine is not to be used under 15 °C.
func TestTooCold(t *testing.T) {
	d := underGas(t, func(s *logbook.Site) {
		s.Channels["grain"] = logbook.Channel{Unit: logbook.Cel}
		s.Stores[0].Stacks[0].Temperature = "grain"
	})
	cold := func(c float64) []string {
		d.fresh()
		d.commit(d.stamp(&logbook.Reading{Channel: "grain", Value: c, Unit: logbook.Cel}, logbook.KindReading, 0))
		d.run(1.1)
		return alarms(d.fresh(), alarmTooCold)
	}
	assert.Empty(t, cold(15))
	assert.Equal(t, []string{"raised"}, cold(14.9))
	assert.Empty(t, cold(1e300), "no temperature of grain")
	assert.Empty(t, cold(15.4), "within the deadband")
	assert.Equal(t, []string{"cleared"}, cold(16))
}

// Lowest to highest line below 25 % for two hours, after a quarter of the exposure:
// one of the published criteria for success.
func TestUnevenGas(t *testing.T) {
	d := aday(t)
	d.level["a1"], d.level["a2"] = flat(600), flat(140) // 140/600 = 0.23
	d.declare()
	d.dose("five-day")
	d.run(29)
	assert.Empty(t, alarms(d.fresh(), alarmUneven), "gas needs time to spread")
	d.run(4)
	assert.Equal(t, []string{"raised"}, alarms(d.fresh(), alarmUneven))
	d.level["a2"] = flat(155) // 0.258
	d.run(3)
	assert.Empty(t, alarms(d.fresh(), alarmUneven), "within the deadband")
	d.level["a2"] = flat(160)
	d.run(3)
	assert.Equal(t, []string{"cleared"}, alarms(d.fresh(), alarmUneven))
	d.level["a2"] = flat(140)
	d.run(0.2)
	d.level["a1"], d.level["a2"] = nil, nil
	d.run(5)
	assert.Empty(t, alarms(d.fresh(), alarmUneven), "one uneven moment, and then nothing was read")
}

// The logbook keeps one forecast a day, also when nothing came in that hour.
func TestOneForecastADayIsKept(t *testing.T) {
	d := underGas(t)
	d.run(21)
	d.now = d.now.Add(5 * time.Hour)
	d.run(50 - d.now.Hours(epoch))
	var days []int
	for _, f := range of[*logbook.Forecast](d.made) {
		if f.Daily && f.Line == "" {
			days = append(days, int(f.Time.Hours(epoch)/24))
		}
	}
	assert.Equal(t, []int{1, 2}, days)
}

// decaying is a level that starts at c0 ppm and falls by k per day.
func decaying(c0, k float64) func(logbook.Time) float64 {
	return func(at logbook.Time) float64 {
		h := at.Hours(epoch)
		return c0 * (1 - math.Exp(-h/8)) * math.Exp(-k*h/24) * (1 + 0.004*float64(int64(at)/300_000_000%2))
	}
}

// The end level: at risk while it can still be helped, missed when the shortest
// exposure has passed; forecasts at least hourly from 12 h on, for every line and
// for the lowest.
func TestEndLevelAlarmsAndForecasts(t *testing.T) {
	leaky := func(k float64) *day {
		d := aday(t)
		d.declare()
		d.dose("five-day")
		d.level["a1"], d.level["a2"] = decaying(1500, k), decaying(1400, k)
		d.fresh()
		return d
	}
	d := leaky(0.9) // 1,400 e^(−0.9·5) = 16 ppm
	d.run(11.9)
	assert.Empty(t, of[*logbook.Forecast](d.fresh()))
	d.run(60.1)
	rs := d.fresh()
	assert.Equal(t, []string{"raised"}, alarms(rs, alarmAtRisk))
	assert.Empty(t, alarms(rs, alarmMissed))
	hours := map[string]map[int]int{}
	for _, f := range of[*logbook.Forecast](rs) {
		if hours[f.Line] == nil {
			hours[f.Line] = map[int]int{}
		}
		hours[f.Line][int(f.Time.Hours(epoch))]++
		require.Equal(t, epoch.Add(120*time.Hour), f.For)
		require.True(t, f.PPM.P05 <= f.PPM.P50 && f.PPM.P50 <= f.PPM.P95 && f.ChanceMet >= 0 && f.ChanceMet <= 1)
	}
	require.Len(t, hours, 3)
	for line, at := range hours {
		for h := 12; h < 72; h++ {
			require.Equal(t, 1, at[h], "line %q in hour %d", line, h)
		}
	}
	d.run(50)
	rs = d.fresh()
	assert.Equal(t, []string{"raised"}, alarms(rs, alarmMissed))
	d.air()
	rs = append(rs, d.fresh()...)
	assert.Equal(t, []string{"raised", "cleared"}, alarms(rs, alarmMissed))
	assert.Equal(t, []string{"cleared"}, alarms(rs, alarmAtRisk))
	assert.Equal(t, logbook.VerdictFailed, d.phase()[1])

	d = leaky(0.1) // 1,400 e^(−0.1·5) = 849 ppm
	d.run(122)
	d.air()
	d.run(1)
	rs = d.fresh()
	assert.Empty(t, alarms(rs, alarmAtRisk))
	assert.Empty(t, alarms(rs, alarmMissed))
	for _, e := range of[*logbook.EndLevel](rs) {
		assert.Equal(t, logbook.ShownMet, e.Shown)
		c := map[string]float64{"top": 1500, "low": 1400}[e.Line]
		h := map[string]float64{logbook.MomentShortest: 119.5, logbook.MomentAiring: 121.5}[e.Moment] // the middle of the last hour
		assert.InEpsilon(t, c*math.Exp(-0.1*h/24), float64(e.PPM), 0.006)
	}
	assert.Len(t, of[*logbook.EndLevel](rs), 4)
	// CTP in closed form: ∫ C₀(1 − e^(−h/8))e^(−kh) dh to 122 h
	k := 0.1 / 24
	closed := 1500 * ((1-math.Exp(-k*122))/k - (1-math.Exp(-(k+0.125)*122))/(k+0.125))
	assert.InEpsilon(t, closed*1.002, d.state.Stacks["A"].Treatment.Lines[0].CTP.PPMh, 2e-3)
}

// A line that never read gets its forecasts too; where no line ever did, they come
// from what is known of the treatment.
func TestForecastsOfSilentLines(t *testing.T) {
	for name, c := range map[string]struct {
		silent []string
		want   map[string]int
	}{"one": {[]string{"a2"}, map[string]int{"top": 4, "low": 4, "": 4}}, "both": {[]string{"a1", "a2"}, map[string]int{"top": 4, "low": 4, "": 4}}} {
		t.Run(name, func(t *testing.T) {
			d := aday(t)
			d.dose("five-day")
			d.level["a1"], d.level["a2"] = decaying(1500, 0.3), decaying(1400, 0.3)
			for _, ch := range c.silent {
				d.level[ch] = nil
			}
			d.run(15)
			lines := map[string]int{}
			for _, f := range of[*logbook.Forecast](d.made) {
				lines[f.Line]++
			}
			assert.Equal(t, c.want, lines)
		})
	}
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
	require.Equal(t, []string{"raised"}, alarms(d.fresh(), alarmLineOff))
	d.level["a1"] = decaying(1300, 0.1)
	require.Greater(t, d.level["a1"](d.now), riseShare*d.state.Stacks["A"].Gas.FullPPM)
	d.run(3)
	got := d.fresh()
	assert.Empty(t, alarms(got, alarmFire))
	assert.Equal(t, []string{"cleared"}, alarms(got, alarmLineOff))
}

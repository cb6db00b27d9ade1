package rules

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules/alarm"
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
		if a.Alarm == alarm.AirGas {
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
	assert.Empty(t, alarms(d.fresh(), alarm.AirGas), "it must last two minutes")
	d.now = d.now.Add(time.Second)
	d.read("office", 0.5)
	d.level["office"] = flat(0.5)
	d.run(2)
	assert.Equal(t, []string{"office raised"}, alarms(d.fresh(), alarm.AirGas))
	d.level["office"] = nil
	d.run(2)
	assert.Empty(t, alarms(d.fresh(), alarm.AirGas), "what nobody reads any more is not gone")
	d.level["office"] = flat(0.02)
	d.run(0.2)
	assert.Empty(t, alarms(d.fresh(), alarm.AirGas))
	d.run(0.2)
	assert.Equal(t, []string{"office cleared"}, alarms(d.fresh(), alarm.AirGas), "15 minutes below")
	d.run(3)
	assert.Empty(t, alarms(d.fresh(), alarm.AirGas))
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
	assert.Equal(t, []string{"raised"}, alarms(rs, alarm.Rebound))
	assert.Equal(t, logbook.GateAiring, d.gate())
	assert.Equal(t, back, d.state.Stacks["A"].Treatment.ClearedAt)
	d.level["inside"] = flat(0.4)
	d.run(6)
	assert.Equal(t, d.now, d.state.Stacks["A"].Treatment.ClearedAt, "while gas stands, withholding does not run")
	d.level["inside"] = flat(0.02)
	d.run(1)
	assert.Equal(t, []string{"cleared"}, alarms(d.fresh(), alarm.Rebound))
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
	assert.Empty(t, alarms(d.fresh(), alarm.MaskedLong), "20 minutes: common practice")
	d.run(5.0 / 60)
	assert.Equal(t, []string{"raised"}, alarms(d.fresh(), alarm.MaskedLong))
	d.act(&logbook.MaskedExit{OnStore: inBarn()}, logbook.KindMaskedExit, 0)
	assert.Equal(t, []string{"cleared"}, alarms(d.fresh(), alarm.MaskedLong))
	e := aday(t, func(s *logbook.Site) { s.Settings.MaskedEntryMax = logbook.Duration(10 * time.Minute) })
	e.act(&logbook.MaskedEntry{OnStore: inBarn(), In: "I. Okafor", AtDoor: "P. Lindqvist"}, logbook.KindMaskedEntry, 0)
	e.run(0.25)
	assert.Equal(t, []string{"raised"}, alarms(e.fresh(), alarm.MaskedLong), "the site's own figure")
}

// A line that the record has never heard is silent from when the record began, not from when
// gas was laid: a daemon that starts on the third day has nothing to tell yet.
func TestNothingIsSilentBeforeTheRecord(t *testing.T) {
	d := aday(t)
	dosed := d.now.Add(-50 * time.Hour)
	d.act(&logbook.TreatmentStarted{OnStack: onA(), Treatment: "A-1", Protocol: "five-day", Commodity: "maize", Tonnes: 100, VolumeM3: 150, PhosphineG: 200, GrainTempC: 27},
		logbook.KindTreatmentStarted, 50*time.Hour)
	require.Equal(t, dosed, d.state.Stacks["A"].Treatment.Started)
	d.level["a1"], d.level["a2"] = nil, flat(500)
	d.run(0.5)
	assert.Empty(t, alarms(d.fresh(), alarm.LineSilent))
	d.run(0.3)
	assert.Equal(t, []string{"raised"}, alarms(d.fresh(), alarm.LineSilent))
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
	assert.Empty(t, alarms(d.fresh(), alarm.LineSilent))
	d.run(0.1)
	assert.Equal(t, []string{"raised"}, alarms(d.fresh(), alarm.LineSilent))
	d.level["a1"] = flat(580)
	d.run(2)
	assert.Equal(t, []string{"cleared"}, alarms(d.fresh(), alarm.LineSilent))

	d = underGas(t, rack)
	d.level["a1"], d.level["a2"] = nil, nil
	d.commit(d.stamp(&logbook.InstrumentState{Instrument: "rack", Unit: "unit 1"}, logbook.KindInstrumentState, 0))
	d.fresh()
	d.run(2)
	rs := d.fresh()
	assert.Equal(t, []string{"unit 1 raised"}, alarms(rs, alarm.Instrument))
	assert.Equal(t, []string{"raised"}, alarms(rs, alarm.LineSilent), "only the line of unit 2")
	d.commit(d.stamp(&logbook.InstrumentState{Instrument: "rack", Unit: "unit 1", OK: true}, logbook.KindInstrumentState, 0))
	d.level["a1"] = flat(580)
	d.run(1)
	rs = d.fresh()
	assert.Equal(t, []string{"unit 1 cleared"}, alarms(rs, alarm.Instrument))
	assert.Empty(t, alarms(rs, alarm.LineSilent))
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
	assert.Equal(t, []string{"below-zero raised"}, alarms(d.fresh(), alarm.Fault))
	d.level["door"] = flat(0.02)
	d.run(1)
	assert.Equal(t, []string{"below-zero cleared"}, alarms(d.fresh(), alarm.Fault))
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
		return alarms(d.fresh(), alarm.TooCold)
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
	assert.Empty(t, alarms(d.fresh(), alarm.Uneven), "gas needs time to spread")
	d.run(4)
	assert.Equal(t, []string{"raised"}, alarms(d.fresh(), alarm.Uneven))
	d.level["a2"] = flat(155) // 0.258
	d.run(3)
	assert.Empty(t, alarms(d.fresh(), alarm.Uneven), "within the deadband")
	d.level["a2"] = flat(160)
	d.run(3)
	assert.Equal(t, []string{"cleared"}, alarms(d.fresh(), alarm.Uneven))
	d.level["a2"] = flat(140)
	d.run(0.2)
	d.level["a1"], d.level["a2"] = nil, nil
	d.run(5)
	assert.Empty(t, alarms(d.fresh(), alarm.Uneven), "one uneven moment, and then nothing was read")
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
	assert.Equal(t, []string{"raised"}, alarms(rs, alarm.AtRisk))
	assert.Empty(t, alarms(rs, alarm.Missed))
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
	assert.Equal(t, []string{"raised"}, alarms(rs, alarm.Missed))
	d.air()
	rs = append(rs, d.fresh()...)
	assert.Equal(t, []string{"raised", "cleared"}, alarms(rs, alarm.Missed))
	assert.Equal(t, []string{"cleared"}, alarms(rs, alarm.AtRisk))
	assert.Equal(t, logbook.VerdictFailed, d.phase()[1])

	d = leaky(0.1) // 1,400 e^(−0.1·5) = 849 ppm
	d.run(122)
	d.air()
	d.run(1)
	rs = d.fresh()
	assert.Empty(t, alarms(rs, alarm.AtRisk))
	assert.Empty(t, alarms(rs, alarm.Missed))
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

package rules

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules/treatment"
)

// day drives a daemon's fold through constructed hours: every channel of level is
// read every five minutes, and acts come in between.
type day struct {
	*daemon
	t     *testing.T
	now   logbook.Time
	level map[string]func(at logbook.Time) float64 // nil or absent: silent
	mark  int                                      // records made before the last look
}

// aday begins with the test site, clean air and dead lines.
func aday(t *testing.T, change ...func(*logbook.Site)) *day {
	site := testSite()
	for _, c := range change {
		c(&site)
	}
	d := &day{daemon: newDaemon(site), t: t, now: epoch, level: map[string]func(logbook.Time) float64{}}
	for _, ch := range []string{"door", "inside", "door2", "office"} {
		d.level[ch] = flat(0.02)
	}
	return d
}

// flat is a level that moves by one digit of a line or less, so that it is not stuck.
func flat(v float64) func(logbook.Time) float64 {
	return func(at logbook.Time) float64 { return v + v/300*float64(int64(at)/300_000_000%2) }
}

// run lets time pass in steps of five minutes; long stretches, but for their last
// six hours, in steps of 25.
func (d *day) run(hours float64) {
	for end := d.now.Add(treatment.Hours(hours)); d.now < end; {
		step := 5 * time.Minute
		if hours > 40 && end.Sub(d.now) > 6*time.Hour {
			step *= 5
		}
		d.now = d.now.Add(step)
		for _, ch := range []string{"grid", "flow", "gate-1", "floor", "wind", "vane", "door", "inside", "door2", "office", "a1", "a2", "a3", "a4", "b1"} {
			if f := d.level[ch]; f != nil {
				d.signal(ch, f(d.now))
			}
		}
		d.commit(d.stamp(&logbook.Clock{}, logbook.KindClock, 0))
	}
}

func (d *day) stamp(e logbook.Entry, kind logbook.Kind, back time.Duration) logbook.Entry {
	h := e.Head()
	h.Kind, h.Received, h.Time = kind, d.now, d.now.Add(-back)
	return e
}

func (d *day) read(channel string, ppm float64) {
	d.commit(d.stamp(&logbook.Reading{Channel: channel, Value: ppm, Unit: logbook.PPM}, logbook.KindReading, 0))
}

var someone = logbook.Act{By: "N. Ferreira"}

func onA() logbook.OnStack    { return logbook.OnStack{Stack: "A"} }
func inBarn() logbook.OnStore { return logbook.OnStore{Store: "Long Barn"} }

// act commits an act that was done some time back, with its verdict.
func (d *day) act(e logbook.Acting, kind logbook.Kind, back time.Duration) {
	if e.Who().By == "" {
		e.Who().By = someone.By
	}
	d.commit(d.stamp(e, kind, back))
}

func (d *day) declare() {
	d.act(&logbook.NoGasDeclared{OnStore: inBarn()}, logbook.KindNoGasDeclared, 0)
}

// dose lays phosphide in stack A and shuts the sheet.
func (d *day) dose(protocol string) { d.doseOf(protocol, "A-1") }

func (d *day) doseOf(protocol, name string) {
	d.act(&logbook.DosingStarted{OnStack: onA(), StoreEmpty: true}, logbook.KindDosingStarted, 0)
	d.act(&logbook.TreatmentStarted{OnStack: onA(), Treatment: name, Protocol: protocol, Commodity: "maize", Tonnes: 100,
		VolumeM3: 150, PhosphineG: 200, GrainTempC: 27}, logbook.KindTreatmentStarted, 0)
}

func (d *day) air() { d.act(&logbook.AiringStarted{OnStack: onA()}, logbook.KindAiringStarted, 0) }

func (d *day) hand(point string, ppm float64) {
	limit := 0.05
	d.act(&logbook.HandReading{Store: "Long Barn", Point: point, Value: ppm, Unit: logbook.PPM, Method: "detector tube", DetectionLimit: &limit}, logbook.KindHandReading, 0)
}

func (d *day) confirm() {
	d.act(&logbook.EntryConfirmed{OnStore: inBarn()}, logbook.KindEntryConfirmed, 0)
}

// underGas is a day on which stack A holds gas and the barn had been declared clean.
func underGas(t *testing.T, change ...func(*logbook.Site)) *day {
	d := aday(t, change...)
	d.declare()
	d.dose("five-day")
	d.level["a1"], d.level["a2"] = flat(600), flat(500)
	d.run(1)
	return d
}

// cleared is a day on which stack A was treated, aired and cleared; it is in
// withholding.
func cleared(t *testing.T, change ...func(*logbook.Site)) *day {
	d := underGas(t, change...)
	if d.state.Site.Pumps != nil {
		d.still(dry)
	}
	top, low := d.level["a1"], d.level["a2"]
	d.level["a1"], d.level["a2"] = nil, nil // nothing to fit: the tests of what comes after are quicker
	d.run(114)
	d.level["a1"], d.level["a2"] = top, low
	d.run(6)
	d.air()
	d.level["a1"], d.level["a2"] = flat(0), flat(0)
	d.run(2.5)
	d.hand("beside A", 0.1)
	d.confirm()
	require.Equal(t, logbook.GateCleared, d.gate())
	return d
}

// inspect looks at the grain of stack A; bags reads the gas inside its bags.
func (d *day) inspect(insects string) {
	d.act(&logbook.GrainInspected{OnStack: onA(), Insects: insects, Method: "sieved samples"}, logbook.KindInspected, 0)
}

func (d *day) bags(ppm float64) {
	limit := 0.05
	d.act(&logbook.HandReading{Stack: "A", Where: logbook.WhereBags, Value: ppm, Unit: logbook.PPM, Method: "detector tube", DetectionLimit: &limit}, logbook.KindHandReading, 0)
}

func (d *day) gate() string { return d.state.Stores["Long Barn"].Gate.State }

func (d *day) reasons() []string {
	var out []string
	for _, r := range d.state.Stores["Long Barn"].Gate.Reasons {
		out = append(out, r.Code)
	}
	return out
}

func (d *day) phase() []string {
	t := d.state.Stacks["A"].Treatment
	return []string{t.Phase, t.Verdict}
}

// fresh returns the records made since the last look.
func (d *day) fresh() []logbook.Recorded {
	rs := d.made[d.mark:]
	d.mark = len(d.made)
	return rs
}

// of picks the records of one type.
func of[R logbook.Recorded](rs []logbook.Recorded) []R {
	var out []R
	for _, r := range rs {
		if x, ok := r.(R); ok {
			out = append(out, x)
		}
	}
	return out
}

// findings lists the codes of findings.
func findings(rs []logbook.Recorded) []string {
	var out []string
	for _, f := range of[*logbook.Finding](rs) {
		out = append(out, f.Code)
	}
	return out
}

// alarms lists name, code and state of alarms, as "leak raised".
func alarms(rs []logbook.Recorded, name string) []string {
	var out []string
	for _, a := range of[*logbook.Alarm](rs) {
		if a.Alarm == name {
			s := a.State
			if a.Code != "" {
				s = a.Code + " " + s
			}
			out = append(out, s)
		}
	}
	return out
}

package rules

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules/alarm"
	"undersheet/rules/gate"
)

// A new site file in mid-treatment never helps a gate to open: every doubt keeps it
// from opening (contract).

// reconfigure commits a changed site.
func (d *day) reconfigure(change func(*logbook.Site)) {
	b, err := json.Marshal(d.state.Site)
	require.NoError(d.t, err)
	var site logbook.Site
	require.NoError(d.t, json.Unmarshal(b, &site))
	change(&site)
	d.commit(d.stamp(&logbook.SiteConfigured{Site: site}, logbook.KindSiteConfigured, 0))
}

func TestSiteChangesUnderGasKeepTheGateShut(t *testing.T) {
	for name, change := range map[string]func(*logbook.Site){
		"line renamed":      func(s *logbook.Site) { s.Stores[0].Stacks[0].Lines[0].Name = "ridge" },
		"line removed":      func(s *logbook.Site) { s.Stores[0].Stacks[0].Lines = s.Stores[0].Stacks[0].Lines[1:] },
		"all lines removed": func(s *logbook.Site) { s.Stores[0].Stacks[0].Lines = nil },
		"line added": func(s *logbook.Site) {
			s.Stores[0].Stacks[0].Lines = append(s.Stores[0].Stacks[0].Lines, logbook.Line{Name: "mid", Channel: "b1"})
			s.Stores[0].Stacks[1].Lines = nil
		},
		"stack removed":          func(s *logbook.Site) { s.Stores[0].Stacks = s.Stores[0].Stacks[1:] },
		"stack renamed":          func(s *logbook.Site) { s.Stores[0].Stacks[0].Name = "Alpha" },
		"all stacks removed":     func(s *logbook.Site) { s.Stores[0].Stacks = nil },
		"store removed":          func(s *logbook.Site) { s.Stores = s.Stores[1:] },
		"channels removed":       func(s *logbook.Site) { s.Channels = map[string]logbook.Channel{} },
		"gas channel becomes °C": func(s *logbook.Site) { s.Channels["a1"] = logbook.Channel{Unit: logbook.Cel} },
		"nothing left":           func(s *logbook.Site) { *s = logbook.Site{Name: s.Name} },
	} {
		t.Run(name, func(t *testing.T) {
			d := underGas(t)
			d.reconfigure(change)
			assert.Equal(t, logbook.GateShut, d.gate())
			d.run(150)
			d.declare()
			d.run(3)
			assert.Equal(t, logbook.GateShut, d.gate())
			d.state.View()
			for _, r := range d.made {
				_, err := logbook.Encode(r)
				require.NoError(t, err)
			}
			d.act(&logbook.AiringStarted{OnStack: onA()}, logbook.KindAiringStarted, 0)
			d.run(3)
			d.state.View()
		})
	}
}

// A stack that the site file puts into another store shuts both.
func TestMovedStackShutsBothStores(t *testing.T) {
	d := underGas(t)
	d.act(&logbook.NoGasDeclared{OnStore: logbook.OnStore{Store: "Brick Store"}}, logbook.KindNoGasDeclared, 0)
	require.Equal(t, logbook.GateCheckOwed, d.state.Stores["Brick Store"].Gate.State)
	d.fresh()
	d.reconfigure(func(s *logbook.Site) { s.Stores[1].Stacks, s.Stores[0].Stacks = s.Stores[0].Stacks, nil })
	assert.Contains(t, findings(d.fresh()), "stack-moved")
	assert.Equal(t, logbook.GateShut, d.state.Stores["Brick Store"].Gate.State)
	assert.Contains(t, d.reasons(), gate.NoClearance)
	d.declare()
	assert.Equal(t, logbook.GateCheckOwed, d.gate(), "a named person says that nothing in the barn is under gas")
	d.air()
	assert.True(t, d.state.Stores["Brick Store"].HandOwed["A"])
}

// A line keeps its readings, whatever the order of the file and whatever it is called.
func TestLinesKeepTheirReadings(t *testing.T) {
	last := func(d *day, line int) float64 {
		s := d.state.Stacks["A"].Treatment.Lines[line].Samples
		return s[len(s)-1].PPM
	}
	d := underGas(t)
	d.reconfigure(func(s *logbook.Site) {
		l := s.Stores[0].Stacks[0].Lines
		l[0], l[1] = l[1], l[0]
	})
	d.run(1)
	assert.InDelta(t, 600, last(d, 0), 3, "top, in another order")
	assert.InDelta(t, 500, last(d, 1), 3)
	d.reconfigure(func(s *logbook.Site) { s.Stores[0].Stacks[0].Lines = s.Stores[0].Stacks[0].Lines[:1] })
	d.run(1)
	assert.InDelta(t, 500, last(d, 1), 3, "low does not become top because top was removed")
	d.run(120)
	top := d.state.Stacks["A"].Treatment.Lines[0].Shortest
	assert.Equal(t, logbook.NotShown, top.Shown)

	e := underGas(t)
	e.fresh()
	e.reconfigure(func(s *logbook.Site) { s.Stores[0].Stacks[0].Lines[0].Name = "ridge" })
	assert.NotContains(t, findings(e.fresh()), "lines-changed")
	e.run(14)
	lines := map[string]bool{}
	for _, f := range of[*logbook.Forecast](e.fresh()) {
		lines[f.Line] = true
	}
	assert.Equal(t, map[string]bool{"ridge": true, "low": true, "": true}, lines)

	f := underGas(t)
	f.reconfigure(func(s *logbook.Site) { s.Stores[0].Stacks[0].Lines[0].Channel, s.Stores[0].Stacks[1].Lines = "b1", nil })
	f.level["a1"], f.level["b1"] = nil, flat(600)
	f.fresh()
	f.run(2)
	assert.InDelta(t, 600, last(f, 0), 3)
	assert.NotContains(t, alarms(f.fresh(), alarm.LineSilent), "raised", "the old channel is no longer looked at")
	assert.False(t, f.state.raised(&logbook.Alarm{Alarm: alarm.LineSilent, Store: "Long Barn", Stack: "A", Line: "top", Channel: "b1"}))
}

// An air point whose channel or description changed begins anew.
func TestChangedAirPointBeginsAnew(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*logbook.Site)
		state  string
	}{
		"nothing":               {func(*logbook.Site) {}, logbook.GateCleared},
		"a person told":         {func(s *logbook.Site) { s.People = []logbook.Person{{Name: "S. Rao"}} }, logbook.GateCleared},
		"another channel":       {func(s *logbook.Site) { s.Stores[0].Air[0].Channel, s.Stores[0].Air[2].Channel = "office", "door" }, logbook.GateAiring},
		"worse accuracy":        {func(s *logbook.Site) { c := s.Channels["door"]; c.Accuracy = 0.5; s.Channels["door"] = c }, logbook.GateAiring},
		"a coarser instrument":  {func(s *logbook.Site) { c := s.Channels["door"]; c.DetectionLimit = 0.3; s.Channels["door"] = c }, logbook.GateAiring},
		"an air point more":     {func(s *logbook.Site) { s.Stores[0].Air[2].Where = logbook.WhereInside }, logbook.GateAiring},
		"no air points":         {func(s *logbook.Site) { s.Stores[0].Air = nil }, logbook.GateAiring},
		"a door in °C":          {func(s *logbook.Site) { s.Channels["door"] = logbook.Channel{Unit: logbook.Cel} }, logbook.GateAiring},
		"the same channel once": {func(s *logbook.Site) { s.Stores[0].Air[1].Channel = "door" }, logbook.GateAiring},
	} {
		t.Run(name, func(t *testing.T) {
			d := cleared(t)
			d.reconfigure(c.change)
			assert.Equal(t, c.state, d.gate())
		})
	}
}

// Alarms of what the site no longer has are cleared, once.
func TestAlarmsOfWhatIsGoneAreCleared(t *testing.T) {
	d := underGas(t)
	d.level["office"], d.level["a1"] = flat(2), nil
	d.commit(d.stamp(&logbook.InstrumentState{Instrument: "rack", OK: false}, logbook.KindInstrumentState, 0))
	d.run(1)
	rs := d.fresh()
	require.Equal(t, []string{"office raised"}, alarms(rs, alarm.AirGas))
	require.Equal(t, []string{"raised"}, alarms(rs, alarm.LineSilent))
	require.Equal(t, []string{"raised"}, alarms(rs, alarm.Instrument))
	d.reconfigure(func(s *logbook.Site) {
		s.Stores[0].Air = s.Stores[0].Air[:2]
		s.Stores[0].Stacks[0].Lines[0].Name = "ridge"
	})
	d.run(0.5)
	rs = d.fresh()
	assert.Equal(t, []string{"office cleared"}, alarms(rs, alarm.AirGas))
	assert.Equal(t, []string{"cleared", "raised"}, alarms(rs, alarm.LineSilent), "under its new name")
	assert.Equal(t, []string{"cleared"}, alarms(rs, alarm.Instrument))
}

// An air point whose channel measures no gas never shows that the air is clean.
func TestAirPointThatMeasuresNoGas(t *testing.T) {
	d := aday(t, func(s *logbook.Site) { s.Channels["door"] = logbook.Channel{Unit: logbook.Cel} })
	d.declare()
	d.level["door"] = nil
	for range 40 {
		d.run(1.0 / 12)
		d.commit(d.stamp(&logbook.Reading{Channel: "door", Value: 0.01, Unit: logbook.Cel}, logbook.KindReading, 0))
	}
	assert.Equal(t, logbook.GateAiring, d.gate())
	assert.Equal(t, []string{gate.NoReading}, d.reasons())
}

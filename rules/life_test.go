package rules

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules/alarm"
)

// The life of alarms: the terms are those of IEC 62682; figures are common practice
// and stand in the table of kinds.

// ack commits an acknowledgement.
func (d *day) ack(a logbook.AlarmAcknowledged) {
	a.By = "P. Lindqvist"
	d.act(&a, logbook.KindAcknowledged, 0)
}

// acked lists who acknowledged the standing alarms of a name.
func (d *day) acked(name string) []string {
	var who []string
	for _, a := range d.state.View().Alarms {
		if a.Alarm.Alarm == name {
			who = append(who, a.By)
		}
	}
	return who
}

// gassed is a day with gas at the office and at both doors.
func gassed(t *testing.T) *day {
	d := aday(t)
	d.level["office"], d.level["door"], d.level["door2"] = flat(0.5), flat(0.5), flat(0.5)
	d.run(0.2)
	d.fresh()
	return d
}

func TestAcknowledge(t *testing.T) {
	d := gassed(t)
	d.ack(logbook.AlarmAcknowledged{Alarm: alarm.AirGas, Store: "Long Barn", Point: "office", Channel: "office"})
	rs := d.fresh()
	assert.Equal(t, []string{"office acknowledged"}, alarms(rs, alarm.AirGas))
	seen := of[*logbook.Alarm](rs)[0]
	assert.Equal(t, "P. Lindqvist", seen.By)
	assert.Equal(t, logbook.Number(0.3), seen.Limit)
	require.Len(t, of[*logbook.Accepted](rs), 1)
	for _, a := range d.state.View().Alarms {
		if a.Alarm.Point == "office" {
			assert.Equal(t, []any{d.now, "P. Lindqvist"}, []any{a.Acknowledged, a.By})
		} else {
			assert.Zero(t, a.Acknowledged)
		}
	}
	d.ack(logbook.AlarmAcknowledged{Alarm: alarm.AirGas, Point: "office"})
	rs = d.fresh()
	assert.Empty(t, of[*logbook.Alarm](rs), "once is enough")
	assert.NotContains(t, findings(rs), "nothing-to-acknowledge")
	d.level["office"] = flat(0.02)
	d.run(1)
	assert.Equal(t, []string{"office cleared"}, alarms(d.fresh(), alarm.AirGas), "an acknowledged alarm simply clears")
	d.level["office"] = flat(0.5)
	d.run(1)
	assert.Equal(t, []string{"office raised"}, alarms(d.fresh(), alarm.AirGas))
	assert.ElementsMatch(t, []string{"", "", ""}, d.acked(alarm.AirGas), "raised again, it needs another acknowledgement")
}

// What is left out matches anything, as long as one standing alarm fits.
func TestAcknowledgeNeedsOneAlarm(t *testing.T) {
	d := gassed(t)
	for name, c := range map[string]struct {
		named logbook.AlarmAcknowledged
		fit   logbook.Number
	}{
		"several fit":   {logbook.AlarmAcknowledged{Alarm: alarm.AirGas}, 3},
		"two fit":       {logbook.AlarmAcknowledged{Alarm: alarm.AirGas, Store: "Long Barn"}, 2},
		"no such place": {logbook.AlarmAcknowledged{Alarm: alarm.AirGas, Store: "Long Barn", Point: "beside A"}, 0},
		"no such alarm": {logbook.AlarmAcknowledged{Alarm: alarm.Leak}, 0},
	} {
		d.now = d.now.Add(time.Second)
		d.ack(c.named)
		rs := d.fresh()
		require.Contains(t, findings(rs), "nothing-to-acknowledge", name)
		assert.Equal(t, c.fit, of[*logbook.Finding](rs)[0].Value, name)
		assert.Empty(t, alarms(rs, c.named.Alarm), name)
		require.Len(t, of[*logbook.Accepted](rs), 1, "a fact is accepted: %s", name)
	}
	d.ack(logbook.AlarmAcknowledged{Alarm: alarm.AirGas, Store: "Brick Store"})
	assert.Equal(t, []string{"door acknowledged"}, alarms(d.fresh(), alarm.AirGas))
	d.ack(logbook.AlarmAcknowledged{Alarm: alarm.AirGas, Store: "Tin Shed"})
	require.Len(t, of[*logbook.Refused](d.fresh()), 1, "no such store")
	late := &logbook.AlarmAcknowledged{Alarm: alarm.AirGas, Point: "office"}
	d.act(late, logbook.KindAcknowledged, time.Hour)
	assert.Contains(t, findings(d.fresh()), "nothing-to-acknowledge", "dated before it was raised: of an earlier one")
}

// A graver case is raised anew and needs its own acknowledgement.
func TestGraverNeedsAnotherAcknowledgement(t *testing.T) {
	d := aday(t, func(s *logbook.Site) {
		c := s.Channels["a1"]
		c.Range = 10000
		s.Channels["a1"] = c
	})
	d.act(&logbook.TreatmentStarted{OnStack: onA(), Treatment: "A-1", Protocol: "five-day", Commodity: "maize", Tonnes: 100, VolumeM3: 150, PhosphineG: 2000, GrainTempC: 27},
		logbook.KindTreatmentStarted, 0)
	d.now = d.now.Add(time.Hour)
	d.read("a1", 1800)
	d.ack(logbook.AlarmAcknowledged{Alarm: alarm.Fire, Stack: "A"})
	assert.Equal(t, []string{"attention raised", "attention acknowledged"}, alarms(d.made, alarm.Fire))
	assert.Equal(t, []string{"P. Lindqvist"}, d.acked(alarm.Fire))
	d.fresh()
	d.now = d.now.Add(time.Hour)
	d.read("a1", 4500)
	assert.Equal(t, []string{"lower-explosive-limit raised"}, alarms(d.fresh(), alarm.Fire))
	assert.Equal(t, []string{""}, d.acked(alarm.Fire))
}

// Who acknowledged what is kept over a restart.
func TestAcknowledgementSurvivesARestart(t *testing.T) {
	d := gassed(t)
	d.ack(logbook.AlarmAcknowledged{Alarm: alarm.AirGas, Point: "office"})
	b, err := json.Marshal(d.state)
	require.NoError(t, err)
	var again State
	require.NoError(t, json.Unmarshal(b, &again))
	for i, a := range d.state.View().Alarms {
		b := again.View().Alarms[i]
		assert.Equal(t, []any{a.Alarm.Point, a.Since, a.Acknowledged, a.By}, []any{b.Alarm.Point, b.Since, b.Acknowledged, b.By})
	}
	assert.Contains(t, d.acked(alarm.AirGas), "P. Lindqvist")
}

// A level must come back by the deadband before its alarm is over, so that it does
// not chatter about its limit.
func TestDeadband(t *testing.T) {
	d := gassed(t)
	d.level["office"] = func(logbook.Time) float64 { return 0.28 }
	d.run(2)
	assert.Empty(t, alarms(d.fresh(), alarm.AirGas), "below 0.3, not below 0.27")
	d.level["office"] = func(logbook.Time) float64 { return 0.26 }
	d.run(1)
	assert.Equal(t, []string{"office cleared"}, alarms(d.fresh(), alarm.AirGas))
	d.level["office"] = func(logbook.Time) float64 { return 0.28 }
	d.run(2)
	assert.Empty(t, alarms(d.fresh(), alarm.AirGas), "it was never at the limit")
}

// The record of a raised alarm says whether people are woken.
func TestRecordsSayWhoIsWoken(t *testing.T) {
	d := gassed(t)
	for _, a := range of[*logbook.Alarm](d.made) {
		assert.True(t, a.Wake, a.Point)
	}
}

// A sheet that is torn open in the second night: the leak, and the chance that
// collapses with it.
func TestTornSheetCollapses(t *testing.T) {
	d := aday(t)
	d.declare()
	d.dose("five-day")
	torn := epoch.Add(40 * time.Hour)
	whole := decaying(1500, 0.1)
	level := func(share float64) func(logbook.Time) float64 {
		return func(at logbook.Time) float64 {
			return share * whole(at) * math.Exp(-1.6*max(0, at.Hours(torn))/24)
		}
	}
	d.level["a1"], d.level["a2"] = level(1), level(0.93)
	d.run(39)
	require.Empty(t, alarms(d.fresh(), alarm.AtRisk))
	for h := 0; h < 20; h++ {
		d.run(1)
	}
	rs := d.fresh()
	assert.Contains(t, alarms(rs, alarm.Leak), "raised")
	got := of[*logbook.Alarm](rs)
	woken := 0
	for _, a := range got {
		if a.Alarm == alarm.AtRisk && a.State == logbook.AlarmRaised && a.Code == alarm.CodeCollapsing {
			assert.True(t, a.Wake)
			woken++
		}
	}
	assert.Equal(t, 1, woken, "%v", alarms(rs, alarm.AtRisk))
}

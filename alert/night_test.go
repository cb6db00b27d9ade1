package alert

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/logbook/words"
	"undersheet/rules"
)

// wired is the invented depot with a modem and two webhooks.
func wired() logbook.Site {
	s := site()
	s.SMS = &logbook.SMS{Port: "/dev/modem"}
	s.Webhooks = []logbook.Webhook{{Name: "board", URL: "https://board.bagmati.example"}, {Name: "dispatch", URL: "https://dispatch.bagmati.example", From: "high"}}
	s.People[0].Phone, s.People[1].Phone, s.People[3].Phone = "+97700000001", "+97700000002", "+97700000003"
	return s
}

// feedAt is a feed of a site at a time of its own zone, "2006-01-02 15:04".
func feedAt(t require.TestingT, s logbook.Site, local string) *feed {
	f := &feed{Planner: NewPlanner(PlannerOptions{})}
	f.now = inZone(t, s.Timezone, local)
	f.fold(&logbook.SiteConfigured{Site: s})
	return f
}

func inZone(t require.TestingT, zone, local string) logbook.Time {
	z, err := time.LoadLocation(zone)
	require.NoError(t, err)
	at, err := time.ParseInLocation("2006-01-02 15:04", local, z)
	require.NoError(t, err)
	return logbook.At(at)
}

// until lets time pass to a time of the site's zone, a minute an entry.
func (f *feed) until(t require.TestingT, local string) (out []sqlite.Outgoing) {
	for end := inZone(t, f.Site.Timezone, local); f.now < end; {
		out = append(out, f.after(time.Minute)...)
	}
	return out
}

// by chooses the messages that go one way.
func by(messenger string, out []sqlite.Outgoing) (chosen []sqlite.Outgoing) {
	for _, o := range out {
		if o.Messenger == messenger {
			chosen = append(chosen, o)
		}
	}
	return chosen
}

// to lists recipients.
func to(out []sqlite.Outgoing) (names []string) {
	for _, o := range out {
		names = append(names, o.To)
	}
	return names
}

// of makes an alarm of Store 2.
func of(name, priority string, wake bool) *logbook.Alarm {
	return &logbook.Alarm{State: logbook.AlarmRaised, Alarm: name, Store: "Store 2", Stack: "B", Priority: priority, Value: 0.9, Limit: 0.3, Wake: wake}
}

// in returns an alarm in another state.
func in(state string, a *logbook.Alarm, by string) *logbook.Alarm {
	b := *a
	b.Header, b.Record, b.State, b.By = logbook.Header{}, logbook.Record{}, state, by
	return &b
}

func TestWaysByDay(t *testing.T) {
	f := feedAt(t, wired(), "2026-03-01 12:00")
	out := f.fold(leak(logbook.AlarmRaised))
	require.Equal(t, []string{"S. Rai", "P. Gurung", "T. Lama"}, to(by(ByMail, out)))
	require.Equal(t, []string{"S. Rai", "P. Gurung", "D. Thapa"}, to(by(BySMS, out)))
	require.Equal(t, []string{"board", "dispatch"}, to(by(ByWebhook, out)))
	out = f.fold(of("line-silent", logbook.PriorityMedium, false))
	require.Equal(t, []string{"S. Rai", "D. Thapa"}, to(by(BySMS, out)))
	require.Equal(t, []string{"board"}, to(by(ByWebhook, out)))
	l := read(by(BySMS, out)[0])
	require.Equal(t, "Bagmati Store MEDIUM: Silent: nothing has been read at stack B for 0 minutes. Look at the instrument, its power and cable from "+
		"outside the store only.\nEmergency: call 00 1 and the fumigator, 00 2", l.Short)

	bare := wired()
	bare.Mail, bare.Webhooks = nil, nil
	require.Equal(t, []string{"S. Rai", "P. Gurung", "D. Thapa"}, to(feedAt(t, bare, "2026-03-01 12:00").fold(leak(logbook.AlarmRaised))), "one way is enough")
}

// TestKeysOfMail pins the keys of mails: a daemon that is upgraded must not send
// again. The figure is SHA-256 over LogID, entry, what and person, as the first
// version took it: hashlib.sha256(b"1234\0" b"1\0" b"raised\0" b"leak\0Store 2\0B\0north top\0\0\0" b"S. Rai").
func TestKeysOfMail(t *testing.T) {
	out := feedAt(t, wired(), "2026-03-01 12:00").fold(leak(logbook.AlarmRaised))
	require.Equal(t, "0f6084d2a769853c4a343ed4d30ffeef", by(ByMail, out)[0].Key)
	keys := map[string]bool{}
	for _, o := range out {
		require.False(t, keys[o.Key], "%s to %s", o.Messenger, o.To)
		keys[o.Key] = true
	}
}

// TestEvents: programs get each record as it is, chatter or not, at any hour.
func TestEvents(t *testing.T) {
	f := feedAt(t, wired(), "2026-03-01 23:00")
	var told []string
	note := func(out []sqlite.Outgoing) {
		for _, o := range by(ByWebhook, out) {
			l := read(o)
			var r struct{ Kind, State, Text string }
			require.NoError(t, json.Unmarshal(l.Record, &r))
			require.True(t, strings.HasSuffix(l.Text, "\nEmergency: call 00 1 and the fumigator, 00 2\n"))
			require.Contains(t, l.Text, words.Text("en", "mail/night"))
			if r.Kind == "alarm" {
				require.True(t, strings.HasSuffix(r.Text, "Emergency: call 00 1 and the fumigator, 00 2"))
			}
			told = append(told, o.To+" "+r.Kind+" "+r.State)
		}
	}
	low := of("point-silent", logbook.PriorityLow, false)
	for _, e := range []logbook.Entry{leak(logbook.AlarmRaised), in(logbook.AlarmSeen, leak(""), "S. Rai"), leak(logbook.AlarmCleared), low,
		&logbook.Gate{Store: "Store 2", State: logbook.GateCleared}, &logbook.Gate{Store: "Store 2", State: logbook.GateShut, Reasons: []logbook.Reason{{Code: "dosing", About: "B"}}}} {
		e.Head().Kind = map[bool]logbook.Kind{true: logbook.KindGate, false: logbook.KindAlarm}[strings.Contains(fmt.Sprintf("%T", e), "Gate")]
		note(f.fold(e))
	}
	require.Equal(t, []string{"board alarm raised", "dispatch alarm raised", "board alarm acknowledged", "dispatch alarm acknowledged",
		"board alarm cleared", "dispatch alarm cleared", "board alarm raised",
		"board gate cleared", "dispatch gate cleared", "board gate shut", "dispatch gate shut"}, told)
}

// TestHeldUntilLight: what wakes nobody is told at first light, on the nights
// too on which the clocks are changed: in the EU at 01:00 UTC on the last Sundays
// of March and October (Directive 2000/84/EC), in the US at 02:00 local time on
// the second Sunday of March and the first of November (Energy Policy Act of 2005).
func TestHeldUntilLight(t *testing.T) {
	for _, tt := range []struct{ zone, raised, before, light, utc string }{
		{"Europe/London", "2026-03-28 22:10", "2026-03-29 05:59", "2026-03-29 06:00", "05:00"},
		{"Europe/London", "2026-10-24 22:10", "2026-10-25 05:59", "2026-10-25 06:00", "06:00"},
		{"America/New_York", "2026-03-07 20:00", "2026-03-08 05:59", "2026-03-08 06:00", "10:00"},
		{"America/New_York", "2026-10-31 23:59", "2026-11-01 05:59", "2026-11-01 06:00", "11:00"},
		{"Asia/Kathmandu", "2026-03-02 05:00", "2026-03-02 05:59", "2026-03-02 06:00", "00:15"},
	} {
		s := wired()
		s.Timezone = tt.zone
		f := feedAt(t, s, tt.raised)
		out := f.fold(leak(logbook.AlarmRaised))
		require.Len(t, by(ByMail, out), 3, "e-mail goes at any hour")
		require.Empty(t, by(BySMS, out), tt)
		require.Empty(t, by(BySMS, f.until(t, tt.before)), tt)
		out = by(BySMS, f.until(t, tt.light))
		require.Len(t, out, 3, tt)
		require.Equal(t, tt.utc, out[0].NotBefore.UTC().Format("15:04"))
		l := read(out[0])
		require.Contains(t, l.Short, "(since "+tt.raised[11:]+")")
		require.Contains(t, l.Short, words.Text("en", "two-people"))
		require.False(t, l.Wake)
		require.Empty(t, by(BySMS, f.after(14*time.Minute)), "told once")
	}
}

// TestUnreadableNight: where nobody knows when it is night, no message waits for light,
// and none tells anybody how to go in now.
func TestUnreadableNight(t *testing.T) {
	for name, breakIt := range map[string]func(*logbook.Site){
		"time": func(s *logbook.Site) { s.Settings.Night = &logbook.Night{From: "evening", To: "04:15"} },
		"zone": func(s *logbook.Site) { s.Timezone = "Asia/Nowhere" },
	} {
		for hour := range 24 {
			s := wired()
			f := feedAt(t, s, fmt.Sprintf("2026-03-01 %02d:30", hour))
			breakIt(&s)
			f.fold(&logbook.SiteConfigured{Site: s})
			out := by(BySMS, f.fold(leak(logbook.AlarmRaised)))
			require.Len(t, out, 3, "%s, %d:30", name, hour)
			require.Contains(t, read(out[0]).Short, words.Text("en", "sms/night-care"), "%s, %d:30", name, hour)
		}
	}
}

// TestMergedAtLight: one SMS for each person speaks of all that was held and
// still stands, the gravest first.
func TestMergedAtLight(t *testing.T) {
	f := feedAt(t, wired(), "2026-03-01 22:10")
	f.fold(of("uneven-gas", logbook.PriorityMedium, false))
	f.until(t, "2026-03-01 23:00")
	f.fold(leak(logbook.AlarmRaised))
	f.fold(of("line-silent", logbook.PriorityMedium, false))
	gone := of("too-cold", logbook.PriorityMedium, false)
	f.fold(gone)
	f.until(t, "2026-03-02 01:00")
	f.fold(in(logbook.AlarmCleared, gone, ""))
	f.until(t, "2026-03-02 05:40")
	back := of("instrument-fault", logbook.PriorityMedium, false)
	f.fold(back)
	f.fold(in(logbook.AlarmCleared, back, ""))
	out := f.until(t, "2026-03-02 06:00")
	require.Equal(t, []string{"S. Rai", "P. Gurung", "D. Thapa"}, to(by(BySMS, out)))
	l := read(by(BySMS, out)[0])
	require.Equal(t, "[Bagmati Store] HIGH: 3 alarms since 22:10", l.Subject)
	require.Regexp(t, `^Bagmati Store HIGH: 3 alarms since 22:10: 1\) Leak: .*; 2\) Uneven gas: .*; 3\) Silent: .*`, l.Short)
	require.NotContains(t, l.Short, "cold", "it is over: nothing is said by SMS of what was never told")
	require.Contains(t, l.Short, words.Text("en", "two-people"))
	require.True(t, strings.HasSuffix(l.Short, "\nEmergency: call 00 1 and the fumigator, 00 2"))
	require.Regexp(t, `^Bagmati Store HIGH: Leak: .*\(since 23:00\)`, read(by(BySMS, out)[1]).Short, "one alone needs no list")
	f.until(t, "2026-03-02 06:05")
	require.Equal(t, []string{"S. Rai", "D. Thapa"}, to(by(BySMS, f.fold(in(logbook.AlarmRaised, back, "")))), "it came back, and nobody had an SMS of it")
}

// TestWaking: what wakes people goes out at once, and what is graver meanwhile too.
func TestWaking(t *testing.T) {
	f := feedAt(t, wired(), "2026-03-01 23:00")
	out := by(BySMS, f.fold(of("air-gas", logbook.PriorityHigh, true)))
	require.Len(t, out, 3)
	require.True(t, read(out[0]).Wake)
	risk := of("end-level-at-risk", logbook.PriorityHigh, false)
	require.Empty(t, by(BySMS, f.fold(risk)))
	graver := in(logbook.AlarmRaised, risk, "")
	graver.Wake, graver.Code = true, "collapsing"
	out = by(BySMS, f.fold(graver))
	require.Len(t, out, 3)
	require.Contains(t, read(out[0]).Short, words.Text("en", "mail/night"))
	f.fold(in(logbook.AlarmSeen, risk, "S. Rai"))
	f.fold(in(logbook.AlarmSeen, of("air-gas", "", true), "S. Rai"))
	require.Empty(t, by(BySMS, f.until(t, "2026-03-02 07:00")), "nothing is held of it any more")
}

// TestStoppedWatchIsToldAtLight: nobody folds any more who could hold it.
func TestStoppedWatchIsToldAtLight(t *testing.T) {
	f := feedAt(t, wired(), "2026-03-28 22:00")
	out := by(BySMS, f.fold(&logbook.Alarm{State: logbook.AlarmRaised, Alarm: "watch-stopped", Priority: logbook.PriorityHigh}))
	require.Len(t, out, 3)
	require.Equal(t, inZone(t, "Asia/Kathmandu", "2026-03-29 06:00").Std(), out[0].NotBefore.UTC())
	require.Empty(t, f.Held)
}

// Whoever reads on that the watch had stopped watches again: nobody is called again that nothing is
// watched, and all hear that it is over. Where nobody watches yet and people are told once more,
// that is not late.
func TestStoppedWatchGoesOn(t *testing.T) {
	stopped := &logbook.Alarm{State: logbook.AlarmRaised, Alarm: "watch-stopped", Priority: logbook.PriorityHigh}
	f := feedAt(t, wired(), "2026-03-28 12:00")
	once := *stopped
	once.Time = f.now.Add(36 * time.Hour) // the watch plans it before the log has it
	out := f.Fold(&once, func() (*rules.View, sqlite.Head) { return view(), sqlite.Head{} })
	require.NotEmpty(t, out)
	for _, o := range out {
		require.Equal(t, once.Time, read(o).Written)
	}

	f = feedAt(t, wired(), "2026-03-28 12:00")
	require.Len(t, by(BySMS, f.fold(stopped)), 3)
	require.Empty(t, by(BySMS, f.until(t, "2026-03-29 12:00")))
	over := *stopped
	over.State = logbook.AlarmCleared
	require.Empty(t, by(BySMS, f.fold(&over)))
	out = f.until(t, "2026-03-29 14:00")
	require.Len(t, by(BySMS, out), 3)
	require.Contains(t, read(by(BySMS, out)[0]).Short, "Over: The program has stopped judging")
}

// TestClearanceThatFellAtNight wakes nobody, and is told at first light unless
// the store was cleared again.
func TestClearanceThatFellAtNight(t *testing.T) {
	gate := func(state, code string) *logbook.Gate {
		return &logbook.Gate{Store: "Store 2", State: state, Reasons: []logbook.Reason{{Code: code, About: "door", Value: 20}}}
	}
	for _, again := range []bool{false, true} {
		f := feedAt(t, wired(), "2026-03-01 19:00")
		f.fold(gate(logbook.GateCleared, ""))
		f.until(t, "2026-03-01 21:00")
		require.Empty(t, by(BySMS, f.fold(gate(logbook.GateAiring, "point-silent"))))
		if again {
			f.fold(gate(logbook.GateCleared, ""))
		}
		out := by(BySMS, f.until(t, "2026-03-02 06:00"))
		require.Len(t, out, map[bool]int{false: 3, true: 0}[again])
		if !again {
			require.Contains(t, read(out[0]).Short, "The clearance of Store 2 no longer holds: ")
			require.Contains(t, read(out[0]).Short, "(since 21:00)")
		}
	}
}

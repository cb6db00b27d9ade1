package web

import (
	"runtime"
	"time"

	"undersheet/logbook"
	"undersheet/rules"
	"undersheet/rules/reading"
)

// Machinery tells of what runs beside the fold, for the metrics. It is asked at
// each look, from many goroutines, and must not block for long. A nil func means
// that there is nothing of the kind; one that returns an error leaves its metrics
// out of this look.
type Machinery struct {
	Head       func() (seq uint64, err error) // of the newest entry of the logbook
	Disk       func() (Disk, error)
	Messengers func() ([]Messenger, error) // by name
	Modem      func() (Modem, error)
	Beacon     func() (Beacon, error)
	Forwards   func() ([]Forward, error) // by name
}

// Disk is what the logbook takes and what is left for it, in bytes.
type Disk struct{ Size, Free uint64 }

// Messenger is how one way out to people goes.
type Messenger struct {
	Name     string
	Pending  int           // messages that wait
	Oldest   time.Duration // age of the oldest that waits; 0 = none
	Attempts int           // most attempts that one of them has had
}

// Modem is how a GSM modem stands.
type Modem struct {
	Ready       bool // it answers and its SIM is open
	Registered  bool // in a network that takes messages
	SignalKnown bool
	SignalDBm   int
	Parts       uint64 // of messages, taken since the start
	Failed      uint64 // attempts that failed since the start
}

// Beacon is how the publishing of gates and alarms on a broker stands.
type Beacon struct {
	Connected bool
	Published uint64 // messages that the broker took since the start
	Trouble   string // what somebody has to put right; empty = nothing known
}

// Forward is how one copy of the logbook goes.
type Forward struct {
	Name    string
	Lag     uint64        // entries that are not sent yet
	Oldest  time.Duration // since the oldest of them was received; 0 = none is due
	Sent    uint64        // lines taken since the start
	Refused uint64        // lines that will not be at the destination, since the start
	Failed  uint64        // attempts that failed since the start
	Trouble string        // what somebody has to put right; empty = nothing known
}

// keepingUp is the state of a watch that nothing is wrong with.
const keepingUp = "keeping-up"

// watch gives how the daemon's own work goes.
func (g *gathering) watch(s *site, h Health) {
	st := s.source.Status()
	state := h.Reason
	if h.OK {
		state = keepingUp
	}
	g.enum("watch_state", state, watchStates)
	g.gauge("up_to_date", truth(!g.shut))
	g.counter("entries_folded_total", st.Folded)
	g.counter("records_committed_total", st.Records)
	g.gauge("folded_seq", float64(st.Seq))
	g.gauge("judged_seq", float64(st.Judged))
	g.gauge("snapshot_seq", float64(st.Snapshot))
	if !st.SnapshotAt.IsZero() {
		g.gauge("snapshot_age_seconds", g.age(logbook.At(st.SnapshotAt)))
	}
	g.gauge("build_info", 1, s.opts.Version, runtime.Version())
}

// intake gives what came from instruments.
func (g *gathering) intake(from Intake) {
	if from == nil {
		return
	}
	in := from.Stats()
	g.gauge("logbook_write_failing", truth(in.LogError != ""))
	g.gauge("intake_waiting_calls", float64(in.Waiting))
	for _, i := range in.Instruments {
		g.counter("instrument_readings_total", i.Readings, i.Name)
		g.counter("instrument_refused_payloads_total", i.Refused, i.Name)
		g.counter("instrument_repeated_readings_total", i.Repeated, i.Name)
		g.counter("instrument_reused_numbers_total", i.Reused, i.Name)
		g.gauge("instrument_units_silent", float64(len(i.Down)), i.Name)
		if !i.Last.IsZero() {
			g.gauge("instrument_age_seconds", g.age(logbook.At(i.Last)), i.Name)
		}
	}
}

// machinery gives what runs beside the fold.
func (g *gathering) machinery(s *site) {
	if s.opts.Outbox != nil {
		o := s.opts.Outbox.Stats()
		g.gauge("outbox_pending_messages", float64(o.Pending))
		g.gauge("outbox_oldest_age_seconds", o.Oldest.Seconds())
		g.counter("messages_handed_over_total", o.HandedOver)
		g.counter("messages_repeated_total", o.Repeats)
		g.counter("message_attempts_failed_total", o.Failed)
		g.counter("messages_given_up_total", o.GivenUp)
		g.gauge("outbox_faults", float64(len(o.Attention)))
	}
	m := s.opts.Machinery
	head, known := asked(s, "the head of the logbook", m.Head)
	if folded := s.source.Status().Seq; known {
		g.gauge("logbook_head_seq", float64(head))
		g.gauge("logbook_fold_lag_entries", float64(max(head, folded)-folded))
	}
	if d, ok := asked(s, "the logbook's disk", m.Disk); ok {
		g.gauge("logbook_size_bytes", float64(d.Size))
		g.gauge("logbook_disk_free_bytes", float64(d.Free))
	}
	ms, _ := asked(s, "the messengers", m.Messengers)
	for _, w := range ms {
		g.gauge("messenger_pending_messages", float64(w.Pending), w.Name)
		g.gauge("messenger_oldest_age_seconds", w.Oldest.Seconds(), w.Name)
		g.gauge("messenger_waiting_attempts", float64(w.Attempts), w.Name)
	}
	if modem, ok := asked(s, "the modem", m.Modem); ok {
		g.modem(modem)
	}
	if b, ok := asked(s, "the beacon", m.Beacon); ok {
		g.gauge("beacon_connected", truth(b.Connected))
		g.counter("beacon_messages_total", b.Published)
	}
	fs, _ := asked(s, "the forwards", m.Forwards)
	for _, f := range fs {
		g.gauge("forward_lag_entries", float64(f.Lag), f.Name)
		g.gauge("forward_oldest_age_seconds", f.Oldest.Seconds(), f.Name)
		g.counter("forward_lines_total", f.Sent, f.Name)
		g.counter("forward_refused_lines_total", f.Refused, f.Name)
		g.counter("forward_attempts_failed_total", f.Failed, f.Name)
		g.gauge("forward_attention", truth(f.Trouble != ""), f.Name)
	}
}

// modem gives how the modem stands.
func (g *gathering) modem(m Modem) {
	g.gauge("modem_ready", truth(m.Ready))
	g.gauge("modem_registered", truth(m.Registered))
	if m.SignalKnown {
		g.gauge("modem_signal_dbm", float64(m.SignalDBm))
	}
	g.counter("modem_parts_sent_total", m.Parts)
	g.counter("modem_attempts_failed_total", m.Failed)
}

// asked returns what f says; a fault is logged, and its metrics are left out.
func asked[T any](s *site, about string, f func() (T, error)) (v T, ok bool) {
	if f == nil {
		return v, false
	}
	v, err := f()
	if err != nil {
		s.opts.Logger.Warn("gather metrics of "+about, "error", err)
		return v, false
	}
	return v, true
}

// alarms gives the alarms that are raised. What tells the follow-ups of one sort at one place
// apart, treatments and people, is no label, for there are ever more of them.
func (g *gathering) alarms(alarms []rules.AlarmView) {
	byName, byPriority, unseen, seen := map[[2]string]int{}, map[string]int{}, map[string]int{}, map[[8]string]bool{}
	for _, a := range alarms {
		of := [8]string{a.Alarm.Alarm, a.Alarm.Priority, a.Alarm.Store, a.Alarm.Stack, a.Alarm.Line, a.Alarm.Point, a.Alarm.Channel, a.Alarm.FollowUp()}
		others, shared := seen[of]
		seen[of] = a.Acknowledged != 0 && (others || !shared)
		byName[[2]string{a.Alarm.Alarm, a.Alarm.Priority}]++
		byPriority[a.Alarm.Priority]++
		if a.Acknowledged == 0 {
			unseen[a.Alarm.Priority]++
		}
	}
	for of, all := range seen {
		g.gauge("alarm_raised", 1, of[:]...)
		g.gauge("alarm_acknowledged", truth(all), of[:]...)
	}
	for k, n := range byName {
		g.gauge("alarms_raised", float64(n), k[0], k[1])
	}
	for _, p := range priorities {
		g.gauge("alarms_raised_priority", float64(byPriority[p]), p)
		g.gauge("alarms_unacknowledged", float64(unseen[p]), p)
	}
}

// reasons gives why the gate of a store is not open, as it is shown.
func (g *gathering) reasons(st *rules.StoreView) {
	byCode := map[string]int{}
	for _, r := range st.Gate.Reasons {
		byCode[r.Code]++
	}
	g.gauge("gate_reasons", float64(len(st.Gate.Reasons)), st.Name)
	for code, n := range byCode {
		g.gauge("gate_reason", float64(n), st.Name, code)
	}
}

// rooms gives doors, water, mains, pumps and wind.
func (g *gathering) rooms(v *rules.View) {
	for _, st := range v.Stores {
		g.contacts("door_open", st.Doors, st.Name)
		g.contacts("water_wet", st.Water, st.Name)
	}
	g.contacts("mains_power", v.Mains)
	for _, p := range v.Pumps {
		g.enum("pump_state", p.State, pumpStates, p.Name)
		if p.Flow > 0 && p.Last.State == reading.OK && p.Last.Unit == logbook.LMin {
			g.gauge("pump_flow_ratio", p.Last.PPM/p.Flow, p.Name)
		}
	}
	if v.Wind == nil {
		return
	}
	if v.Wind.Speed.State == reading.OK {
		g.gauge("wind_speed_meters_per_second", v.Wind.Speed.PPM)
	}
	if v.Wind.Direction.State == reading.OK {
		g.gauge("wind_direction_degrees", v.Wind.Direction.PPM)
	}
}

// contacts gives sensors of two states. One that nobody reads any more keeps its
// last value here; its age says so.
func (g *gathering) contacts(name string, cs []rules.ContactView, labels ...string) {
	for _, c := range cs {
		if !c.Known {
			continue
		}
		g.gauge(name, truth(c.On), with(labels, c.Name)...)
		g.gauge("contact_reading_age_seconds", g.age(c.Last.At), c.Channel)
	}
}

package beacon

import (
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules"
)

var noon = logbook.At(time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC))

// depot is a Source that a test changes.
type depot struct {
	mu   sync.Mutex
	view *rules.View
	next chan struct{}
}

func newDepot(v *rules.View) *depot { return &depot{view: v, next: make(chan struct{})} }

func (d *depot) View() *rules.View {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.view
}

func (d *depot) Changed() <-chan struct{} {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.next
}

func (d *depot) set(v *rules.View) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.view = v
	close(d.next)
	d.next = make(chan struct{})
}

// state is a view of a depot with one store, one stack in exposure and the alarms.
func state(gateState string, alarms ...logbook.Alarm) *rules.View {
	g := logbook.Gate{Header: logbook.Header{Time: noon, Kind: logbook.KindGate, Seq: 9}, Store: "Store 2", State: gateState, LimitPPM: 0.3, LimitOf: "no country set",
		Read: []logbook.PointRead{{Point: "door", PPM: 0.1, Upper: 0.14, At: noon}}}
	if gateState == logbook.GateShut {
		g.Reasons = []logbook.Reason{{Code: "under-gas", About: "B"}}
	}
	k := rules.StackView{Name: "B", Store: "Store 2", Treatment: "B-7", Phase: logbook.PhaseExposure, Verdict: logbook.VerdictProvisional, Protocol: "five-day",
		Started: noon.Add(-time.Hour), PlannedEnd: noon.Add(119 * time.Hour), EndLevelPPM: 150,
		Lowest: &logbook.Forecast{For: noon.Add(119 * time.Hour), PPM: logbook.Quantiles{P05: 140, P50: 210, P95: 300}, ChanceMet: 0.91}}
	v := &rules.View{Config: &logbook.Site{Name: "Kivuma depot", Emergency: "+00 1"}, Stores: []rules.StoreView{{Name: "Store 2", Gate: g, Stacks: []rules.StackView{k}}}}
	for _, a := range alarms {
		v.Alarms = append(v.Alarms, rules.AlarmView{Alarm: a, Since: noon})
	}
	return v
}

// leak is an alarm of a stack.
func leak(line string) logbook.Alarm {
	return logbook.Alarm{Header: logbook.Header{Time: noon, Kind: logbook.KindAlarm}, State: logbook.AlarmRaised, Alarm: "leak", Stack: "B", Line: line,
		Priority: logbook.PriorityHigh, Value: 0.5, Limit: 0.25}
}

// catchingUp is v with every gate shut, as the watch shows it on its way to the head.
func catchingUp(v *rules.View) *rules.View {
	for i := range v.Stores {
		g := &v.Stores[i].Gate
		g.State, g.Reasons = logbook.GateShut, append([]logbook.Reason{{Code: "catching-up"}}, g.Reasons...)
	}
	return v
}

// Topics of the depot.
const (
	prefix     = "undersheet/kivuma"
	gateOfTwo  = prefix + "/stores/Store 2/gate"
	leakNorth  = prefix + "/alarms/leak/stack=B,line=north top"
	stackB     = prefix + "/stacks/B"
	onlineHere = prefix + "/online"
)

// quick are options for tests; the clock stands at five past noon.
func quick() Options {
	return Options{Clock: func() time.Time { return noon.Std().Add(5 * time.Minute) }, Refresh: time.Hour, Gap: time.Millisecond, First: 20 * time.Millisecond,
		Long: 100 * time.Millisecond, Timeout: 5 * time.Second, Logger: slog.New(slog.NewTextHandler(io.Discard, nil))}
}

// light runs a beacon until the returned function is called or the test ends.
func light(t *testing.T, address string, s Source, o Options) (b *Beacon, stop func()) {
	t.Helper()
	b, err := New(logbook.Beacon{Broker: address, Topic: prefix}, "Kivuma depot", s, o)
	require.NoError(t, err)
	return b, run(t, b)
}

func run(t *testing.T, b *Beacon) (stop func()) {
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- b.Run(ctx) }()
	var once sync.Once
	stop = func() {
		once.Do(func() {
			cancel()
			select {
			case err := <-done:
				require.NoError(t, err)
			case <-time.After(patience):
				t.Error("Run does not end")
			}
		})
	}
	t.Cleanup(stop)
	return stop
}

// gateAt reads the gate that stands on a topic.
func gateAt(t *testing.T, payload string) (g Gate) {
	t.Helper()
	require.NoError(t, json.Unmarshal([]byte(payload), &g))
	return g
}

func TestPublishesGatesAlarmsAndStacks(t *testing.T) {
	m := startMosquitto(t)
	p := newPanel(t, m.address())
	d := newDepot(state(logbook.GateShut, leak("north top")))
	b, _ := light(t, m.address(), d, quick())
	eventually(t, func() bool { return p.last(onlineHere) == Online }, "it is online")
	eventually(t, func() bool { return b.Status() == Status{Connected: true, Published: 4} }, "its status says so")
	got := standing(t, m.address())
	require.Len(t, got, 4)

	g := gateAt(t, got[gateOfTwo])
	require.Equal(t, []any{"shut", "Store 2", "Kivuma depot", noon.Add(5 * time.Minute), noon.Add(5*time.Minute + 3*time.Hour), 10800.0},
		[]any{g.State, g.Store, g.Site, g.At, g.ValidUntil, g.ValidSeconds})
	require.Equal(t, "under-gas", g.Reasons[0].Code)
	require.NotEmpty(t, g.Reasons[0].Text)
	require.NotEmpty(t, g.Text)
	require.EqualValues(t, 0.3, g.LimitPPM)
	require.EqualValues(t, 0.1, g.Read[0].PPM)

	var a Alarm
	require.NoError(t, json.Unmarshal([]byte(got[leakNorth]), &a))
	require.Equal(t, []any{"leak", "raised", "B", "north top", "high", "+00 1", noon}, []any{a.Alarm.Alarm, a.State, a.Stack, a.Line, a.Priority, a.Emergency, a.Since})
	require.NotEmpty(t, a.Headline)
	require.Contains(t, a.Advice, "two trained people", "no message sends one person into gas")

	var k Stack
	require.NoError(t, json.Unmarshal([]byte(got[stackB]), &k))
	require.Equal(t, Stack{Site: "Kivuma depot", Store: "Store 2", Stack: "B", Treatment: "B-7", Phase: "exposure", Verdict: "provisional", Protocol: "five-day",
		Started: noon.Add(-time.Hour), PlannedEnd: noon.Add(119 * time.Hour), At: noon.Add(5 * time.Minute),
		Lowest: &Forecast{For: noon.Add(119 * time.Hour), PPM: logbook.Quantiles{P05: 140, P50: 210, P95: 300}, EndPPM: 150, ChanceMet: 0.91}}, k)

	d.set(state(logbook.GateAiring))
	eventually(t, func() bool {
		return strings.Contains(p.last(gateOfTwo), `"airing"`) && p.payloads(leakNorth)[len(p.payloads(leakNorth))-1] == ""
	}, "the change comes")
	require.NotContains(t, standing(t, m.address()), leakNorth, "an empty retained message takes it away (MQTT 3.1.1, 3.3.1.3)")
	require.Len(t, p.payloads(stackB), 1, "what did not change is not sent again")
	for _, m := range p.came {
		require.EqualValues(t, 1, m.Qos())
	}
}

// TestEverythingIsPublishedAgain, so that a clearance is never valid for long.
func TestEverythingIsPublishedAgain(t *testing.T) {
	m := startMosquitto(t)
	p := newPanel(t, m.address())
	o := quick()
	o.Refresh = 50 * time.Millisecond
	var mu sync.Mutex
	now := noon.Std()
	o.Clock = func() time.Time { mu.Lock(); defer mu.Unlock(); now = now.Add(time.Minute); return now }
	light(t, m.address(), newDepot(state(logbook.GateCleared, leak("low"))), o)
	eventually(t, func() bool {
		return len(p.payloads(gateOfTwo)) >= 4 && len(p.payloads(onlineHere)) >= 4 && len(p.payloads(stackB)) >= 4
	}, "it comes again and again")
	last := noon
	for _, payload := range p.payloads(gateOfTwo) {
		g := gateAt(t, payload)
		require.Greater(t, g.ValidUntil, last)
		require.Equal(t, g.At.Add(150*time.Millisecond), g.ValidUntil)
		require.InDelta(t, 0.15, g.ValidSeconds, 1e-9)
		last = g.ValidUntil
	}
}

// TestWhatAnEarlierRunLeftIsTakenAway, and only that.
func TestWhatAnEarlierRunLeftIsTakenAway(t *testing.T) {
	m := startMosquitto(t)
	p := newPanel(t, m.address())
	old := []string{prefix + "/stores/Store 9/gate", prefix + "/alarms/leak/stack=C", prefix + "/stacks/C", leakNorth}
	for _, topic := range append(old, onlineHere, prefix+"/lamp/3", "undersheet/other/stores/Store 2/gate", prefix+"/stores/Store 2/gate/note") {
		p.publish(topic, "kept")
	}
	for i := range 60 { // more than the broker sends at one time (max_inflight_messages, 20)
		p.publish(prefix+"/alarms/line-off/stack=C,line="+strings.Repeat("x", i+1), "{}")
	}
	b, _ := light(t, m.address(), newDepot(state(logbook.GateShut)), quick())
	eventually(t, func() bool { return len(standing(t, m.address())) == 6 }, "the rest is gone")
	got := standing(t, m.address())
	for _, topic := range []string{onlineHere, gateOfTwo, stackB, prefix + "/lamp/3", "undersheet/other/stores/Store 2/gate", prefix + "/stores/Store 2/gate/note"} {
		require.Contains(t, got, topic)
	}
	require.Equal(t, Online, got[onlineHere])
	require.Empty(t, b.Status().Trouble)
}

// TestCatchingUpIsShut: until the present is known, gates are shut, whatever an
// earlier run left, and nobody is told that an alarm is over.
func TestCatchingUpIsShut(t *testing.T) {
	m := startMosquitto(t)
	p := newPanel(t, m.address())
	cleared, _ := json.Marshal(Gate{Gate: logbook.Gate{Store: "Store 2", State: logbook.GateCleared}, ValidUntil: noon.Add(time.Hour)})
	p.publish(gateOfTwo, string(cleared))
	p.publish(prefix+"/stores/Store 9/gate", string(cleared))
	p.publish(leakNorth, "{}")
	p.publish(onlineHere, Offline)
	d := newDepot(&rules.View{}) // nothing folded yet
	light(t, m.address(), d, quick())
	eventually(t, func() bool { return strings.Contains(p.last(prefix+"/stores/Store 9/gate"), "catching-up") }, "old gates are shut")
	require.Equal(t, "shut", gateAt(t, p.last(gateOfTwo)).State)
	d.set(catchingUp(state(logbook.GateCleared))) // a past state: the alarm is not there yet
	eventually(t, func() bool { return strings.Contains(p.last(gateOfTwo), "no country set") }, "the gate of the view comes")
	require.Equal(t, "shut", gateAt(t, p.last(gateOfTwo)).State)
	require.Equal(t, []string{"{}"}, p.payloads(leakNorth))
	require.NotContains(t, p.payloads(onlineHere), Online)

	d.set(state(logbook.GateCleared, leak("north top")))
	eventually(t, func() bool { return p.last(onlineHere) == Online && p.last(prefix+"/stores/Store 9/gate") == "" }, "it is through")
	require.Equal(t, "cleared", gateAt(t, p.last(gateOfTwo)).State)
	require.Contains(t, p.last(leakNorth), `"raised"`)
	// A fold that fails later shuts the gates and keeps showing the alarms.
	v := state(logbook.GateCleared, leak("north top"))
	v.Stores[0].Gate.State, v.Stores[0].Gate.Reasons = logbook.GateShut, []logbook.Reason{{Code: "fold-failed"}}
	d.set(v)
	eventually(t, func() bool { return gateAt(t, p.last(gateOfTwo)).State == "shut" }, "the gate shuts")
	p.sync()
	require.Equal(t, Online, p.last(onlineHere))
	require.NotEmpty(t, p.last(leakNorth))
}

// TestOrder: at no moment does a newcomer see online beside a gate of before.
func TestOrder(t *testing.T) {
	m := startMosquitto(t)
	p := newPanel(t, m.address())
	light(t, m.address(), newDepot(state(logbook.GateShut)), quick())
	eventually(t, func() bool { return p.last(onlineHere) == Online }, "it is online")
	p.mu.Lock()
	defer p.mu.Unlock()
	require.Equal(t, gateOfTwo, p.came[0].Topic())
	require.Equal(t, onlineHere, p.came[2].Topic())
}

func TestStopShutsEveryGate(t *testing.T) {
	m := startMosquitto(t)
	p := newPanel(t, m.address())
	b, stop := light(t, m.address(), newDepot(state(logbook.GateCleared, leak("low"))), quick())
	eventually(t, func() bool { return p.last(onlineHere) == Online && b.Status().Connected }, "it is online")
	require.Equal(t, "cleared", gateAt(t, p.last(gateOfTwo)).State)
	stop()
	require.False(t, b.Status().Connected)
	got := standing(t, m.address())
	g := gateAt(t, got[gateOfTwo])
	require.Equal(t, "shut", g.State)
	require.Equal(t, "watch-stopped", g.Reasons[0].Code)
	require.Equal(t, Offline, got[onlineHere])
	require.Contains(t, got, prefix+"/alarms/leak/stack=B,line=low", "the alarm is not over because nobody watches")
}

// TestLastWill: a connection that is cut, as when the program is killed, makes
// the broker say offline (MQTT 3.1.1, 3.1.2.5); when it is back, so is everything.
func TestLastWill(t *testing.T) {
	m := startMosquitto(t)
	p := newPanel(t, m.address())
	w := newWire(t, m.host())
	d := newDepot(state(logbook.GateCleared, leak("low")))
	b, _ := light(t, w.address(), d, quick())
	eventually(t, func() bool { return p.last(onlineHere) == Online }, "it is online")
	require.NotEmpty(t, p.last(prefix+"/alarms/leak/stack=B,line=low"))
	w.set(true)
	eventually(t, func() bool { return p.last(onlineHere) == Offline }, "the will is published")
	require.Equal(t, Offline, standing(t, m.address())[onlineHere], "retained: a newcomer sees it, too")
	eventually(t, func() bool { return strings.Contains(b.Status().Trouble, "broker") && !b.Status().Connected }, "the loss is known")
	for range 1000 { // nothing piles up while the broker is away
		d.set(state(logbook.GateAiring))
		d.set(state(logbook.GateCleared))
	}
	d.set(state(logbook.GateShut))
	w.set(false)
	eventually(t, func() bool { return p.last(onlineHere) == Online }, "it is online again")
	p.sync()
	all := p.payloads(gateOfTwo)
	require.Len(t, all, 2, "only the newest state is sent")
	require.Equal(t, "shut", gateAt(t, all[1]).State)
	eventually(t, func() bool { return p.last(prefix+"/alarms/leak/stack=B,line=low") == "" }, "the alarm that ended meanwhile is taken away")
	eventually(t, func() bool { return b.Status().Connected && b.Status().Trouble == "" }, "its status says so")
}

// TestBrokerIsKilled (SIGKILL) and comes back, once with what it had saved and
// once with nothing.
func TestBrokerIsKilled(t *testing.T) {
	for _, forgets := range []bool{false, true} {
		m := startMosquitto(t)
		d := newDepot(state(logbook.GateCleared, leak("north top"), leak("low")))
		b, _ := light(t, m.address(), d, quick())
		eventually(t, func() bool { return b.Status().Connected && len(standing(t, m.address())) == 5 }, "it is online")
		m.kill()
		if forgets {
			m.forget()
		}
		eventually(t, func() bool { return !b.Status().Connected }, "the loss is known")
		d.set(state(logbook.GateShut, leak("north top")))
		m.start()
		eventually(t, func() bool { got := standing(t, m.address()); return len(got) == 4 && got[onlineHere] == Online }, "everything is there, and no more")
		got := standing(t, m.address())
		require.Equal(t, "shut", gateAt(t, got[gateOfTwo]).State)
		require.Contains(t, got, leakNorth)
	}
}

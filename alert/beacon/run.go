package beacon

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/cenkalti/backoff/v5"

	"undersheet/rules"
	"undersheet/rules/gate"
)

// left stands in Beacon.shown for something of an earlier run or connection.
const left = ""

// steady is how long a connection must have lasted for the next one to be tried
// at once.
const steady = 30 * time.Second

// past are the reasons in front of a gate for which a view may show a past state:
// until one without them has come, alarms and stacks are not touched.
var past = map[string]bool{gate.CatchingUp: true, gate.LogbookFailing: true, gate.FoldStalled: true, gate.FoldFailed: true, gate.WatchStopped: true}

// Run publishes until ctx ends; then it publishes every gate as shut and returns
// nil. The broker need not be there: Run connects when it comes. Run may be
// called once.
func (b *Beacon) Run(ctx context.Context) error {
	wait := backoff.NewExponentialBackOff()
	wait.InitialInterval, wait.MaxInterval, wait.Multiplier = b.o.First, b.o.Long, 2
	wait.Reset()
	for {
		began := time.Now()
		err := b.connection(ctx)
		b.connected(false)
		if ctx.Err() != nil {
			return nil
		}
		b.tell("broker", fmt.Sprintf("broker %q: %v", b.conf.Broker, err))
		if time.Since(began) > steady {
			wait.Reset()
		}
		select {
		case <-time.After(wait.NextBackOff()):
		case <-ctx.Done():
			return nil
		}
	}
}

// connection makes one connection and returns why it ended.
func (b *Beacon) connection(ctx context.Context) error {
	l, err := b.connect(ctx)
	if err != nil {
		return err
	}
	defer l.end()
	for topic := range b.shown { // the broker may have lost it
		b.shown[topic] = left
	}
	if err := l.listen(b.conf.Topic); errors.Is(err, errGone) {
		return err
	} // else it is told below, when nothing comes back
	if err := b.pass(l, true); err != nil {
		return err
	}
	b.connected(true)
	b.tell("broker", "")
	err = b.follow(ctx, l)
	if ctx.Err() != nil {
		b.farewell(l)
	}
	return err
}

// follow publishes what changes, until the connection or ctx ends.
func (b *Beacon) follow(ctx context.Context, l *link) error {
	refresh := time.NewTicker(b.o.Refresh)
	defer refresh.Stop()
	echo, unheard := l.echoed, time.After(b.o.Timeout)
	for {
		changed := b.source.Changed() // before the view, so that no change is missed
		if err := b.pass(l, false); err != nil {
			return err
		}
		select {
		case <-changed:
			if err := b.pause(ctx, l); err != nil {
				return err
			}
		case <-refresh.C:
			if err := b.pass(l, true); err != nil {
				return err
			}
		case <-echo:
			echo, unheard = nil, nil
			b.tell("topics", "")
			b.recall(l)
		case <-unheard:
			unheard = nil
			b.tell("topics", fmt.Sprintf("what is published does not come back: allow the user to write and to read %s/# in the broker's access list "+
				"(until then nobody may see it, or messages of an earlier run stand on)", b.conf.Topic))
			b.recall(l)
		case <-l.Alive.Done():
			return errGone
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// pause waits until it is time for the next look.
func (b *Beacon) pause(ctx context.Context, l *link) error {
	gap := time.NewTimer(b.o.Gap)
	defer gap.Stop()
	select {
	case <-gap.C:
		return nil
	case <-l.Alive.Done():
		return errGone
	case <-ctx.Done():
		return ctx.Err()
	}
}

// recall takes in what an earlier run has left on the broker.
func (b *Beacon) recall(l *link) {
	for _, topic := range l.foundTopics() {
		if _, ours := b.shown[topic]; !ours {
			b.shown[topic] = left
		}
	}
	l.client.Unsubscribe(filters(b.conf.Topic)...) // whether that works does not matter
}

// pass publishes what is not on the broker as it is in the view; all = also what is.
func (b *Beacon) pass(l *link, all bool) error {
	notes := b.notes(b.source.View())
	at := b.o.Clock()
	var out []message
	wanted := map[string]bool{}
	long := ""
	for _, n := range notes {
		wanted[n.topic] = true
		if len(n.topic) > mostTopic {
			long = fmt.Sprintf("a name is too long for a topic and is not published: %.60s…", n.topic)
			continue
		}
		if m := prepare(n, at); all || b.shown[n.topic] != m.key {
			out = append(out, m)
		}
	}
	b.tell("names", long)
	return l.publish(append(out, b.over(wanted, at)...), func(m message) {
		b.count()
		if b.shown[m.topic] = m.key; len(m.payload) == 0 {
			delete(b.shown, m.topic)
		}
	})
}

// notes lists what is to stand on the broker, gates first and online last.
func (b *Beacon) notes(v *rules.View) []note {
	ns := b.write.gates(v)
	b.settled = b.settled || present(v)
	if b.settled {
		ns = append(ns, b.write.alarms(v)...)
		ns = append(ns, b.write.stacks(v)...)
	}
	word := Offline
	if b.settled {
		word = Online
	}
	return append(ns, b.write.online(word))
}

// present reports whether v shows the present, not a past state on the way to it.
func present(v *rules.View) bool {
	for _, s := range v.Stores {
		if len(s.Gate.Reasons) > 0 && past[s.Gate.Reasons[0].Code] {
			return false
		}
	}
	return v.Config != nil
}

// over lists what ends whatever stands on the broker and is not wanted: it is
// taken away once the present is known; until then gates are shut.
func (b *Beacon) over(wanted map[string]bool, at time.Time) []message {
	var out []message
	for _, topic := range slices.Sorted(maps.Keys(b.shown)) {
		if wanted[topic] {
			continue
		}
		if b.settled {
			out = append(out, message{topic: topic})
		} else if store, ok := storeOf(b.conf.Topic, topic); ok {
			m := prepare(b.write.shut(store, gate.CatchingUp), at)
			if m.topic = topic; b.shown[topic] != m.key {
				out = append(out, m)
			}
		}
	}
	return out
}

// farewellWithin is for shutting the gates when the program stops.
const farewellWithin = 3 * time.Second

// farewell shuts every gate and says that the program is gone.
func (b *Beacon) farewell(l *link) {
	defer time.AfterFunc(farewellWithin, l.Close).Stop()
	at := b.o.Clock()
	var out []message
	for _, topic := range slices.Sorted(maps.Keys(b.shown)) {
		if store, ok := storeOf(b.conf.Topic, topic); ok {
			m := prepare(b.write.shut(store, gate.WatchStopped), at)
			m.topic = topic
			out = append(out, m)
		}
	}
	out = append(out, message{topic: l.online, payload: []byte(Offline), key: Offline})
	if err := l.publish(out, func(message) { b.count() }); err != nil {
		b.o.Logger.Warn("shut the gates on the broker when the program stops; it will say offline itself", "error", err)
	}
}

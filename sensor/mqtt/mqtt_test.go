package mqtt_test

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"undersheet/sensor"
	"undersheet/sensor/mqtt"
)

func TestReadsLiveAndTimedTopics(t *testing.T) {
	onBrokers(t, func(t *testing.T, address string) {
		sink := &memory{}
		run(t, config(address, timed, live), sink)
		eventually(t, func() bool {
			a, _ := sink.state("timed topics")
			b, _ := sink.state("live topics")
			return a.OK && b.OK
		}, "both sessions are up")
		p := newPublisher(t, address)
		p.publish("depot/b", false, []byte("412@1767225600"))
		p.publish("live/s2/door", false, []byte("0.1"))
		eventually(t, func() bool { return len(sink.got()) == 2 }, "both readings come")
		for _, r := range sink.got() {
			require.False(t, r.Retained)
			require.Equal(t, r.Channel == "live/s2/door", r.Time.IsZero())
		}
	})
}

func TestRetainedValueIsMarked(t *testing.T) {
	onBrokers(t, func(t *testing.T, address string) {
		p := newPublisher(t, address)
		p.publish("live/door", true, []byte("7"))
		sink := &memory{}
		run(t, config(address, live), sink)
		// A broker may still be handing the first message out when the client
		// subscribes, so that it comes as stored and as fresh.
		read := func(value float64, retained bool) func() bool {
			return func() bool {
				return slices.ContainsFunc(sink.got(), func(r sensor.Reading) bool { return r.Value == value && r.Retained == retained })
			}
		}
		eventually(t, read(7, true), "the stored value comes, and is marked")
		p.publish("live/door", true, []byte("8"))
		eventually(t, read(8, false), "the fresh value comes: to a client that is there, the broker sends it as fresh (MQTT 3.1.1, 3.3.1.3)")
		require.False(t, read(8, true)(), "and not as a stored one")
	})
}

func TestPoisonIsRecordedOnceAndAcknowledged(t *testing.T) {
	onBrokers(t, func(t *testing.T, address string) {
		sink := &memory{}
		stop := run(t, config(address, timed), sink)
		eventually(t, sink.up, "connected")
		p := newPublisher(t, address)
		p.publish("depot/b", false, []byte("over range"))
		p.publish("depot/b", false, []byte("5@1767225600"))
		eventually(t, func() bool { return len(sink.got()) == 1 && len(sink.gotRefused()) == 1 }, "the good one passes the bad one")
		r := sink.gotRefused()[0]
		require.Equal(t, "depot/b", r.Topic)
		require.Equal(t, []byte("over range"), r.Payload)
		require.Equal(t, 10, r.Size)
		require.Contains(t, r.Why, "is no number")
		p.publish("depot/b", false, []byte("7@1767225602")) // comes after the batch before it was acknowledged
		eventually(t, func() bool { return len(sink.got()) == 2 }, "one more comes")
		stop() // the last one may not be acknowledged
		again := &memory{}
		run(t, config(address, timed), again)
		eventually(t, again.up, "connected again")
		p.publish("depot/b", false, []byte("6@1767225601"))
		eventually(t, func() bool { return again.values()[6] > 0 }, "the next one comes")
		require.Empty(t, again.gotRefused(), "the bad one was acknowledged")
	})
}

func TestTenMegabytes(t *testing.T) {
	onBrokers(t, func(t *testing.T, address string) {
		sink := &memory{}
		run(t, config(address, timed), sink)
		eventually(t, sink.up, "connected")
		p := newPublisher(t, address)
		p.publish("depot/b", false, bytes.Repeat([]byte("9"), 10<<20))
		p.publish("depot/b", false, []byte("5@1767225600"))
		eventually(t, func() bool { return len(sink.got()) == 1 && len(sink.gotRefused()) == 1 }, "both are taken care of")
		r := sink.gotRefused()[0]
		require.Equal(t, 10<<20, r.Size)
		require.Len(t, r.Payload, sensor.MaxPayload)
		require.Equal(t, fmt.Sprintf("%x", sha256.Sum256(bytes.Repeat([]byte("9"), 10<<20))), r.SHA256)
	})
}

// What the sink has not taken must not be acknowledged, so that it comes again.
func TestNothingIsLostWhenTheSinkFails(t *testing.T) {
	onBrokers(t, func(t *testing.T, address string) {
		sink := &memory{}
		stop := run(t, config(address, timed), sink)
		eventually(t, sink.up, "connected")
		sink.set(errFull, nil)
		p := newPublisher(t, address)
		const n = 100
		for i := range n {
			p.publish("depot/b", false, fmt.Appendf(nil, "%d@%d", i, 1767225600+i))
		}
		p.publish("depot/b", false, []byte("poison"))
		eventually(t, func() bool { return sink.tried() > 3 }, "it is tried again")
		require.Empty(t, sink.got())
		stop() // with everything unacknowledged
		again := &memory{}
		run(t, config(address, timed), again)
		eventually(t, func() bool { return len(again.values()) == n && len(again.gotRefused()) > 0 }, "all come again")
	})
}

// A sink that recovers goes on without a new connection.
func TestSinkRecovers(t *testing.T) {
	onBrokers(t, func(t *testing.T, address string) {
		sink := &memory{}
		run(t, config(address, live), sink)
		eventually(t, sink.up, "connected")
		hang := make(chan struct{})
		sink.set(nil, hang)
		p := newPublisher(t, address)
		const n = 300
		for i := range n {
			p.publish("live/door", false, fmt.Appendf(nil, "%d", i))
		}
		close(hang)
		eventually(t, func() bool { return len(sink.values()) == n }, "all come")
		for i, r := range sink.got() {
			require.Equal(t, float64(i), r.Value, "in order, once")
		}
		for _, size := range sink.batches {
			require.LessOrEqual(t, size, mqtt.MaxBatch)
		}
	})
}

// Messages kept by the broker come before Subscribe returns; none may be missed,
// and those without a time may not pass for fresh.
func TestBacklogOfAResumedSession(t *testing.T) {
	onBrokers(t, func(t *testing.T, address string) {
		sink := &memory{}
		stop := run(t, config(address, timed), sink)
		eventually(t, sink.up, "connected")
		stop()
		p := newPublisher(t, address)
		const n = 60
		for i := range n {
			p.publish("depot/b", false, fmt.Appendf(nil, "%d@%d", i, 1767225600+i))
		}
		p.publish("depot/b", false, []byte("1000"))
		p.publish("office", false, []byte("0")) // a broker may acknowledge before it hands on, and hands on in order
		again := &memory{}
		run(t, config(address, timed), again)
		eventually(t, func() bool { return len(again.values()) == n+1 }, "the backlog comes")
		for _, r := range again.got() {
			require.Equal(t, r.Value == 1000, r.Retained, "only the one without a time is of unknown age: %v", r)
		}
	})
}

// A topic that the session still has from an older site file is told once.
func TestStrayTopic(t *testing.T) {
	address := inProcess(t)
	first := &memory{}
	stop := run(t, config(address, mqtt.Source{Topic: "old/+", QoS: 1, Timed: true, Decode: bare}), first)
	eventually(t, first.up, "connected")
	stop()
	sink := &memory{}
	run(t, config(address, timed), sink)
	eventually(t, sink.up, "connected")
	p := newPublisher(t, address)
	p.publish("old/b", false, []byte("1@1767225600"))
	p.publish("old/b", false, []byte("2@1767225601"))
	p.publish("depot/b", false, []byte("3@1767225602"))
	eventually(t, func() bool { return len(sink.got()) == 1 }, "the wanted one comes")
	require.Len(t, sink.gotRefused(), 1)
	require.Contains(t, sink.gotRefused()[0].Why, "older subscription")
}

func TestBrokerRestart(t *testing.T) {
	m := startMosquitto(t)
	sink := &memory{}
	run(t, config(m.address(), timed), sink)
	eventually(t, sink.up, "connected")
	m.stop()
	eventually(t, func() bool { return !sink.up() }, "the loss is told")
	s, _ := sink.state("")
	require.Contains(t, s.Detail, m.address())
	m.start()
	eventually(t, sink.up, "the return is told")
	newPublisher(t, m.address()).publish("depot/b", false, []byte("5@1767225600"))
	eventually(t, func() bool { return len(sink.got()) == 1 }, "readings come again")
	sink.mu.Lock()
	defer sink.mu.Unlock()
	require.LessOrEqual(t, len(sink.states), 4, "each state is told once: %v", sink.states)
}

func TestNoBrokerIsToldOnce(t *testing.T) {
	address := fmt.Sprintf("tcp://127.0.0.1:%d", freePort(t))
	sink := &memory{}
	stop := run(t, config(address, live), sink)
	eventually(t, func() bool { _, ok := sink.state(""); return ok }, "it is told")
	s, _ := sink.state("")
	require.False(t, s.OK)
	require.Contains(t, s.Detail, "is the broker running")
	stop()
	require.Len(t, sink.states, 1)
}

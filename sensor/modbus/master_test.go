package modbus_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/sensor/modbus"
	"undersheet/sensor/port"
)

func channel(unit byte, address uint16) string { return fmt.Sprintf("u%d-r%d", unit, address) }

// config is a line with units, at 9600 baud.
func config(t testing.TB, units ...modbus.Unit) modbus.Config {
	c := modbus.Config{Name: "rack 1", Port: port.Config{Device: "memory"}, Units: units}
	require.NoError(t, c.Validate())
	return c
}

// pollOnce polls once and returns the time of the next poll.
func pollOnce(t testing.TB, m *modbus.Master) time.Time {
	t.Helper()
	next, err := m.PollOnce(t.Context())
	require.NoError(t, err)
	return next
}

// good answers every request with registers that say their own number.
func good(t testing.TB) func(*wire, []byte) {
	return func(w *wire, f []byte) {
		q := request(t, f)
		w.send(20*time.Millisecond, q.AppendReply(nil, words(q)))
	}
}

func TestReadingsOfOnePollComeTogether(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w, s := newWire(good(t)), newSink()
		u := uint16s(7, 1, 0, 10)
		u.Registers[0].Unit, u.Registers[0].Scale = "ppm", 0.5
		m := modbus.New(config(t, u), s, w.options())
		defer m.Close()
		pollOnce(t, m)
		require.Len(t, s.polls, 1)
		require.Equal(t, map[string]float64{"u7-r0": 100, "u7-r1": 50.5, "u7-r10": 110}, s.values())
		require.Equal(t, []modbus.Request{{Unit: 7, Function: 4, Address: 0, Count: 2}, {Unit: 7, Function: 4, Address: 10, Count: 1}}, w.asked)
		for _, r := range s.polls[0] {
			require.NoError(t, r.Check())
			require.Equal(t, "rack 1", r.Source)
			require.False(t, r.Time.IsZero())
			require.False(t, r.Retained)
		}
		require.Equal(t, "ppm", s.polls[0][1].Unit)
		require.Zero(t, w.tooSoon)
	})
}

func TestNoNumberBecomesAFault(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := newWire(func(w *wire, f []byte) {
			bits := math.Float32bits(float32(math.NaN()))
			w.send(0, request(t, f).AppendReply(nil, []uint16{uint16(bits >> 16), uint16(bits), 0x7F80, 0}))
		})
		s := newSink()
		u := modbus.Unit{Address: 7, Registers: []modbus.Register{
			{Channel: "a", Function: 3, Address: 0, Type: "float32"}, {Channel: "b", Function: 3, Address: 2, Type: "float32"},
		}}
		m := modbus.New(config(t, u), s, w.options())
		defer m.Close()
		pollOnce(t, m)
		require.Len(t, s.polls[0], 2)
		for i, fault := range []string{modbus.FaultNaN, modbus.FaultInfinite} {
			require.Equal(t, fault, s.polls[0][i].Fault)
			require.NoError(t, s.polls[0][i].Check())
			require.Zero(t, s.polls[0][i].Value)
		}
	})
}

// attempt is what comes back for a request.
type attempt func(q modbus.Request) []byte

// Attempts of a unit that has words to tell, and of the line between.
var (
	ok    attempt = func(q modbus.Request) []byte { return q.AppendReply(nil, words(q)) }
	none  attempt = func(modbus.Request) []byte { return nil }
	crc   attempt = func(q modbus.Request) []byte { b := ok(q); b[4] ^= 0x10; return b }
	short attempt = func(q modbus.Request) []byte { return ok(q)[:4] }
	noise attempt = func(q modbus.Request) []byte { return append([]byte{0x00, 0xFF, 0x07, 0x04}, ok(q)...) }
	echo  attempt = func(q modbus.Request) []byte { return append(q.Append(nil), ok(q)...) }
	other attempt = func(q modbus.Request) []byte { q.Unit = 9; return ok(q) }
	more  attempt = func(q modbus.Request) []byte { q.Count++; return ok(q) }
)

// refuse answers with an exception.
func refuse(e modbus.Exception) attempt {
	return func(q modbus.Request) []byte { return q.AppendException(nil, e) }
}

// broken are units whose every attempt to answer is scripted.
var broken = map[string]struct {
	script  []attempt
	detail  string // of the status; empty = answers
	refused bool   // what came is kept
}{
	"right at once":           {[]attempt{ok}, "", false},
	"noise before the frame":  {[]attempt{noise}, "", false},
	"echo of the request":     {[]attempt{echo}, "", false},
	"crc error once":          {[]attempt{crc, ok}, "", false},
	"short once":              {[]attempt{short, ok}, "", false},
	"no answer twice":         {[]attempt{none, none, ok}, "", false},
	"another unit once":       {[]attempt{other, ok}, "", false},
	"another length once":     {[]attempt{more, ok}, "", false},
	"busy twice":              {[]attempt{refuse(modbus.DeviceBusy), refuse(modbus.Acknowledge), ok}, "", false},
	"refused":                 {[]attempt{refuse(modbus.IllegalDataAddress)}, "exception 2, illegal data address", false},
	"always busy":             {[]attempt{refuse(6), refuse(6), refuse(6)}, "exception 6, server device busy", false},
	"dead":                    {[]attempt{none, none, none}, "no answer within 300ms", false},
	"always a crc error":      {[]attempt{crc, crc, crc}, "crc error in 7 bytes", true},
	"always short":            {[]attempt{short, short, short}, "short frame: 4 bytes", true},
	"always another unit":     {[]attempt{other, other, other}, "not an answer to the request: unit 9 answered", true},
	"always another function": {[]attempt{crc, short, refuse(0x40)}, "exception 64, unknown", false},
}

// Each script says what comes back for the first, second, … attempt.
func TestBrokenAnswers(t *testing.T) {
	for name, c := range broken {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				tries := 0
				w := newWire(func(w *wire, f []byte) {
					require.Less(t, tries, len(c.script), "one attempt too many")
					w.send(30*time.Millisecond, c.script[tries](request(t, f)))
					tries++
				})
				s := newSink()
				u := uint16s(7, 5)
				u.Retries = 2
				m := modbus.New(config(t, u), s, w.options())
				defer m.Close()
				pollOnce(t, m)
				require.Equal(t, len(c.script), tries)
				require.Zero(t, w.tooSoon, "t3.5 of silence before each request")
				require.Equal(t, c.refused, len(s.refused) == 1)
				said := s.unitStatuses("unit 7")
				require.Len(t, said, 1)
				if c.detail != "" {
					require.Contains(t, said[0], "unit 7, function 4, register 5: "+c.detail)
					require.Empty(t, s.polls)
					return
				}
				require.Equal(t, "ok", said[0])
				require.Equal(t, map[string]float64{"u7-r5": 105}, s.values())
			})
		})
	}
}

func TestANoisyLineEndsAnAttempt(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w, s := newWire(good(t)), newSink()
		for at := range 1000 {
			w.send(time.Duration(at+1)*time.Millisecond, []byte{0x55})
		}
		m := modbus.New(config(t, uint16s(7, 0)), s, w.options())
		defer m.Close()
		start := time.Now()
		pollOnce(t, m)
		require.Empty(t, w.asked, "nothing is asked into the noise")
		require.LessOrEqual(t, time.Since(start), time.Second)
		require.Contains(t, s.unitStatuses("unit 7")[0], "the line is never silent")
	})
}

// RTU answers do not say which registers they hold. A unit that is slower than
// its timeout answers the first attempt during the second; the answer to the
// second must not be taken for the registers that are asked for next.
func TestALateAnswerIsNotTakenForOtherRegisters(t *testing.T) {
	for _, delay := range []time.Duration{350, 450, 550, 590} {
		t.Run(fmt.Sprint(int64(delay)), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				w := newWire(func(w *wire, f []byte) {
					q := request(t, f)
					w.send(delay*time.Millisecond, q.AppendReply(nil, words(q)))
				})
				s := newSink()
				u := uint16s(7, 0, 10, 20)
				u.Retries, u.Every = 2, 100*time.Millisecond
				m := modbus.New(config(t, u), s, w.options())
				defer m.Close()
				for range 20 {
					pollOnce(t, m)
				}
				require.NotEmpty(t, s.polls)
				for _, poll := range s.polls {
					for _, r := range poll {
						var address float64
						_, err := fmt.Sscanf(r.Channel, "u7-r%f", &address)
						require.NoError(t, err)
						require.Equal(t, 100+address, r.Value, r.Channel)
					}
				}
			})
		})
	}
}

func TestARefusedBlockDoesNotStopTheOthers(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := newWire(func(w *wire, f []byte) {
			q := request(t, f)
			if q.Address == 10 {
				w.send(0, q.AppendException(nil, modbus.IllegalDataAddress))
				return
			}
			w.send(0, q.AppendReply(nil, words(q)))
		})
		s := newSink()
		m := modbus.New(config(t, uint16s(7, 0, 10, 20)), s, w.options())
		defer m.Close()
		pollOnce(t, m)
		require.Equal(t, map[string]float64{"u7-r0": 100, "u7-r20": 120}, s.values())
		require.Equal(t, []string{"unit 7, function 4, register 10: exception 2, illegal data address"}, s.unitStatuses("unit 7"))
	})
}

// An hour with a dead unit between two good ones: they keep their beat, the
// dead one is told once, asked once a poll, and told again when it answers.
func TestADeadUnitCostsOnlyItsOwnTimeouts(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		start := time.Now()
		back := start.Add(30 * time.Minute)
		w := newWire(func(w *wire, f []byte) {
			if q := request(t, f); q.Unit != 2 || time.Now().After(back) {
				w.send(20*time.Millisecond, q.AppendReply(nil, words(q)))
			}
		})
		s := newSink()
		dead := uint16s(2, 0, 10, 20)
		dead.Retries = 2
		m := modbus.New(config(t, uint16s(1, 0), dead, uint16s(3, 0)), s, w.options())
		ctx, cancel := context.WithTimeout(t.Context(), time.Hour-time.Second)
		defer cancel()
		require.NoError(t, m.Run(ctx))

		require.Equal(t, []string{"ok"}, s.unitStatuses("unit 1"))
		require.Equal(t, []string{"unit 2, function 4, register 0: no answer within 300ms", "ok"}, s.unitStatuses("unit 2"))
		require.Equal(t, []string{"ok"}, s.unitStatuses("unit 3"))
		require.Equal(t, []string{"ok"}, s.unitStatuses(""))
		polls := map[string]int{}
		for _, p := range s.polls {
			polls[p[0].Channel]++
		}
		require.Equal(t, map[string]int{"u1-r0": 60, "u2-r0": 30, "u3-r0": 60}, polls)
		attempts := 0
		for _, q := range w.asked {
			if q.Unit == 2 {
				attempts++
			}
		}
		require.Equal(t, 3+29+30*3, attempts, "3 at first, then 1 a poll, then 3 blocks a poll")
		for i, q := range w.asked {
			late := w.at[i].Sub(start) % time.Minute
			require.Less(t, late, 2*time.Second, "request %d (%v) is off its beat", i, q)
		}
		require.Zero(t, w.tooSoon)
	})
}

func TestTheSinksErrorEndsTheRun(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newSink()
		s.err = errors.New("disk full")
		m := modbus.New(config(t, uint16s(7, 0)), s, newWire(good(t)).options())
		err := m.Run(t.Context())
		require.ErrorIs(t, err, s.err)
		require.ErrorContains(t, err, `run modbus instrument "rack 1"`)
	})
}

// manual is a depot clock that a test moves.
type manual struct{ now time.Time }

func (c *manual) Now() time.Time                       { return c.now }
func (c *manual) After(time.Duration) <-chan time.Time { return nil }

// The injected clock alone decides what is due and which time readings bear;
// the wire's time does not matter.
func TestDepotTimeIsTheClocks(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w, s := newWire(good(t)), newSink()
		begin := time.Date(2031, 5, 1, 6, 0, 0, 0, time.UTC)
		c := &manual{now: begin}
		o := w.options()
		o.Clock = c
		fast, slow := uint16s(1, 0), uint16s(2, 0)
		fast.Every, slow.Every = 5*time.Minute, 15*time.Minute
		m := modbus.New(config(t, slow, fast), s, o)
		defer m.Close()
		polled := func() (channels []string) {
			before := len(s.polls)
			c.now = pollOnce(t, m)
			for _, p := range s.polls[before:] {
				channels = append(channels, p[0].Channel)
			}
			return channels
		}
		require.Equal(t, []string{"u2-r0", "u1-r0"}, polled())
		require.Equal(t, begin, s.polls[1][0].Time)
		require.Equal(t, begin.Add(5*time.Minute), c.now)
		require.Equal(t, []string{"u1-r0"}, polled())
		require.Equal(t, []string{"u1-r0"}, polled())
		require.Equal(t, []string{"u2-r0", "u1-r0"}, polled())
		require.Equal(t, begin.Add(20*time.Minute), c.now)

		c.now = c.now.Add(-time.Second)
		require.Empty(t, polled(), "nothing is due")

		c.now = begin.Add(61 * time.Minute) // 41 min late: missed polls are not made up for
		require.Equal(t, []string{"u1-r0", "u2-r0"}, polled(), "who waits longest comes first")
		require.Equal(t, begin.Add(65*time.Minute), c.now)

		c.now = begin.Add(-24 * time.Hour) // set back: no day of silence
		require.ElementsMatch(t, []string{"u1-r0", "u2-r0"}, polled())
		require.Equal(t, begin.Add(5*time.Minute-24*time.Hour), c.now)
	})
}

// In real time: a lock of the port, which fake time does not pass, is waited for.
func TestRunEndsWithItsContext(t *testing.T) {
	asked := make(chan struct{}, 1)
	w := newWire(func(*wire, []byte) { asked <- struct{}{} })
	u := uint16s(7, 0)
	u.Timeout = time.Minute
	m := modbus.New(config(t, u), newSink(), w.options())
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error)
	go func() { ended <- m.Run(ctx) }()
	<-asked
	cancel()
	select {
	case err := <-ended:
		require.NoError(t, err)
	case <-time.After(5 * time.Second):
		t.Fatal("a read with a long timeout does not end with the context")
	}
}

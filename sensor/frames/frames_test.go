package frames_test

import (
	"context"
	"errors"
	"os"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/sensor/frames"
	"undersheet/sensor/port"
	"undersheet/sensor/port/porttest"
)

// run runs a reader until the test ends.
func run(t *testing.T, c frames.Config, s *sink, o frames.Options) {
	t.Helper()
	require.NoError(t, c.Validate())
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- frames.New(c, s, o).Run(ctx) }()
	t.Cleanup(func() { stop(); require.NoError(t, <-done) })
}

// An instrument on a real pseudo-terminal that misbehaves: it was amid a line when
// the port opened, it tears lines, spits noise, uses wrong units and unknown
// probes, and its cable is pulled. What can be read is read, nothing else is.
func TestInstrumentThatMisbehaves(t *testing.T) {
	pair := porttest.NewPair(t)
	s := &sink{}
	opened := make(chan bool, 16)
	o := frames.Options{Port: port.Options{FirstWait: 10 * time.Millisecond, LongWait: 50 * time.Millisecond,
		OpenDevice: func(c port.Config) (port.Device, error) {
			d, err := port.OpenDevice(c)
			opened <- err == nil
			return d, err
		}}}
	run(t, frames.Config{Name: "bench", Port: port.Config{Device: pair.A}, Format: probes, Every: time.Second}, s, o)
	require.True(t, <-opened)
	far, err := os.OpenFile(pair.B, os.O_RDWR|syscall.O_NOCTTY, 0)
	require.NoError(t, err)
	say := func(text string) {
		_, err := far.WriteString(text)
		require.NoError(t, err)
	}
	soon(t, func() bool { // lines may be lost until the port is open and one ended
		say("1 999 VPM\r\nP1 1 VPM\r\n")
		return len(s.values()) > 0
	})
	require.NotContains(t, s.values(), 999.0)
	for _, part := range []string{"P1 4", "12 VPM G\r", "\nP2 0,5 LPM\r\n", "\xff\xfe\x00\r\n", "P1 ppm 3\r\n", "P9 3 VPM\r\n", "P2 >2000 VPM\r\n",
		"P1 77 V", "P1 78 VPM\r\n", strings.Repeat("#", 5000), "\r\n# heading\r\n", "P1 413 VPM G\r\n"} {
		say(part)
	}
	soon(t, func() bool { return slices.Contains(s.values(), 413) })
	got := s.values()
	require.Equal(t, []float64{412, 0.5, -1, -1, 413}, got[slices.Index(got, 412.0):])
	require.Equal(t, []string{"ok"}, s.said())
	require.Len(t, s.whys(), 3, "noise, the unknown probe, the long line; the rest for the same reasons is held back: %v", s.whys())

	require.NoError(t, far.Close())
	pair.Unplug()
	soon(t, func() bool { return len(s.said()) == 2 })
	require.Contains(t, s.said()[1], "the device disappeared")
	pair.Plug()
	far, err = os.OpenFile(pair.B, os.O_RDWR|syscall.O_NOCTTY, 0)
	require.NoError(t, err)
	defer far.Close()
	soon(t, func() bool {
		say("P1 500 VPM\r\n")
		return len(s.said()) == 3
	})
	require.Equal(t, "ok", s.said()[2])
}

// tape is a serial device in memory. Inside a synctest bubble its time is fake.
type tape struct {
	mu      sync.Mutex
	came    []byte
	asked   []string
	askedAt []time.Time
	arrived chan struct{}
	timeout time.Duration
	gone    bool
}

func newTape() *tape { return &tape{arrived: make(chan struct{}, 1)} }

// unplug takes the device away. A test ends with it: the port's lock, for which
// Close would wait while the device is read, holds up fake time.
func (p *tape) unplug() {
	p.mu.Lock()
	p.gone = true
	p.mu.Unlock()
	pass(time.Second)
}

func (p *tape) say(text string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.came = append(p.came, text...)
	select {
	case p.arrived <- struct{}{}:
	default:
	}
}

func (p *tape) take(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.gone {
		return 0, syscall.EIO
	}
	n := copy(b, p.came)
	p.came = p.came[n:]
	return n, nil
}

func (p *tape) Read(b []byte) (int, error) {
	timer := time.NewTimer(p.timeout)
	defer timer.Stop()
	for {
		if n, err := p.take(b); n > 0 || err != nil {
			return n, err
		}
		select {
		case <-p.arrived:
		case <-timer.C:
			return p.take(b)
		}
	}
}

func (p *tape) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.asked, p.askedAt = append(p.asked, string(b)), append(p.askedAt, time.Now())
	return len(b), nil
}

func (p *tape) SetReadTimeout(d time.Duration) error { p.timeout = d; return nil }
func (p *tape) ResetInputBuffer() error              { return nil }
func (p *tape) Close() error                         { return nil }

func (p *tape) options() frames.Options {
	return frames.Options{Port: port.Options{OpenDevice: func(port.Config) (port.Device, error) {
		p.mu.Lock()
		defer p.mu.Unlock()
		if p.gone {
			return nil, &os.PathError{Op: "open", Path: "x", Err: syscall.ENOENT}
		}
		return p, nil
	}}}
}

// bubble runs f in fake time with a reader of plain on a tape.
func bubble(t *testing.T, change func(*frames.Config, *frames.Options), f func(p *tape, s *sink)) {
	synctest.Test(t, func(t *testing.T) {
		p, s := newTape(), &sink{}
		c := frames.Config{Name: "bench", Port: port.Config{Device: "tape"}, Format: plain, Every: 20 * time.Second}
		o := p.options()
		if change != nil {
			change(&c, &o)
		}
		ctx, stop := context.WithCancel(t.Context())
		done := make(chan error, 1)
		go func() { done <- frames.New(c, s, o).Run(ctx) }()
		defer func() {
			p.unplug()
			stop()
			require.NoError(t, <-done)
		}()
		f(p, s)
	})
}

// pass lets fake time pass until everything has settled.
func pass(d time.Duration) {
	<-time.After(d)
	synctest.Wait()
}

// Silence is three intervals, at least 30 s; the first good line ends it. Faults
// are answers; lines that cannot be read are not.
func TestSilence(t *testing.T) {
	bubble(t, nil, func(p *tape, s *sink) {
		pass(59 * time.Second)
		require.Empty(t, s.said())
		pass(2 * time.Second)
		require.Equal(t, []string{"nothing came for 1m0s"}, s.said())
		p.say("OL ppm\n")
		pass(time.Second)
		require.Equal(t, []string{"nothing came for 1m0s", "ok"}, s.said())
		for range 3 {
			p.say("oops\n")
			pass(20 * time.Second)
		}
		require.Equal(t, "nothing readable came for 1m0s: the pattern does not fit the line", s.said()[2])
		p.unplug()
		require.Contains(t, s.said()[3], "the device disappeared")
		require.Len(t, s.said(), 4)
	})
	bubble(t, func(c *frames.Config, _ *frames.Options) { c.Every = time.Second }, func(p *tape, s *sink) {
		pass(29 * time.Second)
		require.Empty(t, s.said())
		pass(2 * time.Second)
		require.Equal(t, []string{"nothing came for 30s"}, s.said())
	})
}

// A flood of garbage is one refusal a minute for each reason, with a count, and
// none is forgotten when the flood ends.
func TestFloodOfGarbage(t *testing.T) {
	bubble(t, nil, func(p *tape, s *sink) {
		pass(2 * time.Second)
		for range 900 { // 90 s
			p.say("garbage\n")
			pass(100 * time.Millisecond)
		}
		pass(5 * time.Minute)
		whys := s.whys()
		require.Len(t, whys, 3)
		require.Equal(t, "the pattern does not fit the line", whys[0])
		require.Contains(t, whys[1], "(the last of 599 lines refused for this reason since 2000-01-01T00:00:02Z)")
		require.Contains(t, whys[2], "(the last of 300 lines refused for this reason since")
		require.Equal(t, "garbage", string(s.refused[2].Payload))
	})
}

// The first line after opening may be torn: "412 ppm" must not be read as 12.
func TestTornFirstLine(t *testing.T) {
	bubble(t, nil, func(p *tape, s *sink) {
		p.say("12 ppm\n398 ppm\n")
		pass(time.Second)
		require.Equal(t, []float64{398}, s.values())
		require.Empty(t, s.whys())
	})
	bubble(t, nil, func(p *tape, s *sink) {
		pass(1500 * time.Millisecond)
		p.say("412 ppm\n")
		pass(time.Second)
		require.Equal(t, []float64{412}, s.values(), "its beginning was seen")
		p.say("4")
		pass(2 * time.Second)
		p.say("398 ppm\n")
		pass(time.Second)
		require.Equal(t, []float64{412, 398}, s.values(), "never 4398")
		require.Equal(t, []string{"the line broke off: no line end came (is end right?)"}, s.whys())
	})
}

// An instrument that is asked: at once when the line is quiet, then on its beat;
// its echo is no reading.
func TestAsk(t *testing.T) {
	var ignored []string
	change := func(c *frames.Config, o *frames.Options) {
		c.Ask, c.Every = "READ?\r", 10*time.Second
		o.Ignored = func(line []byte) { ignored = append(ignored, string(line)) }
	}
	bubble(t, change, func(p *tape, s *sink) {
		start := time.Now()
		pass(1500 * time.Millisecond)
		require.Equal(t, []string{"READ?\r"}, p.asked)
		p.say("READ?\r\n412 ppm\r\n")
		pass(20 * time.Second)
		require.Len(t, p.asked, 3)
		require.Equal(t, []float64{412}, s.values())
		require.Equal(t, []string{"READ?"}, ignored)
		require.Equal(t, 10*time.Second, p.askedAt[2].Sub(p.askedAt[1]))
		require.Less(t, p.askedAt[0].Sub(start), 1200*time.Millisecond)
	})
}

// However many lines come at once, each is read.
func TestManyLinesAtOnce(t *testing.T) {
	bubble(t, nil, func(p *tape, s *sink) {
		pass(1500 * time.Millisecond)
		p.say(strings.Repeat("1 ppm\n", 5000))
		pass(10 * time.Second)
		require.Len(t, s.values(), 5000)
	})
}

// Readings carry the time of their arrival and the instrument's name.
func TestStamps(t *testing.T) {
	bubble(t, nil, func(p *tape, s *sink) {
		pass(5 * time.Second)
		p.say("412 ppm\n")
		at := time.Now()
		pass(time.Second)
		require.Len(t, s.rs, 1)
		require.Equal(t, "bench", s.rs[0].Source)
		require.True(t, at.Equal(s.rs[0].Time))
	})
}

// A sink that fails ends the run with its error.
func TestSinkThatFails(t *testing.T) {
	p, s := newTape(), &sink{fail: errors.New("disk full")}
	p.say("2 ppm\n412 ppm\n")
	r := frames.New(frames.Config{Name: "bench", Port: port.Config{Device: "tape"}, Format: plain}, s, p.options())
	require.EqualError(t, r.Run(t.Context()), `run frames instrument "bench": deliver 1 readings: disk full`)
}

func TestValidate(t *testing.T) {
	good := frames.Config{Name: "bench", Port: port.Config{Device: "x"}, Format: plain}
	require.NoError(t, good.Validate())
	bad := frames.Config{End: "crlf", Ask: strings.Repeat("x", 300), Every: time.Millisecond, Format: frames.Format{Pattern: "(", Unit: "ppb"}, Port: port.Config{DataBits: 9}}
	err := bad.Validate()
	for _, want := range []string{"name: missing", `end: must be lf or cr (got "crlf")`, "ask: longer than 256 bytes", "every: must be from 100ms to 24h (got 1ms)",
		"port: device: missing", "port: data bits: must be 7 or 8 (got 9)", "pattern: missing closing )", "unit: must be one of"} {
		require.ErrorContains(t, err, want)
	}
	for l := range strings.Lines(err.Error()) {
		require.True(t, strings.HasPrefix(l, `frames instrument "": `), l)
	}
	require.Panics(t, func() { frames.New(bad, &sink{}, frames.Options{}) })
}

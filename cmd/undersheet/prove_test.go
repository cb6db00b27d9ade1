package main

import (
	"bytes"
	"context"
	"errors"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules/proof"
)

// proveSite is an invented store with two lines and a door.
func proveSite() *logbook.Site {
	gas := func(top float64) logbook.Channel {
		return logbook.Channel{Gas: "ph3", Unit: logbook.PPM, Range: top, Resolution: top / 2000, DetectionLimit: top / 2000, Accuracy: 0.05}
	}
	return &logbook.Site{
		Channels: map[string]logbook.Channel{"top": gas(2000), "low": gas(2000), "door": gas(20), "flow": {Unit: logbook.LMin, Resolution: 0.01}},
		Stores: []logbook.Store{{Name: "Store 1", Air: []logbook.AirPoint{{Name: "door", Channel: "door", Where: logbook.WhereDoor}, {Name: "office", Channel: "x", Where: logbook.WhereOffice}},
			Stacks: []logbook.Stack{{Name: "A", Lines: []logbook.Line{{Name: "top", Channel: "top"}, {Name: "low", Channel: "low"}}}}}},
		Pumps: []logbook.Pump{{Name: "P", Channel: "flow", Flow: 1, Draws: []string{"top", "low"}, Returns: logbook.ReturnsStack}},
	}
}

// written collects what is written, for two goroutines.
type written struct {
	mu  sync.Mutex
	buf bytes.Buffer
}

func (w *written) Write(b []byte) (int, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.buf.Write(b)
}

func (w *written) String() string {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.buf.String()
}

// talk is a dialogue under test: what is typed and read goes in step by step.
type talk struct {
	t     *testing.T
	p     *prover
	typed chan string
	out   written
	mu    sync.Mutex
	at    time.Time
	acts  []*logbook.LineProved
	fails int // records that fail before one succeeds
	ended chan error
}

func (k *talk) now() time.Time {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.at
}

// newTalk starts a dialogue about the lines of stack A, or with door about the door, too.
func newTalk(t *testing.T, door bool) *talk {
	k := &talk{t: t, typed: make(chan string), at: time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC), ended: make(chan error, 1)}
	site := proveSite()
	targets := targetsOf(&site.Stores[0])
	require.Len(t, targets, 3, "the office is no gate air point")
	if !door {
		targets = targets[1:]
	}
	k.p = &prover{site: site, targets: targets, typed: k.typed, fresh: make(chan proof.Reading), out: &k.out, now: k.now, limit: 0.3, readings: 2, heard: proof.Heard{},
		record: func(_ context.Context, e *logbook.LineProved) (string, error) {
			require.NoError(t, logbook.Check(e))
			if k.fails--; k.fails >= 0 {
				return "", errors.New("disk full")
			}
			k.acts = append(k.acts, e)
			return "kept as entry 7", nil
		}}
	ctx, stop := context.WithCancel(t.Context())
	t.Cleanup(stop)
	go func() { k.ended <- k.p.run(ctx) }()
	return k
}

// types types lines.
func (k *talk) types(lines ...string) {
	k.t.Helper()
	for _, l := range lines {
		select {
		case k.typed <- l:
		case err := <-k.ended:
			k.t.Fatalf("ended with %v before %q was typed:\n%s", err, l, k.out.String())
		case <-time.After(10 * time.Second):
			k.t.Fatalf("nobody wanted %q:\n%s", l, k.out.String())
		}
	}
}

// reads lets a second pass and a channel read a value.
func (k *talk) reads(channel string, values ...float64) {
	k.t.Helper()
	for _, v := range values {
		k.gives(proof.Reading{Channel: channel, Value: v})
	}
}

func (k *talk) gives(f proof.Reading) {
	k.t.Helper()
	f.At = k.now().Add(time.Second)
	select {
	case k.p.fresh <- f:
	case <-time.After(10 * time.Second):
		k.t.Fatalf("nobody wanted a reading of %s:\n%s", f.Channel, k.out.String())
	}
	k.mu.Lock()
	k.at = f.At
	k.mu.Unlock()
}

// opens answers all questions up to the zeros, and reads those.
func (k *talk) opens(method string) {
	k.t.Helper()
	k.types("yes", "Ana Brook", "Ana Brook", "Odile Marsh", method, "")
	for _, t := range k.p.targets {
		k.reads(t.channel, 0, 0)
	}
	k.types("")
}

// end returns how the dialogue ended.
func (k *talk) end() error {
	k.t.Helper()
	select {
	case err := <-k.ended:
		return err
	case <-time.After(10 * time.Second):
		k.t.Fatalf("it goes on:\n%s", k.out.String())
		return nil
	}
}

// Both lines answer their own gas: zero, flow, lag and what was read are recorded.
func TestProveSpan(t *testing.T) {
	k := newTalk(t, false)
	k.opens("s")
	k.reads("flow", 0.98)
	k.types("", "100", "")       // the pump's flow, the gas, let in
	k.reads("top", 0, 0, 60, 97) // rises
	k.reads("low", 0)
	k.reads("top", 98, 98.5)
	k.types("")       // record
	k.types("0,7")    // a flow meter's
	k.reads("top", 2) // the gas is gone
	k.types("", "")   // the same gas, let in
	k.reads("low", 101, 101, 101)
	k.reads("top", 1)
	k.types("")
	require.NoError(t, k.end(), k.out.String())
	require.Len(t, k.acts, 2)
	a, b := k.acts[0], k.acts[1]
	require.Equal(t, "A/top", a.Stack+"/"+a.Line)
	require.Equal(t, 0.0, *a.Zero)
	require.Equal(t, 0.98, *a.Flow)
	require.Equal(t, logbook.EndTestSpan, a.EndTest)
	require.Equal(t, 100.0, a.Span)
	require.InDelta(t, (97+98+98.5)/3, a.Read, 1e-9)
	require.Equal(t, logbook.PPM, a.Unit)
	require.True(t, a.Seen)
	require.Equal(t, "top", a.Channel)
	require.Equal(t, 3*time.Second, a.Lag.Std())
	require.Equal(t, "Ana Brook", a.By)
	require.Equal(t, "second person: Odile Marsh; pump P read 0.98 L/min; not read meanwhile: door", a.Note)
	require.Equal(t, "A/low", b.Stack+"/"+b.Line)
	require.True(t, b.Seen)
	require.Equal(t, 0.7, *b.Flow)
	require.Equal(t, 101.0, b.Read)
	out := k.out.String()
	require.Contains(t, out, "the pump's channel reads 0.98 L/min and the open end 0.7 L/min")
	require.Contains(t, out, "within its accuracy of 5 %")
	require.Equal(t, 2, strings.Count(out, "answered, it and no other"))
	require.NotContains(t, strings.ToLower(out), "safe")
}

// Two lines whose tubes are swapped: each answers for the other.
func TestProveSwappedLines(t *testing.T) {
	k := newTalk(t, false)
	k.opens("s")
	for _, answers := range []string{"low", "top"} {
		k.types("", "50", "")
		k.reads(answers, 48, 49)
		k.reads("flow", 1)
		k.types("") // enough
		k.reads(answers, 0)
		k.types("") // record
	}
	require.NoError(t, k.end())
	for i, want := range []string{"low", "top"} {
		require.False(t, k.acts[i].Seen)
		require.Equal(t, want, k.acts[i].Channel)
		require.Equal(t, 49.0, k.acts[i].Read)
	}
	out := k.out.String()
	require.Contains(t, out, "top did not answer. line low of stack A (low) did: the tubes or the channels of the two are swapped")
	require.Contains(t, out, "line low of stack A (low) and line top of stack A (top) answered for each other")
}

// A line that branches, a figure outside the accuracy, a fault, and no answer.
func TestProveOddAnswers(t *testing.T) {
	k := newTalk(t, false)
	k.opens("s")
	k.types("", "-1", "x", "0", "9000", "1", "50", "") // no span gas, until one fits
	k.reads("top", 30, 30)
	k.reads("low", 20)
	k.reads("top", 30)
	k.types("r", "50") // again
	k.reads("top", 0)
	k.reads("low", 0)
	k.types("")
	k.gives(proof.Reading{Channel: "top", Fault: "status \"E1\""})
	k.types("", "")
	k.types("", "", "")
	k.types("", "s") // nothing answered; left
	require.NoError(t, k.end())
	require.Len(t, k.acts, 1)
	require.False(t, k.acts[0].Seen)
	require.Empty(t, k.acts[0].Channel)
	require.Contains(t, k.acts[0].Note, `fault of top: status "E1"`)
	out := k.out.String()
	for _, want := range []string{"A concentration is above 0.", `"x" is no number.`, "Above the top of this channel's range, 2000 ppm", "Too weak for this channel",
		"answered after 1s with 30 ppm of 50 ppm, OUTSIDE its accuracy", "line low of stack A (low) answered too: the line branches",
		"Waiting: low 20 ppm still", "nothing answered: a blocked or broken line", "NOT SHOWN", "not proved"} {
		require.Contains(t, out, want)
	}
}

// Gas at an air point ends all; an instrument off its zero is said so.
func TestProveZero(t *testing.T) {
	k := newTalk(t, true)
	k.types("yes", "Ana Brook", "Odile Marsh", "s", "")
	k.reads("top", 3, 3)
	k.gives(proof.Reading{Channel: "low", Fault: "shows \"OL\", no number"})
	k.reads("door", 0.29)
	k.types("")
	k.types("r", "")
	k.reads("door", 0.3)
	require.ErrorContains(t, k.end(), "air point door of Store 1 reads 0.3 ppm: go out of Store 1 now")
	out := k.out.String()
	require.Contains(t, out, "! line top of stack A: 3 ppm is the mean of 2 readings, OUTSIDE its zero error of 1 ppm")
	require.Contains(t, out, `! line low of stack A: zero not tested: low: fault: shows "OL", no number`)
	require.Contains(t, out, "! air point door of Store 1: 0.29 ppm is the mean of 1 reading, OUTSIDE")
	require.Empty(t, k.acts)
}

// Without a plain yes nothing begins; who leaves in between keeps what was recorded.
func TestProveEndsEarly(t *testing.T) {
	k := newTalk(t, false)
	k.types("maybe")
	require.ErrorContains(t, k.end(), "nothing was proved")

	k = newTalk(t, false)
	k.fails = 1
	k.opens("s")
	k.types("", "50", "")
	k.reads("top", 50, 50, 50)
	k.reads("low", 0)
	k.types("", "") // the first try to record fails
	close(k.typed)
	require.ErrorIs(t, k.end(), errLeft)
	require.Len(t, k.acts, 1)
	require.Contains(t, k.out.String(), "! not recorded: disk full")
	require.Contains(t, k.out.String(), "line low of stack A                          not proved")
}

// Breathing out: the technician's eyes decide, unless the figures say otherwise.
func TestProveBreath(t *testing.T) {
	k := newTalk(t, false)
	k.opens("b")
	k.reads("flow", 1, 1.01, 0.99)
	k.types("", "") // the pump's flow, breathing out
	k.reads("flow", 1, 0.4)
	k.types("", "maybe", "y", "") // enough, seen, record
	k.types("", "")
	k.reads("top", 20)
	k.types("", "y", "")
	require.NoError(t, k.end(), k.out.String())
	require.Equal(t, logbook.EndTestBreath, k.acts[0].EndTest)
	require.True(t, k.acts[0].Seen)
	require.Equal(t, "flow", k.acts[0].Channel)
	require.Equal(t, 2*time.Second, k.acts[0].Lag.Std())
	require.False(t, k.acts[1].Seen)
	require.Equal(t, "top", k.acts[1].Channel)
	require.Contains(t, k.out.String(), "the figures say otherwise: line top of stack A (top) moved")
}

// What a logbook must say before people hold the ends of lines.
func TestStanding(t *testing.T) {
	site := proveSite()
	st := &site.Stores[0]
	stack := logbook.OnStack{Stack: "A"}
	declared := &logbook.Accepted{Entry: logbook.KindNoGasDeclared, Store: "Store 1"}
	cleared := &logbook.Gate{Store: "Store 1", State: logbook.GateCleared}
	for name, c := range map[string]struct {
		entries []logbook.Entry
		daemon  bool
		want    string // part of the reason; "" allowed
	}{
		"nothing known":             {nil, true, "its gate is not decided yet"},
		"declared":                  {[]logbook.Entry{declared}, false, ""},
		"cleared and watched":       {[]logbook.Entry{cleared}, true, ""},
		"cleared and not watched":   {[]logbook.Entry{cleared}, false, "no daemon watches over it now"},
		"shut":                      {[]logbook.Entry{cleared, &logbook.Gate{Store: "Store 1", State: logbook.GateShut}}, true, "its gate is shut"},
		"dosing":                    {[]logbook.Entry{declared, cleared, &logbook.DosingStarted{OnStack: stack}}, true, "stack A is under gas by the logbook (dosing)"},
		"exposure":                  {[]logbook.Entry{declared, &logbook.TreatmentStarted{OnStack: stack}}, true, "(exposure)"},
		"airing":                    {[]logbook.Entry{declared, &logbook.AiringStarted{OnStack: stack}}, true, "(airing)"},
		"by the fold":               {[]logbook.Entry{declared, &logbook.Phase{Stack: "A", Phase: logbook.PhaseExposure}}, true, "(exposure)"},
		"over, not cleared":         {[]logbook.Entry{declared, &logbook.Phase{Stack: "A", Phase: logbook.PhaseClosed}}, true, "its gate is not decided yet"},
		"over, and declared anew":   {[]logbook.Entry{&logbook.Phase{Stack: "A", Phase: logbook.PhaseClosed}, declared}, false, ""},
		"over, cleared and watched": {[]logbook.Entry{&logbook.Phase{Stack: "A", Phase: logbook.PhaseWithholding}, cleared}, true, ""},
	} {
		s := proof.NewStanding(site)
		for _, e := range c.entries {
			s.Take(e)
		}
		why := refused(s, st, c.daemon)
		if c.want == "" {
			require.Empty(t, why, name)
		} else {
			require.Contains(t, why, c.want, name)
		}
	}
}

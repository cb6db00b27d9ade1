package modem

import (
	"context"
	"strings"
	"time"
)

// OnBody as Fault.On means the message itself, between the prompt and the end.
const OnBody = "body"

// Always as Fault.Times means without end.
const Always = -1

// Fault is one misbehaviour, of one answer. Unless Answer is set, the command
// does its work all the same: a message may be on its way though the answer
// never comes.
type Fault struct {
	On    string // the command lines it strikes, by their beginning, e.g. "AT+CMGS"; OnBody; empty: all, bodies too
	Skip  int    // how many of them it lets pass first
	Times int    // how many it strikes then; 0 = one

	Answer  string        // given instead of the work, e.g. "+CMS ERROR: 38"
	Silent  bool          // no answer and no prompt; a modem that hangs
	Late    time.Duration // waits before it answers; commands that come meanwhile wait too
	Before  string        // raw bytes sent just before the answer: noise, unsolicited lines
	Pieces  bool          // the answer comes byte by byte
	Restart bool          // it starts anew by itself first: settings forgotten, SIM closed
	Unplug  bool          // the device disappears instead of answering; until Plug
}

// AddFault puts f before the other misbehaviours.
func (m *Modem) AddFault(f Fault) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.faults = append([]Fault{f}, m.faults...)
}

// Heal ends all misbehaviour.
func (m *Modem) Heal() {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.faults = nil
}

// fault returns how the modem misbehaves now; the zero Fault: it behaves.
func (m *Modem) fault(what string) Fault {
	m.mu.Lock()
	defer m.mu.Unlock()
	for i := range m.faults {
		f := &m.faults[i]
		if !strings.HasPrefix(what, f.On) {
			continue
		}
		if f.Skip > 0 {
			f.Skip--
			continue
		}
		struck := *f
		switch {
		case f.Times > 1:
			f.Times--
		case f.Times >= 0:
			m.faults = append(append([]Fault(nil), m.faults[:i]...), m.faults[i+1:]...)
		}
		return struck
	}
	return Fault{}
}

// answer sends raw the way f says.
func (m *Modem) answer(ctx context.Context, t *terminal, f Fault, raw string) {
	if f.Late > 0 {
		wait(ctx, f.Late)
	}
	if f.Restart {
		m.restart()
	}
	switch {
	case f.Unplug:
		m.Unplug()
		return
	case f.Before != "":
		t.write(f.Before)
	}
	switch {
	case f.Silent:
	case f.Pieces:
		for _, b := range []byte(raw) {
			t.write(string([]byte{b}))
			wait(ctx, time.Millisecond)
		}
	default:
		t.write(raw)
	}
}

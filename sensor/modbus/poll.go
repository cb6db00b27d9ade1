package modbus

import (
	"context"
	"errors"
	"fmt"
	"time"

	"undersheet/sensor"
)

// failure is a request that was not answered with registers.
type failure struct {
	request Request
	came    []byte // what came off the line instead of an answer
	err     error
}

// String words the failure for people.
func (f failure) String() string { return fmt.Sprintf("%v: %v", f.request, f.err) }

// poll reads all of u, over as many openings of the serial device as it takes,
// and gives the sink what came.
func (m *Master) poll(ctx context.Context, u *unit) error {
	for {
		if err := m.open(ctx); err != nil {
			return err
		}
		rs, fail, err := m.read(ctx, u)
		if err != nil && !lost(err) {
			return err
		}
		if err := m.deliver(ctx, rs); err != nil {
			return err
		}
		if err == nil {
			return m.judge(ctx, u, fail)
		}
		if err := m.tell(ctx, &m.line, "", false, err.Error()); err != nil {
			return err
		}
	}
}

// open returns when the serial device is open. The sink hears when it is not,
// and when it is again.
func (m *Master) open(ctx context.Context) error {
	opening, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	err := m.port.Open(opening, func(cause error) {
		if err := m.tell(ctx, &m.line, "", false, cause.Error()); err != nil {
			stop(err)
		}
	})
	if cause := context.Cause(opening); cause != nil {
		return cause
	}
	if err != nil {
		return err
	}
	return m.tell(ctx, &m.line, "", true, fmt.Sprintf("serial port %q is open", m.cfg.Port.Device))
}

// read reads the blocks of u. It goes on after an Exception, which concerns one
// block only, and stops at the first block without an answer, so that a dead
// unit costs one block's attempts. err means that the line is lost or ctx over;
// what was read before is returned with it.
func (m *Master) read(ctx context.Context, u *unit) (rs []sensor.Reading, fail *failure, err error) {
	for _, b := range u.blocks {
		words, came, err := m.exchange(ctx, u, b.request)
		if ctx.Err() != nil {
			return rs, fail, ctx.Err()
		}
		if lost(err) {
			return rs, fail, err
		}
		if err == nil {
			rs = append(rs, b.readings(words, m.cfg.Name, m.clock.Now())...)
			continue
		}
		if fail == nil {
			fail = &failure{b.request, came, err}
		}
		if !answered(err) {
			break
		}
	}
	return rs, fail, nil
}

// exchange asks u for r until it answers or its attempts are used up; a unit
// that did not answer last time has one. It keeps the rule that an answer which
// comes late is never taken for other registers: after an attempt without
// answer, other registers are asked for only when twice the timeout has passed.
func (m *Master) exchange(ctx context.Context, u *unit, r Request) (words []uint16, came []byte, err error) {
	if r != u.asked {
		if err := m.bus.listen(u.late); err != nil {
			return nil, nil, err
		}
	}
	u.asked = r
	tries := 1 + u.Retries
	if u.dead {
		tries = 1
	}
	missed := false
	for try := 1; ; try++ {
		var sent time.Time
		words, came, sent, err = m.bus.ask(r, u.Timeout)
		if lost(err) || ctx.Err() != nil {
			return nil, came, err
		}
		u.dead = !answered(err)
		if missed = missed || u.dead; missed {
			u.late = sent.Add(2 * u.Timeout)
		}
		if try == tries || answered(err) && !passing(err) {
			return words, came, err
		}
		if passing(err) {
			if err := m.bus.listen(sent.Add(u.Timeout)); err != nil {
				return nil, nil, err
			}
		}
	}
}

// passing says whether err is an Exception that means "ask again later".
func passing(err error) bool {
	return errors.Is(err, DeviceBusy) || errors.Is(err, Acknowledge)
}

// deliver gives the readings of one poll to the sink.
func (m *Master) deliver(ctx context.Context, rs []sensor.Reading) error {
	if len(rs) == 0 {
		return nil
	}
	if err := m.sink.Readings(ctx, rs); err != nil {
		return fmt.Errorf("deliver %d readings: %w", len(rs), err)
	}
	return nil
}

// judge tells the sink when a poll changed what is known of u, and hands over
// what came off the line instead of an answer when that made it ill.
func (m *Master) judge(ctx context.Context, u *unit, fail *failure) error {
	name := fmt.Sprintf("unit %d", u.Address)
	if fail == nil {
		return m.tell(ctx, &u.health, name, true, "answers")
	}
	if u.health != ill && len(fail.came) > 0 && !answered(fail.err) {
		r := sensor.NewRefused(m.cfg.Name, fail.request.String(), fail.came, fail.err.Error(), m.clock.Now())
		if err := m.sink.Refused(ctx, r); err != nil {
			return fmt.Errorf("deliver a refused frame: %w", err)
		}
	}
	return m.tell(ctx, &u.health, name, false, fail.String())
}

// tell tells the sink the state of a unit, or of the line (name empty), if it
// is not what was told last.
func (m *Master) tell(ctx context.Context, h *health, name string, ok bool, detail string) error {
	now := ill
	if ok {
		now = well
	}
	if *h == now {
		return nil
	}
	s := sensor.Status{Instrument: m.cfg.Name, Unit: name, OK: ok, Detail: detail, Time: m.clock.Now()}
	if err := m.sink.Status(ctx, s); err != nil {
		return fmt.Errorf("deliver a status: %w", err)
	}
	*h = now
	return nil
}

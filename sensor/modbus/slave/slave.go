// Package slave answers Modbus RTU requests as instruments on a line would: for
// the simulated depot, and for tests.
//
//	t, err := slave.OpenTerminal()                  // a serial device, t.Name(), for a master to open
//	err = slave.Serve(ctx, t, func(q modbus.Request) ([]uint16, error) {
//		if q.Unit != 7 { return nil, slave.ErrSilent } // no such unit on the line
//		if q.Address+q.Count > 2 { return nil, modbus.IllegalDataAddress }
//		…
//	}, slave.Options{})
//
// It answers functions 3 and 4 (read holding, read input registers) and refuses
// every other with "illegal function". It answers no broadcast. It is no
// measuring instrument: nothing is ever written to it.
package slave

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"undersheet/sensor/modbus"
)

// ErrSilent is what a Handler returns for a unit that is not on the line, or
// that is to look dead: nothing is sent.
var ErrSilent = errors.New("no answer")

// Handler returns the q.Count registers from q.Address on of unit q.Unit, for
// function q.Function; or ErrSilent; or a modbus.Exception. Any other error, and
// a wrong number of registers, is answered with "server device failure". Count
// is from 1 to 125, or 0 when the request is refused in any case (another
// function, a wrong count): then only ErrSilent matters. It is called by one
// goroutine.
type Handler func(q modbus.Request) ([]uint16, error)

// Options are settings of Serve.
type Options struct {
	// Silence is the gap after which a frame that is no full request is over;
	// 0 = 5 ms. A sound request is answered without waiting for it.
	Silence time.Duration
}

const (
	requestLen     = 8
	defaultSilence = 5 * time.Millisecond
	longest        = 256 // bytes of a frame
)

// Serve answers what comes over line with h until ctx ends (then it returns nil)
// or the line does (its error; nil for io.EOF). When ctx ends it closes line if
// that has a Close method: that is what ends a read. A read that ends with
// os.ErrDeadlineExceeded is repeated.
func Serve(ctx context.Context, line io.ReadWriter, h Handler, o Options) error {
	if o.Silence == 0 {
		o.Silence = defaultSilence
	}
	if c, ok := line.(io.Closer); ok {
		stop := context.AfterFunc(ctx, func() { _ = c.Close() })
		defer stop()
	}
	chunks, ended := make(chan []byte), make(chan error, 1)
	go func() { ended <- pump(line, chunks) }() // always received below, so it has ended when Serve returns
	err := serve(line, chunks, h, o)
	for range chunks { // after a failed write: let the pump end
	}
	if read := <-ended; err == nil {
		err = read
	}
	if ctx.Err() != nil || err == nil {
		return nil
	}
	return fmt.Errorf("serve modbus line: %w", err)
}

// pump sends what comes over line to chunks and closes it at the line's end.
func pump(line io.Reader, chunks chan<- []byte) error {
	defer close(chunks)
	for {
		buf := make([]byte, longest)
		n, err := line.Read(buf)
		if n > 0 {
			chunks <- buf[:n]
		}
		switch {
		case errors.Is(err, io.EOF):
			return nil
		case err != nil && !errors.Is(err, os.ErrDeadlineExceeded):
			return err
		}
	}
}

// serve puts the chunks together to frames and answers them.
func serve(line io.Writer, chunks <-chan []byte, h Handler, o Options) error {
	var frame []byte
	gap := time.NewTimer(o.Silence)
	defer gap.Stop()
	for {
		var reply []byte
		select {
		case chunk, open := <-chunks:
			if !open {
				return nil
			}
			gap.Reset(o.Silence)
			frame = append(frame, chunk...)
			frame = frame[max(0, len(frame)-longest):]
			reply, frame = answerAll(frame, h)
		case <-gap.C:
			reply = refuse(frame, h)
			frame = nil
		}
		if len(reply) == 0 {
			continue
		}
		if _, err := line.Write(reply); err != nil {
			return err
		}
	}
}

// answerAll answers the sound requests at the start of frame and returns what is
// left of it.
func answerAll(frame []byte, h Handler) (replies, rest []byte) {
	for len(frame) >= requestLen {
		q, err := modbus.DecodeRequest(frame[:requestLen])
		if err != nil {
			break
		}
		replies = append(replies, answer(q, h)...)
		frame = frame[requestLen:]
	}
	return replies, frame
}

// answer returns the frame that answers q; nil for none.
func answer(q modbus.Request, h Handler) []byte {
	if q.Unit == 0 {
		return nil
	}
	wrongCount := q.Count < 1 || q.Count > modbus.MaxCount
	if wrongCount {
		q.Count = 0
	}
	words, err := h(q)
	var e modbus.Exception
	switch {
	case errors.Is(err, ErrSilent):
		return nil
	case wrongCount:
		return q.AppendException(nil, modbus.IllegalDataValue)
	case errors.As(err, &e):
		return q.AppendException(nil, e)
	case err != nil || len(words) != int(q.Count):
		return q.AppendException(nil, modbus.DeviceFailure)
	}
	return q.AppendReply(nil, words)
}

// refuse returns the frame that refuses a sound frame with another function
// than 3 and 4; nil when the frame is not sound, or for another line.
func refuse(frame []byte, h Handler) []byte {
	if !modbus.Sealed(frame) || frame[0] == 0 {
		return nil
	}
	q := modbus.Request{Unit: frame[0], Function: frame[1]}
	if _, err := h(q); errors.Is(err, ErrSilent) {
		return nil
	}
	return q.AppendException(nil, modbus.IllegalFunction)
}

package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"os"
	"time"

	"undersheet/sensor"
	"undersheet/sensor/frames"
	"undersheet/sensor/mqtt"
	"undersheet/sensor/port"
)

// wiretap is told what goes over the wires.
type wiretap interface {
	// raw is told bytes that were sent or came; topic is that of a broker, else empty.
	raw(instrument, topic string, sent bool, b []byte)
	// ignored is told that the line that came last holds no reading and is not meant to.
	ignored(instrument string)
}

// guest is somebody who reads instruments beside the daemon's own business: for a
// while, faster, with the raw bytes, and without taking anything from a daemon.
// Its methods also serve a nil guest, which is the daemon itself.
type guest struct {
	heard wiretap       // nil: nobody wants the raw bytes
	pace  time.Duration // how often instruments are asked
	busy  func(error)   // is called with port.ErrBusy when another program holds a serial port
}

// port returns the options of an instrument's serial port.
func (g *guest) port(instrument string) port.Options {
	if g == nil {
		return port.Options{}
	}
	o := port.Options{LongWait: 2 * time.Second, OpenDevice: func(c port.Config) (port.Device, error) {
		d, err := port.OpenDevice(c)
		if errors.Is(err, port.ErrBusy) {
			g.busy(err)
		}
		return d, err
	}}
	if g.heard != nil {
		o.Tap = func(sent bool, b []byte) { g.heard.raw(instrument, "", sent, b) }
	}
	return o
}

// every returns how often an instrument is asked whose site file says d.
func (g *guest) every(d time.Duration) time.Duration {
	if g == nil || d > 0 && d < g.pace {
		return d
	}
	return g.pace
}

// everyAsk is every for an instrument that is asked with the text ask, or speaks by itself.
func (g *guest) everyAsk(ask string, d time.Duration) time.Duration {
	if ask == "" {
		return d
	}
	return g.every(d)
}

// frames returns the options of a reader of text.
func (g *guest) frames(instrument string, o frames.Options) frames.Options {
	if g != nil && g.heard != nil {
		o.Alike = -1 // each line that cannot be read is wanted
		o.Ignored = func([]byte) { g.heard.ignored(instrument) }
	}
	return o
}

// mqtt returns c for a guest: under a name of its own and without a session that
// lasts, so that it throws no daemon out and takes no message from it.
func (g *guest) mqtt(c mqtt.Config) mqtt.Config {
	if g == nil {
		return c
	}
	c.ClientID = "undersheet-listen-" + rand.Text()
	sources := make([]mqtt.Source, len(c.Sources))
	for i, s := range c.Sources {
		decode := s.Decode
		s.Timed = false
		s.Decode = func(topic string, payload []byte, now time.Time) ([]sensor.Reading, []error) {
			if g.heard != nil {
				g.heard.raw(c.Name, topic, false, payload)
			}
			return decode(topic, payload, now)
		}
		sources[i] = s
	}
	c.Sources = sources
	return c
}

// bareLine reads a serial line of which nothing is known; its bytes go to the tap
// of its port.
type bareLine struct {
	name  string
	port  *port.Port
	heard sensor.Sink // is told when the device is not there
}

// Run implements runner.
func (l *bareLine) Run(ctx context.Context) error {
	defer l.port.Close()
	stop := context.AfterFunc(ctx, func() { _ = l.port.Close() })
	defer stop()
	buf := make([]byte, 512)
	for ctx.Err() == nil {
		tell := func(ok bool, why string) {
			_ = l.heard.Status(ctx, sensor.Status{Instrument: l.name, OK: ok, Detail: why, Time: time.Now()})
		}
		if l.port.Open(ctx, func(err error) { tell(false, err.Error()) }) != nil {
			break
		}
		tell(true, fmt.Sprintf("serial port %q is open", l.name))
		err := error(nil)
		for err == nil || errors.Is(err, os.ErrDeadlineExceeded) {
			_, err = l.port.Read(buf)
		}
		if ctx.Err() == nil {
			tell(false, err.Error())
		}
	}
	return nil
}

package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"undersheet/ingest/payload"
	"undersheet/logbook"
	"undersheet/sensor"
	"undersheet/sensor/frames"
	"undersheet/sensor/modbus"
	"undersheet/sensor/mqtt"
	"undersheet/sensor/port"
	"undersheet/trust"
)

// runner is a component: Run blocks until ctx ends or it cannot go on.
type runner interface {
	Run(ctx context.Context) error
}

// waysIn makes the reader of each instrument of a site, or reports all that it lacks.
func waysIn(site *logbook.Site, sink sensor.Sink, clock depotClock) ([]runner, error) {
	var all []runner
	var faults []error
	for _, in := range site.Instruments {
		r, err := wayIn(site, in, sink, clock, nil)
		if err != nil {
			faults = append(faults, faultsOf(fmt.Sprintf("instrument %q", in.Name), err))
		} else if r != nil {
			all = append(all, r)
		}
	}
	return all, errors.Join(faults...)
}

// faultsOf says what an error is of, before each of those that were joined.
func faultsOf(what string, err error) error {
	all, joined := err.(interface{ Unwrap() []error })
	if !joined {
		return fmt.Errorf("%s: %w", what, err)
	}
	var faults []error
	for _, err := range all.Unwrap() {
		faults = append(faults, faultsOf(what, err))
	}
	return errors.Join(faults...)
}

// wayIn makes the reader of one instrument; g, who listens in, may be nil.
func wayIn(site *logbook.Site, in logbook.Instrument, sink sensor.Sink, clock depotClock, g *guest) (runner, error) {
	switch {
	case in.Modbus != nil:
		return modbusMaster(in, sink, clock, g)
	case in.Frames != nil:
		return framesReader(in, sink, clock, g)
	case in.MQTT != nil:
		return mqttClient(site, in, sink, clock, g)
	}
	return nil, nil
}

func modbusMaster(in logbook.Instrument, sink sensor.Sink, clock depotClock, g *guest) (runner, error) {
	m := in.Modbus
	c := modbus.Config{Name: in.Name, Port: port.Config{Device: m.Port, Baud: m.Baud, Parity: m.Parity, StopBits: m.StopBits}}
	for _, u := range m.Units {
		unit := modbus.Unit{Address: byte(u.Address), Timeout: u.Timeout.Std(), Retries: u.Retries, Every: g.every(u.Every.Std())}
		for _, r := range u.Registers {
			unit.Registers = append(unit.Registers, modbus.Register{Channel: r.Channel, Function: byte(r.Function), Address: uint16(r.Register),
				Type: r.Type, Order: strings.ToUpper(r.Order), Scale: r.Scale, Offset: r.Offset, Unit: r.Unit})
		}
		c.Units = append(c.Units, unit)
	}
	if err := c.Validate(); err != nil {
		return nil, err
	}
	return modbus.New(c, sink, modbus.Options{Clock: clock, Port: g.port(in.Name)}), nil
}

func framesReader(in logbook.Instrument, sink sensor.Sink, clock depotClock, g *guest) (runner, error) {
	f := in.Frames
	c := frames.Config{Name: in.Name, Port: port.Config{Device: f.Port, Baud: f.Baud, DataBits: f.DataBits, Parity: f.Parity, StopBits: f.StopBits},
		End: f.End, Ask: f.Ask, Every: g.everyAsk(f.Ask, f.Every.Std()), Format: frames.Format{Pattern: f.Pattern, Channel: f.Channel, Channels: f.Channels,
			Unit: f.Unit, Units: f.Units, Sound: f.Sound, Ignore: f.Ignore}}
	if err := c.Validate(); err != nil {
		return nil, err
	}
	return frames.New(c, sink, g.frames(in.Name, frames.Options{Clock: clock, Port: g.port(in.Name)})), nil
}

func mqttClient(site *logbook.Site, in logbook.Instrument, sink sensor.Sink, clock depotClock, g *guest) (runner, error) {
	m := in.MQTT
	c := mqtt.Config{Name: in.Name, Broker: m.Broker, ClientID: m.ClientID, CA: m.CA, Cert: m.Cert, Key: m.Key}
	if c.ClientID == "" {
		c.ClientID = clientID(site.Name, in.Name)
	}
	var errUser, errPassword error
	c.User, errUser = trust.Secret("mqtt.user", m.UserEnv, m.UserFile)
	c.Password, errPassword = trust.Secret("mqtt.password", m.PasswordEnv, m.PasswordFile)
	if err := errors.Join(errUser, errPassword); err != nil {
		return nil, err
	}
	for _, s := range m.Sources {
		decode, err := payload.New(in.Name, s)
		if err != nil {
			return nil, err
		}
		c.Sources = append(c.Sources, mqtt.Source{Topic: s.Topic, QoS: byte(s.QoS), Timed: payload.Timed(s), Decode: mqtt.Decode(decode)})
	}
	c = g.mqtt(c)
	if err := c.Validate(); err != nil {
		return nil, err
	}
	return mqtt.New(c, sink, mqtt.Options{Now: clock.Now}), nil
}

// clientID is a fixed name for the broker's session, of letters and digits.
func clientID(parts ...string) string {
	id := "undersheet"
	for _, p := range parts {
		id += "-" + strings.Map(func(r rune) rune {
			if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
				return r
			}
			return '-'
		}, strings.ToLower(p))
	}
	return id
}

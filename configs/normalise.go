package configs

import (
	"fmt"
	"hash/crc32"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/rules"
	"undersheet/rules/daylight"
	"undersheet/rules/followup"
	"undersheet/rules/gate"
	"undersheet/sensor/frames"
	"undersheet/sensor/modbus"
	"undersheet/sensor/port"
)

// Defaults of what a site file leaves out and no other package knows.
const (
	defaultAccuracy      = 0.05 // fraction of the reading
	defaultFalseLeakDays = 500  // stack-days
	defaultModemBaud     = 115200
)

// normalise fills in what a site file leaves out; a site that is normalised
// already stays as it is. It judges nothing and never fails: an unknown country
// or time zone simply gives no limits or UTC.
func normalise(s *logbook.Site) {
	loc, err := time.LoadLocation(s.Timezone)
	if err != nil {
		loc = time.UTC
	}
	s.LimitSets, _ = limitSets(s.Limits, loc)
	s.Offsets = offsets(loc)
	for name, ch := range s.Channels {
		s.Channels[name] = normalChannel(ch)
	}
	for i := range s.Instruments {
		normalInstrument(s.Name, &s.Instruments[i])
	}
	for i := range s.Stores {
		normalStore(&s.Stores[i])
	}
	normalSettings(&s.Settings)
	normalMail(s.Mail)
	normalWires(s)
	orText(&s.Language, s.Speaks())
	for i := range s.People {
		orText(&s.People[i].From, logbook.PriorityMedium)
		orText(&s.People[i].Language, s.Language)
	}
	s.Instruments, s.People, s.Unsuited = noEmpty(s.Instruments), noEmpty(s.People), noEmpty(s.Unsuited)
	if len(s.Protocols) == 0 {
		s.Protocols = nil
	}
}

// normalChannel fills in a gas channel's attributes. Without a range the coarse
// resolution is taken, which keeps a gate shut rather than trusts an unknown
// instrument. Values that are no gas have no such attributes.
func normalChannel(ch logbook.Channel) logbook.Channel {
	if !isGas(ch.Unit) {
		return ch
	}
	orText(&ch.Gas, "ph3")
	orNumber(&ch.Accuracy, defaultAccuracy)
	fine := 1.0
	if ch.Range > 0 && ch.Range < 100 {
		fine = 0.01
	}
	orNumber(&ch.Resolution, fine)
	orNumber(&ch.DetectionLimit, ch.Resolution)
	return ch
}

// isGas reports whether a channel in this unit measures gas.
func isGas(unit string) bool {
	return unit == logbook.PPM || unit == logbook.MgM3 || unit == logbook.GM3
}

// normalStore fills in where air points are.
func normalStore(s *logbook.Store) {
	for i := range s.Air {
		orText(&s.Air[i].Where, logbook.WhereInside)
	}
	for i := range s.Stacks {
		s.Stacks[i].Lines = noEmpty(s.Stacks[i].Lines)
	}
	s.Air, s.Stacks, s.Doors, s.Water = noEmpty(s.Air), noEmpty(s.Stacks), noEmpty(s.Doors), noEmpty(s.Water)
}

// normalSettings fills in the settings that are left out.
func normalSettings(s *logbook.Settings) {
	orNumber(&s.ConfirmEvery, logbook.Duration(gate.DefaultAgain))
	orNumber(&s.Withholding, logbook.Duration(followup.DefaultWithholding))
	orNumber(&s.FalseLeakDays, defaultFalseLeakDays)
	orNumber(&s.MaskedEntryMax, logbook.Duration(rules.DefaultMaskedEntryMax))
	orText(&s.InspectAt, followup.DefaultInspectAt)
	orNumber(&s.Jar, logbook.Duration(followup.DefaultJar))
	if s.Night == nil {
		s.Night = &logbook.Night{From: daylight.NightFrom, To: daylight.NightTo}
	}
}

// normalWires fills in pumps, the modem, webhooks and the beacon.
func normalWires(s *logbook.Site) {
	for i := range s.Pumps {
		orNumber(&s.Pumps[i].Least, s.Pumps[i].LeastFlow())
	}
	if m := s.SMS; m != nil {
		orNumber(&m.Baud, defaultModemBaud)
		orText(&m.Mode, "pdu")
	}
	for i := range s.Webhooks {
		orText(&s.Webhooks[i].From, logbook.PriorityLow)
	}
	if b := s.Beacon; b != nil {
		orText(&b.ClientID, "undersheet-"+slug(s.Name)+"-beacon")
		orText(&b.Topic, "undersheet/"+slug(s.Name))
	}
	s.Mains, s.Pumps, s.Webhooks, s.Forward = noEmpty(s.Mains), noEmpty(s.Pumps), noEmpty(s.Webhooks), noEmpty(s.Forward)
	if len(s.Alarms) == 0 {
		s.Alarms = nil
	}
	if len(s.FollowUps) == 0 {
		s.FollowUps = nil
	}
}

// normalMail fills in the port of the way in which the connection is protected:
// 587 submission with STARTTLS (RFC 6409), 465 with TLS (RFC 8314), 25 in the clear.
func normalMail(m *logbook.Mail) {
	if m == nil {
		return
	}
	orText(&m.TLS, "starttls")
	ports := map[string]int{"starttls": 587, "tls": 465, "none": 25}
	orNumber(&m.Port, ports[m.TLS])
}

// normalInstrument fills in how an instrument is read.
func normalInstrument(site string, in *logbook.Instrument) {
	if in.Modbus != nil {
		normalModbus(in.Modbus)
	}
	if in.Frames != nil {
		normalFrames(in.Frames)
	}
	if m := in.MQTT; m != nil {
		orText(&m.ClientID, "undersheet-"+slug(site)+"-"+slug(in.Name))
		for i := range m.Sources {
			normalSource(&m.Sources[i])
		}
	}
}

// normalModbus takes the defaults of "MODBUS over serial line specification and
// implementation guide V1.02", section 2.5.1: even parity and one stop bit, or
// no parity and two.
func normalModbus(m *logbook.Modbus) {
	orNumber(&m.Baud, port.DefaultBaud)
	orText(&m.Parity, "even")
	stop := 1
	if m.Parity == "none" {
		stop = 2
	}
	orNumber(&m.StopBits, stop)
	for i := range m.Units {
		u := &m.Units[i]
		orNumber(&u.Timeout, logbook.Duration(modbus.DefaultTimeout))
		orNumber(&u.Every, logbook.Duration(modbus.DefaultEvery))
		for k := range u.Registers {
			normalRegister(&u.Registers[k])
		}
	}
}

// normalFrames fills in how text is read: 9600 8N1 is the common setting of
// instruments that print (from memory).
func normalFrames(f *logbook.Frames) {
	orNumber(&f.Baud, port.DefaultBaud)
	orNumber(&f.DataBits, 8)
	orText(&f.Parity, "none")
	orNumber(&f.StopBits, 1)
	orText(&f.End, "lf")
	orNumber(&f.Every, logbook.Duration(frames.DefaultEvery))
	f.Sound = noEmpty(f.Sound)
	if len(f.Channels) == 0 {
		f.Channels = nil
	}
	if len(f.Units) == 0 {
		f.Units = nil
	}
}

// normalRegister fills in how a register is read: a whole input register of 16 bits, as it is.
func normalRegister(r *logbook.ModbusRegister) {
	orNumber(&r.Function, 4)
	orText(&r.Type, "uint16")
	orNumber(&r.Scale, 1)
	if wide(r.Type) {
		orText(&r.Order, "abcd")
	} else {
		orText(&r.Order, "ab")
	}
}

// wide reports whether a register type takes two registers.
func wide(kind string) bool { return strings.HasSuffix(kind, "32") }

// normalSource fills in how a topic's payloads are read.
func normalSource(s *logbook.MQTTSource) {
	orNumber(&s.QoS, 1)
	switch s.Payload {
	case "senml":
		orText(&s.Channel, "{name}")
	case "line-protocol":
		orText(&s.TimeUnit, "ns")
	case "json":
		if s.Time != "" {
			orText(&s.TimeUnit, "s")
		}
	}
}

// slug makes a name fit for an MQTT client id. Where letters are lost, a
// checksum keeps different names apart.
func slug(name string) string {
	lost := false
	s := strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9':
			return r
		case r >= 'A' && r <= 'Z':
			return r + 'a' - 'A'
		case r != ' ' && r != '-':
			lost = true
		}
		return '-'
	}, name)
	if lost {
		s = fmt.Sprintf("%s-%08x", s, crc32.ChecksumIEEE([]byte(name)))
	}
	return s
}

// orText sets an empty s to otherwise.
func orText(s *string, otherwise string) {
	if *s == "" {
		*s = otherwise
	}
}

// orNumber sets n to otherwise when it is zero.
func orNumber[T ~int | ~int64 | ~float64](n *T, otherwise T) {
	if *n == 0 {
		*n = otherwise
	}
}

// noEmpty turns an empty list into none, as the JSON form does.
func noEmpty[T any](s []T) []T {
	if len(s) == 0 {
		return nil
	}
	return s
}

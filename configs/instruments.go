package configs

import (
	"fmt"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/trust"
)

// feeder is an instrument's register or source that gives a channel.
type feeder struct {
	path    string
	channel string            // for sure, when there is no pattern
	pattern *logbook.Template // a template that may give many
}

// instruments judges how the site is read.
func (c *checker) instruments() {
	names, clients := map[string]string{}, map[string]string{}
	var feeders []feeder
	for i := range c.site.Instruments {
		in, path := &c.site.Instruments[i], fmt.Sprintf("instruments[%d]", i)
		c.named(path+".name", in.Name, names, "instrument")
		if ways := in.Ways(); ways != 1 {
			c.wrong(path, nil, "an instrument is read in exactly one way: give it modbus, frames or mqtt")
		}
		if in.Modbus != nil {
			feeders = append(feeders, c.modbus(in.Modbus, path+".modbus")...)
		}
		if in.Frames != nil {
			feeders = append(feeders, c.frames(in.Frames, path+".frames")...)
		}
		if in.MQTT != nil {
			feeders = append(feeders, c.mqtt(in.MQTT, path+".mqtt", clients)...)
		}
	}
	c.feeding(feeders)
}

// feeding finds channels that are fed twice or not at all.
func (c *checker) feeding(feeders []feeder) {
	sure := map[string]string{}
	for _, f := range feeders {
		if f.pattern != nil && !slices.ContainsFunc(sortedKeys(c.site.Channels), f.pattern.Fits) {
			c.warn(f.path, nil, "no channel of this site has a name of this form")
		}
		if f.pattern != nil || f.channel == "" {
			continue
		}
		if _, ok := c.site.Channels[f.channel]; !ok {
			c.wrong(f.path, f.channel, "there is no channel of this name under channels%s", meant(f.channel, sortedKeys(c.site.Channels)))
		}
		if first, twice := sure[f.channel]; twice {
			c.wrong(f.path, f.channel, "this channel is already fed in line %d: one channel comes from one place", c.find(first).line)
		} else {
			sure[f.channel] = f.path
		}
	}
	if len(c.site.Instruments) == 0 {
		return // a replay
	}
	for _, name := range sortedKeys(c.site.Channels) {
		if sure[name] == "" && !mayBeFed(feeders, name) {
			c.warn(join("channels", name), nil, "no instrument feeds this channel")
		}
	}
}

// mayBeFed reports whether a feeder whose template may give several channels may give this one.
func mayBeFed(feeders []feeder, channel string) bool {
	for _, f := range feeders {
		if f.pattern != nil && f.pattern.Fits(channel) {
			return true
		}
	}
	return false
}

// modbus judges a serial line and the units on it.
func (c *checker) modbus(m *logbook.Modbus, path string) []feeder {
	c.serial(path, m.Port, m.Baud, m.Parity, m.StopBits, "put all units of a line under one instrument")
	if len(m.Units) == 0 {
		c.wrong(path+".units", nil, "is missing: list the units on this line")
	}
	addresses := map[int]string{}
	var feeders []feeder
	for i := range m.Units {
		u, at := &m.Units[i], fmt.Sprintf("%s.units[%d]", path, i)
		if first, taken := addresses[u.Address]; taken && c.given(at+".address") {
			c.wrong(at+".address", u.Address, "this address is already used in line %d: each unit on a line has its own", c.find(first).line)
		}
		addresses[u.Address] = at + ".address"
		feeders = append(feeders, c.unit(u, at)...)
	}
	return feeders
}

// serial judges a serial port and how it is set; else says what to do when it is
// taken.
func (c *checker) serial(path, device string, baud int, parity string, stopBits int, otherwise string) {
	switch first, taken := c.ports[device]; {
	case device == "":
		c.wrong(path+".port", nil, "is missing: give the device path, for example /dev/serial/by-id/…")
	case taken:
		c.wrong(path+".port", device, "this port is already used in line %d: %s", c.find(first).line, otherwise)
	default:
		c.ports[device] = path + ".port"
	}
	c.within(path+".baud", float64(baud), 300, 1e6, "")
	c.oneOf(path+".parity", parity, "none", "even", "odd")
	c.within(path+".stop_bits", float64(stopBits), 1, 2, "")
}

// unit judges one unit on a serial line.
func (c *checker) unit(u *logbook.ModbusUnit, path string) []feeder {
	if !c.given(path + ".address") {
		c.wrong(path+".address", nil, "is missing: the unit's address, 1 to 247")
	} else {
		c.within(path+".address", float64(u.Address), 1, 247, "")
	}
	c.lasting(path+".timeout", u.Timeout, 10*time.Millisecond, 30*time.Second)
	c.within(path+".retries", float64(u.Retries), 0, 10, "")
	c.lasting(path+".every", u.Every, time.Second, 24*time.Hour)
	if len(u.Registers) == 0 {
		c.wrong(path+".registers", nil, "is missing: list the values of this unit")
	}
	var feeders []feeder
	read := map[[2]int]string{} // function and register → where it is read
	for i := range u.Registers {
		at := fmt.Sprintf("%s.registers[%d]", path, i)
		c.register(&u.Registers[i], at)
		c.ownRegisters(&u.Registers[i], at, read)
		feeders = append(feeders, feeder{path: at + ".channel", channel: u.Registers[i].Channel})
	}
	return feeders
}

// register judges one value of a unit.
func (c *checker) register(r *logbook.ModbusRegister, path string) {
	if r.Channel == "" {
		c.wrong(path+".channel", nil, "is missing: name the channel that this register gives")
	}
	if !c.given(path + ".register") {
		c.wrong(path+".register", nil, "is missing: the address on the wire, from 0 (holding register 40001 is 0)")
	}
	c.within(path+".function", float64(r.Function), 3, 4, ": 3 reads holding registers, 4 input registers")
	if c.oneOf(path+".type", r.Type, "int16", "uint16", "int32", "uint32", "float32") {
		last, orders := 65535.0, []string{"ab", "ba"}
		if wide(r.Type) {
			last, orders = 65534, []string{"abcd", "cdab", "badc", "dcba"}
		}
		c.within(path+".register", float64(r.Register), 0, last, "")
		c.numbered(r, path+".register")
		c.oneOf(path+".order", r.Order, orders...)
	}
	c.unitFits(path+".unit", r.Unit, r.Channel)
}

// numbered warns of a register given by the number that papers print, from 30001 for input and
// from 40001 for holding registers, in place of its address on the wire.
func (c *checker) numbered(r *logbook.ModbusRegister, path string) {
	first := 30001
	if r.Function == 3 {
		first = 40001
	}
	if r.Register >= first && r.Register < first+9999 {
		c.warn(path, r.Register, "is taken as an address on the wire, from 0: if it is the number in the instrument's papers, write %d", r.Register-first)
	}
}

// ownRegisters refuses a register that another channel of the unit is read from: one line's
// gas would stand for another's.
func (c *checker) ownRegisters(r *logbook.ModbusRegister, path string, read map[[2]int]string) {
	if !c.given(path + ".register") {
		return
	}
	registers := []int{r.Register}
	if wide(r.Type) {
		registers = append(registers, r.Register+1)
	}
	for _, n := range registers {
		if first, taken := read[[2]int{r.Function, n}]; taken {
			c.wrong(path+".register", r.Register, "register %d is already read for another channel in line %d: each channel has registers of its own (float32 and 32-bit integers take two)", n, c.find(first).line)
			return
		}
	}
	for _, n := range registers {
		read[[2]int{r.Function, n}] = path + ".register"
	}
}

// unitFits judges the unit in which a channel is sent.
func (c *checker) unitFits(path, unit, channel string) {
	if unit == "" || !c.oneOf(path, unit, logbook.Units...) {
		return
	}
	if ch, ok := c.site.Channels[channel]; ok && ch.Unit != "" && ch.Unit != unit && !(isGas(ch.Unit) && isGas(unit)) {
		c.wrong(path, unit, "cannot be brought to %s, the unit of channel %q", ch.Unit, channel)
	}
}

// mqtt judges a broker and what is read from it.
func (c *checker) mqtt(m *logbook.MQTT, path string, clients map[string]string) []feeder {
	c.broker(m, path)
	id := m.Broker + " " + m.ClientID
	if first, taken := clients[id]; taken {
		c.wrong(path+".client_id", m.ClientID, "another instrument of this broker, in line %d, has the same client id: the two would throw each other out", c.find(first).line)
	}
	clients[id] = path
	c.secret(path, "user", m.UserEnv, m.UserFile)
	c.secret(path, "password", m.PasswordEnv, m.PasswordFile)
	if (m.PasswordEnv != "" || m.PasswordFile != "") && m.UserEnv == "" && m.UserFile == "" {
		c.wrong(path, nil, "a password without a user: give user_env or user_file")
	}
	if len(m.Sources) == 0 {
		c.wrong(path+".sources", nil, "is missing: list the topics to read")
	}
	topics := map[string]string{}
	var feeders []feeder
	for i := range m.Sources {
		at := fmt.Sprintf("%s.sources[%d]", path, i)
		c.named(at+".topic", m.Sources[i].Topic, topics, "topic")
		feeders = append(feeders, c.source(&m.Sources[i], at))
	}
	return feeders
}

// broker judges the broker's address and how the way to it is protected.
func (c *checker) broker(m *logbook.MQTT, path string) {
	const want = "want tcp://host:1883 or tls://host:8883"
	if m.Broker == "" {
		c.wrong(path+".broker", nil, "is missing: %s", want)
		return
	}
	u, err := url.Parse(m.Broker)
	if strings.Contains(m.Broker, "@") {
		c.wrong(path+".broker", nil, "secrets never stand in a site file: use user_env and password_env, or user_file and password_file")
		return
	}
	if err != nil || u.Scheme != "tcp" && u.Scheme != "tls" || u.Hostname() == "" || !isPort(u.Port()) || u.Path != "" || u.RawQuery != "" || u.Fragment != "" {
		c.wrong(path+".broker", m.Broker, "is no address of a broker: %s", want)
		return
	}
	plain := u.Scheme == "tcp"
	if plain && (m.CA != "" || m.Cert != "" || m.Key != "") {
		c.wrong(path+".broker", m.Broker, "tcp is not encrypted, so ca, cert and key would do nothing: use tls://")
	}
	if (m.Cert == "") != (m.Key == "") {
		c.wrong(path, nil, "cert and key go together: give both or neither")
	}
	if plain && (m.PasswordEnv != "" || m.PasswordFile != "") && !trust.Loopback(u.Hostname()) {
		c.warn(path+".broker", m.Broker, "the password crosses the network in the clear: use tls://")
	}
}

// isPort reports whether s is the number of a TCP port.
func isPort(s string) bool {
	n, err := strconv.Atoi(s)
	return err == nil && n >= 1 && n <= 65535
}

var envName = regexp.MustCompile(`^[A-Za-z_][A-Za-z0-9_]*$`)

// secret judges a pair of keys that name where a secret is kept.
func (c *checker) secret(path, what, env, file string) {
	if env != "" && file != "" {
		c.wrong(path+"."+what+"_file", nil, "give %s_env or %s_file, not both", what, what)
	}
	if env != "" && !envName.MatchString(env) {
		c.wrong(path+"."+what+"_env", nil, "must be the name of an environment variable, not the %s itself", what)
	}
}

// source judges one subscription and returns what it feeds.
func (c *checker) source(s *logbook.MQTTSource, path string) feeder {
	if why := topicFilter(s.Topic); s.Topic != "" && why != "" {
		c.wrong(path+".topic", s.Topic, "%s", why)
	}
	if s.QoS != 1 {
		c.wrong(path+".qos", s.QoS, "must be 1: with 0 readings are lost on the way, and 2 gains nothing here")
	}
	if s.Payload == "" {
		c.wrong(path+".payload", nil, "is missing: one of senml, json, number, line-protocol")
	} else if c.oneOf(path+".payload", s.Payload, "senml", "json", "number", "line-protocol") {
		c.payloadKeys(s, path)
	}
	if s.TimeUnit != "" {
		c.oneOf(path+".time_unit", s.TimeUnit, "s", "ms", "us", "ns")
	}
	f := c.template(s, path)
	c.unitFits(path+".unit", s.Unit, f.channel)
	return f
}

// payloadKeys refuses keys that the payload cannot use and misses those it needs.
func (c *checker) payloadKeys(s *logbook.MQTTSource, path string) {
	uses := map[string][]string{
		"json": {"value", "time", "time_unit", "sequence", "channel_path"}, "line-protocol": {"value", "time_unit"},
	}[s.Payload]
	for _, k := range []string{"value", "time", "time_unit", "sequence", "channel_path"} {
		if at := path + "." + k; c.given(at) && !slices.Contains(uses, k) {
			c.wrong(at, nil, "a payload of %s has no use for this key", s.Payload)
		}
	}
	if s.Payload == "json" && s.Value == "" {
		c.wrong(path+".value", nil, "is missing: the path of the value in the JSON object, dots between steps")
	}
	if s.Payload == "json" && c.given(path+".time_unit") && s.Time == "" {
		c.wrong(path+".time_unit", s.TimeUnit, "without time there is nothing to read in this unit")
	}
}

// topicFilter says what is wrong with an MQTT topic filter (MQTT 3.1.1, section
// 4.7), or "".
func topicFilter(f string) string {
	if len(f) > 65535 {
		return "is longer than 65535 bytes"
	}
	if strings.HasPrefix(f, "$share/") {
		return "a shared subscription would give only part of the readings: write the topic itself"
	}
	levels := strings.Split(f, "/")
	for i, l := range levels {
		if strings.Contains(l, "#") && (l != "#" || i != len(levels)-1) {
			return "# stands alone as the last level of a topic filter"
		}
		if strings.Contains(l, "+") && l != "+" {
			return "+ stands alone in its level of a topic filter"
		}
	}
	return ""
}

// template judges how a channel's name is made from topic and payload.
func (c *checker) template(s *logbook.MQTTSource, path string) feeder {
	at := path + ".channel"
	t, err := s.Template()
	if err != nil {
		c.wrong(at, shown(s.Channel), "%v", err)
		return feeder{path: at}
	}
	if wild := strings.ContainsAny(s.Topic, "+#"); wild && !strings.Contains(s.Channel, "{") && (s.Payload == logbook.PayloadNumber || s.Payload == logbook.PayloadJSON) {
		c.warn(at, s.Channel, "every topic under %q feeds this one channel: put a topic level into its name, for example {2}", s.Topic)
	}
	if name, sure := t.Sure(); sure {
		return feeder{path: at, channel: name}
	}
	return feeder{path: at, pattern: &t}
}

// shown is s to be shown with a fault; nothing when it is empty.
func shown(s string) any {
	if s == "" {
		return nil
	}
	return s
}

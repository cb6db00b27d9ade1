package configs

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"undersheet/logbook"

	"github.com/stretchr/testify/require"
)

// small is the smallest site with a gate and a line; its lines are counted on.
const small = `site: S
timezone: Africa/Nairobi
limits: GB
emergency: call
channels:
  top:  {unit: ppm, range: 2000}
  door: {unit: ppm, range: 20, detection_limit: 0.03}
stores:
  - name: Store 1
    air: [{name: door, channel: door, where: door}]
    stacks:
      - name: A
        lines: [{name: top, channel: top}]
`

// modbusPart and mqttPart are instruments for small.
const (
	modbusPart = `instruments:
  - name: rack
    modbus:
      port: /dev/ttyS0
      units:
        - address: 1
          registers:
            - {channel: top, register: 0}
            - {channel: door, register: 1, scale: 0.01}
`

	mqttPart = `instruments:
  - name: broker
    mqtt:
      broker: tcp://localhost:1883
      sources:
        - {topic: a/+/b, payload: number, channel: "{2}"}
`
)

// TestExample: what is shipped as an example is without fault, and says so.
func TestExample(t *testing.T) {
	site, warnings, err := Parse(exampleName, Example())
	require.NoError(t, err)
	require.Empty(t, warnings)
	require.Len(t, site.Stores, 2)
	require.Len(t, site.Channels, 23)
	for _, st := range site.Stores {
		for _, k := range st.Stacks {
			require.Len(t, k.Lines, 3)
		}
	}
	kept := Example()
	kept[0] = 'x'
	require.NotEqual(t, kept, Example(), "callers get copies")
}

// TestSmall: every other test starts from a site without fault.
func TestSmall(t *testing.T) {
	for name, text := range map[string]string{"small": small, "modbus": small + modbusPart, "mqtt": small + mqttPart} {
		site, warnings, err := Parse("s.yaml", []byte(text))
		require.NoError(t, err, name)
		require.NotNil(t, site)
		require.Len(t, warnings, 1, "%s: %v", name, warnings)
		require.Contains(t, warnings[0].Rule, "nobody has an e-mail address")
	}
}

// faultCases are site files with one thing wrong: what is put in place of what,
// and the fault's place, path and part of its rule.
var faultCases = []struct {
	name, old, new string
	want           string // "line:column: path: " and the rule's beginning
	got            string // what the remark shows
}{

	{"unknown key", "limits: GB", "limit: GB", "3:1: limit: unknown key; known here: alarms, ", ""},
	{"unknown key deep", "where: door}", "were: door}", "10:39: stores[0].air[0].were: unknown key; known here: channel, limit, name, where", ""},
	{"number for text", "name: A", "name: 7", `12:15: stores[0].stacks[0].name: wants text: write it in quotes ("7")`, ""},
	{"text for number", "range: 2000", "range: wide", "6:28: channels.top.range: wants a plain number", `"wide"`},
	{"octal", "range: 2000", "range: 02000", "6:28: channels.top.range: wants a plain number", `"02000"`},
	{"infinite", "range: 2000", "range: .inf", "6:28: channels.top.range: wants a plain number", `".inf"`},
	{"twice", "  door: {unit", "  top: {unit", "7:3: channels.top: this name stands twice: first in line 6", ""},
	{"syntax", "stores:", "stores", "8:1: not valid YAML: ", ""},
	{"anchor", "limits: GB", "limits: &x GB", "3:9: limits: anchors, aliases and tags", ""},
	{"no value", "limits: GB", "limits:", "3:8: limits: has no value", ""},
	{"line break", "emergency: call", `emergency: "a\nb"`, "4:12: emergency: holds a line break", `"a\nb"`},
	{"list for mapping", "channels:\n", "channels: []\nx:\n", "5:11: channels: wants keys with values", `"["`},
	{"zero", "range: 2000", "range: 0", "6:28: channels.top.range: 0 would mean the default", "0"},
	{"secret", "emergency: call", "mail: {host: m, from: a@b.c, password: hunter2}", "4:30: mail.password: secrets never stand in a site file: name an environment variable or a file (password_env, password_file)", ""},
	{"duration", "range: 2000", "range: 2000, every: 10", "6:41: channels.top.every: wants a duration", `"10"`},
	{"bad duration", "range: 2000", "range: 2000, every: 10 min", "6:41: channels.top.every: is no duration", `"10 min"`},
	{"timezone", "Africa/Nairobi", "Afrika/Nairobi", "2:11: timezone: is no IANA time zone", `"Afrika/Nairobi"`},
	{"local", "Africa/Nairobi", "Local", "2:11: timezone: is no IANA time zone", `"Local"`},
	{"no timezone", "timezone: Africa/Nairobi\n", "", "1:1: timezone: is missing", ""},
	{"country", "limits: GB", "limits: UK", "3:9: limits: the occupational limits of this country are not known", `"UK"`},
	{"unit", "unit: ppm, range: 2000", "unit: PPM, range: 2000", "6:16: channels.top.unit: must be one of ppm, ", `"PPM"`},
	{"no unit", "unit: ppm, range: 2000", "range: 2000", "6:3: channels.top.unit: is missing", ""},
	{"gas of no gas", "range: 2000", "range: 2000, gas: co2", "6:39: channels.top.gas: must be one of ph3", `"co2"`},
	{"negative range", "range: 2000", "range: -5", "6:28: channels.top.range: must be from 0.1 to 1e+06", "-5"},
	{"more than pure gas", "unit: ppm, range: 2000", "unit: g/m3, range: 2000", "6:29: channels.top.range: is more than pure gas holds", "2000"},
	{"half a position", "emergency: call", "position: {latitude: 37.0}", "4:1: position.longitude: is missing", ""},
	{"tab", "      - name: A", "\t- name: A", "12:1: not valid YAML: found character '\t' that cannot start any token (a tab): indent with spaces", ""},
	{"resolution", "range: 2000", "range: 2000, resolution: 5000", "6:46: channels.top.resolution: must be above 0 and below the range", "5000"},
	{"detection", "0.03", "30", "7:49: channels.door.detection_limit: must be above 0 and below the range", "30"},
	{"percent", "range: 2000", "range: 2000, accuracy: 5", "6:44: channels.top.accuracy: is a fraction", "5"},
	{"zero error", "range: 2000", "range: 2000, zero_error: -1", "6:46: channels.top.zero_error: must be from 0", "-1"},
	{"line without channel", "{name: top, channel: top}", "{name: top}", "13:17: stores[0].stacks[0].lines[0].channel: is missing: name the channel", ""},
	{"line length", "{name: top, channel: top}", "{name: top, channel: top, length_m: -3}", "13:53: stores[0].stacks[0].lines[0].length_m: must be the metres of tube from the sheet to the instrument, 0 to 2000", "-3"},
	{"unknown channel", "channel: top}", "channel: tap}", "13:38: stores[0].stacks[0].lines[0].channel: there is no channel of this name", `"tap"`},
	{"two lines", "{name: top, channel: top}", "{name: top, channel: top}, {name: low, channel: top}", "13:65: stores[0].stacks[0].lines[1].channel: this channel already feeds something in line 13", `"top"`},
	{"two names", "{name: top, channel: top}", "{name: top, channel: top}, {name: top, channel: low}", "13:51: stores[0].stacks[0].lines[1].name: another line has this name", `"top"`},
	{"where", "where: door", "where: hall", "10:46: stores[0].air[0].where: must be one of inside, door", `"hall"`},
	{"slow gate", "detection_limit: 0.03", "detection_limit: 0.03, every: 1h", "10:33: stores[0].air[0].channel: a reading every 1h is too seldom", `"door"`},
	{"two stacks", "      - name: A\n", "      - name: A\n      - name: A\n", "13:15: stores[0].stacks[1].name: another stack has this name: first in line 12", `"A"`},
	{"temperature", "name: A\n", "name: A\n        temperature: top\n", "13:22: stores[0].stacks[0].temperature: this channel already feeds something in line 14", `"top"`},
	{"loosened hours", "emergency: call", "protocols: {five-day: {hours: 100}}", "4:31: protocols.five-day.hours: a site may tighten a protocol, never loosen it: hours 100 is shorter than the 120 ", ""},
	{"loosened level", "emergency: call", "protocols: {mine: {base: eight-day, end_level: 0.05, end_level_unit: g/m3}}", "4:48: protocols.mine.end_level: a site may tighten a protocol, never loosen it: end_level 0.05 g/m3 is below the 38 ppm ", ""},
	{"loosened airing", "emergency: call", "protocols: {twice: {airing: 1h}}", "4:29: protocols.twice.airing: a site may tighten a protocol, never loosen it: airing 1h0m0s is shorter than the 2h0m0s ", ""},
	{"no base", "emergency: call", "protocols: {mine: {hours: 200}}", "4:13: protocols.mine.base: is missing: name the built-in protocol", ""},
	{"unknown base", "emergency: call", "protocols: {mine: {base: six-day}}", "4:26: protocols.mine.base: is no built-in protocol (eight-day, five-day, twice)", `"six-day"`},
	{"confirm", "emergency: call", "settings: {confirm_every: 48h}", "4:27: settings.confirm_every: must be from 1h to 24h", "48h"},
	{"mail", "emergency: call", "mail: {host: m.example, from: me, tls: none, user: u}", "4:31: mail.from: is no e-mail address", `"me"`},
	{"mail host", "emergency: call", "mail: {from: a@b.example}", "4:1: mail.host: is missing: the name of the mail server", ""},
	{"mail in the clear", "emergency: call", "mail: {host: m.example, from: a@b.example, tls: none}", "4:49: mail.tls: mail may go unprotected only to this machine", `"none"`},
	{"mail user", "emergency: call", "mail: {host: m.example, from: a@b.example, user: u}", "4:1: mail: user and password go together", ""},
	{"mail password itself", "emergency: call", "mail: {host: m.example, from: a@b.example, user: u, password_env: 'p w'}", "4:67: mail.password_env: must be the name of an environment variable, not the password itself", ""},
	{"person", "emergency: call", "people: [{name: P, email: 'P <p@b.example>'}]", "4:27: people[0].email: is no e-mail address", `"P <p@b.example>"`},
	{"priority", "emergency: call", "people: [{name: P, from: urgent}]", "4:26: people[0].from: must be one of low, medium, high", `"urgent"`},
	{"language", "emergency: call", "language: xx", "4:11: language: must be one of en, fr", `"xx"`},
	{"language of a person", "emergency: call", "people: [{name: P, language: French}]", "4:30: people[0].language: must be one of en, fr", `"French"`},
}

// instrumentCases are the same for instruments.
var instrumentCases = []struct{ name, part, old, new, want, got string }{
	{"both", modbusPart, "    modbus:\n", "    mqtt: {broker: tcp://h:1, sources: [{topic: t, payload: number, channel: c}]}\n    modbus:\n", "15:5: instruments[0]: an instrument is read in exactly one way", ""},
	{"address", modbusPart, "address: 1", "address: 248", "19:20: instruments[0].modbus.units[0].address: must be from 1 to 247", "248"},
	{"no address", modbusPart, "- address: 1", "- retries: 1", "19:11: instruments[0].modbus.units[0].address: is missing", ""},
	{"register", modbusPart, "register: 0", "register: 65536", "21:40: instruments[0].modbus.units[0].registers[0].register: must be from 0 to 65535", "65536"},
	{"wide register", modbusPart, "register: 0", "register: 65535, type: float32", "21:40: instruments[0].modbus.units[0].registers[0].register: must be from 0 to 65534", "65535"},
	{"no register", modbusPart, ", register: 0", "", "21:15: instruments[0].modbus.units[0].registers[0].register: is missing", ""},
	{"register twice", modbusPart, "register: 1", "register: 0", "22:41: instruments[0].modbus.units[0].registers[1].register: register 0 is already read for another channel in line 21", "0"},
	{"half a float", modbusPart, "register: 0", "register: 0, type: float32", "22:41: instruments[0].modbus.units[0].registers[1].register: register 1 is already read for another channel in line 21", "1"},
	{"type", modbusPart, "register: 0", "register: 0, type: double", "21:49: instruments[0].modbus.units[0].registers[0].type: must be one of int16", `"double"`},
	{"order", modbusPart, "register: 0", "register: 0, order: cdab", "21:50: instruments[0].modbus.units[0].registers[0].order: must be one of ab, ba", `"cdab"`},
	{"function", modbusPart, "register: 0", "register: 0, function: 6", "21:53: instruments[0].modbus.units[0].registers[0].function: must be from 3 to 4", "6"},
	{"unit", modbusPart, "register: 0", "register: 0, unit: C", "21:49: instruments[0].modbus.units[0].registers[0].unit: cannot be brought to ppm", `"C"`},
	{"fed twice", modbusPart, "channel: door", "channel: top", "22:25: instruments[0].modbus.units[0].registers[1].channel: this channel is already fed in line 21", `"top"`},
	{"fed unknown", modbusPart, "channel: door", "channel: dor", "22:25: instruments[0].modbus.units[0].registers[1].channel: there is no channel of this name", `"dor"`},
	{"stop bits", modbusPart, "      units", "      stop_bits: 3\n      units", "18:18: instruments[0].modbus.stop_bits: must be from 1 to 2", "3"},
	{"parity", modbusPart, "      units", "      parity: mark\n      units", "18:15: instruments[0].modbus.parity: must be one of none, even, odd", `"mark"`},
	{"broker", mqttPart, "tcp://localhost:1883", "localhost", "17:15: instruments[0].mqtt.broker: is no address of a broker", `"localhost"`},
	{"secret in broker", mqttPart, "tcp://localhost", "tcp://me:pw@localhost", "17:15: instruments[0].mqtt.broker: secrets never stand in a site file", ""},
	{"ca without tls", mqttPart, "      sources", "      ca: x\n      sources", "17:15: instruments[0].mqtt.broker: tcp is not encrypted", `"tcp://localhost:1883"`},
	{"password alone", mqttPart, "      sources", "      password_env: P\n      sources", "16:5: instruments[0].mqtt: a password without a user", ""},
	{"two users", mqttPart, "      sources", "      user_env: U\n      user_file: f\n      sources", "19:18: instruments[0].mqtt.user_file: give user_env or user_file, not both", ""},
	{"filter", mqttPart, "a/+/b", "a/x+/b", "19:19: instruments[0].mqtt.sources[0].topic: + stands alone in its level", `"a/x+/b"`},
	{"filter end", mqttPart, "a/+/b", "a/#/b", "19:19: instruments[0].mqtt.sources[0].topic: # stands alone as the last level", `"a/#/b"`},
	{"payload", mqttPart, "payload: number", "payload: xml", "19:35: instruments[0].mqtt.sources[0].payload: must be one of senml, json, number, line-protocol", `"xml"`},
	{"no path", mqttPart, "payload: number", "payload: json", "19:11: instruments[0].mqtt.sources[0].value: is missing", ""},
	{"idle key", mqttPart, "payload: number", "payload: number, value: x", "19:50: instruments[0].mqtt.sources[0].value: a payload of number has no use for this key", ""},
	{"qos", mqttPart, "payload: number", "payload: number, qos: 2", "19:48: instruments[0].mqtt.sources[0].qos: must be 1", "2"},
	{"level", mqttPart, "{2}", "{4}", "19:52: instruments[0].mqtt.sources[0].channel: has {4}, but the topic has 3 levels", `"{4}"`},
	{"part", mqttPart, "{2}", "{name}", "19:52: instruments[0].mqtt.sources[0].channel: has {name}, but a payload of number has no such part", `"{name}"`},
	{"fixed level", mqttPart, "{2}", "{1}", "19:52: instruments[0].mqtt.sources[0].channel: there is no channel of this name", `"a"`},
}

// swap puts new in the place of old, which must be there.
func swap(t testing.TB, text, old, repl string) string {
	require.Contains(t, text, old)
	return strings.Replace(text, old, repl, 1)
}

// requireFault: the wanted fault is among those told, with its place.
func requireFault(t *testing.T, text, want, got string) {
	site, _, err := Parse("s.yaml", []byte(text))
	require.Nil(t, site)
	var faults Faults
	require.ErrorAs(t, err, &faults)
	for _, f := range faults {
		if strings.HasPrefix(f.String(), "s.yaml:"+want) {
			require.Equal(t, got, f.Got)
			return
		}
	}
	t.Fatalf("want s.yaml:%s\nhave %v", want, err)
}

// TestFaults: each fault is found, where it stands, with what to do.
func TestFaults(t *testing.T) {
	for _, c := range faultCases {
		t.Run(c.name, func(t *testing.T) { requireFault(t, swap(t, small, c.old, c.new), c.want, c.got) })
	}
	for _, c := range instrumentCases {
		t.Run("instrument "+c.name, func(t *testing.T) { requireFault(t, small+swap(t, c.part, c.old, c.new), c.want, c.got) })
	}
}

// TestOneFaultIsOne: a single mistake is told once, not again by what hangs on it.
func TestOneFaultIsOne(t *testing.T) {
	for _, c := range faultCases {
		switch c.name {
		case "twice", "list for mapping", "two names", "no unit", "two stacks", "mail":
			continue // these honestly break more than one thing
		}
		_, _, err := Parse("s.yaml", []byte(swap(t, small, c.old, c.new)))
		require.Len(t, err, 1, "%s: %v", c.name, err)
	}
}

// TestAllFaultsAtOnce: one run tells them all, in the order of the lines.
func TestAllFaultsAtOnce(t *testing.T) {
	text := small
	for _, s := range [][2]string{{"Africa/Nairobi", "Nowhere"}, {"limits: GB", "limits: XX\nlimit: GB"}, {"range: 2000", "range: many"},
		{"channel: door, where", "chanel: door, where"}, {"{name: top, channel: top}", "{name: top}"}} {
		text = swap(t, text, s[0], s[1])
	}
	_, _, err := Parse("s.yaml", []byte(text))
	var faults Faults
	require.ErrorAs(t, err, &faults)
	var at []string
	for _, f := range faults {
		at = append(at, f.Path)
	}
	require.Equal(t, []string{"timezone", "limits", "limit", "channels.top.range", "stores[0].air[0].channel", "stores[0].air[0].chanel", "stores[0].stacks[0].lines[0].channel"}, at)
	require.Equal(t, len(faults), len(strings.Split(err.Error(), "\n")), "one fault a line")
}

// TestSecretsAreNotRepeated: what was written where a secret must not stand does
// not come back in a message.
func TestSecretsAreNotRepeated(t *testing.T) {
	for _, s := range []string{"mail: {host: m, from: a@b.c, password: hunter2}", "mail: {host: m, from: a@b.c, user: u, password_env: 'hunter2 '}",
		"mail: {host: m, from: a@b.c, user: u, password_env: 'hunter2!'}", "secret: {x: hunter2}"} {
		_, warnings, err := Parse("s.yaml", []byte(swap(t, small, "emergency: call", s)))
		require.Error(t, err)
		require.NotContains(t, err.Error(), "hunter2", s)
		for _, w := range warnings {
			require.NotContains(t, w.String(), "hunter2")
		}
	}
}

// TestWarnings: what is allowed but will not end well.
func TestWarnings(t *testing.T) {
	for _, c := range []struct{ name, old, new, want string }{
		{"no country", "limits: GB\n", "", "1:1: limits: no country of the occupational limits is set: 0.3 ppm holds"},
		{"coarse", "detection_limit: 0.03", "detection_limit: 0.1", "10:33: stores[0].air[0].channel: its detection limit of 0.1 ppm is not below the limit of 0.1 ppm (EH40/2005"},
		{"coarse in mass", "unit: ppm, range: 20, detection_limit: 0.03", "unit: mg/m3, range: 20, detection_limit: 0.14", "10:33: stores[0].air[0].channel: its detection limit of 0.101 ppm is not below the limit of 0.1 ppm"},
		{"zero error", "detection_limit: 0.03", "detection_limit: 0.03, zero_error: 0.2", "10:33: stores[0].air[0].channel: its zero error of 0.2 ppm is not below"},
		{"later limit", "limits: GB", "limits: AU", ""},
		{"assumed", ", detection_limit: 0.03", "", "10:33: stores[0].air[0].channel: the channel states no detection_limit, so 0.01 ppm is assumed"},
		{"no gate", "where: door", "where: office", `9:5: stores[0]: store "Store 1" has no inside or door air point: its gate can never open`},
		{"no lines", "        lines: [{name: top, channel: top}]\n", "", `12:9: stores[0].stacks[0]: stack "A" has no sampling lines`},
		{"unused", "{name: top, channel: top}", "", "6:3: channels.top: feeds no line and no air point"},
		{"cannot show the end level", "range: 2000", "range: 150", "13:38: stores[0].stacks[0].lines[0].channel: its range of 150 ppm does not reach above 150 ppm, the end level of five-day"},
		{"whose list", "emergency: call", "unsuited: [gravel]", "4:1: unsuited: a list of one's own without unsuited_source: say who says so"},
		{"nobody hears of a line", "emergency: call", "mail: {host: m, from: a@b.example}\npeople: [{name: P, email: p@b.example, from: high}]", "5:1: people: everybody has from: high, so nobody is told of what is of medium priority"},
		{"no range", "{unit: ppm, range: 2000}", "{unit: ppm}", "6:3: channels.top: range is not stated"},
		{"withholding", "emergency: call", "settings: {withholding: 24h}", "4:25: settings.withholding: is shorter than the usual 48h"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, warnings, err := Parse("s.yaml", []byte(swap(t, small, c.old, c.new)))
			require.NoError(t, err)
			var all []string
			for _, w := range warnings {
				all = append(all, w.String())
			}
			if c.want != "" {
				require.Contains(t, strings.Join(all, "\n"), "s.yaml:"+c.want)
			}
		})
	}
}

// TestWarningsOfTwoThings: those that need two changes to show.
func TestWarningsOfTwoThings(t *testing.T) {
	for want, text := range map[string]string{
		"not below the limit of 0.05 ppm from 2026-12-01 on":                                             swap(t, swap(t, small, "limits: GB", "limits: AU"), "0.03", "0.06"),
		"6:3: channels.top: no instrument feeds this channel":                                            small + swap(t, modbusPart, "            - {channel: top, register: 0}\n", ""),
		"19:52: instruments[0].mqtt.sources[0].channel: no channel of this site has a name of this form": small + swap(t, mqttPart, "{2}", "x-{2}"),
		`17:15: instruments[0].mqtt.broker: the password crosses the network in the clear`: small + swap(t, mqttPart,
			"tcp://localhost:1883\n", "tcp://b.example:1883\n      user_env: U\n      password_env: P\n"),
		"register: is taken as an address on the wire, from 0: if it is the number in the instrument's papers, write 12 (got 30013)": small + swap(t, modbusPart, "top, register: 0", "top, register: 30013"),
		"write 0 (got 40001)": small + swap(t, modbusPart, "top, register: 0", "top, function: 3, register: 40001"),
		"people: there is a modem (key sms), and nobody has a phone": small + "mail: {host: m.example, from: a@b.example}\nsms: {port: /dev/ttyACM0}\npeople: [{name: P, email: p@b.example}]\n",
		"people: there is no mail server":                            small + "people: [{name: P, email: p@b.example}]\n",
		"people[0]: P has no email and no phone and is told nothing": small + "people: [{name: P}]\n",
	} {
		_, warnings, err := Parse("s.yaml", []byte(text))
		require.NoError(t, err)
		var all []string
		for _, w := range warnings {
			all = append(all, w.String())
		}
		require.Contains(t, strings.Join(all, "\n"), want)
	}
}

// TestTemperature: a stack's temperature channel is in °C and its own.
func TestTemperature(t *testing.T) {
	with := func(unit, channel string) string {
		return swap(t, swap(t, small, "channels:\n", "channels:\n  grain: {unit: "+unit+"}\n"), "name: A\n", "name: A\n        temperature: "+channel+"\n")
	}
	requireSettled(t, []byte(with("C", "grain")))
	_, _, err := Parse("s.yaml", []byte(with("C", "grain")))
	require.NoError(t, err)
	requireFault(t, with("'%RH'", "grain"), "14:22: stores[0].stacks[0].temperature: this channel is in %RH: a temperature wants one in C", `"grain"`)
	requireFault(t, with("C", "grian"), "14:22: stores[0].stacks[0].temperature: there is no channel of this name", `"grian"`)
}

// TestLoad: a file that is missing, too large, not text, or empty.
func TestLoad(t *testing.T) {
	dir := t.TempDir()
	_, _, err := Load(filepath.Join(dir, "none.yaml"))
	require.ErrorIs(t, err, os.ErrNotExist)
	for name, c := range map[string]struct{ text, want string }{
		"large": {strings.Repeat("#", maxSize+1), ":1:1: the file is larger than"}, "latin1": {"site: \xe9", ":1:1: the file is not UTF-8"},
		"empty": {"", ":1:1: the file is empty"}, "comment": {"# nothing\n", ":1:1: the file is empty"},
		"two": {"site: a\n---\nsite: b\n", ":3:5: a site file is one YAML document"}, "text": {"hello", ":1:1: wants keys with values"},
	} {
		path := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(path, []byte(c.text), 0o600))
		site, _, err := Load(path)
		require.Nil(t, site)
		require.ErrorContains(t, err, path+c.want)
	}
	path := filepath.Join(dir, "good.yaml")
	require.NoError(t, os.WriteFile(path, Example(), 0o600))
	site, _, err := Load(path)
	require.NoError(t, err)
	require.Equal(t, "Kivuma depot", site.Name)
}

// FuzzParse: an error comes without a site, a site survives its JSON form and a
// second normalising.
func FuzzParse(f *testing.F) {
	f.Add(Example())
	for _, c := range faultCases {
		f.Add([]byte(strings.Replace(small, c.old, c.new, 1)))
	}
	for _, c := range instrumentCases {
		f.Add([]byte(small + c.part))
		f.Add([]byte(small + strings.Replace(c.part, c.old, c.new, 1)))
	}
	for _, c := range wiredCases {
		f.Add([]byte(strings.Replace(wired, c.old, c.new, 1)))
	}
	f.Fuzz(func(t *testing.T, text []byte) { requireSettled(t, text) })
}

// Who has no language of their own is written to in the site's; a logbook of before
// there were languages speaks English.
func TestLanguages(t *testing.T) {
	site := logbook.Site{Language: "fr", People: []logbook.Person{{Name: "P"}, {Name: "Q", Language: "en"}}}
	require.Equal(t, "fr", site.Reads(site.People[0]))
	normalise(&site)
	require.Equal(t, []string{"fr", "en"}, []string{site.People[0].Language, site.People[1].Language})
	site = logbook.Site{People: []logbook.Person{{Name: "P"}}}
	require.Equal(t, "en", site.Reads(site.People[0]))
	normalise(&site)
	require.Equal(t, "en", site.Language)
	require.Equal(t, "en", (*logbook.Site)(nil).Speaks(), "before a site is known")
}

// TestByteOrderMark: an editor's mark before the first letter is none of the file.
func TestByteOrderMark(t *testing.T) {
	_, _, err := Parse("s.yaml", []byte("\uFEFF"+small))
	require.NoError(t, err)
}

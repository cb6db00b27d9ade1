package configs

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// wired is a site with everything beside gas and every way out; its lines are counted on.
const wired = `site: S
timezone: Africa/Nairobi
limits: GB
emergency: call
channels:
  top:  {unit: ppm, range: 2000}
  door: {unit: ppm, range: 20, detection_limit: 0.03}
  contact: {unit: state}
  wet: {unit: state}
  mains: {unit: state}
  flow: {unit: L/min}
  speed: {unit: m/s}
  vane: {unit: deg}
stores:
  - name: Store 1
    air: [{name: door, channel: door, where: door}]
    doors: [{name: east door, channel: contact}]
    water: [{name: floor, channel: wet, inverted: true}]
    stacks:
      - name: A
        lines: [{name: top, channel: top}]
mains: [{name: mains, channel: mains}]
pumps: [{name: pump, channel: flow, flow: 1.2, draws: [top, door], returns: outside}]
wind: {speed: speed, direction: vane}
alarms: {air-gas: {on_delay: 30s}, line-silent: {on_delay: 1h, off_delay: 10m}}
settings: {night: {from: "21:30", to: "05:45"}}
sms: {port: /dev/ttyACM0, pin_file: pin}
webhooks: [{name: duty room, url: "https://hook.example/in", secret_env: HOOK}]
beacon: {broker: "tcp://localhost:1883"}
forward: [{name: file, file: out.lp}, {name: server, url: "http://127.0.0.1:8086/write?db=d"}]
people: [{name: P, phone: "+254700000001"}]
instruments:
  - name: printer
    frames:
      port: /dev/ttyS1
      pattern: '^(?P<channel>\w+) (?P<value>[-0-9.]+) (?P<unit>\w+)( (?P<status>\w+))?$'
      channels: {T: top, D: door, E: contact, W: wet, M: mains, F: flow, S: speed, V: vane}
      units: {PPM: ppm}
      sound: [OK, RUN]
`

// wiredCases are wired with one thing wrong.
var wiredCases = []struct{ name, old, new, want, got string }{
	{"door unit", "channel: contact}]", "channel: vane}]", "17:40: stores[0].doors[0].channel: this channel is in deg: a door wants one in state", `"vane"`},
	{"door twice", "channel: wet, ", "channel: contact, ", "18:36: stores[0].water[0].channel: this channel already feeds something in line 17", `"contact"`},
	{"mains unknown", "[{name: mains, channel: mains}]", "[{name: mains, channel: main}]", "22:32: mains[0].channel: there is no channel of this name", `"main"`},
	{"room", "returns: outside", "returns: room", "23:77: pumps[0].returns: a pump that gives back into a room fills it with phosphine and poisons whoever sits there", `"room"`},
	{"returns", "returns: outside", "returns: sky", "23:77: pumps[0].returns: must be one of stack, outside", `"sky"`},
	{"no returns", ", returns: outside", "", "23:9: pumps[0].returns: is missing", ""},
	{"no flow", "flow: 1.2, ", "", "23:9: pumps[0].flow: is missing", ""},
	{"least", "flow: 1.2", "flow: 1.2, least: 2", "23:55: pumps[0].least: must be above 0 and below the flow (1.2 L/min)", "2"},
	{"negative least", "flow: 1.2", "flow: 1.2, least: -1", "23:55: pumps[0].least: must be above 0 and below the flow (1.2 L/min)", "-1"},
	{"draws nothing", "draws: [top, door], ", "", "23:9: pumps[0].draws: is missing", ""},
	{"draws wind", "[top, door]", "[top, speed]", "23:61: pumps[0].draws[1]: this channel is in m/s: a pump draws samples of gas", `"speed"`},
	{"draws twice", "[top, door]", "[top, top]", "23:61: pumps[0].draws[1]: this channel is already drawn in line 23", `"top"`},
	{"wind", "direction: vane", "direction: mains", "24:33: wind.direction: this channel already feeds something in line 22", `"mains"`},
	{"slow life", "on_delay: 30s", "on_delay: 10m", "25:30: alarms.air-gas.on_delay: must be from 1s to 2m", "10m"},
	{"no such alarm", "line-silent:", "leak:", "25:36: alarms.leak: there is no alarm of this name with delays of its own; known here: air-gas, ", ""},
	{"night", `"21:30"`, `"9 pm"`, "26:26: settings.night.from: is no time of day", `"9 pm"`},
	{"no night", `"21:30"`, `"05:45"`, "26:12: settings.night: begins and ends at the same time", ""},
	{"night by day", `{from: "21:30", to: "05:45"}`, `{from: "06:00", to: "20:00"}`, "26:12: settings.night: must hold midnight and not noon", ""},
	{"night in the evening", `"05:45"`, `"23:45"`, "26:12: settings.night: must hold midnight and not noon", ""},
	{"modem port", "/dev/ttyACM0", "/dev/ttyS1", "27:13: sms.port: this port is already used in line 35", `"/dev/ttyS1"`},
	{"modem mode", "pin_file: pin", "mode: morse", "27:33: sms.mode: must be one of pdu, text", `"morse"`},
	{"pin itself", "pin_file: pin", "pin_env: '1234'", "27:36: sms.pin_env: must be the name of an environment variable, not the pin itself", ""},
	{"pin in the open", "pin_file: pin", "pin: '1234'", "27:27: sms.pin: secrets never stand in a site file: name an environment variable or a file (pin_env, pin_file)", ""},
	{"centre", "pin_file: pin", "centre: '0700'", "27:35: sms.centre: is no number of a service centre", `"0700"`},
	{"hook in the clear", "https://hook.example", "http://hook.example", "28:35: webhooks[0].url: would cross the network in the clear", `"http://hook.example/in"`},
	{"hook with a secret", "https://hook.example", "https://me:pw@hook.example", "28:35: webhooks[0].url: secrets never stand in a site file", ""},
	{"unsigned hook", ", secret_env: HOOK", "", "28:12: webhooks[0]: has no secret", ""},
	{"beacon topic", `1883"}`, `1883", topic: "a/+"}`, "29:49: beacon.topic: is published to, so it has no + and no #", `"a/+"`},
	{"beacon broker", "tcp://localhost", "udp://localhost", "29:18: beacon.broker: is no address of a broker", `"udp://localhost:1883"`},
	{"precision", "write?db=d", "write?db=d&precision=u", "30:59: forward[1].url: lines have nanoseconds", `"u"`},
	{"token in a query", "write?db=d", "write?db=d&token=abc", "30:59: forward[1].url: secrets never stand in a site file", ""},
	{"two places", "file: out.lp", `file: out.lp, url: "http://127.0.0.1/"`, "30:11: forward[0]: goes to exactly one place", ""},
	{"logbook overwritten", `forward: [{name: file, file: out.lp}, {`, "logbook: d.db\nforward: [{name: file, file: ./d.db}, {", "31:30: forward[0].file: is the logbook itself", `"./d.db"`},
	{"phone", "+254700000001", "0700 000", "31:27: people[0].phone: is no number for an SMS", `"0700 000"`},
	{"pattern", `\w+) (?P<value>`, `\w+( (?P<value>`, "36:16: instruments[0].frames.pattern: is no regular expression (RE2): ", `"^(?P<channel>\\w+( (?P<value>[-0-9.]+) (?P<unit>\\w+)( (?P<sta…"`},
	{"no value group", "P<value>", "P<figure>", `36:16: instruments[0].frames.pattern: has a group "figure": want value, channel, unit or status`, `"^(?P<channel>\\w+) (?P<figure>[-0-9.]+) (?P<unit>\\w+)( (?P<st…"`},
	{"no group for units", "(?P<unit>\\w+)", "\\w+", "38:7: instruments[0].frames.units: the pattern has no group unit", ""},
	{"frame unit", "{PPM: ppm}", "{PPM: parts}", "38:20: instruments[0].frames.units.PPM: must be one of ppm", `"parts"`},
	{"frame channel", "T: top", "T: tip", "37:21: instruments[0].frames.channels.T: there is no channel of this name", `"tip"`},
	{"channel and group", "      units:", "      channel: top\n      units:", "38:16: instruments[0].frames.channel: the pattern's group channel gives the channel", `"top"`},
	{"fits nothing", "'^(?P<channel>\\w+) (?P<value>[-0-9.]+) (?P<unit>\\w+)( (?P<status>\\w+))?$'", "'(?P<channel>\\w*) ?(?P<value>[0-9.]*)(?P<unit>)(?P<status>)'", "34:5: instruments[0].frames: ", ""},
	{"data bits", "      units:", "      data_bits: 9\n      units:", "38:18: instruments[0].frames.data_bits: must be from 7 to 8", "9"},
	{"line end", "      units:", "      end: crlf\n      units:", "38:12: instruments[0].frames.end: must be one of lf, cr", `"crlf"`},
}

// TestWired: the other tests start from a site without fault or warning.
func TestWired(t *testing.T) {
	site, warnings, err := Parse("s.yaml", []byte(wired))
	require.NoError(t, err)
	require.Empty(t, warnings)
	require.Equal(t, 0.6, site.Pumps[0].Least)
	require.Equal(t, []any{115200, "pdu"}, []any{site.SMS.Baud, site.SMS.Mode})
	require.Equal(t, []any{"undersheet-s-beacon", "undersheet/s"}, []any{site.Beacon.ClientID, site.Beacon.Topic})
	f := site.Instruments[0].Frames
	require.Equal(t, []any{9600, 8, "none", 1, "lf"}, []any{f.Baud, f.DataBits, f.Parity, f.StopBits, f.End})
	requireSettled(t, []byte(wired))
}

// TestWiredFaults: each fault is found, where it stands, with what to do.
func TestWiredFaults(t *testing.T) {
	for _, c := range wiredCases {
		t.Run(c.name, func(t *testing.T) { requireFault(t, swap(t, wired, c.old, c.new), c.want, c.got) })
	}
}

// TestUnreachable: people whom nothing can reach are named.
func TestUnreachable(t *testing.T) {
	for _, c := range []struct{ old, new, want string }{
		{"sms: {port: /dev/ttyACM0, pin_file: pin}\n", "", "P has only a phone, and there is no modem"},
		{`phone: "+254700000001"`, "email: p@b.example", "P has only an e-mail address, and there is no mail server"},
		{`, phone: "+254700000001"`, "", "P has no email and no phone and is told nothing"},
	} {
		_, warnings, err := Parse("s.yaml", []byte(swap(t, wired, c.old, c.new)))
		require.NoError(t, err)
		var all []string
		for _, w := range warnings {
			all = append(all, w.Rule)
		}
		require.Contains(t, strings.Join(all, "\n"), c.want)
	}
}

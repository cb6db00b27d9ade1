package web

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/ingest"
	"undersheet/logbook"
	"undersheet/rules"
	"undersheet/rules/exposure"
	"undersheet/rules/people"
	"undersheet/rules/proof"
	"undersheet/sensor"
)

// The page of instruments says of each channel who reads it, how it stands and
// whether its line was proved.
func TestInstrumentsPage(t *testing.T) {
	f := invented()
	f.view.Config.Instruments = []logbook.Instrument{
		{Name: "rack", Modbus: &logbook.Modbus{Port: "/dev/ttyS9", Units: []logbook.ModbusUnit{{Registers: []logbook.ModbusRegister{{Channel: "door"}}}}}},
		{Name: "pump house", Frames: &logbook.Frames{Port: "/dev/ttyS8", Channels: map[string]string{"1": "b-north top"}}},
		{Name: "gateway", MQTT: &logbook.MQTT{Broker: "tcp://127.0.0.1:1883"}}}
	f.view.Config.Channels = map[string]logbook.Channel{"door": {Unit: logbook.PPM, Range: 20, DetectionLimit: 0.02}}
	f.view.Stores[0].Air[0].Proved = &proof.Proof{At: logbook.At(now), By: "Ivo Pell", OK: true}
	f.view.Stores[0].Stacks[0].Lines[0].Proved = &proof.Proof{At: logbook.At(now), By: "Ivo Pell", Why: []string{"not-seen"}}
	f.view.Channels = []rules.ChannelView{{Name: "b-north top", Instrument: "gateway", Feeds: "B north top", Last: sample(271, 4*time.Minute, "silent"), UsualSeconds: 60},
		{Name: "door", Instrument: "gateway", Feeds: "Long Store door", Last: sample(0.02, time.Minute, "ok")}, {Name: "spare", Instrument: "gateway", Last: rules.Sample{State: "none"}}}
	in := intake{ingest.Stats{Instruments: []ingest.Instrument{{Name: "rack", Readings: 17, Last: now, Down: []sensor.Status{{Unit: "unit 7", Detail: "no answer within 300ms"}}}}}}
	w := get(f.handler(Options{Intake: in}), "/instruments")
	p := parsed(t, w.Body.String())
	for _, want := range []string{"rack Modbus RTU on /dev/ttyS9 Does not answer unit 7: no answer within 300ms", "gateway MQTT, tcp://127.0.0.1:1883 Nothing read since the start", "b-north top pump house B north top silent 271 ppm 4 min 1 min NOT GOOD (its channel did not answer alone)",
		"door rack Long Store door 0.02 ppm 1 min to 20 ppm, from 0.02 ppm good, Wed 6 May 2026 17:00, Ivo Pell prove", "spare gateway nothing not read yet —"} {
		require.Contains(t, p.text, want)
	}
	require.Contains(t, p.links, "/act/line-proved?channel=door&point=door&store=Long+Store")
	french := strings.ReplaceAll(parsed(t, get(f.handler(Options{Intake: in}), "/instruments?lang=fr").Body.String()).text, "\u00a0", " ")
	require.Contains(t, french, "appareil 7 : pas de réponse en 300ms", "in the reader's language")
	require.NotContains(t, french, "no answer")
}

// The store's page says what protection the live air allows; while the watch does
// not keep up, and for air that is not known, nothing less than self-contained.
// The steps are those of the NIOSH Pocket Guide, npgd0505.
func TestStorePageSaysWhatProtectionTheAirAllows(t *testing.T) {
	f := invented()
	s := &f.view.Stores[0]
	s.Protection = rules.ProtectionView{Step: exposure.Protection(4.2, true), Known: true, UpperPPM: 4.2, Point: "door"}
	s.Masked = people.Inside{{Name: "Amal Quint", Since: logbook.At(now.Add(-12 * time.Minute))}}
	s.Doors = []rules.ContactView{{Name: "east", Known: true, On: true, Since: logbook.At(now)}, {Name: "west"}}
	f.view.Mains = []rules.ContactView{{Name: "relay", Known: true, Last: sample(0, time.Hour, "silent")}}
	f.view.Pumps = []rules.PumpView{{Name: "pump 1", State: rules.PumpOff}, {Name: "pump 2", State: "dreaming"}}
	f.view.Wind = &rules.WindView{Speed: rules.Sample{PPM: 3.5, State: "ok"}, Direction: rules.Sample{PPM: -46, State: "ok"}}
	h := f.handler(Options{})
	text := func() string { return parsed(t, get(h, "/store/Long%20Store").Body.String()).text }
	for _, want := range []string{"instrument's error on top Door 0.02, up to 0.042 ppm; limit 0.1 ppm", "fine enough Door read 1 min ago", "The air at door may hold 4.2 ppm. Up to 7.5 ppm the least is an assigned protection factor of 25.", "NIOSH Pocket Guide", "Amal Quint since Wed 6 May 2026 16:48 (12 min)",
		"Door east open since Wed 6 May 2026 17:00", "Door west not read yet", "Power relay LOST — silent, so not known now", "Pump pump 1 OFF", "Pump pump 2 dreaming", "Wind 3.5 m/s, from north-west (-46°)"} {
		require.Contains(t, text(), want)
	}
	s.Protection = rules.ProtectionView{Step: exposure.Protection(60, true), Known: true, UpperPPM: 60, Point: "door"}
	require.Contains(t, text(), "The air at door may hold 60 ppm: nothing less than a self-contained breathing apparatus with a full facepiece")
	f.status.Shut = "catching-up"
	require.Contains(t, text(), "The air at door is not known: nothing less than a self-contained")
	require.Contains(t, text(), "Not known Nobody is inside by masked entry")
	require.NotContains(t, text(), "✓")
}

// Alarms that nobody took charge of can be acknowledged; the others say by whom.
func TestAlarmsPage(t *testing.T) {
	f := invented()
	f.view.Alarms[0].Acknowledged, f.view.Alarms[0].By = logbook.At(now), "Ivo Pell"
	f.view.Alarms[1].Alarm.Also = []string{"end-level-at-risk", "line-silent A top"}
	h := f.handler(Options{})
	p := parsed(t, get(h, "/alarms").Body.String())
	require.Contains(t, p.text, "acknowledged by Ivo Pell")
	require.Contains(t, p.text, "speaks also for: end level at risk, line silent A top")
	var ways []string
	for _, l := range p.links {
		if strings.HasPrefix(l, "/act/") {
			ways = append(ways, l)
		}
	}
	require.Equal(t, []string{"/act", "/act/alarm-acknowledged?alarm=leak&line=north+top&stack=B&store=Long+Store"}, append([]string{"/act"}, ways...))
	body := get(h, ways[0]).Body.String()
	require.Contains(t, body, `<option value="alarm=leak&amp;line=north&#43;top&amp;stack=B&amp;store=Long&#43;Store" selected>`)
}

// An average over 8 hours of which minutes were read is no average yet: unread time adds
// nothing to it (29 CFR 1910.1000(d)(1)), so that it is at least what is shown.
func TestAverageOfAnUnreadShift(t *testing.T) {
	f := invented()
	air := &f.view.Stores[0].Air[0]
	for read, want := range map[float64]string{0.42: "≥ 0.011", 7.9: "0.011"} {
		air.Read8h = read
		page := parsed(t, get(f.handler(Options{}), "/store/Long%20Store").Body.String()).text
		require.Contains(t, page, " "+want+" ppm over 8 hours.")
		require.Equal(t, strings.HasPrefix(want, "≥"), strings.Contains(page, "≥ 0.011"))
	}
}

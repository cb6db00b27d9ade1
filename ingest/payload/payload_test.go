package payload

import (
	"bytes"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/sensor"
)

// cases of the decoders that are no SenML; fault empty means that all is read.
var cases = map[string]struct {
	source  logbook.MQTTSource
	topic   string
	payload string
	want    []sensor.Reading
	fault   string
}{
	"number":            {number, "depot/b/top", " 412.5\n", []sensor.Reading{{Channel: "b-top", Value: 412.5, Unit: "ppm"}}, ""},
	"negative number":   {number, "depot/b/top", "-.5e1", []sensor.Reading{{Channel: "b-top", Value: -5, Unit: "ppm"}}, ""},
	"comma":             {number, "depot/b/top", "412,5", nil, "not a comma"},
	"number with unit":  {number, "depot/b/top", "412 ppm", nil, "nothing else"},
	"hexadecimal":       {number, "depot/b/top", "0x1p4", nil, "is no number"},
	"NaN":               {number, "depot/b/top", "NaN", nil, "is no number"},
	"infinity":          {number, "depot/b/top", "-inf", nil, "is no number"},
	"too large":         {number, "depot/b/top", "1e999", nil, "too large"},
	"empty":             {number, "depot/b/top", "", nil, "is empty"},
	"binary":            {number, "depot/b/top", "\x00\xff", nil, "is no number"},
	"short topic":       {number, "depot/b", "1", nil, "needs topic level 3"},
	"empty topic level": {logbook.MQTTSource{Topic: "+/+", Payload: Number, Channel: "{2}"}, "a/", "1", nil, "cannot be the name"},

	"JSON":            {jsonSource, "d/7", `{"ppm":{"v":[1,412]},"at":"2026-03-01T15:00:00.25+01:00","n":7,"tap":"top"}`, []sensor.Reading{{Channel: "7-top", Value: 412, ID: "d/7#7", Time: arrival.Add(250 * time.Millisecond)}}, ""},
	"JSON, number":    {jsonSource, "d/7", `{"ppm":{"v":[1,4.12e2]},"at":1772373600,"n":"x","tap":2}`, []sensor.Reading{{Channel: "7-2", Value: 412, ID: "d/7#x", Time: arrival}}, ""},
	"JSON, fraction":  {jsonSource, "d/7", `{"ppm":{"v":[1,0]},"at":1772373600.5,"n":"x","tap":2}`, []sensor.Reading{{Channel: "7-2", ID: "d/7#x", Time: arrival.Add(time.Second / 2)}}, ""},
	"JSON, contact":   {jsonSource, "d/7", `{"ppm":{"v":[1,true]},"at":1772373600,"n":"x","tap":2}`, []sensor.Reading{{Channel: "7-2", Value: 1, ID: "d/7#x", Unit: "state", Time: arrival}}, ""},
	"JSON, ms":        {jsonIn("ms"), "d/7", `{"v":1,"at":1772373600250}`, []sensor.Reading{{Channel: "7", Value: 1, Time: arrival.Add(250 * time.Millisecond)}}, ""},
	"JSON, us":        {jsonIn("us"), "d/7", `{"v":1,"at":1772373600000007}`, []sensor.Reading{{Channel: "7", Value: 1, Time: arrival.Add(7 * time.Microsecond)}}, ""},
	"JSON, ns":        {jsonIn("ns"), "d/7", `{"v":1,"at":1772373600000007000}`, []sensor.Reading{{Channel: "7", Value: 1, Time: arrival.Add(7 * time.Microsecond)}}, ""},
	"JSON, next year": {jsonIn("s"), "d/7", `{"v":1,"at":1803909600}`, []sensor.Reading{{Channel: "7", Value: 1, Time: time.Unix(1803909600, 0).UTC()}}, ""},

	"JSON, wrong unit of time": {jsonIn("s"), "d/7", `{"v":1,"at":1772373600000}`, nil, "is its unit right?"},
	"JSON, clock never set":    {jsonIn("s"), "d/7", `{"v":1,"at":0}`, nil, "clock that was never set"},
	"JSON, no time":            {jsonIn("s"), "d/7", `{"v":1}`, nil, `nothing at "at"`},
	"JSON, local time":         {jsonIn("s"), "d/7", `{"v":1,"at":"01.03.2026 14:00"}`, nil, "not RFC 3339"},
	"JSON, null time":          {jsonIn("s"), "d/7", `{"v":1,"at":null}`, nil, "neither an RFC 3339 text nor a number"},
	"JSON, text":               {jsonIn("s"), "d/7", `{"v":"1","at":1772373600}`, nil, "without quotes"},
	"JSON, null":               {jsonIn("s"), "d/7", `{"v":null,"at":1772373600}`, nil, "null is no number"},
	"JSON, object":             {jsonIn("s"), "d/7", `{"v":{},"at":1772373600}`, nil, "an object or an array"},
	"JSON, too large":          {jsonIn("s"), "d/7", `{"v":1e999,"at":1772373600}`, nil, "too large"},
	"JSON, no value":           {jsonIn("s"), "d/7", `{"w":1}`, nil, `there is no "v"`},
	"JSON, capitals":           {jsonIn("s"), "d/7", `{"V":1,"at":1}`, nil, `there is no "v"`},
	"JSON, number alone":       {jsonIn("s"), "d/7", `17`, nil, "has no parts"},
	"JSON, short array":        {jsonSource, "d/7", `{"ppm":{"v":[1]}}`, nil, "no place in an array of 1"},
	"JSON, no sequence":        {jsonSource, "d/7", `{"ppm":{"v":[1,2]},"at":1,"tap":2}`, nil, `there is no "n"`},
	"JSON, empty sequence":     {jsonSource, "d/7", `{"ppm":{"v":[1,2]},"at":1772373600,"n":"","tap":2}`, nil, `the sequence number at "n": is empty`},
	"JSON, no channel":         {jsonSource, "d/7", `{"ppm":{"v":[1,2]},"at":1,"n":2,"tap":[]}`, nil, "neither a text nor a number"},
	"JSON, cut in half":        {jsonIn("s"), "d/7", `{"v":1,"a`, nil, "cut short after 9 bytes"},
	"JSON, more behind":        {jsonIn("s"), "d/7", `{"v":1,"at":1} {}`, nil, "something follows"},
	"JSON, no JSON":            {jsonIn("s"), "d/7", `v=1`, nil, "not valid JSON"},

	// The line of the format's own description (see references: InfluxDB line protocol).
	"line": {lineSource, "lp", "weather,location=us-midwest temperature=82 1465839830100400200",
		[]sensor.Reading{{Channel: "weather.temperature", Value: 82, Time: time.Unix(0, 1465839830100400200).UTC()}}, ""},
	"line, integers and states": {lineSource, "lp", "w a=82i,b=83u,c=t",
		[]sensor.Reading{{Channel: "w.a", Value: 82}, {Channel: "w.b", Value: 83}, {Channel: "w.c", Value: 1, Unit: "state"}}, ""},
	"line, escapes":     {lineSource, "lp", `north\ top,x=y p\,pm=1`, []sensor.Reading{{Channel: "north top.p,pm", Value: 1}}, ""},
	"line, tag":         {logbook.MQTTSource{Topic: "lp", Payload: LineProtocol, Channel: "{tag:stack}-{field}", Value: "ppm"}, "lp", "m,stack=b ppm=1,t=2", []sensor.Reading{{Channel: "b-ppm", Value: 1}}, ""},
	"line, no tag":      {logbook.MQTTSource{Topic: "lp", Payload: LineProtocol, Channel: "{tag:stack}"}, "lp", "m ppm=1", nil, "needs {tag:stack}"},
	"line, no field":    {logbook.MQTTSource{Topic: "lp", Payload: LineProtocol, Channel: "a", Value: "ppm"}, "lp", "m t=1", nil, `there is no field "ppm"`},
	"line, comment":     {lineSource, "lp", "# nothing\n", nil, ""},
	"line, bad between": {lineSource, "lp", "w a=1\nw b=\nw c=3", []sensor.Reading{{Channel: "w.a", Value: 1}, {Channel: "w.c", Value: 3}}, "point 2"},
	"line, text":        {lineSource, "lp", `w a=1,note="x"`, []sensor.Reading{{Channel: "w.a", Value: 1}}, "a text is no reading"},
	"line, NaN":         {lineSource, "lp", "w a=NaN", nil, "point 1"},
	"line, bad time":    {lineSource, "lp", "w a=1 99999999999999999999", nil, "no whole number of 64 bits"},
	"line, time 0":      {lineSource, "lp", "w a=1 0", nil, "clock that was never set"},
	"line, ms": {logbook.MQTTSource{Topic: "lp", Payload: LineProtocol, Channel: "{field}", TimeUnit: "ms"}, "lp", "w a=1 1772373600250",
		[]sensor.Reading{{Channel: "a", Value: 1, Time: arrival.Add(250 * time.Millisecond)}}, ""},
}

var (
	number     = logbook.MQTTSource{Topic: "depot/+/+", Payload: Number, Channel: "{2}-{3}", Unit: "ppm"}
	jsonSource = logbook.MQTTSource{Topic: "d/+", Payload: JSON, Channel: "{2}-{path}", Value: "ppm.v.1", Time: "at", Sequence: "n", Name: "tap"}
	lineSource = logbook.MQTTSource{Topic: "lp", Payload: LineProtocol, Channel: "{measurement}.{field}"}
)

func jsonIn(unit string) logbook.MQTTSource {
	return logbook.MQTTSource{Topic: "d/+", Payload: JSON, Channel: "{2}", Value: "v", Time: "at", TimeUnit: unit}
}

func TestDecoders(t *testing.T) {
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			rs, faults := decoder(t, c.source)(c.topic, []byte(c.payload), arrival)
			for i := range rs {
				require.Equal(t, "gateway", rs[i].Source)
				rs[i].Source = ""
			}
			require.Equal(t, c.want, rs)
			if c.fault == "" {
				require.Empty(t, faults)
				return
			}
			require.NotEmpty(t, faults)
			require.ErrorContains(t, faults[0], c.fault)
		})
	}
}

func TestLongPayload(t *testing.T) {
	for _, s := range []logbook.MQTTSource{number, jsonSource, lineSource, senmlSource()} {
		rs, faults := decoder(t, s)("depot/b/top", bytes.Repeat([]byte("1"), MaxBytes+1), arrival)
		require.Empty(t, rs)
		require.Len(t, faults, 1)
		require.ErrorContains(t, faults[0], "more than the 262144 that are read")
	}
}

func TestNewRefuses(t *testing.T) {
	for says, s := range map[string]logbook.MQTTSource{
		`channel "" is missing`:        {Payload: Number},
		"} without {":                  {Payload: Number, Channel: "a}"},
		"{ without a name and }":       {Payload: Number, Channel: "a{1"},
		`"xml" is none of senml, json`: {Payload: "xml", Channel: "a"},
		`unit "ppb" is none of`:        {Payload: Number, Channel: "a", Unit: "ppb"},
		"value is missing":             {Payload: JSON, Channel: "a"},
		`time_unit "h" is none of`:     {Payload: JSON, Channel: "a", Value: "v", Time: "t", TimeUnit: "h"},
	} {
		_, err := New("gateway", s)
		require.ErrorContains(t, err, says)
	}
}

func TestTimed(t *testing.T) {
	for _, c := range []struct {
		s    logbook.MQTTSource
		want bool
	}{
		{logbook.MQTTSource{Payload: SenML}, true}, {logbook.MQTTSource{Payload: LineProtocol}, true}, {logbook.MQTTSource{Payload: Number}, false},
		{logbook.MQTTSource{Payload: JSON}, false}, {logbook.MQTTSource{Payload: JSON, Time: "t"}, true}, {logbook.MQTTSource{Payload: JSON, Sequence: "n"}, true},
	} {
		require.Equal(t, c.want, Timed(c.s))
	}
}

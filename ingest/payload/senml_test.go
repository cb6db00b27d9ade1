package payload

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/sensor"
)

var arrival = time.Date(2026, 3, 1, 14, 0, 0, 0, time.UTC)

// decoder makes a decoder of s, which must be right.
func decoder(t testing.TB, s logbook.MQTTSource) Decoder {
	t.Helper()
	d, err := New("gateway", s)
	require.NoError(t, err)
	return d
}

func senmlSource() logbook.MQTTSource {
	return logbook.MQTTSource{Topic: "depot/#", Payload: SenML, Channel: "{name}"}
}

// humidity is the pack of RFC 8428, section 5.1.3 (Multiple Measurements).
const humidity = `[{"bn":"urn:dev:ow:10e2073a01080063:","bt":1.320067464e+09,"bu":"%RH","v":20},
{"u":"lon","v":24.30621},{"u":"lat","v":60.07965},
{"t":60,"v":20.3},{"u":"lon","t":60,"v":24.30622},{"u":"lat","t":60,"v":60.07965},
{"t":120,"v":20.7},{"u":"lon","t":120,"v":24.30623},{"u":"lat","t":120,"v":60.07966},
{"u":"%EL","t":150,"v":98},
{"t":180,"v":21.2},{"u":"lon","t":180,"v":24.30628},{"u":"lat","t":180,"v":60.07967}]`

// currents is the pack of RFC 8428, section 5.1.2 (Multiple Datapoints), with
// the version of the published RFC.
const currents = `[{"bn":"urn:dev:ow:10e2073a01080063:","bt":1.276020076001e+09,"bu":"A","bver":10,"n":"voltage","u":"V","v":120.1},
{"n":"current","t":-5,"v":1.2},{"n":"current","t":-4,"v":1.3},{"n":"current","t":-3,"v":1.4},
{"n":"current","t":-2,"v":1.5},{"n":"current","t":-1,"v":1.6},{"n":"current","v":1.7}]`

// resolved resolves names and times of a pack, whatever its units.
func resolved(t *testing.T, pack string) (fs []found) {
	t.Helper()
	var records []record
	require.NoError(t, json.Unmarshal([]byte(pack), &records))
	require.NoError(t, understood(records))
	var b base
	for _, rec := range records {
		require.NoError(t, b.take(rec))
		f, _ := rec.resolve(b, arrival)
		fs = append(fs, f)
	}
	return fs
}

// Resolved records of the two packs, as RFC 8428 gives them in its sections 5.1.2
// (the times named in the text: 2010-06-08 18:01:16.001 UTC and each of the 5 s
// before) and 5.1.4 (Resolved Data).
func TestResolveRFC8428(t *testing.T) {
	fs := resolved(t, humidity)
	require.Len(t, fs, 13)
	for i, after := range []int{0, 0, 0, 60, 60, 60, 120, 120, 120, 150, 180, 180, 180} {
		require.Equal(t, "urn:dev:ow:10e2073a01080063:", fs[i].names["name"])
		require.Equal(t, time.Date(2011, 10, 31, 13, 24, 24+after, 0, time.UTC), fs[i].at)
	}
	fs = resolved(t, currents)
	require.Len(t, fs, 7)
	last := time.Date(2010, 6, 8, 18, 1, 16, 1e6, time.UTC)
	require.Equal(t, "urn:dev:ow:10e2073a01080063:voltage", fs[0].names["name"])
	require.Equal(t, last, fs[0].at)
	for i, before := range []int{5, 4, 3, 2, 1, 0} {
		require.Equal(t, "urn:dev:ow:10e2073a01080063:current", fs[i+1].names["name"])
		require.Equal(t, last.Add(-time.Duration(before)*time.Second), fs[i+1].at)
	}
}

func TestSenMLPackGivesWhatItCan(t *testing.T) {
	rs, faults := decoder(t, senmlSource())("depot/x", []byte(humidity), arrival)
	require.Len(t, rs, 4, "the humidities")
	require.Len(t, faults, 9, "positions and the battery have units that are no readings here")
	require.ErrorContains(t, faults[0], `record 2: the unit "lon" is not known here`)
	for i, v := range []float64{20, 20.3, 20.7, 21.2} {
		require.Equal(t, sensor.Reading{Channel: "urn:dev:ow:10e2073a01080063:", Value: v, Unit: logbook.RH, Source: "gateway",
			Time: time.Unix(1320067464+60*int64(i), 0).UTC()}, rs[i])
	}
}

// senmlRecords are packs, the readings that they give, and the first fault.
var senmlRecords = map[string]struct {
	pack  string
	want  []sensor.Reading
	fault string
}{
	"single datapoint (RFC 8428, 5.1.1)": {`[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]`,
		[]sensor.Reading{{Channel: "urn:dev:ow:10e2073a01080063", Value: 23.1, Unit: "C"}}, ""},
	"data types (RFC 8428, 5.1.5)": {`[{"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},
		{"n":"label","vs":"Machine Room"},{"n":"open","vb":false},{"n":"nfc-reader","vd":"aGkgCg"}]`,
		[]sensor.Reading{{Channel: "urn:dev:ow:10e2073a01080063:temp", Value: 23.1, Unit: "C"},
			{Channel: "urn:dev:ow:10e2073a01080063:open", Unit: "state"}}, "a text is no reading"},
	"base name changes (RFC 8428, 5.1.6, from memory)": {`[{"bn":"2001:db8::2/","bt":1.320078429e+09,"n":"temperature","u":"Cel","v":25.2},
		{"n":"humidity","u":"%RH","v":30},{"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},{"n":"humidity","u":"%RH","v":67}]`,
		[]sensor.Reading{{Channel: "2001:db8::2/temperature", Value: 25.2, Unit: "C", Time: time.Unix(1320078429, 0).UTC()},
			{Channel: "2001:db8::2/humidity", Value: 30, Unit: "%RH", Time: time.Unix(1320078429, 0).UTC()},
			{Channel: "2001:db8::1/temperature", Value: 12.3, Unit: "C", Time: time.Unix(1320078429, 0).UTC()},
			{Channel: "2001:db8::1/humidity", Value: 67, Unit: "%RH", Time: time.Unix(1320078429, 0).UTC()}}, ""},
	"gas with base value":         {`[{"bn":"b-","bu":"ppm","bv":400},{"n":"top","v":12}]`, []sensor.Reading{{Channel: "b-top", Value: 412, Unit: "ppm"}}, ""},
	"relative time":               {`[{"n":"a","u":"ppm","v":1,"t":-90}]`, []sensor.Reading{{Channel: "a", Value: 1, Unit: "ppm", Time: arrival.Add(-90 * time.Second)}}, ""},
	"last relative time":          {`[{"n":"a","v":1,"t":268435455}]`, []sensor.Reading{{Channel: "a", Value: 1, Time: arrival.Add(268435455 * time.Second)}}, ""},
	"first absolute time":         {`[{"n":"a","v":1,"t":268435456}]`, []sensor.Reading{{Channel: "a", Value: 1, Time: time.Unix(268435456, 0).UTC()}}, ""},
	"no unit":                     {`[{"n":"a","v":1}]`, []sensor.Reading{{Channel: "a", Value: 1}}, ""},
	"pascal":                      {`[{"n":"a","u":"Pa","v":101325}]`, []sensor.Reading{{Channel: "a", Value: 1013.25, Unit: "hPa"}}, ""},
	"unknown field is passed by":  {`[{"n":"a","v":1,"colour":"red"}]`, []sensor.Reading{{Channel: "a", Value: 1}}, ""},
	"base fields only":            {`[{"bn":"b-"},{"n":"top","v":12}]`, []sensor.Reading{{Channel: "b-top", Value: 12}}, ""},
	"value and sum":               {`[{"n":"a","v":1,"s":5}]`, []sensor.Reading{{Channel: "a", Value: 1}}, ""},
	"sum only":                    {`[{"n":"a","s":5}]`, nil, "a sum is no reading"},
	"no value":                    {`[{"n":"a"}]`, nil, "there is no value"},
	"two values":                  {`[{"n":"a","v":1,"vb":true}]`, nil, "2 values"},
	"null":                        {`[{"n":"a","v":null}]`, nil, "no number"},
	"number as text":              {`[{"n":"a","v":"412"}]`, nil, "no number"},
	"label in capitals":           {`[{"n":"a","V":412}]`, nil, "there is no value"},
	"no name":                     {`[{"v":1}]`, nil, "neither a name nor a base name"},
	"name with a blank":           {`[{"n":"north top","v":1}]`, nil, "other characters"},
	"name that begins with -":     {`[{"n":"-a","v":1}]`, nil, "other characters"},
	"coulomb":                     {`[{"n":"a","u":"C","v":23}]`, nil, `send a temperature as "Cel"`},
	"ratio":                       {`[{"n":"a","u":"/","v":0.0004}]`, nil, `send a gas as "ppm"`},
	"too large":                   {`[{"n":"a","bv":1.7e308,"v":1.7e308}]`, nil, "not a finite number"},
	"out of range":                {`[{"n":"a","v":1e999}]`, nil, "no number"},
	"after the year 9999":         {`[{"n":"a","v":1,"t":1e12}]`, nil, "outside the years"},
	"newer version":               {`[{"bver":11,"n":"a","v":1}]`, nil, "SenML version 11 is not understood"},
	"version 0":                   {`[{"bver":0,"n":"a","v":1}]`, nil, "SenML version 0 is not understood"},
	"two versions":                {`[{"bver":10,"n":"a","v":1},{"bver":9,"n":"a","v":1}]`, nil, "version 9 after 10"},
	"must be understood":          {`[{"n":"a","v":1},{"n":"b","v":1,"lock_":1}]`, nil, "must be understood"},
	"bad base field":              {`[{"n":"a","v":1},{"bt":"now","n":"b","v":2},{"n":"c","v":3}]`, nil, "the whole pack is refused"},
	"object instead of an array":  {`{"n":"a","v":1}`, nil, "is an array of records"},
	"records that are no objects": {`[1]`, nil, "is an array of records"},
	"cut in half":                 {`[{"n":"a","v":1},{"n"`, nil, "cut short after 21 bytes"},
	"two packs":                   {`[{"n":"a","v":1}][]`, nil, "something follows"},
}

func TestSenMLRecords(t *testing.T) {
	for name, c := range senmlRecords {
		t.Run(name, func(t *testing.T) {
			rs, faults := decoder(t, senmlSource())("depot/x", []byte(c.pack), arrival)
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

func TestSenMLOfUnknownAge(t *testing.T) {
	rs, faults := decoder(t, senmlSource())("depot/x", []byte(`[{"n":"a","v":1,"t":-5},{"n":"a","v":2,"t":1320067464}]`), time.Time{})
	require.Empty(t, faults)
	require.True(t, rs[0].Time.IsZero(), "what was 5 s before an unknown moment has no time")
	require.Equal(t, int64(1320067464), rs[1].Time.Unix())
}

// Conversions by the registry's definitions (RFC 8798, section 3: ug/m3 is 1e-9
// kg/m3, hPa is 100 Pa, km/h is 1/3.6 m/s) and the SI (0 °C is 273.15 K).
func TestUnits(t *testing.T) {
	for _, c := range []struct {
		value float64
		unit  string
		want  float64
		in    string
	}{
		{412, "ppm", 412, "ppm"}, {420, "ug/m3", 0.42, "mg/m3"}, {0.0015, "kg/m3", 1.5, "g/m3"}, {273.15, "K", 0, "C"},
		{100000, "Pa", 1000, "hPa"}, {math.Pi, "rad", 180, "deg"}, {240, "deg", 240, "deg"}, {36, "km/h", 10, "m/s"}, {0.5, "l/s", 30, "L/min"}, {0.001, "m3/s", 60, "L/min"}, {2, "l/min", 2, "L/min"},
	} {
		v, u, err := convert(c.value, c.unit)
		require.NoError(t, err)
		require.Equal(t, c.in, u)
		require.InDelta(t, c.want, v, 1e-12*math.Max(1, math.Abs(c.want)))
	}
	for name, c := range senmlUnits {
		require.True(t, logbook.IsUnit(c.unit), name)
	}
}

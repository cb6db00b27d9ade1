package payload

import (
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/influxdata/line-protocol/v2/lineprotocol"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/sensor"
)

// sane checks what holds of every payload, and returns its readings.
func sane(t *testing.T, d Decoder, topic string, payload []byte) []sensor.Reading {
	t.Helper()
	before := string(payload)
	rs, faults := d(topic, payload, arrival)
	require.Equal(t, before, string(payload), "the payload is as it was")
	for _, r := range rs {
		require.NoError(t, r.Check())
		require.True(t, r.Unit == "" || logbook.IsUnit(r.Unit), r.Unit)
		if !r.Time.IsZero() {
			require.NoError(t, logbook.CheckTime(logbook.At(r.Time)))
		}
	}
	for _, err := range faults {
		require.NotEmpty(t, err.Error())
	}
	again, more := d(topic, []byte(before), arrival)
	require.Equal(t, rs, again, "the same again")
	require.Len(t, more, len(faults))
	return rs
}

// seeds adds the payloads of the table test in one form.
func seeds(f *testing.F, form string) {
	n := 0
	for _, c := range cases {
		if c.source.Payload == form {
			f.Add([]byte(c.payload))
			n++
		}
	}
	if n == 0 {
		f.Fatal("there are no seeds")
	}
}

func FuzzNumber(f *testing.F) {
	seeds(f, Number)
	f.Fuzz(func(t *testing.T, payload []byte) {
		d := decoder(t, number)
		for _, r := range sane(t, d, "depot/b/top", payload) {
			text := strconv.FormatFloat(r.Value, 'g', -1, 64)
			require.Equal(t, []sensor.Reading{r}, sane(t, d, "depot/b/top", []byte(text)))
		}
	})
}

func FuzzJSON(f *testing.F) {
	seeds(f, JSON)
	f.Fuzz(func(t *testing.T, payload []byte) {
		sane(t, decoder(t, jsonSource), "d/7", payload)
		d := decoder(t, jsonIn("us"))
		for _, r := range sane(t, d, "d/7", payload) {
			if r.Unit == logbook.OnOff {
				continue
			}
			r.Time = logbook.At(r.Time).Std()
			text := fmt.Sprintf(`{"v":%s,"at":%d}`, strconv.FormatFloat(r.Value, 'g', -1, 64), r.Time.UnixMicro())
			require.Equal(t, []sensor.Reading{r}, sane(t, d, "d/7", []byte(text)))
		}
	})
}

func FuzzSenML(f *testing.F) {
	for _, pack := range []string{humidity, currents, `[{"n":"a","u":"ppm","v":1,"t":-90},{"vb":true}]`, `[{"bver":11}]`, `[{"bn":"b","bv":1,"bs":2,"ut":5,"s":1}]`} {
		f.Add([]byte(pack))
	}
	f.Fuzz(func(t *testing.T, payload []byte) {
		d := decoder(t, senmlSource())
		rs := sane(t, d, "depot/x", payload)
		if len(rs) == 0 {
			return
		}
		var pack []map[string]any
		for i := range rs { // as resolved records (RFC 8428, section 4.6)
			rs[i].Time = logbook.At(rs[i].Time).Std()
			rec := map[string]any{"n": rs[i].Channel, "v": rs[i].Value}
			if u := rs[i].Unit; u == logbook.Cel {
				rec["u"] = "Cel"
			} else if u != "" {
				rec["u"] = u
			}
			switch at := rs[i].Time; {
			case at.IsZero():
			case at.Unix() < absolute: // cannot be written as absolute
				return
			default:
				rec["t"] = json.Number(fmt.Sprintf("%d.%06d", at.Unix(), at.Nanosecond()/1000))
			}
			pack = append(pack, rec)
		}
		text, err := json.Marshal(pack)
		require.NoError(t, err)
		if len(text) > MaxBytes {
			return
		}
		again, faults := d("depot/x", text, arrival)
		require.Empty(t, faults, "%s", text)
		require.Len(t, again, len(rs))
		for i := range rs {
			// Beyond 2^33 s a float64 of seconds is coarser than a microsecond.
			require.InDelta(t, 0, again[i].Time.Sub(rs[i].Time).Seconds(), 1e-4)
			again[i].Time = rs[i].Time
		}
		require.Equal(t, rs, again)
	})
}

func FuzzLineProtocol(f *testing.F) {
	seeds(f, LineProtocol)
	f.Fuzz(func(t *testing.T, payload []byte) {
		d := decoder(t, logbook.MQTTSource{Topic: "lp", Payload: LineProtocol, Channel: "{field}"})
		for _, r := range sane(t, d, "lp", payload) {
			if r.Time.Before(time.Unix(0, -1<<63)) || r.Time.After(time.Unix(0, 1<<63-1)) || r.Unit != "" || strings.HasSuffix(r.Channel, `\`) {
				continue // cannot be written in nanoseconds, or as a number, or at all
			}
			var e lineprotocol.Encoder
			e.StartLine("m")
			v, ok := lineprotocol.FloatValue(r.Value)
			require.True(t, ok)
			e.AddField(r.Channel, v)
			e.EndLine(r.Time)
			if e.Err() != nil {
				continue
			}
			require.Equal(t, []sensor.Reading{r}, sane(t, d, "lp", e.Bytes()), "%q", e.Bytes())
		}
	})
}

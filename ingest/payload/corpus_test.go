package payload

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/influxdata/line-protocol/v2/lineprotocol"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

// corpusText is a text, or bytes that are none.
type corpusText []byte

func (c *corpusText) UnmarshalJSON(b []byte) error {
	var s string
	if json.Unmarshal(b, &s) == nil {
		*c = corpusText(s)
		return nil
	}
	var o struct{ Binary []byte }
	err := json.Unmarshal(b, &o)
	*c = o.Binary
	return err
}

type corpusPoint struct {
	Time   int64
	Name   corpusText
	Fields []struct {
		Key   corpusText
		Value map[string]any
	}
}

// The corpus that the line protocol's own module carries for its decoders
// (github.com/influxdata/line-protocol/v2, lineprotocol/testdata/corpus.json):
// what it decodes, we decode; what it refuses, we refuse.
func TestLineProtocolCorpus(t *testing.T) {
	dir, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", "github.com/influxdata/line-protocol/v2").Output()
	if err != nil {
		t.Skip("needs the go command")
	}
	b, err := os.ReadFile(filepath.Join(strings.TrimSpace(string(dir)), "lineprotocol", "testdata", "corpus.json"))
	require.NoError(t, err)
	var corpus struct {
		Decode map[string]struct {
			Input struct {
				Text      corpusText
				Precision string
			}
			Output struct {
				Result []corpusPoint
				Error  string
			}
		}
	}
	require.NoError(t, json.Unmarshal(b, &corpus))
	require.Greater(t, len(corpus.Decode), 500)
	units := map[string]string{"1ns": "ns", "1us": "us", "1µs": "us", "1ms": "ms", "1s": "s"}
	for key, c := range corpus.Decode {
		require.Contains(t, units, c.Input.Precision)
		s := source{MQTTSource: logbook.MQTTSource{Payload: LineProtocol, Channel: "a", TimeUnit: units[c.Input.Precision]}}
		require.NoError(t, s.prepare())
		points, err := s.all(c.Input.Text)
		if c.Output.Error != "" {
			// Times beyond what 64 bits of nanoseconds hold are well formed here.
			require.True(t, err != nil || strings.Contains(c.Output.Error, "out of range"), "%s: %q", key, c.Input.Text)
			continue
		}
		if err != nil {
			require.ErrorContains(t, err, "clock that was never set", "%s: %q", key, c.Input.Text)
			continue
		}
		require.Len(t, points, len(c.Output.Result), "%s: %q", key, c.Input.Text)
		for i, want := range c.Output.Result {
			requirePoint(t, key, want, points[i])
		}
	}
}

// requirePoint requires that got is want, as far as it gives readings.
func requirePoint(t *testing.T, key string, want corpusPoint, got point) {
	t.Helper()
	require.Equal(t, string(want.Name), got.names["measurement"], key)
	require.Len(t, got.fields, len(want.Fields), key)
	if !got.at.IsZero() {
		require.Equal(t, want.Time, got.at.UnixNano(), key)
	}
	for n, f := range want.Fields {
		require.Equal(t, string(f.Key), got.fields[n].key, key)
		if v, ok := f.Value["float"].(float64); ok {
			number, _, err := lineNumber(got.fields[n].value)
			require.NoError(t, err)
			require.Equal(t, v, number, key)
		}
	}
}

// all reads every point, or the first error.
func (s *source) all(text []byte) (ps []point, err error) {
	for d := lineprotocol.NewDecoderWithBytes(text); d.Next(); {
		p, err := s.point(d)
		if err != nil {
			return nil, err
		}
		ps = append(ps, p)
	}
	return ps, nil
}

// A time keeps its microseconds through a float64 of seconds.
func TestSecondsTime(t *testing.T) {
	for _, us := range []int64{1, 1320067464123456, 1772373600000001, 4102444799999999, -1} {
		at, err := secondsTime(float64(us) / 1e6)
		require.NoError(t, err)
		require.Equal(t, time.UnixMicro(us).UTC(), at)
	}
}

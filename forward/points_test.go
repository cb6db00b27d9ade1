package forward

import (
	"fmt"
	"maps"
	"slices"
	"testing"
	"time"

	"github.com/influxdata/line-protocol/v2/lineprotocol"
	"github.com/stretchr/testify/require"
)

// series is a name with its labels, sorted.
func series(name string, labels map[string]string) string {
	for _, k := range slices.Sorted(maps.Keys(labels)) {
		name += fmt.Sprintf("|%s=%s", k, labels[k])
	}
	return name
}

// points are field values by series, field and time.
type points map[string]any

// pointsOf decodes lines with the protocol's own library.
func pointsOf(t testing.TB, text string, each func(measurement string, tags map[string]string, field string, at time.Time, v any)) {
	t.Helper()
	d := lineprotocol.NewDecoderWithBytes([]byte(text))
	for d.Next() {
		m, err := d.Measurement()
		require.NoError(t, err)
		measurement, tags, fields := string(m), map[string]string{}, map[string]any{}
		for k, v, err := d.NextTag(); k != nil; k, v, err = d.NextTag() {
			require.NoError(t, err)
			tags[string(k)] = string(v)
		}
		for k, v, err := d.NextField(); k != nil; k, v, err = d.NextField() {
			require.NoError(t, err)
			fields[string(k)] = v.Interface()
			if v.Kind() == lineprotocol.Int {
				fields[string(k)] = float64(v.IntV())
			}
		}
		at, err := d.Time(lineprotocol.Nanosecond, time.Time{})
		require.NoError(t, err)
		for f, v := range fields {
			each(measurement, tags, f, at, v)
		}
	}
}

// inflow returns the points of lines, to the nanosecond.
func inflow(t testing.TB, text string) points {
	got := points{}
	pointsOf(t, text, func(m string, tags map[string]string, field string, at time.Time, v any) {
		key := series(m, tags) + fmt.Sprintf("|%s|%d", field, at.UnixNano())
		require.NotContains(t, got, key, "two entries are one point")
		got[key] = v
	})
	return got
}

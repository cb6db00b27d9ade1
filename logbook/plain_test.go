package logbook

import (
	"bytes"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// plainSeeds are lines in the plainest form, and lines that are nearly so.
var plainSeeds = []string{
	`{"time":"2026-03-01T08:00:00Z","kind":"reading","channel":"b-north-top","value":412,"unit":"ppm"}`,
	`{"time":"2026-03-01T08:00:00.000001Z","kind":"reading","seq":7,"received":"2026-03-01T09:00:00.25Z","channel":"a","value":-1.5e-3,"unit":"ppm"}`,
	`{"kind":"reading","value":0,"unit":"ppm","channel":"a","time":"2026-03-01T08:00:00Z"}`,
	`{"time":"2026-03-01T08:00:00+01:00","kind":"reading","channel":"a","value":1,"unit":"ppm"}`,
	`{"time":"2026-02-29T08:00:00Z","kind":"reading","channel":"a","value":1,"unit":"ppm"}`,
	`{"time":"2026-03-01T08:00:00Z","kind":"reading","channel":"a","value":1,"unit":"ppm","v":2}`,
	`{"time":"2026-03-01T08:00:00Z","kind":"reading","channel":"a","value":1,"value":2,"unit":"ppm"}`,
	`{"time":"2026-03-01T08:00:00Z","kind":"reading","channel":"a","value":01,"unit":"ppm"}`,
	`{"time":"2026-03-01T08:00:00Z","kind":"reading","channel":"a","value":1.,"unit":"ppm"}`,
	`{"time":"2026-03-01T08:00:00Z","kind":"reading","channel":"a","value":1e999,"unit":"ppm"}`,
	`{"time":"2026-03-01T08:00:00Z","kind":"reading","channel":"a","value":NaN,"unit":"ppm"}`,
	`{"time":"2026-03-01T08:00:00Z","kind":"reading","channel":"a","value":0x1p2,"unit":"ppm"}`,
	`{"time":"2026-03-01T08:00:00Z","kind":"reading","channel":"a\u00e9","value":1,"unit":"ppm"}`,
	`{"time":"2026-03-01T08:00:00Z","kind":"reading","channel":"é","value":1,"unit":"ppm"}`,
	`{"time":"2026-03-01T08:00:00Z","kind":"reading","channel":" ","value":1,"unit":"ppm"}`,
	`{"time":"2026-03-01T08:00:00Z","kind":"reading","channel":"a","value":1,"unit":"furlong"}`,
	`{"time":"","kind":"reading","channel":"a","value":1,"unit":"ppm"}`,
	`{"time":"2026-03-01T08:00:00Z","kind":"reading","channel":"a","value":1,"unit":"ppm","seq":-1}`,
	`{"time":"2026-03-01T08:00:00Z","kind":"reading","channel":"a","value":1,"unit":"ppm"},`,
	`{"time":"2026-03-01T08:00:00Z","kind":"reading","channel":"a","value":1,"unit":"ppm",}`,
	`{"time":"2026-03-01T08:00:00Z","Kind":"reading","channel":"a","value":1,"unit":"ppm"}`,
	`{"time":"2026-03-01T08:00:00Z","kind":"clock"}`,
}

// The plain reader takes only what the strict decoder takes, to the same entry, so
// that no line is read otherwise for its form.
func FuzzPlainReading(f *testing.F) {
	for _, s := range plainSeeds {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, line []byte) {
		r, ok := plainReading(line)
		if !ok {
			return
		}
		e, err := decode(line)
		require.NoError(t, err)
		require.Equal(t, e, Entry(r))
	})
}

// Lines as a logbook and as people write them are plain.
func TestPlainReadingTakesTheUsualForm(t *testing.T) {
	for i, s := range plainSeeds {
		_, ok := plainReading([]byte(s))
		require.Equal(t, i < 3, ok, s)
	}
	r, _ := plainReading([]byte(plainSeeds[1]))
	b, err := Encode(r)
	require.NoError(t, err)
	_, ok := plainReading(bytes.TrimSpace(b))
	require.True(t, ok, "%s", b)
}

// A plain time is what the standard library reads; where that reads none, it is none.
func TestPlainTimeIsThatOfTheStandardLibrary(t *testing.T) {
	plain := 0
	for _, year := range []string{"0000", "0001", "1900", "1969", "1970", "2000", "2026", "2028", "9999"} {
		for month := range 14 {
			for day := range 33 {
				for _, clock := range []string{"00:00:00", "23:59:59.999999", "24:00:00", "12:60:00", "23:59:60", "07:00:00.", "07:00:00.25"} {
					s := fmt.Sprintf("%s-%02d-%02dT%sZ", year, month, day, clock)
					got, ok := plainTime([]byte(s))
					want, err := time.Parse(time.RFC3339Nano, s)
					require.Equal(t, err == nil && year != "0000", ok, s)
					if ok {
						require.Equal(t, At(want), got, s)
						plain++
					}
				}
			}
		}
	}
	require.Equal(t, 3*(6*365+2*366), plain)
	for _, s := range []string{"", "Z", "2026-03-01T8:00:00Z", "2026-03-01T08:00:00", "2026-03-01 08:00:00Z", "2026-03-01T08:00:00+01:00", "2026-03-01T08:00:00,5Z", "2026-03-01T08:00:00.1234567Z"} {
		_, ok := plainTime([]byte(s))
		require.False(t, ok, s)
	}
}

// BenchmarkDecode reads the usual line.
func BenchmarkDecode(b *testing.B) {
	line := []byte(plainSeeds[0])
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Decode(line); err != nil {
			b.Fatal(err)
		}
	}
}

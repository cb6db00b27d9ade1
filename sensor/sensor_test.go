package sensor_test

import (
	"bytes"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/sensor"
)

func TestReadingCheck(t *testing.T) {
	for name, c := range map[string]struct {
		reading sensor.Reading
		ok      bool
	}{
		"finite":     {sensor.Reading{Channel: "a", Value: 412}, true},
		"zero fault": {sensor.Reading{Channel: "a", Fault: "not a number"}, true},
		"negative":   {sensor.Reading{Channel: "a", Value: -0.4}, true},
		"no channel": {sensor.Reading{Value: 1}, false},
		"NaN":        {sensor.Reading{Channel: "a", Value: math.NaN()}, false},
		"+Inf":       {sensor.Reading{Channel: "a", Value: math.Inf(1)}, false},
		"-Inf":       {sensor.Reading{Channel: "a", Value: math.Inf(-1), Fault: "over range"}, false},
	} {
		t.Run(name, func(t *testing.T) {
			require.Equal(t, c.ok, c.reading.Check() == nil)
		})
	}
}

func TestNewRefusedKeepsTheStartAndTheSize(t *testing.T) {
	at := time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)
	long := bytes.Repeat([]byte{'x'}, 10<<20)
	r := sensor.NewRefused("broker", "depot/b", long, "too long \xff", at)
	require.Len(t, r.Payload, sensor.MaxPayload)
	require.Equal(t, 10<<20, r.Size)
	require.Equal(t, `"too long \xff"`, r.Why)
	// head -c 10485760 /dev/zero | tr '\0' x | sha256sum (GNU coreutils)
	require.Equal(t, "462a12a876c0364e4f1f3d12ed33dcae125f1198010ff78d8f4c3f4de0412d49", r.SHA256)

	short := []byte("abc")
	r = sensor.NewRefused("broker", "depot/b", short, "no number", at)
	short[0] = 'z'
	require.Equal(t, []byte("abc"), r.Payload, "the payload is a copy")
	require.Equal(t, at, r.Time)
	// FIPS 180-4, worked example for "abc" (NIST, Cryptographic Standards and Guidelines, Examples with Intermediate Values)
	require.Equal(t, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad", r.SHA256)
}

package configs

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Places of zones, by the table zone1970.tab of the IANA time zone database, 2025: among them those
// whose clocks are farthest from the sun. No place of its zone is doubted; the other sign is, and so
// is a latitude in the place of the longitude, where that makes three hours.
func TestPositionAndClock(t *testing.T) {
	for _, p := range []struct {
		zone                string
		latitude, longitude float64
		sign, swapped       bool // whether that slip shows
	}{
		{"Africa/Nairobi", -1.28, 36.82, true, true},
		{"Asia/Kathmandu", 27.72, 85.32, true, true},
		{"America/Argentina/Buenos_Aires", -34.6, -58.45, true, false},
		{"Asia/Kolkata", 22.53, 88.37, true, true},
		{"America/Dawson", 64.07, -139.42, true, true},
		{"Africa/El_Aaiun", 27.15, -13.2, false, false},
		{"Pacific/Kiritimati", 1.87, -157.33, true, true},
		{"Pacific/Apia", -13.83, -171.73, false, true}, // beside the date line both signs are near
		{"Asia/Shanghai", 31.23, 121.47, true, true},
	} {
		doubted := func(latitude, longitude float64) bool {
			text := fmt.Sprintf("%sposition: {latitude: %g, longitude: %g}\n", strings.Replace(small, "Africa/Nairobi", p.zone, 1), latitude, longitude)
			_, warnings, err := Parse("s.yaml", []byte(text))
			require.NoError(t, err)
			return strings.Contains(fmt.Sprint(warnings), "position.longitude: noon is ")
		}
		require.False(t, doubted(p.latitude, p.longitude), p.zone)
		require.Equal(t, p.sign, doubted(p.latitude, -p.longitude), p.zone)
		if p.longitude > -90 && p.longitude < 90 {
			require.Equal(t, p.swapped, doubted(p.longitude, p.latitude), p.zone)
		}
	}
}

// Two stacks that people tell apart by nothing but a capital letter are allowed, and warned of.
func TestNamesThatDifferInCase(t *testing.T) {
	text := strings.Replace(small, "      - name: A\n", "      - name: a\n      - name: A\n", 1)
	_, warnings, err := Parse("s.yaml", []byte(text))
	require.NoError(t, err)
	require.Contains(t, fmt.Sprint(warnings), `stores[0].stacks[1].name: only capital and small letters tell this stack from "a" in line 12`)
}

package configs

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"undersheet/logbook"

	"github.com/stretchr/testify/require"
)

// TestNormalise: what is left out is filled in, and normalising again changes nothing.
func TestNormalise(t *testing.T) {
	s, _, err := Parse("s.yaml", []byte(small+swap(t, swap(t, modbusPart, "register: 0}", "register: 0, type: float32}"), "register: 1,", "register: 2,")))
	require.NoError(t, err)
	require.Equal(t, logbook.Channel{Gas: "ph3", Unit: "ppm", Range: 2000, Resolution: 1, DetectionLimit: 1, Accuracy: 0.05}, s.Channels["top"])
	require.Equal(t, logbook.Channel{Gas: "ph3", Unit: "ppm", Range: 20, Resolution: 0.01, DetectionLimit: 0.03, Accuracy: 0.05}, s.Channels["door"])
	require.Equal(t, 0.03, s.Channels["door"].Zero())
	require.Equal(t, 12*time.Hour, s.Settings.ConfirmEvery.Std())
	require.Equal(t, 48*time.Hour, s.Settings.Withholding.Std())
	require.Equal(t, 500.0, s.Settings.FalseLeakDays)
	require.Equal(t, 20*time.Minute, s.Settings.MaskedEntryMax.Std())
	m := s.Instruments[0].Modbus
	require.Equal(t, []any{9600, "even", 1}, []any{m.Baud, m.Parity, m.StopBits})
	u := m.Units[0]
	require.Equal(t, []any{300 * time.Millisecond, time.Minute}, []any{u.Timeout.Std(), u.Every.Std()})
	require.Equal(t, logbook.ModbusRegister{Channel: "top", Function: 4, Type: "float32", Order: "abcd", Scale: 1}, u.Registers[0])
	require.Equal(t, logbook.ModbusRegister{Channel: "door", Function: 4, Register: 2, Type: "uint16", Order: "ab", Scale: 0.01}, u.Registers[1])
	require.Len(t, s.LimitSets, 1)
	for _, text := range []string{small, small + modbusPart, small + mqttPart, string(Example())} {
		requireSettled(t, []byte(text))
	}
}

// requireSettled: a site survives its JSON form and a second normalising unchanged.
func requireSettled(t *testing.T, text []byte) {
	site, _, err := Parse("s.yaml", text)
	if err != nil {
		require.Nil(t, site)
		return
	}
	b, err := json.Marshal(site)
	require.NoError(t, err)
	var back logbook.Site
	require.NoError(t, json.Unmarshal(b, &back))
	require.Equal(t, *site, back)
	normalise(&back)
	require.Equal(t, *site, back, "normalising again")
}

// TestClientID: names that differ stay different, whatever their letters.
func TestClientID(t *testing.T) {
	require.Equal(t, "kivuma-depot", slug("Kivuma depot"))
	require.NotEqual(t, slug("Склад"), slug("Ангар"))
	requireFault(t, small+mqttPart+strings.TrimPrefix(swap(t, mqttPart, "name: broker", "name: Broker"), "instruments:\n"),
		"21:5: instruments[1].mqtt.client_id: another instrument of this broker, in line 16, has the same client id", `"undersheet-s-broker"`)
}

package modbus_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"undersheet/sensor/modbus"
)

// The bytes of each value are those of IEEE 754 and of two's complement; each
// order is spelled out as registers. 0x42F6E979 is 123.456 as single precision
// (the usual worked example of the format, from memory).
func TestEveryTypeInEveryOrder(t *testing.T) {
	for _, c := range []struct {
		kind, order string
		words       []uint16
		want        float64
	}{
		{"int16", "", []uint16{0xFFFE}, -2},
		{"int16", "AB", []uint16{0xFFFE}, -2},
		{"int16", "BA", []uint16{0xFEFF}, -2},
		{"int16", "ABCD", []uint16{0x8000}, -32768},
		{"int16", "CDAB", []uint16{0x7FFF}, 32767},
		{"int16", "BADC", []uint16{0x0080}, -32768},
		{"int16", "DCBA", []uint16{0xFF7F}, 32767},
		{"uint16", "", []uint16{0xFFFE}, 65534},
		{"uint16", "AB", []uint16{0x0102}, 258},
		{"uint16", "BA", []uint16{0x0102}, 513},
		{"uint16", "ABCD", []uint16{0x0102}, 258},
		{"uint16", "CDAB", []uint16{0x0102}, 258},
		{"uint16", "BADC", []uint16{0x0102}, 513},
		{"uint16", "DCBA", []uint16{0x0102}, 513},
		{"int32", "", []uint16{0xFFFF, 0xFFFE}, -2},
		{"int32", "ABCD", []uint16{0x8000, 0x0000}, -2147483648},
		{"int32", "CDAB", []uint16{0x0001, 0x8000}, -2147483647},
		{"int32", "BADC", []uint16{0x0080, 0x0100}, -2147483647},
		{"int32", "DCBA", []uint16{0x0100, 0x0080}, -2147483647},
		{"uint32", "", []uint16{0x0102, 0x0304}, 16909060},
		{"uint32", "ABCD", []uint16{0xFFFF, 0xFFFF}, 4294967295},
		{"uint32", "CDAB", []uint16{0x0304, 0x0102}, 16909060},
		{"uint32", "BADC", []uint16{0x0201, 0x0403}, 16909060},
		{"uint32", "DCBA", []uint16{0x0403, 0x0201}, 16909060},
		{"float32", "", []uint16{0x42F6, 0xE979}, float64(float32(123.456))},
		{"float32", "ABCD", []uint16{0x42F6, 0xE979}, float64(float32(123.456))},
		{"float32", "CDAB", []uint16{0xE979, 0x42F6}, float64(float32(123.456))},
		{"float32", "BADC", []uint16{0xF642, 0x79E9}, float64(float32(123.456))},
		{"float32", "DCBA", []uint16{0x79E9, 0xF642}, float64(float32(123.456))},
		{"float32", "ABCD", []uint16{0x8000, 0x0001}, -math.SmallestNonzeroFloat32},
	} {
		value, fault := modbus.Register{Type: c.kind, Order: c.order}.Value(c.words)
		require.Empty(t, fault)
		require.Equal(t, c.want, value, "%s %s", c.kind, c.order)
	}
}

func TestScaleAndOffset(t *testing.T) {
	r := modbus.Register{Type: "int16", Scale: 0.1, Offset: -40}
	value, fault := r.Value([]uint16{652})
	require.Empty(t, fault)
	require.InDelta(t, 25.2, value, 1e-12)
	r = modbus.Register{Type: "uint16", Offset: 5}
	value, _ = r.Value([]uint16{7})
	require.Equal(t, 12.0, value, "scale 0 is 1")
}

// Bit patterns of IEEE 754 single precision: exponent all ones.
func TestWhatIsNoNumberIsAFault(t *testing.T) {
	for _, c := range []struct {
		words []uint16
		scale float64
		fault string
	}{
		{[]uint16{0x7FC0, 0x0000}, 1, modbus.FaultNaN},
		{[]uint16{0xFFC0, 0x0001}, 1, modbus.FaultNaN},
		{[]uint16{0x7F80, 0x0001}, 1, modbus.FaultNaN}, // signalling
		{[]uint16{0x7F80, 0x0000}, 1, modbus.FaultInfinite},
		{[]uint16{0xFF80, 0x0000}, 1, modbus.FaultInfinite},
		{[]uint16{0x7F7F, 0xFFFF}, 1e300, modbus.FaultScaled},
	} {
		value, fault := modbus.Register{Type: "float32", Scale: c.scale}.Value(c.words)
		require.Equal(t, c.fault, fault)
		require.Zero(t, value)
	}
}

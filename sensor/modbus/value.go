package modbus

import (
	"encoding/binary"
	"math"
)

// Faults of a reading whose registers hold no finite number.
const (
	FaultNaN      = "not a number"
	FaultInfinite = "infinite"
	FaultScaled   = "not finite after scaling"
)

// kind is a data type of a register.
type kind struct {
	words int                       // registers it takes
	value func(bits uint32) float64 // bits are the first 16 only where words is 1
}

// kinds are the data types by their names in a Register.
var kinds = map[string]kind{
	"int16":   {1, func(b uint32) float64 { return float64(int16(b)) }},
	"uint16":  {1, func(b uint32) float64 { return float64(uint16(b)) }},
	"int32":   {2, func(b uint32) float64 { return float64(int32(b)) }},
	"uint32":  {2, func(b uint32) float64 { return float64(b) }},
	"float32": {2, func(b uint32) float64 { return float64(math.Float32frombits(b)) }},
}

// order is how an instrument lays a value out in its registers.
type order struct {
	swapBytes bool // the low byte of each register comes first
	swapWords bool // the low register comes first
}

// orders are the orders by their names: the bytes of the value, A the highest,
// as they come over the line. The specification knows only the first; makers
// use all. A type of one register takes the byte order from a four-letter name.
var orders = map[string]order{
	"":     {},
	"ABCD": {},
	"CDAB": {swapWords: true},
	"BADC": {swapBytes: true},
	"DCBA": {swapBytes: true, swapWords: true},
	"AB":   {},
	"BA":   {swapBytes: true},
}

// bits puts the one or two registers of a value together.
func (o order) bits(words []uint16) uint32 {
	var b [4]byte
	for i, w := range words {
		if o.swapBytes {
			w = w<<8 | w>>8
		}
		at := i
		if o.swapWords {
			at = len(words) - 1 - i
		}
		binary.BigEndian.PutUint16(b[2*at:], w)
	}
	if len(words) == 1 {
		return uint32(binary.BigEndian.Uint16(b[:]))
	}
	return binary.BigEndian.Uint32(b[:])
}

// words is how many registers r takes; r is valid.
func (r Register) words() int { return kinds[r.Type].words }

// Value reads r from its registers (as many as its type takes): raw × Scale +
// Offset, in r.Unit. When there is no finite number the value is 0 and fault
// says why. r must be valid.
func (r Register) Value(words []uint16) (value float64, fault string) {
	raw := kinds[r.Type].value(orders[r.Order].bits(words))
	switch {
	case math.IsNaN(raw):
		return 0, FaultNaN
	case math.IsInf(raw, 0):
		return 0, FaultInfinite
	}
	scale := r.Scale
	if scale == 0 {
		scale = 1
	}
	value = raw*scale + r.Offset
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return 0, FaultScaled
	}
	return value, ""
}

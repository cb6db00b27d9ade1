package modbus

import (
	"cmp"
	"slices"
	"time"

	"undersheet/sensor"
)

// block is registers of one unit that are read with one request.
type block struct {
	request   Request
	registers []Register // sorted by address
}

// plan groups the registers of a valid unit into the fewest requests that read
// nothing else: registers of one function that touch or overlap share one, up to
// MaxCount; no value is split.
func plan(u Unit) []block {
	rs := slices.Clone(u.Registers)
	slices.SortStableFunc(rs, func(a, b Register) int {
		return cmp.Or(cmp.Compare(a.Function, b.Function), cmp.Compare(a.Address, b.Address))
	})
	var blocks []block
	for _, r := range rs {
		if n := len(blocks); n == 0 || !blocks[n-1].take(r) {
			first := Request{Unit: u.Address, Function: r.Function, Address: r.Address, Count: uint16(r.words())}
			blocks = append(blocks, block{first, []Register{r}})
		}
	}
	return blocks
}

// take adds r if it touches b and the request stays within MaxCount.
func (b *block) take(r Register) bool {
	q := &b.request
	offset := int(r.Address) - int(q.Address)
	count := max(int(q.Count), offset+r.words())
	if r.Function != q.Function || offset > int(q.Count) || count > MaxCount {
		return false
	}
	q.Count = uint16(count)
	b.registers = append(b.registers, r)
	return true
}

// readings reads the values of b from its words, which came at time at.
func (b block) readings(words []uint16, source string, at time.Time) []sensor.Reading {
	rs := make([]sensor.Reading, len(b.registers))
	for i, r := range b.registers {
		offset := int(r.Address) - int(b.request.Address)
		value, fault := r.Value(words[offset : offset+r.words()])
		rs[i] = sensor.Reading{Channel: r.Channel, Value: value, Unit: r.Unit, Time: at, Fault: fault, Source: source}
	}
	return rs
}

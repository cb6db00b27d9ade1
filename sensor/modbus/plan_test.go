package modbus

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestPlanGroupsWhatIsAdjacent(t *testing.T) {
	reg := func(function byte, address uint16, kind string) Register {
		return Register{Channel: fmt.Sprint(function, address, kind), Function: function, Address: address, Type: kind}
	}
	var long []Register
	for i := range 100 { // 200 registers in a row: 62 values of 2 registers, and 38
		long = append(long, reg(4, uint16(1000+2*i), "float32"))
	}
	for name, c := range map[string]struct {
		registers []Register
		want      []Request
	}{
		"one": {[]Register{reg(3, 5, "int16")}, []Request{{9, 3, 5, 1}}},
		"in a row, out of order": {
			[]Register{reg(4, 2, "int16"), reg(4, 0, "float32"), reg(4, 3, "uint32")},
			[]Request{{9, 4, 0, 5}},
		},
		"a gap is not read":       {[]Register{reg(3, 0, "int16"), reg(3, 2, "int16")}, []Request{{9, 3, 0, 1}, {9, 3, 2, 1}}},
		"two functions":           {[]Register{reg(4, 1, "int16"), reg(3, 0, "int16")}, []Request{{9, 3, 0, 1}, {9, 4, 1, 1}}},
		"the same register":       {[]Register{reg(3, 0, "int32"), reg(3, 0, "uint16"), reg(3, 1, "int32")}, []Request{{9, 3, 0, 3}}},
		"125 at most, no tearing": {long, []Request{{9, 4, 1000, 124}, {9, 4, 1124, 76}}},
		"the last register":       {[]Register{reg(3, 65534, "int16"), reg(3, 65535, "int16")}, []Request{{9, 3, 65534, 2}}},
	} {
		t.Run(name, func(t *testing.T) {
			var got []Request
			n := 0
			for _, b := range plan(Unit{Address: 9, Registers: c.registers}) {
				got = append(got, b.request)
				n += len(b.registers)
			}
			require.Equal(t, c.want, got)
			require.Equal(t, len(c.registers), n, "every register is read once")
		})
	}
}

package modbus_test

import (
	"encoding/hex"
	"errors"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"undersheet/sensor/modbus"
)

// frame reads a frame written as hex bytes with blanks.
func frame(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
	require.NoError(t, err)
	return b
}

// Widely published frames with their checksums (common practice); the last but
// one is the worked example of MODBUS over Serial Line V1.02, section 6.2.2
// ("02 07" gives 1241 hex, sent 41 12), the last the frames of application
// protocol V1.1b3, section 6.3, as a maker's manual prints them with unit 1.
var sealed = []string{
	"01 03 00 00 00 0A C5 CD",
	"11 03 00 6B 00 03 76 87",
	"01 04 02 FF FF B8 80",
	"01 03 00 00 00 02 C4 0B",
	"01 83 02 C0 F1",
	"01 06 00 01 00 03 98 0B",
	"11 01 00 13 00 25 0E 84",
	"02 07 41 12",
	"01 03 00 6B 00 03 74 17",
	"01 03 06 02 2B 00 00 00 64 05 7A",
}

func TestCRC(t *testing.T) {
	// The check value of CRC-16/MODBUS in catalogues of checksums.
	require.Equal(t, uint16(0x4B37), modbus.CRC([]byte("123456789")))
	for _, s := range sealed {
		f := frame(t, s)
		require.True(t, modbus.Sealed(f), s)
		require.Equal(t, f, modbus.Seal(f[:len(f)-2:len(f)-2]), s)
		for i := range f {
			for bit := range 8 {
				f[i] ^= 1 << bit
				require.False(t, modbus.Sealed(f), "%s with bit %d of byte %d flipped", s, bit, i)
				f[i] ^= 1 << bit
			}
		}
	}
	require.False(t, modbus.Sealed(nil))
	require.False(t, modbus.Sealed([]byte{0xFF, 0xFF}), "no frame has nothing but a checksum")
}

// MODBUS Application Protocol V1.1b3: the worked examples of section 6.3 (read
// holding registers 108 to 110: 555, 0, 100), section 6.4 (read input register
// 9: 10) and the general form of an exception in section 7.
func TestSpecificationExamples(t *testing.T) {
	holding := modbus.Request{Unit: 1, Function: modbus.ReadHolding, Address: 107, Count: 3}
	require.Equal(t, frame(t, "01 03 00 6B 00 03 74 17"), holding.Append(nil))
	reply := frame(t, "01 03 06 02 2B 00 00 00 64 05 7A")
	words, err := holding.DecodeReply(reply)
	require.NoError(t, err)
	require.Equal(t, []uint16{555, 0, 100}, words)
	require.Equal(t, reply, holding.AppendReply(nil, words))
	require.Len(t, reply, holding.ReplyLen())

	input := modbus.Request{Unit: 1, Function: modbus.ReadInput, Address: 8, Count: 1}
	require.Equal(t, modbus.Seal(frame(t, "01 04 00 08 00 01")), input.Append(nil))
	words, err = input.DecodeReply(modbus.Seal(frame(t, "01 04 02 00 0A")))
	require.NoError(t, err)
	require.Equal(t, []uint16{10}, words)

	_, err = holding.DecodeReply(frame(t, "01 83 02 C0 F1"))
	require.Equal(t, modbus.IllegalDataAddress, err)
	require.Equal(t, frame(t, "01 83 02 C0 F1"), holding.AppendException(nil, modbus.IllegalDataAddress))
}

func TestExceptionNames(t *testing.T) {
	for code, name := range map[modbus.Exception]string{
		1: "illegal function", 2: "illegal data address", 3: "illegal data value", 4: "server device failure",
		5: "acknowledge", 6: "server device busy", 8: "memory parity error",
		10: "gateway path unavailable", 11: "gateway target device failed to respond", 99: "unknown",
	} {
		require.ErrorContains(t, code, name)
	}
	require.EqualError(t, modbus.IllegalDataAddress, "exception 2, illegal data address")
}

func TestDecodeReplyRefuses(t *testing.T) {
	r := modbus.Request{Unit: 1, Function: 3, Address: 107, Count: 3}
	for name, c := range map[string]struct {
		hex string
		is  error
	}{
		"nothing":            {"", modbus.ErrShort},
		"cut":                {"01 03 06 02 2B 00 00", modbus.ErrShort},
		"a flipped bit":      {"01 03 06 02 2B 00 00 00 65 05 7A", modbus.ErrCRC},
		"noise before":       {"FF 01 03 06 02 2B 00 00 00 64 05 7A", modbus.ErrCRC},
		"another unit":       {"02 03 06 02 2B 00 00 00 64", modbus.ErrOther},
		"another function":   {"01 04 06 02 2B 00 00 00 64", modbus.ErrOther},
		"fewer registers":    {"01 03 04 02 2B 00 00", modbus.ErrOther},
		"a lying byte count": {"01 03 04 02 2B 00 00 00 64", modbus.ErrOther},
		"another refusal":    {"01 84 02", modbus.ErrOther},
	} {
		t.Run(name, func(t *testing.T) {
			f := frame(t, c.hex)
			if errors.Is(c.is, modbus.ErrOther) {
				f = modbus.Seal(f)
			}
			words, err := r.DecodeReply(f)
			require.ErrorIs(t, err, c.is)
			require.Nil(t, words)
		})
	}
}

func TestFindReplySkipsWhatComesBefore(t *testing.T) {
	r := modbus.Request{Unit: 1, Function: 3, Address: 107, Count: 3}
	reply := r.AppendReply(nil, []uint16{555, 0, 100})
	other := modbus.Request{Unit: 2, Function: 3, Count: 3}.AppendReply(nil, []uint16{1, 2, 3})
	for name, before := range map[string][]byte{
		"nothing":            nil,
		"a glitch":           {0x00},
		"its own address":    {0x01, 0x01, 0x03, 0x01},
		"an echo":            r.Append(nil),
		"another's reply":    other,
		"its broken reply":   append(reply[:5:5], 0xFF),
		"a refusal, broken":  {0x01, 0x83, 0x02, 0xC0, 0xF2},
		"an unknown refusal": {0x01, 0x83, 0x00, 0x00, 0x00},
	} {
		t.Run(name, func(t *testing.T) {
			came := append(before[:len(before):len(before)], reply...)
			words, found, err := r.FindReply(came)
			require.NoError(t, err)
			require.True(t, found)
			require.Equal(t, []uint16{555, 0, 100}, words)
			_, found, _ = r.FindReply(came[:len(came)-1])
			require.False(t, found, "one byte is missing")
		})
	}
}

func TestDecodeRequestRefuses(t *testing.T) {
	for s, is := range map[string]error{
		"01 03 00 6B 00 03 74":       modbus.ErrShort,
		"01 03 00 6B 00 03 74 18":    modbus.ErrCRC,
		"01 03 00 6B 00 03 74 17 00": modbus.ErrCRC,
		"01 06 00 01 00 03 98 0B":    modbus.IllegalFunction,
	} {
		_, err := modbus.DecodeRequest(frame(t, s))
		require.ErrorIs(t, err, is, s)
	}
}

// An error leaves nothing half-filled; what decodes is written back as the same
// bytes; what is a reply is also found among bytes.
func FuzzDecode(f *testing.F) {
	for _, s := range sealed {
		f.Add(frame(f, s), byte(1), byte(3), uint16(3))
	}
	f.Add(modbus.Seal([]byte{7, 4, 2, 0xFF, 0xFE}), byte(7), byte(4), uint16(1))
	f.Fuzz(func(t *testing.T, b []byte, unit, function byte, count uint16) {
		if q, err := modbus.DecodeRequest(b); err != nil {
			require.Equal(t, modbus.Request{}, q)
		} else {
			require.Equal(t, b, q.Append(nil))
		}
		r := modbus.Request{Unit: unit, Function: 3 + function%2, Count: 1 + count%modbus.MaxCount}
		words, err := r.DecodeReply(b)
		var refusal modbus.Exception
		switch {
		case err == nil:
			require.Len(t, words, int(r.Count))
			require.Equal(t, b, r.AppendReply(nil, words))
		case errors.As(err, &refusal):
			require.Nil(t, words)
			require.Equal(t, b, r.AppendException(nil, refusal))
		default:
			require.Nil(t, words)
		}
		again, found, foundErr := r.FindReply(b)
		if err == nil || refusal != 0 {
			require.True(t, found)
			require.Equal(t, words, again)
			require.Equal(t, err, foundErr)
		}
		if !found {
			require.Nil(t, again)
			require.NoError(t, foundErr)
		}
	})
}

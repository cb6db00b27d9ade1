package logbook

import (
	"crypto/sha256"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// numbered gives entries their place in a log.
func numbered(first uint64, received Time, entries []Entry) []Entry {
	for i, e := range entries {
		h := e.Head()
		h.Seq, h.Received, h.V = first+uint64(i), received, Version
	}
	return entries
}

// fromLines decodes the lines of every kind.
func fromLines(t testing.TB) []Entry {
	var all []Entry
	for _, l := range lines {
		e, err := Decode([]byte(l.line))
		require.NoError(t, err)
		all = append(all, e)
	}
	return all
}

func TestUnitsHaveCodes(t *testing.T) {
	require.Equal(t, len(Units), len(unitCodes))
	for _, u := range Units {
		_, err := unitCode(u)
		require.NoError(t, err)
	}
}

func TestBlockOfEveryKindRoundTrips(t *testing.T) {
	in := numbered(17, 1772373600000000, fromLines(t))
	h, content, err := EncodeBlock(LogID{1}, Hash{2}, in)
	require.NoError(t, err)
	again, err := DecodeBlockHeader(h.Encode())
	require.NoError(t, err)
	require.Equal(t, h, again)
	out, err := DecodeBlock(again, content)
	require.NoError(t, err)
	require.Equal(t, in, out)
}

// The bytes of a small block, worked out by hand from the description in the
// doc of package logbook/sqlite.
func TestBlockContentByHand(t *testing.T) {
	r := func(at Time, ch string, v float64) Entry {
		return &Reading{Header: Header{Kind: KindReading, Time: at}, Channel: ch, Value: v, Unit: PPM}
	}
	fault := r(101, "b", 0).(*Reading)
	fault.Fault, fault.Stamped = "F1", true
	_, content, err := EncodeBlock(LogID{}, Hash{}, numbered(1, 200, []Entry{r(100, "a", 1), fault, r(99, "a", -2)}))
	require.NoError(t, err)
	require.Equal(t, []byte{1, // version
		2, 1, 'a', 1, 'b', // table
		1, 0, 0, 200, 1, 0x3f, 0xf0, 0, 0, 0, 0, 0, 0, 1, // +100 µs zigzag 200 = c8 01; 1.0
		1, 6, 1, 2, 0, 0, 0, 0, 0, 0, 0, 0, 1, 2, 'F', '1', // stamped, fault; +1 µs
		1, 0, 0, 3, 0xc0, 0, 0, 0, 0, 0, 0, 0, 1}, content) // −2 µs zigzag 3; −2.0
}

func TestEncodeBlockRefuses(t *testing.T) {
	clock := func(seq uint64) Entry {
		return &Clock{Header{Kind: KindClock, Time: 1, Seq: seq, Received: 5, V: Version}}
	}
	undated := clock(2)
	undated.Head().Time = 0
	late := clock(2)
	late.Head().Received = 6
	many := make([]Entry, MaxBlockEntries+1)
	for i := range many {
		many[i] = clock(uint64(i + 1))
	}
	for name, in := range map[string][]Entry{"none": nil, "many": many, "seq 0": {clock(0)}, "gap": {clock(1), clock(3)},
		"undated": {clock(1), undated}, "other received": {clock(1), late}} {
		_, content, err := EncodeBlock(LogID{}, Hash{}, in)
		require.Error(t, err, name)
		require.Nil(t, content, name)
	}
}

func TestDamagedBlocksAreRefused(t *testing.T) {
	h, content, err := EncodeBlock(LogID{1}, Hash{2}, numbered(1, 5, fromLines(t)))
	require.NoError(t, err)
	for i := range content {
		bad := append([]byte(nil), content...)
		bad[i] ^= 4
		out, err := DecodeBlock(h, bad)
		require.ErrorIs(t, err, ErrBlockDamaged)
		require.Nil(t, out)
	}
	_, err = DecodeBlock(h, content[:len(content)-1])
	require.ErrorIs(t, err, ErrBlockDamaged)

	raw := h.Encode()
	for n := range raw {
		_, err := DecodeBlockHeader(raw[:n])
		require.ErrorIs(t, err, ErrBlockDamaged)
	}
	for i := range raw {
		bad := append([]byte(nil), raw...)
		bad[i] ^= 0x40
		if got, err := DecodeBlockHeader(bad); err == nil {
			require.NotEqual(t, h.Hash(), got.Hash(), "byte %d", i)
		} else {
			require.Zero(t, got)
		}
	}
	for _, at := range []int{4, 6} {
		newer := append([]byte(nil), raw...)
		newer[at] = 1
		_, err := DecodeBlockHeader(newer)
		require.ErrorIs(t, err, ErrNewer)
	}
	newer := append([]byte(nil), content...)
	newer[0] = BlockVersion + 1
	h.Content = sha256.Sum256(newer)
	_, err = DecodeBlock(h, newer)
	require.ErrorIs(t, err, ErrNewer)
}

// drawReading draws any reading that Check lets pass.
func drawReading(t *rapid.T) Entry {
	r := &Reading{
		Header: Header{Kind: KindReading, Time: Time(rapid.Int64Range(-62135596799999999, 253402300799999999).Draw(t, "time")),
			ID: rapid.SampledFrom([]string{"", "", "m-1", "m-2"}).Draw(t, "id")},
		Channel: rapid.SampledFrom([]string{"a", "b", "c", "Süd/1", "x y"}).Draw(t, "channel"),
		Value:   rapid.Float64().Filter(func(v float64) bool { return !math.IsInf(v, 0) && !math.IsNaN(v) }).Draw(t, "value"),
		Unit:    rapid.SampledFrom(Units).Draw(t, "unit"), Retained: rapid.Bool().Draw(t, "retained"), Stamped: rapid.Bool().Draw(t, "stamped"),
		Fault: rapid.SampledFrom([]string{"", "", "cell worn", "Überlauf"}).Draw(t, "fault"),
	}
	if r.Time == 0 {
		r.Time = 1
	}
	return r
}

func TestAnyBlockRoundTrips(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		all := fromLines(t)
		in := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Entry {
			if i := rapid.IntRange(0, 3*len(all)).Draw(t, "kind"); i < len(all) {
				e, err := Decode([]byte(lines[i].line))
				require.NoError(rt, err)
				return e
			}
			return drawReading(t)
		}), 1, 40).Draw(rt, "entries")
		first := rapid.Uint64Range(1, 1<<62).Draw(rt, "first")
		numbered(first, Time(rapid.Int64Range(1, 1<<55).Draw(rt, "received")), in)
		for _, e := range in {
			require.NoError(rt, Check(e))
		}
		h, content, err := EncodeBlock(LogID{1}, Hash{2}, in)
		require.NoError(rt, err)
		out, err := DecodeBlock(h, content)
		require.NoError(rt, err)
		require.Equal(rt, in, out)
		h2, content2, err := EncodeBlock(LogID{1}, Hash{2}, out)
		require.NoError(rt, err)
		require.Equal(rt, content, content2)
		require.Equal(rt, h.Hash(), h2.Hash())
	})
}

func TestTextsThatAreNotUTF8AreMended(t *testing.T) {
	in := &Reading{Header: Header{Kind: KindReading, Time: 1}, Channel: "a\xff", Unit: PPM, Fault: "\xfe"}
	h, content, err := EncodeBlock(LogID{}, Hash{}, numbered(1, 1, []Entry{in}))
	require.NoError(t, err)
	out, err := DecodeBlock(h, content)
	require.NoError(t, err)
	require.Equal(t, "a\uFFFD", out[0].(*Reading).Channel)
	require.Equal(t, "\uFFFD", out[0].(*Reading).Fault)
}

// For any content under its own hash: an error leaves nothing; else the entries
// can be kept and make a block of the same entries, byte for byte the same when
// all are readings.
func FuzzDecodeBlock(f *testing.F) {
	all := fromLines(f)
	for i := range all {
		in := all[i : i+1]
		_, content, err := EncodeBlock(LogID{}, Hash{}, numbered(1, 5, in))
		require.NoError(f, err)
		f.Add(uint32(1), content)
	}
	_, content, err := EncodeBlock(LogID{}, Hash{}, numbered(1, 5, all))
	require.NoError(f, err)
	f.Add(uint32(len(all)), content)
	f.Fuzz(func(t *testing.T, count uint32, content []byte) {
		if count == 0 || count > MaxBlockEntries {
			return
		}
		h := BlockHeader{Format: BlockVersion, Entries: Version, First: 1, Last: uint64(count), Count: count, Received: 5, Content: sha256.Sum256(content)}
		entries, err := DecodeBlock(h, content)
		if err != nil {
			require.Nil(t, entries)
			return
		}
		require.Len(t, entries, int(count))
		h2, content2, err := EncodeBlock(LogID{}, Hash{}, entries)
		require.NoError(t, err)
		again, err := DecodeBlock(h2, content2)
		require.NoError(t, err)
		readings := 0
		for i, e := range entries {
			want, err := Encode(e)
			require.NoError(t, err)
			got, err := Encode(again[i])
			require.NoError(t, err)
			require.Equal(t, string(want), string(got))
			if e.Head().Kind == KindReading {
				readings++
			}
		}
		if readings == len(entries) {
			require.Equal(t, content, content2)
		}
	})
}

func FuzzDecodeBlockHeader(f *testing.F) {
	h, _, err := EncodeBlock(LogID{1}, Hash{2}, numbered(1, 5, fromLines(f)))
	require.NoError(f, err)
	f.Add(h.Encode())
	f.Fuzz(func(t *testing.T, raw []byte) {
		h, err := DecodeBlockHeader(raw)
		if err != nil {
			require.Zero(t, h)
			return
		}
		require.Equal(t, raw, h.Encode())
	})
}

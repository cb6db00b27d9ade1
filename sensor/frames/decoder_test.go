package frames_test

import (
	"errors"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"undersheet/sensor"
	"undersheet/sensor/frames"
)

// All formats in these tests are invented.
var (
	// plain is a value of one fixed channel.
	plain = frames.Format{Pattern: `^\s*(?P<value>[^\s].*?)?\s*ppm$`, Channel: "door", Unit: "ppm"}
	// probes names its probes, units and states.
	probes = frames.Format{Pattern: `^(?P<channel>\w+) +(?P<value>\S+) +(?P<unit>\S+)(?: +(?P<status>\S+))?$`,
		Channels: map[string]string{"P1": "north top", "P2": "south low"},
		Units:    map[string]string{"VPM": "ppm", "LPM": "L/min"}, Sound: []string{"", "G"}, Ignore: `^#`}
	// row gives several values in one line, by the channels' own names.
	row = frames.Format{Pattern: `(?P<channel>[a-z-]+)=(?P<value>[^ ;]+)`, Unit: "C"}
	// bare has a unit of its own in each line.
	bare = frames.Format{Pattern: `^(?P<value>\S+) ?(?P<unit>.*)$`, Channel: "air", Unit: "hPa"}
)

func compiled(t testing.TB, f frames.Format) *frames.Decoder {
	t.Helper()
	d, err := frames.Compile(f)
	require.NoError(t, err)
	return d
}

// reading is shorthand for what a line gives.
func reading(channel string, value float64, unit, fault string) sensor.Reading {
	return sensor.Reading{Channel: channel, Value: value, Unit: unit, Fault: fault}
}

var decodings = []struct {
	name    string
	format  frames.Format
	line    string
	want    []sensor.Reading
	refused frames.Reason // "" none
	why     string        // part of the refusal
}{
	{name: "integer", format: plain, line: "412 ppm", want: []sensor.Reading{reading("door", 412, "ppm", "")}},
	{name: "padded", format: plain, line: "    0.02 ppm", want: []sensor.Reading{reading("door", 0.02, "ppm", "")}},
	{name: "decimal comma", format: plain, line: "0,125 ppm", want: []sensor.Reading{reading("door", 0.125, "ppm", "")}},
	{name: "sign apart", format: plain, line: "-  0.3 ppm", want: []sensor.Reading{reading("door", -0.3, "ppm", "")}},
	{name: "typographic minus", format: plain, line: "\u22120.3 ppm", want: []sensor.Reading{reading("door", -0.3, "ppm", "")}},
	{name: "plus", format: plain, line: "+12.50 ppm", want: []sensor.Reading{reading("door", 12.5, "ppm", "")}},
	{name: "exponent", format: plain, line: "1.25E+02 ppm", want: []sensor.Reading{reading("door", 125, "ppm", "")}},
	{name: "point first", format: plain, line: ".5 ppm", want: []sensor.Reading{reading("door", 0.5, "ppm", "")}},
	{name: "point last", format: plain, line: "5. ppm", want: []sensor.Reading{reading("door", 5, "ppm", "")}},
	{name: "thousands", format: plain, line: "1,234.5 ppm", want: []sensor.Reading{reading("door", 0, "ppm", `shows "1,234.5", no number`)}},
	{name: "over range", format: plain, line: ">2000 ppm", want: []sensor.Reading{reading("door", 0, "ppm", `shows ">2000", no number`)}},
	{name: "under range", format: plain, line: "<0.05 ppm", want: []sensor.Reading{reading("door", 0, "ppm", `shows "<0.05", no number`)}},
	{name: "overload", format: plain, line: "OL ppm", want: []sensor.Reading{reading("door", 0, "ppm", `shows "OL", no number`)}},
	{name: "dashes", format: plain, line: "---- ppm", want: []sensor.Reading{reading("door", 0, "ppm", `shows "----", no number`)}},
	{name: "nothing", format: plain, line: "     ppm", want: []sensor.Reading{reading("door", 0, "ppm", "shows no value")}},
	{name: "not a number", format: plain, line: "NaN ppm", want: []sensor.Reading{reading("door", 0, "ppm", `shows "NaN", no number`)}},
	{name: "infinity", format: plain, line: "Inf ppm", want: []sensor.Reading{reading("door", 0, "ppm", `shows "Inf", no number`)}},
	{name: "hexadecimal", format: plain, line: "0x1F ppm", want: []sensor.Reading{reading("door", 0, "ppm", `shows "0x1F", no number`)}},
	{name: "too large", format: plain, line: "1e999 ppm", want: []sensor.Reading{reading("door", 0, "ppm", `shows "1e999", out of all bounds`)}},
	{name: "two numbers", format: plain, line: "412 398 ppm", want: []sensor.Reading{reading("door", 0, "ppm", `shows "412 398", no number`)}},
	{name: "no fit", format: plain, line: "412 ppb", refused: frames.NoFit, why: "does not fit"},
	{name: "noise", format: plain, line: "4\xff\xfe2 p\x00m", refused: frames.NoFit, why: "does not fit"},

	{name: "probe", format: probes, line: "P1 412 VPM G", want: []sensor.Reading{reading("north top", 412, "ppm", "")}},
	{name: "status left out", format: probes, line: "P2 0.55 LPM", want: []sensor.Reading{reading("south low", 0.55, "L/min", "")}},
	{name: "status not sound", format: probes, line: "P1 412 VPM E7", want: []sensor.Reading{reading("north top", 412, "ppm", `status "E7"`)}},
	{name: "status and no number", format: probes, line: "P1 OL VPM E7", want: []sensor.Reading{reading("north top", 0, "ppm", `shows "OL", no number, status "E7"`)}},
	{name: "dashes for all", format: probes, line: "P1 ---- ---", want: []sensor.Reading{reading("north top", 0, "", `shows "----", no number`)}},
	{name: "unknown probe", format: probes, line: "P3 412 VPM", refused: frames.NoChannel, why: `channel "P3" is none of "P1", "P2"`},
	{name: "unknown unit", format: probes, line: "P1 412 ppm", refused: frames.NoUnit, why: `unit "ppm" is none of "LPM", "VPM"`},
	{name: "heading", format: probes, line: "# probe value unit"},
	{name: "blank", format: probes, line: " \t"},
	{name: "empty", format: plain, line: ""},

	{name: "row", format: row, line: "grain=29,1 store=31.0; wall=OL", want: []sensor.Reading{
		reading("grain", 29.1, "C", ""), reading("store", 31, "C", ""), reading("wall", 0, "C", `shows "OL", no number`)}},
	{name: "row with a stranger", format: row, line: "grain=29.1 checksum 7F", refused: frames.NoFit, why: `account for "checksum 7F"`},
	{name: "torn start", format: row, line: "9.1 store=31.0", refused: frames.NoFit, why: `account for "9.1"`},
	{name: "two in one", format: row, line: "grain=29.1 grain=30.0", refused: frames.TwoValues, why: `"grain" two values`},

	{name: "unit of ours", format: bare, line: "12 PPM", want: []sensor.Reading{reading("air", 12, "ppm", "")}},
	{name: "unit missing", format: bare, line: "1013.2", want: []sensor.Reading{reading("air", 1013.2, "hPa", "")}},
	{name: "unit unknown", format: bare, line: "12 furlongs", refused: frames.NoUnit, why: "say under units what it means"},
	{name: "too long", format: bare, line: strings.Repeat("1", frames.MaxLine+1), refused: frames.TooLong, why: "1024 bytes"},
}

func TestDecode(t *testing.T) {
	for _, c := range decodings {
		t.Run(c.name, func(t *testing.T) {
			rs, err := compiled(t, c.format).Decode([]byte(c.line))
			require.Equal(t, c.want, rs)
			var refused *frames.Refusal
			switch {
			case c.refused != "":
				require.ErrorAs(t, err, &refused)
				require.Equal(t, c.refused, refused.Reason)
				require.ErrorContains(t, err, c.why)
			case c.want == nil:
				require.ErrorIs(t, err, frames.ErrIgnored)
			default:
				require.NoError(t, err)
			}
		})
	}
}

// One value that cannot be read costs the others nothing.
func TestDecodeKeepsTheRest(t *testing.T) {
	d := compiled(t, frames.Format{Pattern: `(?P<channel>\w+):(?P<value>\S+)`, Channels: map[string]string{"a": "north", "b": "south"}})
	rs, err := d.Decode([]byte("a:1 c:2 d:4 b:3"))
	require.Equal(t, []sensor.Reading{reading("north", 1, "", ""), reading("south", 3, "", "")}, rs)
	require.EqualError(t, err, `channel "c" is none of "a", "b"; channel "d" is none of "a", "b"`)
	require.Equal(t, []string{"north", "south"}, d.Channels())
}

// FuzzDecode: whatever comes, no panic; a reading is fit to leave the decoder, has
// a unit that is known, no channel comes twice, and written plainly it is read as
// the same; a refused line gives a reason; a damaged digit is never another number
// unseen (the pattern accounts for the whole line).
func FuzzDecode(f *testing.F) {
	formats := []frames.Format{plain, probes, row, bare}
	for _, c := range decodings {
		f.Add(uint8(slices.IndexFunc(formats, func(g frames.Format) bool { return g.Pattern == c.format.Pattern })), []byte(c.line))
	}
	decoders := make([]*frames.Decoder, len(formats))
	for i := range formats {
		decoders[i] = compiled(f, formats[i])
	}
	back := compiled(f, frames.Format{Pattern: `^(?P<value>\S+) (?P<unit>.*)$`, Channel: "c"})
	f.Fuzz(func(t *testing.T, which uint8, line []byte) {
		before := string(line)
		rs, err := decoders[int(which)%len(decoders)].Decode(line)
		require.Equal(t, before, string(line), "the line is left alone")
		var refused *frames.Refusal
		if err != nil && !errors.Is(err, frames.ErrIgnored) {
			require.ErrorAs(t, err, &refused)
			require.NotEmpty(t, refused.Reason)
			require.NotEmpty(t, refused.Why)
			require.Less(t, len(refused.Why), 1<<20)
		}
		if errors.Is(err, frames.ErrIgnored) || refused != nil && (refused.Reason == frames.NoFit || refused.Reason == frames.TwoValues || refused.Reason == frames.TooLong) {
			require.Empty(t, rs)
		}
		require.False(t, err == nil && len(rs) == 0, "nothing was read, and nobody says why")
		seen := map[string]bool{}
		for _, r := range rs {
			require.NoError(t, r.Check())
			require.False(t, seen[r.Channel])
			seen[r.Channel] = true
			require.True(t, r.Unit == "" || slices.Contains(frames.Units, r.Unit))
			require.True(t, r.Fault == "" || r.Fault == strings.ToValidUTF8(r.Fault, "?"))
			if strings.HasPrefix(r.Fault, "shows ") {
				require.Zero(t, r.Value)
			}
			again, err := back.Decode([]byte(strconv.FormatFloat(r.Value, 'g', -1, 64) + " " + r.Unit))
			require.NoError(t, err)
			require.Equal(t, math.Float64bits(r.Value+0), math.Float64bits(again[0].Value+0))
			require.Equal(t, r.Unit, again[0].Unit)
		}
	})
}

func TestCompileFaults(t *testing.T) {
	for name, c := range map[string]struct {
		f    frames.Format
		want string
	}{
		"no pattern":         {frames.Format{Channel: "a"}, "pattern: missing"},
		"broken pattern":     {frames.Format{Channel: "a", Pattern: `^(?P<value>\d+) [z-a]$`}, `pattern: invalid character class range at character 18: "z-a"`},
		"open bracket":       {frames.Format{Channel: "a", Pattern: `^(?P<value>\d+`}, "pattern: missing closing ) in"},
		"long pattern":       {frames.Format{Channel: "a", Pattern: strings.Repeat("a", 2000)}, "pattern: longer than 1024 bytes"},
		"no value":           {frames.Format{Channel: "a", Pattern: `^\d+$`}, "pattern: has no group (?P<value>…)"},
		"odd group":          {frames.Format{Channel: "a", Pattern: `^(?P<value>\d+)(?P<sort>.)$`}, `pattern: there is no use for a group "sort"`},
		"fits nothing":       {frames.Format{Channel: "a", Pattern: `(?P<value>\d*)`}, "pattern: fits an empty line"},
		"no channel":         {frames.Format{Pattern: `^(?P<value>\d+)$`}, "channel: missing"},
		"channel twice":      {frames.Format{Channel: "a", Pattern: `^(?P<channel>.)(?P<value>\d+)$`}, "channel: the pattern has a group channel too"},
		"channels for none":  {frames.Format{Channel: "a", Channels: map[string]string{"x": "b"}, Pattern: `^(?P<value>\d+)$`}, "channels: of no use"},
		"one channel twice":  {frames.Format{Channels: map[string]string{"x": "b", "y": "b"}, Pattern: `^(?P<channel>.)(?P<value>\d+)$`}, `channels: "x" and "y" both mean "b"`},
		"no such channel":    {frames.Format{Channels: map[string]string{"x": ""}, Pattern: `^(?P<channel>.)(?P<value>\d+)$`}, `channels: "x" means no channel`},
		"unit":               {frames.Format{Channel: "a", Unit: "ppb", Pattern: `^(?P<value>\d+)$`}, `unit: must be one of ppm, mg/m3`},
		"meaning of a unit":  {frames.Format{Channel: "a", Units: map[string]string{"B": "ppb"}, Pattern: `^(?P<value>\d+)(?P<unit>.)$`}, `units: "B": must mean one of`},
		"units for none":     {frames.Format{Channel: "a", Units: map[string]string{"B": "ppm"}, Pattern: `^(?P<value>\d+)$`}, "units: of no use"},
		"sound for none":     {frames.Format{Channel: "a", Sound: []string{"A"}, Pattern: `^(?P<value>\d+)$`}, "sound: of no use"},
		"broken ignore":      {frames.Format{Channel: "a", Ignore: "*", Pattern: `^(?P<value>\d+)$`}, "ignore: missing argument to repetition operator"},
		"ignores everything": {frames.Format{Channel: "a", Ignore: "#*", Pattern: `^(?P<value>\d+)$`}, `ignore: "#*" fits every line`},
	} {
		d, err := frames.Compile(c.f)
		require.ErrorContains(t, err, c.want, name)
		require.Nil(t, d, name)
	}
}

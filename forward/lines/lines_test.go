package lines

import (
	"fmt"
	"maps"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/influxdata/line-protocol/v2/lineprotocol"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

// noon is when the tests' entries are.
const noon = "2026-03-01T12:00:00.000007Z"

// depot is a site with one of everything.
func depot() *logbook.Site {
	return &logbook.Site{Name: "Depot Ostrava",
		Channels: map[string]logbook.Channel{"b-top": {Unit: "ppm"}, "s2-door": {Unit: "ppm"}, "spare": {Unit: "C"}},
		Stores: []logbook.Store{{Name: "Store 2",
			Air:    []logbook.AirPoint{{Name: "door", Channel: "s2-door", Where: "door"}, {Name: "aisle", Channel: "s2-aisle"}},
			Doors:  []logbook.Contact{{Name: "north door", Channel: "s2-contact", Inverted: true}},
			Water:  []logbook.Contact{{Name: "drain", Channel: "s2-water"}},
			Stacks: []logbook.Stack{{Name: "B", Temperature: "b-temp", Lines: []logbook.Line{{Name: "north top", Channel: "b-top"}}}}}},
		Mains:       []logbook.Contact{{Name: "mains", Channel: "power"}},
		Pumps:       []logbook.Pump{{Name: "pump 1", Channel: "flow"}},
		Wind:        &logbook.Wind{Speed: "wind", Direction: "vane"},
		Instruments: []logbook.Instrument{{Name: "rack"}}}
}

// entry sets the header of e.
func entry(t testing.TB, e logbook.Entry, seq uint64) logbook.Entry {
	at, err := logbook.ParseTime(noon)
	require.NoError(t, err)
	e.Head().Time, e.Head().Seq = at, seq
	return e
}

// every has an entry for each line that there is, with all its parts.
func every(t testing.TB) []logbook.Entry {
	limit := 0.05
	es := []logbook.Entry{
		&logbook.Reading{Channel: "b-top", Value: 412.5, Unit: "ppm"},
		&logbook.Reading{Channel: "s2-contact", Value: 1, Unit: "state"},
		&logbook.Reading{Channel: "s2-door", Value: 0.1, Unit: "ppm", Fault: "sensor worn"},
		&logbook.Reading{Channel: "s2-aisle", Value: 0.2, Unit: "ppm", Retained: true, Stamped: true},
		&logbook.Reading{Channel: "s9", Value: 3, Unit: "ppm"},
		&logbook.Reading{Channel: "s9", Value: 3, Unit: "ppm", Fault: "worn"},
		&logbook.Reading{Channel: "s9", Value: 3, Unit: "ppm", Retained: true, Stamped: true},
		&logbook.HandReading{Stack: "B", Line: "north top", Value: 160, Unit: "ppm", Method: "detector tube", DetectionLimit: &limit, Act: logbook.Act{By: "R. Amadi", Note: "windy"}},
		&logbook.HandReading{Store: "Store 2", Point: "beside B", Value: 0, Unit: "ppm", Method: "detector tube", Where: "at the windward door"},
		&logbook.HandReading{Store: "Store 2", Point: "behind the ladder", Value: 0, Unit: "ppm", Method: "detector tube"},
		&logbook.InstrumentState{Instrument: "rack", Unit: "7", OK: true, Detail: "secret.example"},
		&logbook.InstrumentState{Instrument: "gone", Unit: "7"},
		&logbook.Forecast{Stack: "B", Line: "north top", For: 1772798400000000, PPM: logbook.Quantiles{P05: 101, P50: 150.5, P95: 211}, ChanceMet: 0.61},
		&logbook.Forecast{Stack: "Q"},
		&logbook.Gate{Store: "Store 2", State: "check-owed", LimitPPM: 0.3, Reasons: []logbook.Reason{{Code: "hand-readings", About: "R. Amadi"}, {Code: "no-country"}},
			Read: []logbook.PointRead{{Point: "door", PPM: 0.01, Upper: 0.04}, {Point: "aisle", PPM: 0.02, Upper: 0.05}}},
		&logbook.Gate{Store: "Store 9", State: "ajar"},
		&logbook.Alarm{State: "raised", Alarm: "leak", Stack: "B", Line: "north top", Priority: "high", Code: "slow", Value: 0.5, Limit: 0.2, Onset: 1772366400000000, By: "R. Amadi", Text: "go"},
		&logbook.Alarm{State: "cleared", Alarm: "air-gas", Store: "Store 2", Point: "door", Channel: "s2-door", Priority: "low"},
		&logbook.Alarm{State: "acknowledged", Alarm: "line-silent", Channel: "s9", Priority: "odd"},
		&logbook.Phase{Stack: "B", Treatment: "B-7", Phase: "airing", Verdict: "held"},
		&logbook.Phase{Stack: "Q", Phase: "odd", Verdict: "odd"},
		&logbook.EndLevel{Stack: "B", Treatment: "B-7", Line: "north top", Moment: "airing", Shown: "met", PPM: 170, EndPPM: 150, ByHand: true},
		&logbook.EndLevel{Stack: "Q", Line: "north top", Moment: "airing", Shown: "not-shown", EndPPM: 150},
		&logbook.EndLevel{Stack: "B", Line: "north top", Moment: "airing", Shown: "not-met", PPM: 90, EndPPM: 150},
		&logbook.Finding{Code: "unknown-channel", Stack: "B", Line: "north top", Channel: "s9", About: "R. Amadi", Value: 1, Limit: 2},
		&logbook.Finding{Code: "late", Channel: "b-top"},
		&logbook.Accepted{Entry: "dosing-started", Stack: "B"},
		&logbook.Refused{Entry: "entry-confirmed", Store: "Store 9", Code: "gate-shut", Why: "no"},
		&logbook.Alarm{State: "raised", Alarm: "follow-up-due", Stack: "B", Priority: "medium", Code: "jar", Owed: &logbook.Owed{Treatment: "B-7", Person: "R. Amadi"}},
	}
	for _, s := range []string{"b-temp", "s2-water", "power", "flow", "wind", "vane", "spare"} {
		es = append(es, &logbook.Reading{Channel: s, Value: 1, Unit: "C"})
	}
	for i, e := range es {
		entry(t, e, uint64(9001+i))
	}
	return es
}

// line is what a decoder makes of a line.
type line struct {
	measurement string
	tags        map[string]string
	fields      map[string]any
	nanos       int64
}

// decode reads lines with the library's decoder.
func decode(t testing.TB, b []byte) (got []line) {
	d := lineprotocol.NewDecoderWithBytes(b)
	for d.Next() {
		l := line{tags: map[string]string{}, fields: map[string]any{}}
		m, err := d.Measurement()
		require.NoError(t, err)
		l.measurement = string(m)
		for {
			k, v, err := d.NextTag()
			require.NoError(t, err)
			if k == nil {
				break
			}
			l.tags[string(k)] = string(v)
		}
		for {
			k, v, err := d.NextField()
			require.NoError(t, err)
			if k == nil {
				break
			}
			l.fields[string(k)] = v.Interface()
		}
		at, err := d.Time(lineprotocol.Nanosecond, time.Time{})
		require.NoError(t, err)
		l.nanos = at.UnixNano()
		got = append(got, l)
	}
	return got
}

// encode writes one entry at the depot.
func encode(t testing.TB, e logbook.Entry, second bool) []line {
	enc := New()
	enc.Configure(depot())
	b, err := enc.Append(nil, e, second)
	require.NoError(t, err)
	return decode(t, b)
}

// TestEveryKind: what is written of each kind, read back by the library's decoder.
func TestEveryKind(t *testing.T) {
	at, err := logbook.ParseTime(noon)
	require.NoError(t, err)
	whole := int64(at) * 1000
	type m = map[string]string
	type f = map[string]any
	want := []line{
		{"reading", m{"site": "Depot Ostrava", "store": "Store 2", "stack": "B", "line": "north top", "channel": "b-top", "unit": "ppm", "use": "line"}, f{"value": 412.5}, whole},
		{"reading", m{"site": "Depot Ostrava", "store": "Store 2", "point": "north door", "channel": "s2-contact", "unit": "state", "use": "door"}, f{"value": 1.0, "active": int64(0)}, whole},
		{"reading", m{"site": "Depot Ostrava", "store": "Store 2", "point": "door", "place": "door", "channel": "s2-door", "unit": "ppm", "use": "air"}, f{"faulty": 0.1, "fault": "sensor worn"}, whole},
		{"reading", m{"site": "Depot Ostrava", "store": "Store 2", "point": "aisle", "place": "inside", "channel": "s2-aisle", "unit": "ppm", "use": "air"}, f{"retained": 0.2}, whole},
		{"reading_unknown", m{"site": "Depot Ostrava", "unit": "ppm"}, f{"value": 3.0, "elsewhere": "s9"}, whole + 5},
		{"reading_unknown", m{"site": "Depot Ostrava", "unit": "ppm"}, f{"faulty": 3.0, "fault": "worn", "elsewhere": "s9"}, whole + 6},
		{"reading_unknown", m{"site": "Depot Ostrava", "unit": "ppm"}, f{"retained": 3.0, "elsewhere": "s9"}, whole + 7},
		{"hand_reading", m{"site": "Depot Ostrava", "store": "Store 2", "stack": "B", "line": "north top", "unit": "ppm"}, f{"value": 160.0, "detection_limit": 0.05, "method": "detector tube"}, whole + 8},
		{"hand_reading", m{"site": "Depot Ostrava", "store": "Store 2", "point": "beside B", "unit": "ppm"}, f{"value": 0.0, "method": "detector tube", "where": "at the windward door"}, whole + 9},
		{"hand_reading", m{"site": "Depot Ostrava", "store": "Store 2", "unit": "ppm"}, f{"value": 0.0, "method": "detector tube", "elsewhere": "behind the ladder"}, whole + 10},
		{"instrument", m{"site": "Depot Ostrava", "instrument": "rack", "address": "7"}, f{"ok": int64(1)}, whole + 11},
		{"instrument", m{"site": "Depot Ostrava"}, f{"ok": int64(0), "elsewhere": "gone"}, whole + 12},
		{"forecast", m{"site": "Depot Ostrava", "store": "Store 2", "stack": "B", "line": "north top"}, f{"p05_ppm": 101.0, "p50_ppm": 150.5, "p95_ppm": 211.0, "chance_met": 0.61, "for_ms": int64(1772798400000)}, whole + 13},
		{"forecast", m{"site": "Depot Ostrava"}, f{"p05_ppm": 0.0, "p50_ppm": 0.0, "p95_ppm": 0.0, "chance_met": 0.0, "for_ms": int64(0), "elsewhere": "Q"}, whole + 14},
		{"gate", m{"site": "Depot Ostrava", "store": "Store 2"}, f{"state": "check-owed", "state_code": int64(-2), "limit_ppm": 0.3, "reasons": int64(2), "why": "hand-readings no-country", "upper_ppm": 0.05}, whole + 15},
		{"gate", m{"site": "Depot Ostrava"}, f{"state": "ajar", "state_code": int64(0), "limit_ppm": 0.0, "reasons": int64(0), "elsewhere": "Store 9"}, whole + 16},
		{"alarm", m{"site": "Depot Ostrava", "alarm": "leak", "store": "Store 2", "stack": "B", "line": "north top"}, f{"state": "raised", "state_code": int64(2), "priority": "high", "priority_code": int64(3), "detail": "slow", "value": 0.5, "threshold": 0.2, "onset_ms": int64(1772366400000)}, whole + 17},
		{"alarm", m{"site": "Depot Ostrava", "alarm": "air-gas", "store": "Store 2", "point": "door", "channel": "s2-door"}, f{"state": "cleared", "state_code": int64(0), "priority": "low", "priority_code": int64(1), "value": 0.0, "threshold": 0.0}, whole + 18},
		{"alarm", m{"site": "Depot Ostrava", "alarm": "line-silent"}, f{"state": "acknowledged", "state_code": int64(1), "priority": "odd", "priority_code": int64(-1), "value": 0.0, "threshold": 0.0, "elsewhere": "s9"}, whole + 19},
		{"phase", m{"site": "Depot Ostrava", "store": "Store 2", "stack": "B"}, f{"phase": "airing", "phase_code": int64(2), "verdict": "held", "verdict_code": int64(1), "treatment": "B-7"}, whole + 20},
		{"phase", m{"site": "Depot Ostrava"}, f{"phase": "odd", "phase_code": int64(-1), "verdict": "odd", "verdict_code": int64(-1), "elsewhere": "Q"}, whole + 21},
		{"end_level", m{"site": "Depot Ostrava", "store": "Store 2", "stack": "B", "line": "north top", "moment": "airing"}, f{"shown": "met", "shown_code": int64(1), "ppm": 170.0, "end_level_ppm": 150.0, "by_hand": true, "treatment": "B-7"}, whole + 22},
		{"end_level", m{"site": "Depot Ostrava", "line": "north top", "moment": "airing"}, f{"shown": "not-shown", "shown_code": int64(-1), "end_level_ppm": 150.0, "by_hand": false, "elsewhere": "Q"}, whole + 23},
		{"end_level", m{"site": "Depot Ostrava", "store": "Store 2", "stack": "B", "line": "north top", "moment": "airing"}, f{"shown": "not-met", "shown_code": int64(0), "ppm": 90.0, "end_level_ppm": 150.0, "by_hand": false}, whole + 24},
		{"finding", m{"site": "Depot Ostrava", "code": "unknown-channel", "store": "Store 2", "stack": "B", "line": "north top"}, f{"value": 1.0, "threshold": 2.0, "elsewhere": "s9"}, whole + 25},
		{"finding", m{"site": "Depot Ostrava", "code": "late", "channel": "b-top"}, f{"value": 0.0, "threshold": 0.0}, whole + 26},
		{"act", m{"site": "Depot Ostrava", "kind": "dosing-started", "store": "Store 2", "stack": "B"}, f{"accepted": int64(1)}, whole + 27},
		{"act", m{"site": "Depot Ostrava", "kind": "entry-confirmed"}, f{"accepted": int64(0), "code": "gate-shut", "elsewhere": "Store 9"}, whole + 28},
		{"alarm", m{"site": "Depot Ostrava", "alarm": "follow-up-due", "follow_up": "jar", "store": "Store 2", "stack": "B"}, f{"state": "raised", "state_code": int64(2), "priority": "medium", "priority_code": int64(2), "detail": "jar", "treatment": "B-7", "value": 0.0, "threshold": 0.0}, whole + 29},
	}
	for i, e := range every(t) {
		got := encode(t, e, false)
		require.Len(t, got, 1, "%T", e)
		if i < len(want) {
			require.Equal(t, want[i], got[0], "%T", e)
		}
	}
}

// TestUses: every channel of the depot says what it is for.
func TestUses(t *testing.T) {
	uses := map[string]string{"b-temp": "temperature", "s2-water": "water", "power": "mains", "flow": "pump",
		"wind": "wind-speed", "vane": "wind-direction", "spare": ""}
	for ch, use := range uses {
		got := encode(t, entry(t, &logbook.Reading{Channel: ch, Value: 1, Unit: "C"}, 1), false)[0]
		require.Equal(t, use, got.tags["use"], ch)
		require.Equal(t, ch, got.tags["channel"])
	}
}

// TestSecondReading: it stands apart from the first, and a third from both.
func TestSecondReading(t *testing.T) {
	r := func(seq uint64) logbook.Entry {
		return entry(t, &logbook.Reading{Channel: "b-top", Value: float64(seq), Unit: "ppm"}, seq)
	}
	first, second, third := encode(t, r(1998), false)[0], encode(t, r(1999), true)[0], encode(t, r(2000), true)[0]
	require.Equal(t, "reading", first.measurement)
	require.Zero(t, first.nanos%1000)
	require.Equal(t, "reading_second", second.measurement)
	require.Equal(t, first.tags, second.tags)
	require.EqualValues(t, 999, second.nanos-first.nanos)
	require.EqualValues(t, 0, third.nanos-first.nanos, "seq 2000 ends in 000")
}

// TestFollowsConfiguration: from a site-configured entry on, names are those of
// its site, and an entry that gives no line leaves the buffer alone.
func TestFollowsConfiguration(t *testing.T) {
	e := New()
	r := entry(t, &logbook.Reading{Channel: "b-top", Value: 1, Unit: "ppm"}, 3)
	b, err := e.Append([]byte("x y=1\n"), r, false)
	require.NoError(t, err)
	before := string(b)
	require.Equal(t, []line{{"reading_unknown", map[string]string{"unit": "ppm"}, map[string]any{"value": 1.0, "elsewhere": "b-top"}, 1772366400000007003}}, decode(t, b)[1:])
	b, err = e.Append(b, entry(t, &logbook.SiteConfigured{Site: *depot()}, 4), false)
	require.NoError(t, err)
	b, err = e.Append(b, entry(t, &logbook.Clock{}, 5), false)
	require.NoError(t, err)
	require.Equal(t, before, string(b))
	b, err = e.Append(b, r, false)
	require.NoError(t, err)
	require.Equal(t, "reading", decode(t, b)[2].measurement)
}

// TestTimeOutOfReach: a time that nanoseconds do not reach is refused; the ends are written.
func TestTimeOutOfReach(t *testing.T) {
	e := New()
	e.Configure(depot())
	r := &logbook.Reading{Header: logbook.Header{Seq: 12}, Channel: "b-top", Unit: "ppm"}
	for _, at := range []logbook.Time{firstTime - 1, lastTime + 1, math.MinInt64, math.MaxInt64, -62135596800000000} {
		r.Time = at
		b, err := e.Append([]byte("a b=1\n"), r, false)
		require.ErrorContains(t, err, "seq 12")
		require.Equal(t, "a b=1\n", string(b))
	}
	for _, at := range []logbook.Time{firstTime, -1, 1, lastTime} {
		r.Time = at
		b, err := e.Append(nil, r, true)
		require.NoError(t, err)
		require.Equal(t, int64(at)*1000+12, decode(t, b)[0].nanos)
	}
}

// TestTableInDoc: the package doc lists exactly what is written.
func TestTableInDoc(t *testing.T) {
	type seen struct{ tags, fields map[string]bool }
	all := map[string]seen{}
	note := func(l line) {
		s, ok := all[l.measurement]
		if !ok {
			s = seen{map[string]bool{}, map[string]bool{}}
			all[l.measurement] = s
		}
		for k := range l.tags {
			s.tags[k] = true
		}
		for k, v := range l.fields {
			s.fields[k+":"+map[string]string{"float64": "f", "int64": "i", "string": "s", "bool": "b"}[fmt.Sprintf("%T", v)]] = true
		}
	}
	for _, e := range every(t) {
		note(encode(t, e, false)[0])
		if _, ok := e.(*logbook.Reading); ok {
			note(encode(t, e, true)[0])
		}
	}
	rows := []string{fmt.Sprintf("//\t%-16s %-50s %s", "measurement", "tags", "fields")}
	for _, m := range slices.Sorted(maps.Keys(all)) {
		tags := strings.Join(slices.Sorted(maps.Keys(all[m].tags)), " ")
		rows = append(rows, fmt.Sprintf("//\t%-16s %-50s %s", m, tags, strings.Join(slices.Sorted(maps.Keys(all[m].fields)), " ")))
	}
	doc, err := os.ReadFile("doc.go")
	require.NoError(t, err)
	require.Contains(t, string(doc), strings.Join(rows, "\n")+"\n//\n", "write the table so:\n%s", strings.Join(rows, "\n"))
}

// nasty are names that line protocol or its servers could stumble over.
var nasty = []string{"a b", " a", "a ", "a,b", "a=b", `a"b`, `a\b`, `a\`, `\`, `a\,b`, `a\ b`, "a\nb", "a\r\n", "a\tb", "#a", "\x00", "\x7f",
	"Sýpka č. 2", "仓库", "a\xffb", "🌾", "＼", "'", "{}[]", `\"`, "a  b", "a=,\\ =b"}

// TestNamesApart: nasty names come back from the decoder, each as one of its own.
func TestNamesApart(t *testing.T) {
	site := depot()
	site.Stores[0].Stacks[0].Lines = nil
	for i, n := range nasty {
		site.Stores[0].Stacks[0].Lines = append(site.Stores[0].Stacks[0].Lines, logbook.Line{Name: n, Channel: fmt.Sprint(i)})
	}
	e := New()
	e.Configure(site)
	got := map[string]string{}
	for i, n := range nasty {
		b, err := e.Append(nil, entry(t, &logbook.Reading{Channel: fmt.Sprint(i), Value: 1, Unit: "ppm"}, 1), false)
		require.NoError(t, err, n)
		require.Equal(t, 1, strings.Count(string(b), "\n"), n)
		l := decode(t, b)
		require.Len(t, l, 1)
		name := l[0].tags["line"]
		require.NotEmpty(t, name)
		if !strings.ContainsAny(n, "\\\n\r\t\x00\x7f") && utf8.ValidString(n) {
			require.Equal(t, n, name)
		}
		if first, taken := got[name]; taken {
			require.ElementsMatch(t, []string{`\`, "＼"}, []string{n, first}, "only a name that holds the very symbol")
		}
		got[name] = n
	}
}

// FuzzAppend: whatever the names, an entry gives one line that the library's
// decoder reads back with the same values, or an error and nothing at all.
func FuzzAppend(f *testing.F) {
	for i, n := range nasty {
		f.Add(n, nasty[(i+7)%len(nasty)], "ppm", 1.5*float64(i)-3, int64(1772366400000007), true, i%2 == 0)
	}
	require.NotEmpty(f, nasty)
	f.Add("\u2028", " ", "C", math.Inf(1), int64(math.MinInt64), false, false)
	f.Fuzz(func(t *testing.T, name, text, unit string, value float64, at int64, known, fault bool) {
		site := &logbook.Site{Name: text, Stores: []logbook.Store{{Name: name, Air: []logbook.AirPoint{{Name: text, Channel: name}}}}}
		e := New()
		if known {
			e.Configure(site)
		}
		r := &logbook.Reading{Header: logbook.Header{Time: logbook.Time(at), Seq: 7}, Channel: name, Value: value, Unit: unit}
		if fault {
			r.Fault = text
		}
		h := &logbook.HandReading{Header: r.Header, Store: name, Point: text, Value: value, Unit: unit, Method: text}
		for _, en := range []logbook.Entry{r, h} {
			before := []byte("a b=1\n")
			b, err := e.Append(before, en, false)
			rest := strings.TrimPrefix(string(b), "a b=1\n")
			if err != nil || rest == "" {
				require.Empty(t, rest)
				continue
			}
			require.Equal(t, 1, strings.Count(rest, "\n"))
			got := decode(t, []byte(rest))
			require.Len(t, got, 1)
			require.Contains(t, []int64{at * 1000, at*1000 + 7}, got[0].nanos)
			for _, key := range []string{"value", "faulty"} {
				if v, ok := got[0].fields[key]; ok {
					require.Equal(t, value, v)
				}
			}
			for k, v := range got[0].tags {
				require.NotEmpty(t, v, k)
				require.NotContains(t, v, `\`)
			}
		}
	})
}

package form

import (
	"encoding/json"
	"net/url"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules"
	"undersheet/rules/dose"
)

// depot is an invented place with awkward names.
func depot() Depot {
	zone, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		panic(err)
	}
	now := time.Date(2026, 5, 6, 14, 0, 30, 0, time.UTC)
	line := func(n string) rules.LineView { return rules.LineView{Name: n, Channel: "b-" + n} }
	v := &rules.View{Config: &logbook.Site{Name: "Elder Quay", Timezone: "Europe/Lisbon", People: []logbook.Person{{Name: "Ana Brook"}}, Protocols: map[string]logbook.Protocol{"strict": {Base: "five-day", Hours: 168}}},
		Site: "Elder Quay",
		Stores: []rules.StoreView{{Name: "Store 2", Inside: "Ben Ash, Cy Orme", Air: []rules.AirView{{Name: "door", Where: "door"}, {Name: "beside B"}},
			Stacks: []rules.StackView{{Name: "B", Store: "Store 2", Phase: logbook.PhaseExposure, Protocol: "five-day", Started: logbook.At(now.Add(-50 * time.Hour)), ShortestEnd: logbook.At(now.Add(70 * time.Hour)), Lines: []rules.LineView{line("north top"), line("south & low=1")}},
				{Name: `C "x"&<y>`, Store: "Store 2"}}}},
		Channels: []rules.ChannelView{{Name: "b-north top", Feeds: "B north top"}},
		Alarms:   []rules.AlarmView{{Alarm: logbook.Alarm{Alarm: "leak", Stack: "B", Store: "Store 2", Line: "north top"}}}}
	return Depot{View: v, Now: now, Zone: zone}
}

// filled is a sound form of each kind.
var filled = map[logbook.Kind]string{
	logbook.KindLineProved:        "place=line%3Dnorth%2Btop%26stack%3DB&end_test=span+gas&span=300&read=295,5&unit=ppm&seen=yes&channel=b-north+top&lag=42&zero=-0.2&flow=0.5&by=Ana+Brook",
	logbook.KindNoGasDeclared:     "store=Store+2&by=Ana+Brook",
	logbook.KindDosingStarted:     "stack=B&store_empty=yes&by=Ana+Brook",
	logbook.KindTreatmentStarted:  "stack=B&treatment=B-8&protocol=strict&commodity=milled+rice&tonnes=180&volume_m3=260&phosphine_g=285,5&grain_temp_c=-1.5&form=tablets&count=285&gas_space_m3=120&grain_moisture_pct=13.1&exposure_hours=200&by=Ana+Brook&note=first%0D%0Asecond",
	logbook.KindHandReading:       "place=point%3Dbeside%2BB%26store%3DStore%2B2&value=0,02&unit=ppm&method=hand+meter&detection_limit=0.02&by=Ana+Brook&time=2026-05-06T14:20",
	logbook.KindDoseAdded:         "stack=B&phosphine_g=75&by=Ana+Brook",
	logbook.KindExposureExtended:  "stack=B&exposure_hours=168&by=Ana+Brook",
	logbook.KindMaskedEntry:       "store=Store+2&in=Ben+Ash&at_door=Ana+Brook&protection=self-contained+apparatus&by=Ana+Brook",
	logbook.KindMaskedExit:        "store=Store+2&out=Ben+Ash&by=Ana+Brook",
	logbook.KindAiringStarted:     "stack=B&early=rain+through+the+roof&by=Ana+Brook",
	logbook.KindAiringPaused:      "stack=B&by=Ana+Brook",
	logbook.KindAiringResumed:     "stack=B&by=Ana+Brook",
	logbook.KindAbandoned:         "stack=B&why=sheet+torn+in+two&by=Ana+Brook",
	logbook.KindEntryConfirmed:    "store=Store+2&by=Ana+Brook&id=web-123",
	logbook.KindInspected:         "stack=B&insects=none-found&method=sieved+samples&by=Ana+Brook",
	logbook.KindStockReceived:     "form=tablets&count=1600&batch=7&invoice=12&by=Ana+Brook",
	logbook.KindStockCounted:      "form=tablets&count=1590&by=Ana+Brook",
	logbook.KindChecksSigned:      "store=Store+2&check-floor=in_order%3Dfloor&check-keys=wanting%3Dkeys&second=Ben+Ash&by=Ana+Brook",
	logbook.KindDosePlaced:        "stack=B&form=tablets&count=285&places=3&people=Ana+Brook,+Ben+Ash&protection=full+masks&by=Ana+Brook",
	logbook.KindResidueTaken:      "stack=B&form=tablets&count=285&residue=spent&shown_by=no+gas+in+water&by=Ana+Brook",
	logbook.KindResidueDisposed:   "stack=B&form=tablets&count=285&how=handed-over&where=gate&to=the+council&by=Ana+Brook",
	logbook.KindInstrumentChecked: "channel=b-north+top&check=bump&applied=1&read=0.97&unit=ppm&passed=yes&due=2026-11-01&by=Ana+Brook",
	logbook.KindInstrumentSwapped: "channel=b-north+top&out=17&in=18&by=Ana+Brook",
	logbook.KindPhoto:             "place=stack%3DB&name=patch.png&media=image%2Fpng&sha256=4c4b6a3be1314ab86138bef4314dde022e600960d8689a2c8f8631802d20dab6&data=iVBORw0KGgo%3D&by=Ana+Brook",
	logbook.KindCorrected:         `of=7&why=miscounted&entry={"time":"2026-03-01T08:00:00Z","kind":"dose-added","stack":"B","phosphine_g":90}&by=Ana+Brook`,
	logbook.KindCagesPlaced:       "stack=B&count=14&insects=beetles,+all+stages&positions=floor,+middle,+top&by=Ana+Brook",
	logbook.KindCagesRetrieved:    "stack=B&count=14&treatment=B-7&by=Ana+Brook",
	logbook.KindCagesJudged:       "stack=B&after=month&result=live-found&live=2&dead=512&treatment=B-7&by=Ana+Brook",
	logbook.KindSheetTorn:         "stack=B&where=north+seam&by=Ana+Brook",
	logbook.KindSheetRepaired:     "stack=B&found=seam+welded&treatment=B-7&by=Ana+Brook",
	logbook.KindCanister:          "person=Ben+Ash&serial=C-12&expires=2027-05-01&minutes=30&by=Ana+Brook",
	logbook.KindGrainIssued:       "stack=B&tonnes=12,5&closed_vehicle=yes&by=Ana+Brook",
	logbook.KindWrittenOff:        "stack=B&follow_up=jar&why=the+grain+is+gone&treatment=B-7&by=Ana+Brook",
	logbook.KindAcknowledged:      "which=alarm%3Dleak%26line%3Dnorth%2Btop%26stack%3DB%26store%3DStore%2B2&by=Ana+Brook",
}

// jsonNames gathers the JSON names of a kind's fields.
func jsonNames(t reflect.Type, into map[string]bool) {
	for i := range t.NumField() {
		f := t.Field(i)
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		switch {
		case f.Anonymous:
			jsonNames(f.Type, into)
		case name != "" && name != "-":
			into[name] = true
		}
	}
}

// Every field of every act can be filled in, and no form has a field that its act
// does not have: a field added to an act without one in its form fails here.
func TestFormsHaveEveryField(t *testing.T) {
	require.Len(t, sheets, len(logbook.ActKinds))
	byProgram := []string{"kind", "seq", "received", "v", "identity"} // what no person fills in
	for _, kind := range logbook.ActKinds {
		e, err := logbook.New(kind)
		require.NoError(t, err)
		want := map[string]bool{}
		jsonNames(reflect.TypeOf(e).Elem(), want)
		for _, n := range byProgram {
			require.True(t, want[n], n)
			delete(want, n)
		}
		f, err := New(kind, depot())
		require.NoError(t, err)
		have := map[string]bool{}
		for i := range f.Fields {
			for _, n := range f.Fields[i].Of() {
				require.False(t, have[n] && !f.Fields[i].Adds, "%s: %s is filled twice", kind, n)
				have[n] = true
			}
			require.True(t, f.Fields[i].Label != "" || f.Fields[i].Sort == Hidden, "%s: %s has a label", kind, f.Fields[i].Name)
		}
		require.Equal(t, want, have, kind)
		require.NotEmpty(t, f.Title)
		require.NotEmpty(t, f.Button)
	}
}

// A sound form of each kind makes an act that says what was filled in, in every field.
func TestFilledFormsMakeActs(t *testing.T) {
	require.Len(t, filled, len(logbook.ActKinds))
	for kind, body := range filled {
		q, err := url.ParseQuery(body)
		require.NoError(t, err)
		f, err := New(kind, depot())
		require.NoError(t, err)
		e, faults := f.Read(q)
		require.Empty(t, faults, kind)
		require.Equal(t, kind, e.Head().Kind)
		require.Equal(t, NotVerified, e.Who().Identity)
		require.Equal(t, "Ana Brook", e.Who().By)
		text, err := logbook.Encode(e)
		require.NoError(t, err)
		var said map[string]any
		require.NoError(t, json.Unmarshal(text, &said))
		for i := range f.Fields {
			if f.Fields[i].Covers == nil && q.Get(f.Fields[i].Name) != "" {
				require.Contains(t, said, f.Fields[i].Name, kind)
			}
		}
	}
}

func read(t *testing.T, kind logbook.Kind, change func(url.Values)) (logbook.Acting, []Fault) {
	t.Helper()
	q, err := url.ParseQuery(filled[kind])
	require.NoError(t, err)
	change(q)
	f, err := New(kind, depot())
	require.NoError(t, err)
	return f.Read(q)
}

func TestValuesAreWhatWasWritten(t *testing.T) {
	e, faults := read(t, logbook.KindTreatmentStarted, func(url.Values) {})
	require.Empty(t, faults)
	s := e.(*logbook.TreatmentStarted)
	require.Equal(t, 285.5, s.PhosphineG)
	require.Equal(t, -1.5, s.GrainTempC)
	require.Equal(t, 285, s.Count)
	require.Equal(t, "first\nsecond", s.Note)
	require.Equal(t, logbook.At(depot().Now), s.Time, "no time of its own: now")
	e, faults = read(t, logbook.KindHandReading, func(url.Values) {})
	require.Empty(t, faults)
	h := e.(*logbook.HandReading)
	require.Equal(t, "2026-05-06T13:20:00Z", h.Time.String(), "Lisbon is one hour ahead of UTC in May")
	require.Equal(t, "beside B", h.Point)
	require.Equal(t, 0.02, *h.DetectionLimit)
	e, faults = read(t, logbook.KindHandReading, func(q url.Values) { q.Set("place", Place("stack", "B", "line", "south & low=1")) })
	require.Empty(t, faults)
	require.Equal(t, "south & low=1", e.(*logbook.HandReading).Line)
	require.Empty(t, e.(*logbook.HandReading).Store)
	e, faults = read(t, logbook.KindDosingStarted, func(q url.Values) { q.Del("store_empty"); q.Set("stack", `C "x"&<y>`) })
	require.Empty(t, faults)
	require.False(t, e.(*logbook.DosingStarted).StoreEmpty)
	e, faults = read(t, logbook.KindLineProved, func(url.Values) {})
	require.Empty(t, faults)
	require.Equal(t, 42*time.Second, e.(*logbook.LineProved).Lag.Std())
	require.Equal(t, -0.2, *e.(*logbook.LineProved).Zero)
}

// What cannot be is refused at its field, with what to do; then there is no act.
func TestFaultsNameTheirField(t *testing.T) {
	for _, c := range []struct {
		kind         logbook.Kind
		field, value string
		want         string
	}{
		{logbook.KindHandReading, "value", "", "needed"},
		{logbook.KindHandReading, "value", "1,234", "1234 or 1.234"},
		{logbook.KindHandReading, "value", "1.2.3", "no number"},
		{logbook.KindHandReading, "value", "1e3", "no number"},
		{logbook.KindHandReading, "value", "0x10", "no number"},
		{logbook.KindHandReading, "value", "NaN", "no number"},
		{logbook.KindHandReading, "value", "Inf", "no number"},
		{logbook.KindHandReading, "value", "1 2", "no number"},
		{logbook.KindHandReading, "value", "-1", "below 0"},
		{logbook.KindHandReading, "value", "12345678901234", "no number"},
		{logbook.KindHandReading, "unit", "furlong", "cannot be chosen"},
		{logbook.KindHandReading, "place", "store=Store+9&point=door", "cannot be chosen"},
		{logbook.KindHandReading, "place", "stack=B&line=north+top&by=x", "cannot be chosen"},
		{logbook.KindHandReading, "time", "2026-05-06T15:20", "lies ahead"},
		{logbook.KindHandReading, "time", "yesterday", "no date"},
		{logbook.KindHandReading, "time", "2026-05-06T9:20", "no date"},
		{logbook.KindHandReading, "time", "2026-03-29T01:30", "never showed"},
		{logbook.KindHandReading, "by", "  ", "needed"},
		{logbook.KindHandReading, "by", "a\x00b", "cannot be printed"},
		{logbook.KindHandReading, "by", "a\nb", "cannot be printed"},
		{logbook.KindHandReading, "by", "\xff", "no text"},
		{logbook.KindHandReading, "method", strings.Repeat("é", 81), "too long"},
		{logbook.KindTreatmentStarted, "count", "2.5", "whole number"},
		{logbook.KindTreatmentStarted, "count", "99999999999", "whole number"},
		{logbook.KindTreatmentStarted, "protocol", "ten-day", "cannot be chosen"},
		{logbook.KindDosingStarted, "stack", "Z", "cannot be chosen"},
		{logbook.KindMaskedEntry, "at_door", "ben ash ", "two are needed"},
		{logbook.KindAiringStarted, "early", "", "shortest exposure lasts until"},
		{logbook.KindAcknowledged, "which", "alarm=leak&stack=C", "not any more"},
		{logbook.KindLineProved, "lag", "90000", "more than a day"},
		{logbook.KindTreatmentStarted, "grain_temp_c", "290", "-30 to 70 °C"},
		{logbook.KindTreatmentStarted, "tonnes", "18000", "0 to 10000 t"},
		{logbook.KindTreatmentStarted, "phosphine_g", "28550", "can burn (from 17900 ppm on)"},
		{logbook.KindTreatmentStarted, "time", "2025-05-06T14:20", "365 days ago"},
		{logbook.KindTreatmentStarted, "grain_moisture_pct", "131", "0 to 100"},
		{logbook.KindDoseAdded, "colour", "red", "no field"},
		{logbook.KindDoseAdded, "identity", "verified", "no field"},
		{logbook.KindDoseAdded, "seq", "7", "no field"},
	} {
		e, faults := read(t, c.kind, func(q url.Values) { q.Set(c.field, c.value) })
		require.Nil(t, e, "%s %q", c.field, c.value)
		require.Len(t, faults, 1, "%s %q", c.field, c.value)
		require.Contains(t, faults[0].Text, c.want)
		if c.want != "no field" {
			require.Equal(t, c.field, faults[0].Field)
		}
	}
	e, faults := read(t, logbook.KindHandReading, func(q url.Values) {
		q.Set("place", Place("stack", "B", "line", "south & low=1"))
		q.Set("value", "20000")
	})
	require.Nil(t, e)
	require.Contains(t, faults[0].Text, "can burn (from 17900 ppm on)")
	require.Contains(t, faults[0].Text, "nobody goes in")
	e, faults = read(t, logbook.KindHandReading, func(q url.Values) { q.Set("value", "20000") })
	require.Empty(t, faults, "in the air beside a stack it keeps people out")
	require.NotNil(t, e)
	e, faults = read(t, logbook.KindDoseAdded, func(q url.Values) { q.Set("phosphine_g", "0") })
	require.Nil(t, e)
	require.Contains(t, faults[0].Text, "must be above 0", "what only the kind itself refuses")
	_, faults = read(t, logbook.KindDoseAdded, func(q url.Values) { q["by"] = []string{"a", "b"} })
	require.Contains(t, faults[0].Text, "2 times")
	_, faults = read(t, logbook.KindLineProved, func(q url.Values) { q.Del("span") })
	require.Contains(t, faults[0].Text, "span")
	_, faults = read(t, logbook.KindCagesJudged, func(q url.Values) { q.Set("result", "none-found") })
	require.Equal(t, []Fault{{"live", "this goes with “found” at “Live insects” alone: count again, and put one of the two right"}}, faults)
	e, faults = read(t, logbook.KindCagesJudged, func(q url.Values) { q.Set("result", "none-found"); q.Set("live", "0") })
	require.Empty(t, faults)
	require.NotNil(t, e)
	_, err := New("reading", depot())
	require.Error(t, err)
}

// Clocks that were set back showed an hour twice. Lisbon, 25 October 2026: 2:00
// summer time became 1:00 (IANA time zone database).
func TestAnHourThatCameTwice(t *testing.T) {
	zone := depot().Zone
	after := time.Date(2026, 10, 25, 9, 0, 0, 0, time.UTC)
	got, err := ParseLocal("en", "2026-10-25T01:30", zone, after)
	require.NoError(t, err)
	require.Equal(t, "2026-10-25T01:30:00Z", got.String(), "the later one")
	between := time.Date(2026, 10, 25, 0, 45, 0, 0, time.UTC)
	got, err = ParseLocal("en", "2026-10-25T01:30", zone, between)
	require.NoError(t, err)
	require.Equal(t, "2026-10-25T00:30:00Z", got.String(), "the later one has not come yet")
	_, err = ParseLocal("en", "2026-10-25T01:50", zone, between)
	require.ErrorContains(t, err, "lies ahead")
	got, err = ParseLocal("en", "2026-05-06T14:20:07", zone, after)
	require.NoError(t, err)
	require.Equal(t, "2026-05-06T13:20:07Z", got.String())
}

func TestParseNumber(t *testing.T) {
	for in, want := range map[string]float64{"0": 0, "0,3": 0.3, "0.3": 0.3, " 12 ": 12, "-0.5": -0.5, "−2": -2, "0,123": 0.123, "1234,5": 1234.5, "1.234": 1.234, "0000,250": 0.25, "12,3456": 12.3456, "-0": 0} {
		got, err := ParseNumber("en", in)
		require.NoError(t, err, in)
		require.Equal(t, want, got, in)
		require.False(t, got == 0 && 1/got < 0, "no negative zero")
	}
}

// What a link presets is what can be chosen, and nothing else.
func TestFillPresets(t *testing.T) {
	f, err := New(logbook.KindHandReading, depot())
	require.NoError(t, err)
	f.Fill(url.Values{"store": {"Store 2"}, "point": {"beside B"}, "value": {"7"}, "id": {"mine"}, "unit": {"stone"}})
	require.Equal(t, Place("store", "Store 2", "point", "beside B"), f.Field("place").Preset)
	require.Equal(t, "7", f.Field("value").Preset)
	require.Empty(t, f.Field("id").Preset)
	require.Equal(t, logbook.PPM, f.Field("unit").Preset)
	f.Fill(url.Values{"stack": {"B"}})
	f, err = New(logbook.KindHandReading, depot())
	require.NoError(t, err)
	f.Fill(url.Values{"stack": {"B"}})
	require.Empty(t, f.Field("place").Preset, "two lines: nothing is preset")
}

// The suggested commodities are known to the rules.
func TestCommoditiesAreKnown(t *testing.T) {
	for _, c := range Commodities {
		_, known := dose.KernelDensity(c)
		require.True(t, known, c)
	}
}

// FuzzRead: with a fault there is no act; without one the act writes and reads back
// the same, by a named person who is not verified, and not of the future.
func FuzzRead(f *testing.F) {
	for kind, body := range filled {
		f.Add(string(kind), body)
	}
	f.Add("hand-reading", "value=1,234&place=%zz")
	f.Add("hand-reading", "time=2000-01-01T0:00")
	d := depot()
	f.Fuzz(func(t *testing.T, kind, body string) {
		made, err := New(logbook.Kind(kind), d)
		if err != nil {
			return
		}
		q, _ := url.ParseQuery(body) // what could be read of it is tried, whatever else there is
		e, faults := made.Read(q)
		if len(faults) > 0 {
			require.Nil(t, e)
			for _, x := range faults {
				require.NotEmpty(t, x.Text)
			}
			return
		}
		text, err := logbook.Encode(e)
		require.NoError(t, err)
		back, err := logbook.Decode(text)
		require.NoError(t, err)
		require.Equal(t, e, back)
		require.Equal(t, NotVerified, e.Who().Identity)
		require.NotEmpty(t, strings.TrimSpace(e.Who().By))
		require.LessOrEqual(t, e.Head().Time, logbook.At(d.Now))
		require.Zero(t, e.Head().Seq)
		require.Zero(t, e.Head().Received)
	})
}

package logbook

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// lines holds a line of every kind. Those down to the clock are the examples of
// the project's contract for JSON Lines, with times and names filled in; the
// depot is invented. Each is written as Encode writes it, so that decoding and
// encoding gives it back to the byte.
var lines = []struct {
	name, line string
	want       Entry
}{
	{"reading", `{"time":"2026-03-01T14:00:00Z","kind":"reading","channel":"b-north-top","value":412,"unit":"ppm"}`,
		&Reading{Channel: "b-north-top", Value: 412, Unit: PPM}},
	{"dosing started", `{"time":"2026-03-01T06:00:00Z","kind":"dosing-started","stack":"B","store_empty":true,"by":"R. Amadi"}`,
		&DosingStarted{OnStack: OnStack{"B"}, StoreEmpty: true, Act: Act{By: "R. Amadi"}}},
	{"treatment started", `{"time":"2026-03-01T08:00:00Z","kind":"treatment-started","stack":"B","treatment":"B-7","protocol":"five-day","commodity":"milled rice","tonnes":180,"volume_m3":260,"phosphine_g":520,"grain_temp_c":29,"by":"R. Amadi"}`,
		&TreatmentStarted{OnStack: OnStack{"B"}, Treatment: "B-7", Protocol: "five-day", Commodity: "milled rice", Tonnes: 180, VolumeM3: 260, PhosphineG: 520, GrainTempC: 29, Act: Act{By: "R. Amadi"}}},
	{"treatment started, all fields", `{"time":"2026-03-01T08:00:00Z","kind":"treatment-started","stack":"B","treatment":"B-7","protocol":"five-day","commodity":"milled rice","tonnes":180,"volume_m3":260,"phosphine_g":520,"grain_temp_c":29,"gas_space_m3":120.5,"grain_moisture_pct":13,"form":"tablets","count":520,"exposure_hours":144,"by":"R. Amadi"}`,
		&TreatmentStarted{OnStack: OnStack{"B"}, Treatment: "B-7", Protocol: "five-day", Commodity: "milled rice", Tonnes: 180, VolumeM3: 260, PhosphineG: 520, GrainTempC: 29,
			GasSpaceM3: 120.5, GrainMoisturePct: 13, Form: "tablets", Count: 520, ExposureHours: 144, Act: Act{By: "R. Amadi"}}},
	{"dose added", `{"time":"2026-03-02T08:00:00Z","kind":"dose-added","stack":"B","phosphine_g":100,"by":"R. Amadi"}`,
		&DoseAdded{OnStack: OnStack{"B"}, PhosphineG: 100, Act: Act{By: "R. Amadi"}}},
	{"exposure extended", `{"time":"2026-03-02T08:00:00Z","kind":"exposure-extended","stack":"B","exposure_hours":168,"by":"R. Amadi"}`,
		&ExposureExtended{OnStack: OnStack{"B"}, ExposureHours: 168, Act: Act{By: "R. Amadi"}}},
	{"airing started", `{"time":"2026-03-06T08:00:00Z","kind":"airing-started","stack":"B","by":"R. Amadi"}`,
		&AiringStarted{OnStack: OnStack{"B"}, Act: Act{By: "R. Amadi"}}},
	{"airing started early", `{"time":"2026-03-06T08:00:00Z","kind":"airing-started","stack":"B","early":"storm","by":"R. Amadi"}`,
		&AiringStarted{OnStack: OnStack{"B"}, Early: "storm", Act: Act{By: "R. Amadi"}}},
	{"airing paused", `{"time":"2026-03-06T18:00:00Z","kind":"airing-paused","stack":"B","by":"R. Amadi"}`,
		&AiringPaused{OnStack: OnStack{"B"}, Act: Act{By: "R. Amadi"}}},
	{"airing resumed", `{"time":"2026-03-07T06:00:00Z","kind":"airing-resumed","stack":"B","by":"R. Amadi"}`,
		&AiringResumed{OnStack: OnStack{"B"}, Act: Act{By: "R. Amadi"}}},
	{"treatment abandoned", `{"time":"2026-03-03T08:00:00Z","kind":"treatment-abandoned","stack":"B","why":"sheet torn","by":"R. Amadi"}`,
		&TreatmentAbandoned{OnStack: OnStack{"B"}, Why: "sheet torn", Act: Act{By: "R. Amadi"}}},
	{"hand reading at a line", `{"time":"2026-03-06T07:30:00Z","kind":"hand-reading","stack":"B","line":"north top","value":160,"unit":"ppm","method":"detector tube","by":"R. Amadi"}`,
		&HandReading{Stack: "B", Line: "north top", Value: 160, Unit: PPM, Method: "detector tube", Act: Act{By: "R. Amadi"}}},
	{"hand reading in air", `{"time":"2026-03-06T12:00:00Z","kind":"hand-reading","store":"Store 2","point":"beside B","value":0.1,"unit":"ppm","method":"detector tube","detection_limit":0.05,"by":"R. Amadi"}`,
		&HandReading{Store: "Store 2", Point: "beside B", Value: 0.1, Unit: PPM, Method: "detector tube", DetectionLimit: ptr(0.05), Act: Act{By: "R. Amadi"}}},
	{"masked entry", `{"time":"2026-03-02T08:00:00Z","kind":"masked-entry","store":"Store 2","in":"R. Amadi","at_door":"L. Oduya","protection":"breathing set","by":"R. Amadi"}`,
		&MaskedEntry{OnStore: OnStore{"Store 2"}, In: "R. Amadi", AtDoor: "L. Oduya", Protection: "breathing set", Act: Act{By: "R. Amadi"}}},
	{"masked exit", `{"time":"2026-03-02T08:10:00Z","kind":"masked-exit","store":"Store 2","by":"R. Amadi"}`,
		&MaskedExit{OnStore: OnStore{"Store 2"}, Act: Act{By: "R. Amadi"}}},
	{"no gas declared", `{"time":"2026-02-28T08:00:00Z","kind":"no-gas-declared","store":"Store 2","by":"R. Amadi"}`,
		&NoGasDeclared{OnStore: OnStore{"Store 2"}, Act: Act{By: "R. Amadi"}}},
	{"entry confirmed", `{"time":"2026-03-06T13:00:00Z","kind":"entry-confirmed","store":"Store 2","by":"R. Amadi"}`,
		&EntryConfirmed{OnStore: OnStore{"Store 2"}, Act: Act{By: "R. Amadi"}}},
	{"alarm acknowledged", `{"time":"2026-03-02T08:00:00Z","kind":"alarm-acknowledged","alarm":"leak","store":"Store 2","stack":"B","line":"north top","by":"R. Amadi"}`,
		&AlarmAcknowledged{Alarm: "leak", Store: "Store 2", Stack: "B", Line: "north top", Act: Act{By: "R. Amadi"}}},
	{"line proved", `{"time":"2026-02-28T08:00:00Z","kind":"line-proved","stack":"B","line":"north top","zero":0,"flow":1.1,"end_test":"span gas","span":500,"read":488,"unit":"ppm","seen":true,"lag":"40s","by":"R. Amadi"}`,
		&LineProved{Stack: "B", Line: "north top", Zero: ptr(0), Flow: ptr(1.1), EndTest: EndTestSpan, Span: 500, Read: 488, Unit: PPM, Seen: true, Lag: Duration(40e9), Act: Act{By: "R. Amadi"}}},
	{"photo", `{"time":"2026-03-01T09:00:00Z","kind":"photo-attached","stack":"B","of":7,"name":"patch.png","media":"image/png","sha256":"4c4b6a3be1314ab86138bef4314dde022e600960d8689a2c8f8631802d20dab6","data":"iVBORw0KGgo=","by":"R. Amadi"}`,
		&PhotoAttached{Stack: "B", Of: 7, Name: "patch.png", Media: "image/png", SHA256: "4c4b6a3be1314ab86138bef4314dde022e600960d8689a2c8f8631802d20dab6", Data: []byte("\x89PNG\r\n\x1a\n"), Act: Act{By: "R. Amadi"}}},
	{"corrected", `{"time":"2026-03-01T09:00:00Z","kind":"corrected","of":7,"entry":{"time":"2026-03-01T08:00:00Z","kind":"dose-added","stack":"B","phosphine_g":90},"why":"miscounted","by":"R. Amadi"}`,
		&Corrected{Of: 7, Entry: []byte(`{"time":"2026-03-01T08:00:00Z","kind":"dose-added","stack":"B","phosphine_g":90}`), Why: "miscounted", Act: Act{By: "R. Amadi"}}},
	{"checks signed", `{"time":"2026-03-01T07:00:00Z","kind":"checks-signed","store":"Store 2","in_order":["floor"],"wanting":["roof-leaks"],"second":"Ada Moss","by":"R. Amadi"}`,
		&ChecksSigned{OnStore: OnStore{"Store 2"}, InOrder: []string{"floor"}, Wanting: []string{"roof-leaks"}, Second: "Ada Moss", Act: Act{By: "R. Amadi"}}},
	{"stock received", `{"time":"2026-03-01T07:00:00Z","kind":"stock-received","form":"tablets","count":1600,"batch":"7","invoice":"12","by":"R. Amadi"}`,
		&StockReceived{Product: Product{"tablets", 1600}, Batch: "7", Invoice: "12", Act: Act{By: "R. Amadi"}}},
	{"stock counted", `{"time":"2026-03-01T07:00:00Z","kind":"stock-counted","form":"tablets","count":0}`, &StockCounted{Product: Product{"tablets", 0}}},
	{"dose placed", `{"time":"2026-03-01T07:00:00Z","kind":"dose-placed","stack":"B","form":"tablets","count":520,"places":6,"people":["R. Amadi","Ada Moss"],"protection":"full masks"}`,
		&DosePlaced{OnStack: OnStack{"B"}, Product: Product{"tablets", 520}, Places: 6, People: []string{"R. Amadi", "Ada Moss"}, Protection: "full masks"}},
	{"residue taken", `{"time":"2026-03-07T07:00:00Z","kind":"residue-taken","stack":"B","form":"tablets","count":520,"residue":"spent","shown_by":"in water, no gas","treatment":"B-7"}`,
		&ResidueTaken{OnStack: OnStack{"B"}, Product: Product{"tablets", 520}, Residue: ResidueSpent, ShownBy: "in water, no gas", Treatment: "B-7"}},
	{"residue disposed", `{"time":"2026-03-07T07:00:00Z","kind":"residue-disposed","stack":"B","form":"tablets","count":520,"how":"handed-over","where":"gate","to":"the council"}`,
		&ResidueDisposed{OnStack: OnStack{"B"}, Product: Product{"tablets", 520}, How: DisposedHanded, Where: "gate", To: "the council"}},
	{"instrument checked", `{"time":"2026-03-01T07:00:00Z","kind":"instrument-checked","channel":"s2-door","check":"bump","applied":1,"read":0.97,"unit":"ppm","passed":true,"due":"2026-04-01T07:00:00Z"}`,
		&InstrumentChecked{Channel: "s2-door", Check: CheckBump, Applied: 1, Read: 0.97, Unit: PPM, Passed: true, Due: "2026-04-01T07:00:00Z"}},
	{"instrument swapped", `{"time":"2026-03-01T07:00:00Z","kind":"instrument-swapped","channel":"s2-door","out":"17","in":"18"}`,
		&InstrumentSwapped{Channel: "s2-door", Out: "17", In: "18"}},
	{"grain inspected", `{"time":"2026-03-09T09:00:00Z","kind":"grain-inspected","stack":"B","insects":"none-found","method":"sieved samples","by":"R. Amadi"}`,
		&GrainInspected{OnStack: OnStack{"B"}, Insects: InsectsNone, Method: "sieved samples", Act: Act{By: "R. Amadi"}}},
	{"grain inspected, of a treatment", `{"time":"2026-03-09T09:00:00Z","kind":"grain-inspected","stack":"B","treatment":"B-7","insects":"live-found","method":"sieved samples","by":"R. Amadi"}`,
		&GrainInspected{OnStack: OnStack{"B"}, Treatment: "B-7", Insects: InsectsLive, Method: "sieved samples", Act: Act{By: "R. Amadi"}}},
	{"hand reading inside bags", `{"time":"2026-03-09T09:00:00Z","kind":"hand-reading","stack":"B","where":"bags","value":0.1,"unit":"ppm","method":"detector tube","detection_limit":0.05,"by":"R. Amadi"}`,
		&HandReading{Stack: "B", Where: WhereBags, Value: 0.1, Unit: PPM, Method: "detector tube", DetectionLimit: ptr(0.05), Act: Act{By: "R. Amadi"}}},
	{"cages placed", `{"time":"2026-03-01T07:00:00Z","kind":"cages-placed","stack":"B","count":14,"positions":"floor and top","insects":"beetles, all stages","by":"R. Amadi"}`,
		&CagesPlaced{OnStack: OnStack{"B"}, Count: 14, Positions: "floor and top", Insects: "beetles, all stages", Act: Act{By: "R. Amadi"}}},
	{"cages retrieved", `{"time":"2026-03-07T07:00:00Z","kind":"cages-retrieved","stack":"B","treatment":"B-7","count":14,"by":"R. Amadi"}`,
		&CagesRetrieved{OnStack: OnStack{"B"}, Treatment: "B-7", Count: 14, Act: Act{By: "R. Amadi"}}},
	{"cages judged", `{"time":"2026-03-08T07:00:00Z","kind":"cages-judged","stack":"B","treatment":"B-7","after":"exposure","result":"live-found","live":2,"dead":512,"by":"R. Amadi"}`,
		&CagesJudged{OnStack: OnStack{"B"}, Treatment: "B-7", After: JudgedExposure, Result: InsectsLive, Live: 2, Dead: 512, Act: Act{By: "R. Amadi"}}},
	{"sheet torn", `{"time":"2026-03-05T07:00:00Z","kind":"sheet-torn","stack":"B","where":"north seam","by":"R. Amadi"}`,
		&SheetTorn{OnStack: OnStack{"B"}, Where: "north seam", Act: Act{By: "R. Amadi"}}},
	{"sheet repaired", `{"time":"2026-03-09T07:00:00Z","kind":"sheet-repaired","stack":"B","treatment":"B-7","found":"seam welded","by":"R. Amadi"}`,
		&SheetRepaired{OnStack: OnStack{"B"}, Treatment: "B-7", Found: "seam welded", Act: Act{By: "R. Amadi"}}},
	{"canister changed", `{"time":"2026-03-01T07:00:00Z","kind":"canister-changed","person":"R. Amadi","serial":"C-12","expires":"2026-04-01T07:00:00Z","minutes":30,"by":"R. Amadi"}`,
		&CanisterChanged{Person: "R. Amadi", Serial: "C-12", Expires: "2026-04-01T07:00:00Z", Minutes: 30, Act: Act{By: "R. Amadi"}}},
	{"canister changed, last day", `{"time":"2026-03-01T07:00:00Z","kind":"canister-changed","person":"R. Amadi","serial":"C-12","expires":"2026-04-30","by":"R. Amadi"}`,
		&CanisterChanged{Person: "R. Amadi", Serial: "C-12", Expires: "2026-04-30", Act: Act{By: "R. Amadi"}}},
	{"grain issued", `{"time":"2026-03-12T07:00:00Z","kind":"grain-issued","stack":"B","tonnes":12.5,"closed_vehicle":true,"by":"R. Amadi"}`,
		&GrainIssued{OnStack: OnStack{"B"}, Tonnes: 12.5, ClosedVehicle: true, Act: Act{By: "R. Amadi"}}},
	{"follow-up written off", `{"time":"2026-03-12T07:00:00Z","kind":"follow-up-written-off","stack":"B","treatment":"B-7","follow_up":"jar","why":"the grain is gone","by":"R. Amadi"}`,
		&FollowUpWrittenOff{OnStack: OnStack{"B"}, Treatment: "B-7", FollowUp: FollowJar, Why: "the grain is gone", Act: Act{By: "R. Amadi"}}},
	{"clock", `{"time":"2026-03-06T13:00:30Z","kind":"clock"}`, &Clock{}},

	{"reading, all fields", `{"time":"2026-03-01T14:00:00.000001Z","kind":"reading","seq":9,"received":"2026-03-01T14:00:01.5Z","id":"m-1","v":1,"channel":"s2-door","value":-0.01,"unit":"mg/m3","retained":true,"stamped":true,"fault":"cell worn"}`,
		&Reading{Channel: "s2-door", Value: -0.01, Unit: MgM3, Retained: true, Stamped: true, Fault: "cell worn"}},
	{"clock stepped", `{"time":"2026-03-01T14:00:00Z","kind":"clock-stepped","step_seconds":-3600}`, &ClockStepped{StepSeconds: -3600}},
	{"site configured", `{"time":"2026-03-01T14:00:00Z","kind":"site-configured","site":{"site":"Old Mill","timezone":"UTC","channels":{"b-north-top":{"gas":"ph3","unit":"ppm","range":2000,"zero_error":0.5,"every":"1m0s"}},"stores":[{"name":"Store 2","air":[{"name":"door","channel":"s2-door","where":"door"}],"stacks":[{"name":"B","lines":[{"name":"north top","channel":"b-north-top"}]}]}]}}`,
		&SiteConfigured{Site: Site{Name: "Old Mill", Timezone: "UTC", Channels: map[string]Channel{"b-north-top": {Gas: "ph3", Unit: PPM, Range: 2000, ZeroError: ptr(0.5), Every: Duration(60e9)}},
			Stores: []Store{{Name: "Store 2", Air: []AirPoint{{Name: "door", Channel: "s2-door", Where: "door"}}, Stacks: []Stack{{Name: "B", Lines: []Line{{Name: "north top", Channel: "b-north-top"}}}}}}}}},
	{"instrument state", `{"time":"2026-03-01T14:00:00Z","kind":"instrument-state","instrument":"line 1","unit":"3","ok":false,"detail":"no answer"}`,
		&InstrumentState{Instrument: "line 1", Unit: "3", Detail: "no answer"}},
	{"payload refused", `{"time":"2026-03-01T14:00:00Z","kind":"payload-refused","instrument":"broker","topic":"gas/b","size":3,"sha256":"ab","excerpt":"AAH/","why":"not JSON"}`,
		&PayloadRefused{Instrument: "broker", Topic: "gas/b", Size: 3, SHA256: "ab", Excerpt: []byte{0, 1, 255}, Why: "not JSON"}},
	{"logbook restored", `{"time":"2026-03-01T14:00:00Z","kind":"logbook-restored","log":"0a","was":"0b","from":"0c"}`, &Restored{Log: "0a", Was: "0b", From: "0c"}},

	{"accepted", `{"time":"2026-03-01T14:00:00Z","kind":"accepted","of":3,"program":"1.0","entry":"dosing-started","stack":"B"}`,
		&Accepted{Record: Record{3, "1.0"}, Entry: KindDosingStarted, Stack: "B"}},
	{"refused", `{"time":"2026-03-01T14:00:00Z","kind":"refused","of":3,"entry":"entry-confirmed","store":"Store 2","code":"gate","reasons":[{"code":"air-above-limit","about":"door","value":0.42,"limit":0.3}],"why":"the gate is shut"}`,
		&Refused{Record: Record{Of: 3}, Entry: KindEntryConfirmed, Store: "Store 2", Code: "gate", Reasons: []Reason{{Code: "air-above-limit", About: "door", Value: 0.42, Limit: 0.3}}, Why: "the gate is shut"}},
	{"finding", `{"time":"2026-03-01T14:00:00Z","kind":"finding","code":"future","channel":"s2-door","value":7,"limit":5}`, &Finding{Code: "future", Channel: "s2-door", Value: 7, Limit: 5}},
	{"phase", `{"time":"2026-03-01T14:00:00Z","kind":"phase","stack":"B","treatment":"B-7","phase":"exposure","verdict":"provisional"}`,
		&Phase{Stack: "B", Treatment: "B-7", Phase: PhaseExposure, Verdict: VerdictProvisional}},
	{"end level", `{"time":"2026-03-01T14:00:00Z","kind":"end-level","stack":"B","treatment":"B-7","line":"north top","moment":"airing","shown":"met","ppm":212.25,"end_level_ppm":150,"by_hand":true}`,
		&EndLevel{Stack: "B", Treatment: "B-7", Line: "north top", Moment: MomentAiring, Shown: ShownMet, PPM: 212.25, EndPPM: 150, ByHand: true}},
	{"criteria", `{"time":"2026-03-06T14:00:00Z","kind":"criteria","of":9,"stack":"B","treatment":"B-7","criteria":[{"code":"inspected-free","state":"not-decidable","why":"no-inspection","value":0,"limit":0},{"code":"even-gas","state":"met","value":0.41,"limit":0.25,"hours":12,"within_hours":30,"text":"so"}]}`,
		&Criteria{Record: Record{Of: 9}, Stack: "B", Treatment: "B-7", Criteria: []Criterion{{Code: CriterionInspected, State: NotDecidable, Why: WhyNoInspection},
			{Code: CriterionEven, State: ShownMet, Value: 0.41, Limit: 0.25, Hours: 12, Within: 30, Text: "so"}}}},
	{"gate", `{"time":"2026-03-01T14:00:00Z","kind":"gate","store":"Store 2","state":"shut","limit_ppm":0.3,"reasons":[{"code":"under-gas","about":"B","value":0}],"read":[{"point":"door","ppm":0.01,"upper_ppm":0.041,"at":"2026-03-01T13:59:00Z"}]}`,
		&Gate{Store: "Store 2", State: GateShut, LimitPPM: 0.3, Reasons: []Reason{{Code: "under-gas", About: "B"}}, Read: []PointRead{{"door", 0.01, 0.041, 1772373540000000}}}},
	{"alarm", `{"time":"2026-03-01T14:00:00Z","kind":"alarm","state":"raised","alarm":"leak","stack":"B","line":"north top","onset":"2026-03-01T12:00:00Z","priority":"high","value":0.2,"limit":0.1,"also":["uneven-gas"]}`,
		&Alarm{State: AlarmRaised, Alarm: "leak", Stack: "B", Line: "north top", Onset: 1772366400000000, Priority: PriorityHigh, Value: 0.2, Limit: 0.1, Also: []string{"uneven-gas"}}},
	{"alarm of what is owed", `{"time":"2026-03-01T14:00:00Z","kind":"alarm","state":"raised","alarm":"follow-up-due","stack":"B","owed":{"treatment":"B-7","due":"2026-03-06T08:00:00Z","owner":"R. Amadi"},"priority":"low","code":"jar","value":-48,"limit":24}`,
		&Alarm{State: AlarmRaised, Alarm: "follow-up-due", Stack: "B", Owed: &Owed{Treatment: "B-7", Due: 1772784000000000, Owner: "R. Amadi"}, Priority: PriorityLow, Code: FollowJar, Value: -48, Limit: 24}},
	{"follow-up", `{"time":"2026-03-01T14:00:00Z","kind":"follow-up","of":9,"store":"Store 2","stack":"B","treatment":"B-7","follow_up":"jar","state":"done","due":"2026-03-06T08:00:00Z","owner":"R. Amadi","by":"L. Oduya","at":"2026-03-06T08:00:00Z","result":"none-found"}`,
		&FollowUp{Record: Record{Of: 9}, Store: "Store 2", Stack: "B", Treatment: "B-7", FollowUp: FollowJar, State: FollowDone, Due: 1772784000000000, Owner: "R. Amadi", By: "L. Oduya", At: 1772784000000000, Result: InsectsNone}},
	{"forecast", `{"time":"2026-03-01T14:00:00Z","kind":"forecast","stack":"B","line":"north top","for":"2026-03-06T08:00:00Z","ppm":{"p05":120,"p50":180.5,"p95":260},"chance_met":0.61}`,
		&Forecast{Stack: "B", Line: "north top", For: 1772784000000000, PPM: Quantiles{120, 180.5, 260}, ChanceMet: 0.61}},
	{"message", `{"time":"2026-03-01T14:00:00Z","kind":"message","messenger":"email","to":"R. Amadi","subject":"leak","message_id":"<1@x>","state":"handed-over","attempt":1}`,
		&Message{Messenger: "email", To: "R. Amadi", Subject: "leak", MessageID: "<1@x>", State: "handed-over", Attempt: 1}},
}

func ptr(v float64) *float64 { return &v }

func TestEveryKindRoundTrips(t *testing.T) {
	seen := map[Kind]bool{}
	for _, l := range lines {
		t.Run(l.name, func(t *testing.T) {
			e, err := Decode([]byte(l.line))
			require.NoError(t, err)
			b, err := Encode(e)
			require.NoError(t, err)
			require.Equal(t, l.line, string(b))
			seen[e.Head().Kind] = true
			require.NoError(t, Check(e))
			*l.want.Head() = *e.Head()
			require.Equal(t, l.want, e)
		})
	}
	for k := range makers {
		require.True(t, seen[k], "no test line of kind %q", k)
	}
}

func TestHeaderFields(t *testing.T) {
	e, err := Decode([]byte(`{"time":"2026-03-01T16:00:00.0000019+02:00","kind":"clock","seq":9,"received":"2026-03-01T14:00:01.5Z","id":"m-1","v":1}`))
	require.NoError(t, err)
	require.Equal(t, &Header{Time: 1772373600000001, Kind: KindClock, Seq: 9, Received: 1772373601500000, ID: "m-1", V: 1}, e.Head())
}

func TestDecodeRefuses(t *testing.T) {
	for _, c := range []struct{ line, want string }{
		{``, "cut short after 0 bytes"},
		{`{"time":"2026-03-01T14:00:00Z","kind":"rea`, "cut short after 42 bytes"},
		{`{"time":"2026-03-01T14:00:00Z","kind":"clock"} {}`, "not valid JSON at byte"},
		{`[]`, "cannot be a JSON array"},
		{`null`, `"kind" is missing`},
		{`{"time":"2026-03-01T14:00:00Z"}`, `"kind" is missing`},
		{`{"kind":"clock"}`, `"time" is missing`},
		{`{"time":null,"kind":"clock"}`, `"time" is missing`},
		{`{"time":"1970-01-01T00:00:00Z","kind":"clock"}`, `"time" is missing`},
		{`{"time":"yesterday","kind":"clock"}`, "want RFC 3339"},
		{`{"time":"9999-12-31T23:59:59-01:00","kind":"clock"}`, "outside 1 to 9999"},
		{`{"time":"2026-03-01T14:00:00Z","kind":"rain"}`, `unknown kind "rain"`},
		{`{"time":"2026-03-01T14:00:00Z","kind":"rain","v":2}`, "newer version"},
		{`{"time":"2026-03-01T14:00:00Z","kind":"clock","v":-1}`, "version"},
		{`{"time":"2026-03-01T14:00:00Z","kind":"clock","colour":"red"}`, `unknown field "colour"`},
		{`{"time":"2026-03-01T14:00:00Z","kind":"reading","channel":"a","value":"high","unit":"ppm"}`, `"value" cannot be a JSON string`},
		{`{"time":"2026-03-01T14:00:00Z","kind":"reading","channel":"a","value":1e999,"unit":"ppm"}`, `"value" cannot be a JSON number`},
		{`{"time":"2026-03-01T14:00:00Z","kind":"reading","channel":"a","value":1,"unit":"pints"}`, `the unit "pints"`},
		{`{"time":"2026-03-01T14:00:00Z","kind":"reading","value":1,"unit":"ppm"}`, `"channel" is missing`},
		{`{"time":"2026-03-01T14:00:00Z","kind":"reading","channel":"` + "\xff" + `","value":1,"unit":"ppm"}`, "UTF-8"},
		{`{"time":"2026-03-01T14:00:00Z","kind":"dose-added","stack":"B","phosphine_g":-1}`, `"phosphine_g" must be above 0`},
		{`{"time":"2026-03-01T14:00:00Z","kind":"hand-reading","stack":"B","store":"S","line":"l","point":"p","value":1,"unit":"ppm","method":"tube"}`, "names either"},
		{`{"time":"2026-03-01T14:00:00Z","kind":"hand-reading","stack":"B","line":"l","value":1,"unit":"C","method":"tube"}`, `the unit "C"`},
		{`{"time":"2026-03-01T14:00:00Z","kind":"cages-judged","stack":"B","after":"exposure","result":"none-found","live":2,"by":"R. Amadi"}`, "2 live insects were counted"},
		{`{"time":"2026-03-01T14:00:00Z","kind":"cages-judged","stack":"B","after":"lunch","result":"none-found","by":"R. Amadi"}`, `the field "after" is "lunch"`},
		{`{"time":"2026-03-01T14:00:00Z","kind":"cages-judged","stack":"B","after":"exposure","result":"fewer","by":"R. Amadi"}`, `the field "result" is "fewer"`},
	} {
		e, err := Decode([]byte(c.line))
		require.ErrorContains(t, err, c.want, c.line)
		require.Nil(t, e, c.line)
	}
	_, err := Decode([]byte(`{"time":"2026-03-01T14:00:00Z","kind":"rain","v":2}`))
	require.ErrorIs(t, err, ErrNewer)
}

func TestReaderNamesTheLine(t *testing.T) {
	good := lines[0].line + "\n"
	for bad, want := range map[string]string{
		good + "\n" + `{"time":"2026-03-01T14:00:00Z","ki`:                      "notes.jsonl:3: the JSON object is cut short",
		good + `{"time":"2026-03-01T14:00:00Z","kind":"clock","x":1}` + "\n":    `notes.jsonl:2: clock: unknown field "x"`,
		good + `{"time":"2026-03-01T14:00:00Z","kind":"rain"}`:                  `notes.jsonl:2: unknown kind "rain"`,
		good + good + `{"time":"2026-03-01T14:00:00Z","kind":"clock","v":9}`:    "notes.jsonl:3: ",
		good + `"` + strings.Repeat("x", MaxLine) + "\"\n":                      "notes.jsonl:2: the line is longer than",
		good + lines[1].line + lines[1].line:                                    "notes.jsonl:2: not valid JSON",
		good + "\r\n \n" + good + "this is not JSON, it is what a person wrote": "notes.jsonl:5: not valid JSON at byte",
	} {
		r := NewReader("notes.jsonl", strings.NewReader(bad))
		var err error
		var e Entry
		n := 0
		for err == nil {
			if e, err = r.Next(); err == nil {
				n++
			}
		}
		require.Nil(t, e)
		require.ErrorContains(t, err, want)
		require.Equal(t, strings.Count(bad, good), n, "what stands before it is read")
	}
	r := NewReader("notes.jsonl", strings.NewReader(good+"\n"+strings.TrimSpace(good)))
	for i := range 2 {
		_, err := r.Next()
		require.NoError(t, err)
		require.Equal(t, 1+2*i, r.Line())
	}
	_, err := r.Next()
	require.Equal(t, io.EOF, err)
	_, err = NewReader("x", io.MultiReader(strings.NewReader("{"), broken{})).Next()
	require.ErrorContains(t, err, "x:1: the cable is off")
}

type broken struct{}

func (broken) Read([]byte) (int, error) { return 0, errors.New("the cable is off") }

func TestIdentity(t *testing.T) {
	id := func(line string) [16]byte {
		e, err := Decode([]byte(line))
		require.NoError(t, err)
		k, err := Identity(e)
		require.NoError(t, err)
		return k
	}
	r := `{"time":"2026-03-01T14:00:00Z","kind":"reading","channel":"a","value":%s,"unit":"ppm"%s}`
	one := id(fmt.Sprintf(r, "1", ""))
	require.Equal(t, one, id(fmt.Sprintf(r, "1.0", `,"seq":7,"received":"2026-03-01T15:00:00Z","v":1`)), "what the logbook adds does not count")
	require.NotEqual(t, one, id(fmt.Sprintf(r, "2", "")))
	require.NotEqual(t, one, id(fmt.Sprintf(r, "1", `,"id":"k"`)))
	require.Equal(t, id(fmt.Sprintf(r, "1", `,"id":"k"`)), id(fmt.Sprintf(r, "2", `,"id":"k"`)), "the client's id decides")
}

// For any text: an error leaves nothing; else what is encoded decodes to the
// same entry and encodes to the same bytes.
func FuzzDecode(f *testing.F) {
	for _, l := range lines {
		f.Add([]byte(l.line))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		e, err := Decode(text)
		if err != nil {
			require.Nil(t, e)
			return
		}
		b, err := Encode(e)
		require.NoError(t, err)
		again, err := Decode(b)
		require.NoError(t, err, "%s", b)
		b2, err := Encode(again)
		require.NoError(t, err)
		require.Equal(t, string(b), string(b2))
		require.False(t, bytes.ContainsAny(b, "\n\r"), "an entry stays on one line")
		third, err := Decode(b2)
		require.NoError(t, err)
		require.Equal(t, again, third)
		k1, err := Identity(e)
		require.NoError(t, err)
		k2, err := Identity(again)
		require.NoError(t, err)
		require.Equal(t, k1, k2)
	})
}

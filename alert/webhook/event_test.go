package webhook

import (
	"encoding/json"
	"net/url"
	"os"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"undersheet/alert"
	"undersheet/logbook"
)

var noon = logbook.At(time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC))

// letter is one that names what text formats trip over.
func letter() *alert.Delivery {
	a := &logbook.Alarm{Header: logbook.Header{Time: noon.Add(-time.Minute), Kind: logbook.KindAlarm, Seq: 7}, Record: logbook.Record{Of: 6, Program: "1.2"},
		State: logbook.AlarmRaised, Alarm: "leak", Stack: "B/2", Line: "north top ü", Priority: logbook.PriorityHigh, Value: 412, Limit: 0.25}
	record, err := logbook.Encode(a)
	if err != nil {
		panic(err)
	}
	return &alert.Delivery{
		Letter: alert.Letter{ID: "8f3a@depot.example", Of: 7, Priority: logbook.PriorityHigh, Subject: "[Kivuma depot] HIGH: Plyn únik,\r\nstack B/2",
			Text: "Fumigación — 412 ppm <b>\nDo not enter alone.\nEmergency: +00 1\n", Written: noon, Record: record},
		Person: "duty room", At: noon.Std().Add(5 * time.Second),
	}
}

// parsed reads an event and checks it against CloudEvents 1.0.2: the required
// attributes and types of spec.md, "Context Attributes" and "Type System", and
// the rules of json-format.md, sections 2 and 3. The same rules stand in the
// JSON Schema of the specification (cloudevents/formats/cloudevents.json):
// required, type, minLength 1, format uri-reference and date-time.
func parsed(t *testing.T, body []byte) map[string]any {
	t.Helper()
	require.True(t, utf8.Valid(body))
	var e map[string]any
	require.NoError(t, json.Unmarshal(body, &e))
	for _, name := range []string{"id", "source", "specversion", "type"} {
		require.NotEmpty(t, e[name], "REQUIRED: %s", name)
	}
	require.Equal(t, "1.0", e["specversion"])
	for name, v := range e {
		require.Empty(t, strings.Trim(name, "abcdefghijklmnopqrstuvwxyz0123456789"), "attribute names: %s", name)
		require.LessOrEqual(t, len(name), 20, "attribute names SHOULD NOT exceed 20 characters")
		if name == "data" {
			continue
		}
		require.IsType(t, "", v, "all attributes used here are of types whose JSON form is a string: %s", name)
		require.NotEmpty(t, v, "optional attributes, when there, are not empty: %s", name)
		for _, r := range v.(string) {
			require.False(t, r < 0x20 || r >= 0x7f && r <= 0x9f || r >= 0xfdd0 && r <= 0xfdef || r&0xffff >= 0xfffe, "String: %s has %U", name, r)
		}
	}
	source := e["source"].(string)
	u, err := url.Parse(source)
	require.NoError(t, err)
	require.Equal(t, source, u.String(), "URI-reference (RFC 3986)")
	if at, there := e["time"]; there {
		_, err := time.Parse(time.RFC3339, at.(string))
		require.NoError(t, err)
	}
	require.Equal(t, "application/json", e["datacontenttype"])
	require.IsType(t, map[string]any{}, e["data"], "JSON data is a JSON value, not text (3.1.1)")
	require.NotContains(t, e, "data_base64", "mutually exclusive with data (3.1.1)")
	return e
}

func newHooks(t *testing.T, confs ...logbook.Webhook) *Hooks {
	t.Helper()
	h, err := New(confs, Options{Source: Source("Kivuma depot"), Emergency: "+00 1", Version: "1.2", Timeout: 5 * time.Second})
	require.NoError(t, err)
	return h
}

// TestMain sets the secrets that site files of these tests name.
func TestMain(m *testing.M) {
	os.Setenv("HOOK", secret)
	os.Setenv("SHORT", "guess")
	m.Run()
}

func TestEventOfAnAlarm(t *testing.T) {
	d := letter()
	body, err := newHooks(t).compose(d)
	require.NoError(t, err)
	e := parsed(t, body)
	data := e["data"]
	delete(e, "data")
	require.Equal(t, map[string]any{"specversion": "1.0", "id": "8f3a@depot.example", "source": "/undersheet/Kivuma%20depot", "type": "undersheet.alarm.raised",
		"subject": "stacks/B%2F2/lines/north%20top%20%C3%BC", "time": "2026-03-01T11:59:00Z", "datacontenttype": "application/json"}, e)
	var record any
	require.NoError(t, json.Unmarshal(d.Record, &record))
	require.Equal(t, map[string]any{"record": record, "headline": "[Kivuma depot] HIGH: Plyn únik, stack B/2", "text": d.Text, "priority": "high",
		"written": "2026-03-01T12:00:00Z", "of": 7.0, "repeat": false, "emergency": "+00 1"}, data)
}

// TestEventKeepsTheRecord: the receiver can read it back as the logbook does.
func TestEventKeepsTheRecord(t *testing.T) {
	d := letter()
	body, err := newHooks(t).compose(d)
	require.NoError(t, err)
	var e event
	require.NoError(t, json.Unmarshal(body, &e))
	entry, err := logbook.Decode(e.Data.Record)
	require.NoError(t, err)
	again, err := logbook.Encode(entry)
	require.NoError(t, err)
	require.Equal(t, string(d.Record), string(again))
}

func TestEventTypes(t *testing.T) {
	for _, tt := range []struct{ record, kind, subject string }{
		{`{"time":"2026-03-01T12:00:00Z","kind":"gate","store":"Store 2","state":"check-owed"}`, "undersheet.gate.check-owed", "stores/Store%202"},
		{`{"kind":"alarm","state":"cleared","store":"S","point":"door"}`, "undersheet.alarm.cleared", "stores/S/points/door"},
		{`{"kind":"alarm","state":"acknowledged","channel":"b-1"}`, "undersheet.alarm.acknowledged", "channels/b-1"},
		{`{"kind":"phase","stack":"B","phase":"exposure","verdict":"provisional"}`, "undersheet.phase.exposure", "stacks/B"},
		{`{"kind":"Über.\u0000","state":"a b"}`, "undersheet.-ber--.a-b", ""},
		{``, "undersheet.message", ""},
		{`{"kind":1}`, "undersheet.message", ""},
		{"{\"kind\":\"alarm\",\"by\":\"\xbc\"}", "undersheet.message", ""}, // not UTF-8
		{`null`, "undersheet.message", ""},
	} {
		d := letter()
		d.Record = json.RawMessage(tt.record)
		body, err := newHooks(t).compose(d)
		require.NoError(t, err, tt.record)
		e := parsed(t, body)
		require.Equal(t, tt.kind, e["type"])
		if tt.subject == "" {
			require.NotContains(t, e, "subject")
		} else {
			require.Equal(t, tt.subject, e["subject"])
		}
		require.NotEmpty(t, e["time"], "the letter's own time stands in")
	}
}

func TestRepeatIsTheSameEvent(t *testing.T) {
	d := letter()
	d.Repeat = true
	body, err := newHooks(t).compose(d)
	require.NoError(t, err)
	e := parsed(t, body)
	require.Equal(t, "8f3a@depot.example", e["id"], "source and id tell duplicates (spec.md, id)")
	require.Equal(t, true, e["data"].(map[string]any)["repeat"])
	require.Contains(t, e["data"].(map[string]any)["text"], "may be a repeat")
}

// FuzzCompose: any letter gives a valid event or an error.
func FuzzCompose(f *testing.F) {
	f.Add("8f3a@depot.example", "subject", "text", []byte(letter().Record))
	f.Add("a\x00\ufdd0\U0001ffff", "\xff", "\x7f", []byte(`{"kind":"gate","state":"shut","store":"\u0000/+#"}`))
	f.Add("", "", "", []byte(`{"kind":1}`))
	f.Add("x", "", "", []byte(`[]`))
	f.Add("x", "", "", []byte("{\"\":\"\xbc\"}"))
	h, err := New(nil, Options{Source: Source("depot")})
	require.NoError(f, err)
	f.Fuzz(func(t *testing.T, id, subject, text string, record []byte) {
		body, err := h.compose(&alert.Delivery{Letter: alert.Letter{ID: id, Subject: subject, Text: text, Record: record, Written: noon}, At: noon.Std()})
		if err != nil {
			require.Nil(t, body)
			return
		}
		parsed(t, body)
	})
}

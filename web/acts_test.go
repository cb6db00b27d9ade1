package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/web/form"
)

// book is a real logbook, and judges acts as told: it refuses confirmations and
// notes a finding of every dose.
type book struct {
	*sqlite.Store
	at    time.Time
	fails error // Act ends with it
	mute  bool  // no verdict comes
}

func newBook(t *testing.T) *book {
	b := &book{at: now}
	s, err := sqlite.Open(filepath.Join(t.TempDir(), "depot.db"), sqlite.Options{Now: func() time.Time { return b.at }})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	b.Store = s
	return b
}

// Act implements Acts.
func (b *book) Act(ctx context.Context, e logbook.Acting) (Answer, error) {
	if b.fails != nil {
		return Answer{}, b.fails
	}
	stored, err := b.Append(ctx, []logbook.Entry{e})
	if err != nil || stored[0].Differs {
		return Answer{State: Different, Seq: stored[0].Seq}, err
	}
	if !b.mute && !stored[0].Duplicate {
		if err := b.judge(ctx, e); err != nil {
			return Answer{}, err
		}
	}
	_, a, err := ReadAnswer(ctx, b, "en", stored[0].Seq)
	a.Duplicate = stored[0].Duplicate
	return a, err
}

// judge records a verdict, and another entry's after it.
func (b *book) judge(ctx context.Context, e logbook.Acting) error {
	h, verdict := e.Head(), logbook.Recorded(nil)
	store, stack := e.Place()
	var recs []logbook.Recorded
	switch e.(type) {
	case *logbook.EntryConfirmed:
		verdict = &logbook.Refused{Header: logbook.Header{Kind: logbook.KindRefused, Time: h.Time}, Entry: h.Kind, Store: store, Code: "gate-not-check-owed", Reasons: []logbook.Reason{{Code: "under-gas", About: "B", Value: 56}}}
	default:
		verdict = &logbook.Accepted{Header: logbook.Header{Kind: logbook.KindAccepted, Time: h.Time}, Entry: h.Kind, Store: store, Stack: stack}
	}
	if _, ok := e.(*logbook.DoseAdded); ok {
		f := &logbook.Finding{Header: logbook.Header{Kind: logbook.KindFinding, Time: h.Time}, Code: "no-exposure-running", Stack: stack, About: string(h.Kind)}
		f.Of = h.Seq
		recs = append(recs, f)
	}
	verdict.Rec().Of = h.Seq
	recs = append(recs, verdict)
	return b.AppendRecords(ctx, h.Seq, recs, nil)
}

// post sends a form from this machine; header pairs are name, value.
func post(h http.Handler, path, body string, header ...string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(http.MethodPost, path, strings.NewReader(body))
	r.Host, r.RemoteAddr = "127.0.0.1:8080", "127.0.0.1:4321"
	r.Header.Set("Content-Type", formType)
	for i := 0; i+1 < len(header); i += 2 {
		r.Header.Set(header[i], header[i+1])
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

func acting(t *testing.T) (*book, http.Handler) {
	b := newBook(t)
	return b, invented().handler(Options{Acts: b, Log: b})
}

// count is how many acts the logbook holds.
func (b *book) count(t *testing.T) int {
	n := 0
	for e, err := range b.Entries(t.Context(), 1) {
		require.NoError(t, err)
		if _, ok := e.(logbook.Acting); ok {
			n++
		}
	}
	return n
}

const doseForm = "stack=B&phosphine_g=75,5&by=Amal+Quint&time=&note=&id=web-1"

// A form that is sent becomes one act with one answer, however often it is sent.
func TestFormBecomesOneAct(t *testing.T) {
	b, h := acting(t)
	w := post(h, "/act/dose-added", doseForm)
	require.Equal(t, http.StatusSeeOther, w.Code, w.Body)
	require.Equal(t, "/answer/1", w.Header().Get("Location"))
	p := parsed(t, get(h, "/answer/1").Body.String())
	for _, want := range []string{"ACCEPTED", "Dose added", "75.5 g", "Amal Quint (not verified)", "Entry 1 of the logbook", "Gate of Long Store: SHUT", "What was noted because of it", "which is not in exposure"} {
		require.Contains(t, p.text, want)
	}
	require.NotContains(t, p.text, "on record already")
	b.at = b.at.Add(time.Minute)
	again := invented().handler(Options{Acts: b, Log: b, Clock: func() time.Time { return now.Add(time.Minute) }})
	w = post(again, "/act/dose-added", doseForm)
	require.Equal(t, "/answer/1?again", w.Header().Get("Location"), "sent again later, without a time of its own: the same act")
	require.Contains(t, parsed(t, get(h, "/answer/1?again").Body.String()).text, "It was on record already: sent twice, it counts once.")
	require.Equal(t, 1, b.count(t))
	w = post(h, "/act/dose-added", strings.Replace(doseForm, "75", "80", 1))
	require.Equal(t, http.StatusConflict, w.Code)
	p = parsed(t, w.Body.String())
	require.Contains(t, p.text, "they are entry 1, and nothing else was kept")
	require.NotContains(t, w.Body.String(), `value="web-1"`, "another id, so that it can be sent as another act")
	require.Equal(t, 1, b.count(t))
	w = post(h, "/act/entry-confirmed", "store=Long+Store&by=Amal+Quint&id=web-2")
	p = parsed(t, get(h, w.Header().Get("Location")).Body.String())
	require.Contains(t, p.text, "REFUSED")
	require.Contains(t, p.text, "Stack B is under gas, 56 hours")
	for path, status := range map[string]int{"/answer/0": 404, "/answer/x": 404, "/answer/2": 404, "/answer/99": 404, "/answer/-1": 404} {
		require.Equal(t, status, get(h, path).Code, path)
	}
}

// Every act's form of the invented depot is a page without faults, and what a form
// asks for can be sent.
func TestEveryActHasItsPage(t *testing.T) {
	_, h := acting(t)
	for _, kind := range logbook.ActKinds {
		for _, q := range []string{"", "?stack=B", "?store=Round+Store", "?stack=none", "?by=%3Cb%3E%00", "?place=x&time=y"} {
			w := get(h, "/act/"+string(kind)+q)
			require.Equal(t, http.StatusOK, w.Code, kind)
			p := parsed(t, w.Body.String())
			require.Contains(t, p.text, form.Title("en", kind))
			require.NotContains(t, w.Body.String(), "<b>")
		}
	}
	for _, path := range []string{"/act/reading", "/act/clock", "/act/", "/act/none"} {
		require.Equal(t, http.StatusNotFound, get(h, path).Code, path)
		require.NotEqual(t, http.StatusSeeOther, post(h, path, "by=x").Code, path)
	}
	p := parsed(t, get(h, "/act").Body.String())
	for _, kind := range logbook.ActKinds {
		require.Contains(t, p.links, "/act/"+string(kind))
	}
}

// What was typed stays, each fault stands at its field, and nothing is kept.
func TestFaultsKeepWhatWasTyped(t *testing.T) {
	b, h := acting(t)
	w := post(h, "/act/treatment-started", url.Values{"stack": {"B"}, "treatment": {`<script>alert("x")</script>`}, "protocol": {"five-day"}, "commodity": {"maize"}, "tonnes": {"1,234"},
		"volume_m3": {"260"}, "phosphine_g": {""}, "grain_temp_c": {"27"}, "count": {"2.5"}, "by": {"Amal Quint"}, "id": {"web-7"}, "time": {"2031-01-01T00:00"}}.Encode())
	require.Equal(t, http.StatusUnprocessableEntity, w.Code)
	body := w.Body.String()
	p := parsed(t, strings.ReplaceAll(body, `href="#`, `href="/#`))
	for _, want := range []string{"Nothing was recorded yet", "write 1234 or 1.234", "this is needed", "no whole number", "lies ahead"} {
		require.Contains(t, p.text, want)
	}
	require.Contains(t, body, `value="1,234"`)
	require.Contains(t, body, `value="web-7"`, "the same form: sent again it counts once")
	require.Contains(t, body, "&lt;script&gt;alert(&#34;x&#34;)")
	require.Contains(t, body, "<details open>", "a fault is not folded away")
	require.NotContains(t, body, "<script>alert")
	require.Zero(t, b.count(t))
}

// What is not a form of this page is refused before anything is read.
func TestStrangeRequestsAreRefused(t *testing.T) {
	b, h := acting(t)
	require.Equal(t, http.StatusRequestEntityTooLarge, post(h, "/act/dose-added", "note="+strings.Repeat("x", maxForm)).Code)
	require.Equal(t, http.StatusUnsupportedMediaType, post(h, "/act/dose-added", doseForm, "Content-Type", "multipart/form-data; boundary=x").Code)
	require.Equal(t, http.StatusUnsupportedMediaType, post(h, "/act/dose-added", doseForm, "Content-Type", "").Code)
	require.Equal(t, http.StatusBadRequest, post(h, "/act/dose-added", doseForm+"&x=%zz").Code)
	require.Equal(t, http.StatusForbidden, post(h, "/act/dose-added", doseForm, "Sec-Fetch-Site", "cross-site").Code)
	require.Equal(t, http.StatusForbidden, post(h, "/act/dose-added", doseForm, "Sec-Fetch-Site", "same-site").Code)
	require.Equal(t, http.StatusForbidden, post(h, "/act/dose-added", doseForm, "Origin", "https://evil.example").Code)
	require.Equal(t, http.StatusForbidden, post(h, "/logbook/verify", "", "Origin", "https://evil.example").Code)
	require.Equal(t, http.StatusMethodNotAllowed, post(h, "/alarms", "").Code)
	for _, method := range []string{"OPTIONS", "PUT", "DELETE"} {
		require.Equal(t, http.StatusMethodNotAllowed, ask(h, method, "/act/dose-added", "localhost", "127.0.0.1:1").Code, method)
	}
	require.Equal(t, http.StatusOK, ask(h, http.MethodHead, "/act/dose-added", "localhost", "127.0.0.1:1").Code)
	require.Equal(t, http.StatusNotFound, ask(h, http.MethodHead, "/logbook/verify", "localhost", "127.0.0.1:1").Code)
	require.Zero(t, b.count(t))
	require.Equal(t, http.StatusSeeOther, post(h, "/act/dose-added", doseForm, "Sec-Fetch-Site", "same-origin", "Origin", "http://127.0.0.1:8080").Code)
}

// The browser gives the name again; a strange cookie harms nothing.
func TestNameIsRemembered(t *testing.T) {
	_, h := acting(t)
	w := post(h, "/act/dose-added", strings.Replace(doseForm, "Amal+Quint", "%C3%89lo%C3%AFse+%3C%3B%22%3E", 1))
	c := w.Result().Cookies()
	require.Len(t, c, 1)
	require.True(t, c[0].HttpOnly)
	require.Equal(t, http.SameSiteStrictMode, c[0].SameSite)
	for value, want := range map[string]string{c[0].Value: `value="Éloïse &lt;;&#34;&gt;"`, "%zz": `name="by" value=""`, "%ff": `name="by" value=""`, strings.Repeat("a", 4000): `name="by" value=""`} {
		r := httptest.NewRequest(http.MethodGet, "/act/dose-added?stack=B", nil)
		r.Host, r.RemoteAddr = "localhost", "127.0.0.1:1"
		r.AddCookie(&http.Cookie{Name: byCookie, Value: value})
		got := httptest.NewRecorder()
		h.ServeHTTP(got, r)
		require.Contains(t, got.Body.String(), want, value)
	}
}

// When the logbook takes nothing the form says so, and can be sent again.
func TestActThatCannotBeKept(t *testing.T) {
	b, h := acting(t)
	b.fails = errDisk
	w := post(h, "/act/dose-added", doseForm)
	require.Equal(t, http.StatusServiceUnavailable, w.Code)
	require.Contains(t, w.Body.String(), "disk on fire")
	require.Contains(t, w.Body.String(), `value="web-1"`)
	none := invented().handler(Options{})
	require.Equal(t, http.StatusServiceUnavailable, post(none, "/act/dose-added", doseForm).Code, "pages that take no acts say so")
	b.fails, b.mute = nil, true
	w = post(h, "/act/dose-added", doseForm)
	p := parsed(t, get(h, w.Header().Get("Location")).Body.String())
	require.Contains(t, p.text, "NOT JUDGED YET")
}

// A confirmation is offered only when nothing but it is owed, and a masked entry
// only beside the air of its store.
func TestFormsThatComeInTheirTime(t *testing.T) {
	f := invented()
	round := &f.view.Stores[1]
	h := f.handler(Options{Acts: newBook(t)})
	offered := func(path string) (bool, page) {
		body := get(h, path).Body.String()
		return strings.Contains(body, `<form method="post" action="/act/`), parsed(t, body)
	}
	is, p := offered("/act/entry-confirmed?store=Long+Store")
	require.False(t, is)
	require.Contains(t, p.text, "not ready for a confirmation")
	require.Contains(t, p.text, "Does not hold No stack is being dosed or is under gas Stack B is under gas, 56 hours")
	is, p = offered("/act/entry-confirmed?store=Round+Store")
	require.True(t, is)
	require.Contains(t, p.text, "Holds A hand reading beside every aired stack")
	round.Gate.Reasons = append([]logbook.Reason{{Code: "hand-reading-owed", About: "R1"}}, round.Gate.Reasons...)
	is, p = offered("/act/entry-confirmed?store=Round+Store")
	require.False(t, is)
	require.Contains(t, p.links, "/act/hand-reading?point=beside+R1&store=Round+Store")
	round.Gate.Reasons = round.Gate.Reasons[1:]
	f.status.Shut = "catching-up"
	is, _ = offered("/act/entry-confirmed?store=Round+Store")
	require.False(t, is, "while the watch does not keep up")
	f.status.Shut = ""
	round.Gate.State = logbook.GateCleared
	is, p = offered("/act/entry-confirmed?store=Round+Store")
	require.False(t, is)
	require.Contains(t, p.text, "cleared already")
	for _, path := range []string{"/act/entry-confirmed", "/act/masked-entry", "/act/dose-added"} {
		is, p = offered(path)
		require.False(t, is, path)
		require.Contains(t, p.text, "first: its air then stands beside the form")
	}
	is, p = offered("/act/masked-entry?store=Long+Store")
	require.True(t, is)
	w := post(h, "/act/masked-entry", "store=Long+Store&in=Amal+Quint&at_door=Amal+Quint&protection=x&by=y")
	require.Contains(t, w.Body.String(), `action="/act/masked-entry?store=Long&#43;Store"`, "a page that is renewed by its address keeps the air beside the form")
	require.Contains(t, parsed(t, strings.ReplaceAll(w.Body.String(), `href="#`, `href="/#`)).text, "door 0.02 0.042")
	for _, want := range []string{"Two trained people, breathing protection", "Out again after 20 min", "by 17:20", "door 0.02 0.042", "The air inside is not known: nothing less than a self-contained", "Who stays at the door"} {
		require.Contains(t, p.text, want)
	}
	require.NotContains(t, p.text, "It is night")
	require.NotContains(t, p.text, "Round Store", "what stands beside the form is of the one store that it can be for")
}

// At night nobody is sent in: the depot's own night, in the depot's zone.
func TestNobodyGoesInAtNight(t *testing.T) {
	f := invented()
	at := now // 17:00 in Nairobi
	h := f.handler(Options{Clock: func() time.Time { return at }})
	for hours, night := range map[time.Duration]bool{0: false, 3: true, 8: true, 12: true, 13: false} {
		at = now.Add(hours * time.Hour)
		for _, path := range []string{"/act/masked-entry?store=Long+Store", "/act/dose-added?stack=B", "/act/hand-reading?store=Long+Store",
			"/act/airing-started?stack=B", "/act/airing-resumed?stack=B", "/act/dosing-started?stack=B", "/act/dose-placed?stack=B", "/act/cages-placed?stack=B", "/act/sheet-repaired?stack=B", "/act/line-proved"} {
			p := parsed(t, get(h, path).Body.String())
			require.Equal(t, night, strings.Contains(p.text, "It is night, 20:00 to 06:00 at this depot: nobody goes in. Wait for daylight."), "%s at %v", path, at)
		}
	}
	f.view.Config.Settings.Night = &logbook.Night{From: "12:00", To: "13:30"}
	at = now.Add(-4*time.Hour - 30*time.Minute) // 12:30
	require.Contains(t, get(h, "/act/masked-entry?store=Long+Store").Body.String(), "It is night, 12:00 to 13:30")
	f.view.Config.Settings.Night = &logbook.Night{From: "late", To: "early"}
	require.Contains(t, get(h, "/act/masked-entry?store=Long+Store").Body.String(), "it counts as night, and nobody goes in", "what cannot be read")
}

// ReadAnswer goes on past a page of entries, and stops at the next input.
func TestReadAnswerAmongMany(t *testing.T) {
	b := newBook(t)
	e := &logbook.DoseAdded{Header: logbook.Header{Kind: logbook.KindDoseAdded, Time: logbook.At(now)}, OnStack: logbook.OnStack{Stack: "B"}, PhosphineG: 5}
	_, err := b.Append(t.Context(), []logbook.Entry{e})
	require.NoError(t, err)
	var clocks []logbook.Entry
	for i := range 600 {
		c := &logbook.Clock{Header: logbook.Header{Kind: logbook.KindClock, Time: logbook.At(now.Add(time.Duration(i) * time.Second))}}
		clocks = append(clocks, c)
	}
	_, err = b.Append(t.Context(), clocks)
	require.NoError(t, err)
	_, a, err := ReadAnswer(t.Context(), b, "en", e.Seq)
	require.NoError(t, err)
	require.Equal(t, Pending, a.State)
	require.NoError(t, b.judge(t.Context(), e))
	act, a, err := ReadAnswer(t.Context(), b, "en", e.Seq)
	require.NoError(t, err)
	require.Equal(t, Accepted, a.State)
	require.Equal(t, e.Seq, act.Head().Seq)
	require.Len(t, a.Findings, 1)
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	_, _, err = ReadAnswer(ended, b, "en", e.Seq)
	require.True(t, errors.Is(err, context.Canceled), fmt.Sprint(err))
}

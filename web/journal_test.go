package web

import (
	"encoding/json"
	"fmt"
	"html"
	"net/http"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/report/picture"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/report"
)

// written is a logbook of an invented day: a reading a minute, committed five at a
// time, and acts and records between them.
func written(t *testing.T) *book {
	b := newBook(t)
	ctx := t.Context()
	head := func(k logbook.Kind) logbook.Header { return logbook.Header{Kind: k, Time: logbook.At(b.at)} }
	var es []logbook.Entry
	for i := range 1500 {
		b.at = now.Add(time.Duration(i) * time.Minute)
		es = append(es, &logbook.Reading{Header: head(logbook.KindReading), Channel: "b-top", Value: float64(i), Unit: logbook.PPM})
		var act logbook.Acting
		switch {
		case i%300 == 10:
			act = &logbook.DoseAdded{Header: head(logbook.KindDoseAdded), OnStack: logbook.OnStack{Stack: "B"}, PhosphineG: float64(i), Act: logbook.Act{By: "Amal Quint"}}
		case i%500 == 20:
			act = &logbook.HandReading{Header: head(logbook.KindHandReading), Store: "Long Store", Point: "beside B", Value: 0.02, Unit: logbook.PPM, Method: `"tube" <5 & up>`, Act: logbook.Act{By: "Ivo Pell"}}
		case i == 1400:
			act = &logbook.EntryConfirmed{Header: head(logbook.KindEntryConfirmed), OnStore: logbook.OnStore{Store: "Long Store"}, Act: logbook.Act{By: "Ivo Pell"}}
		}
		if act != nil {
			es = append(es, act)
		}
		if act == nil && i%5 != 4 {
			continue
		}
		_, err := b.Append(ctx, es)
		require.NoError(t, err)
		es = nil
		if act != nil {
			require.NoError(t, b.judge(ctx, act))
		}
	}
	return b
}

func rows(body string) int { return strings.Count(body, "</tr>") - 1 }

// The logbook is looked at by kind, place, words and time, newest first, page by page.
func TestLogbookIsLookedThrough(t *testing.T) {
	b := written(t)
	h := invented().handler(Options{Log: b})
	for query, want := range map[string]int{
		"": 18 + 5, "?kind=all": 50, "?kind=acts": 9, "?kind=records": 14, "?kind=dose-added": 5, "?kind=gate": -1, "?kind=acts&place=stack+B": 5, "?kind=acts&place=store+Long+Store": 4,
		"?place=store+Round+Store": -1, "?text=pell": 4, "?text=%22tube%22+%3C5+%26": 3, "?kind=reading&text=B-TOP": 50,
		"?kind=acts&from=2026-05-07T02:00": 5, // Nairobi, UTC+3: 23:00 UTC, minute 540
		"?kind=acts&to=2026-05-06T17:10":   1, "?kind=acts&to=2026-05-06T17:09": -1, "?kind=reading&from=2026-05-06T17:05&to=2026-05-06T17:09": 5,
		"?kind=reading&from=2027-01-01T00:00": -1, "?kind=none": -1,
	} {
		w := get(h, "/logbook"+query)
		require.Equal(t, http.StatusOK, w.Code, query)
		p := parsed(t, w.Body.String())
		if want < 0 {
			require.Contains(t, p.text, "No such entry", query)
			continue
		}
		require.Equal(t, want, rows(w.Body.String()), query)
	}
	body := get(h, "/logbook?kind=acts").Body.String()
	require.Less(t, strings.Index(body, ">Entry confirmed</td>"), strings.LastIndex(body, ">Dose added</td>"), "newest first")
	require.Contains(t, body, "&lt;5 &amp; up&gt;")
	for query, want := range map[string]string{"?from=yesterday": "Written from", "?to=2026-13-01T00:00": "Written until", "?before=x": "number of an entry"} {
		w := get(h, "/logbook"+query)
		require.Equal(t, http.StatusUnprocessableEntity, w.Code)
		require.Contains(t, parsed(t, w.Body.String()).text, want)
	}
}

// Going back page by page shows each entry once, to the first.
func TestLogbookPagesJoin(t *testing.T) {
	b := written(t)
	h := invented().handler(Options{Log: b})
	head, err := b.Head(t.Context())
	require.NoError(t, err)
	next := head.Seq
	older := regexp.MustCompile(`href="(/logbook\?[^"]*)">Older`)
	row := regexp.MustCompile(`<a href="/logbook/(\d+)">(\d+)</a></th>`)
	path := "/logbook?kind=all"
	for pages := 0; path != ""; pages++ {
		require.Less(t, pages, 40)
		body := get(h, path).Body.String()
		for _, m := range row.FindAllStringSubmatch(body, -1) {
			require.Equal(t, fmt.Sprint(next), m[1])
			next--
		}
		path = ""
		if m := older.FindStringSubmatch(body); m != nil {
			path = strings.ReplaceAll(m[1], "&amp;", "&")
		}
	}
	require.Zero(t, next, "all were shown")
}

// An entry's page shows it as it is exported, every kind of it.
func TestEntryPage(t *testing.T) {
	b := written(t)
	h := invented().handler(Options{Log: b})
	es, err := b.Read(t.Context(), 1, 60)
	require.NoError(t, err)
	for _, e := range es {
		w := get(h, fmt.Sprintf("/logbook/%d", e.Head().Seq))
		require.Equal(t, http.StatusOK, w.Code)
		parsed(t, w.Body.String())
		text, err := logbook.Encode(e)
		require.NoError(t, err)
		require.Contains(t, w.Body.String(), html.EscapeString(string(text)), "as it is exported")
	}
	for _, path := range []string{"/logbook/0", "/logbook/99999999", "/logbook/x", "/logbook/18446744073709551615", "/logbook/1/2"} {
		require.Equal(t, http.StatusNotFound, get(h, path).Code, path)
	}
	require.Equal(t, http.StatusNotFound, get(invented().handler(Options{}), "/logbook").Code)
}

// What a server says of a message that it did not take is quoted, in every language: its words
// are its own. 451 is a local error in processing (RFC 5321, 4.2.3).
func TestWordsOfAServerAreQuoted(t *testing.T) {
	refused := &logbook.Message{Messenger: "mail", To: "Amal Quint", Subject: "Leak", State: "delayed", Attempt: 2, Detail: "451 try again later"}
	twice := &logbook.Message{Messenger: "mail", To: "Amal Quint", Subject: "Leak", State: "handed-over", Attempt: 3, Detail: "may be a repeat"}
	for lang, want := range map[string][2]string{"en": {"(in its own words: “451 try again later”)", "Leak (may be a repeat)"}, "fr": {"(dans les termes d'origine : « 451 try again later »)", "Leak (peut-être une répétition)"}} {
		f := frame{Lang: lang, zone: time.UTC}
		_, what := f.say(refused)
		require.Contains(t, strings.ReplaceAll(what, "\u00a0", " "), want[0])
		_, what = f.say(twice)
		require.Contains(t, what, want[1])
	}
}

// The list of kinds is that of the logbook: a kind added there fails here until it
// can be asked for.
func TestEveryKindCanBeAskedFor(t *testing.T) {
	source, err := os.ReadFile("../logbook/kinds.go")
	require.NoError(t, err)
	require.Len(t, journalKinds(), len(regexp.MustCompile(`(?m)^\s+Kind\w+:\s+func`).FindAll(source, -1)))
	f := invented()
	page := frame{Lang: "en", zone: time.UTC, view: f.view}
	for _, k := range journalKinds() {
		e, err := logbook.New(k)
		require.NoError(t, err, k)
		page.say(e) // an empty one of each kind breaks nothing
	}
}

// The chain is checked on demand: whole, against a hash from paper, and cut or changed.
func TestChainCheck(t *testing.T) {
	b := written(t)
	h := invented().handler(Options{Log: b})
	require.NotContains(t, get(h, "/logbook").Body.String(), "WHOLE")
	require.Equal(t, http.StatusSeeOther, post(h, "/logbook/verify", "head=").Code)
	head, err := b.Head(t.Context())
	require.NoError(t, err)
	p := parsed(t, get(h, "/logbook").Body.String())
	require.Contains(t, p.text, "WHOLE")
	require.Contains(t, p.text, fmt.Sprintf("with %d entries follow from one another, up to entry %d", head.Seq, head.Seq))
	require.Contains(t, p.text, head.Hash)
	_, early, err := b.LogAt(t.Context(), 100)
	require.NoError(t, err)
	post(h, "/logbook/verify", "head="+early)
	require.Contains(t, parsed(t, get(h, "/logbook").Body.String()).text, "The hash "+early+" is in it")
	for sent, want := range map[string]string{strings.Repeat("ab", 32): "the tail was cut", "xyz": "is no hash", "%3Cscript%3E": "is no hash"} {
		post(h, "/logbook/verify", "head="+sent)
		body := get(h, "/logbook").Body.String()
		p = parsed(t, body)
		require.Contains(t, p.text, "NOT WHOLE", sent)
		require.Contains(t, p.text, want)
		require.NotContains(t, body, "<script>")
	}
	require.Equal(t, http.StatusRequestEntityTooLarge, post(h, "/logbook/verify", strings.Repeat("x", maxForm+1)).Code)
}

// What people did last at a store is found and kept up to date; a refusal is said so.
func TestStorePageTellsWhatPeopleDidLast(t *testing.T) {
	b := written(t)
	h := invented().handler(Options{Log: b})
	text := parsed(t, get(h, "/store/Long%20Store").Body.String()).text
	require.Contains(t, text, "Entry confirmed — REFUSED")
	require.Equal(t, 3, strings.Count(text, "Where: Long Store, beside B"))
	e := &logbook.NoGasDeclared{Header: logbook.Header{Kind: logbook.KindNoGasDeclared, Time: logbook.At(b.at)}, OnStore: logbook.OnStore{Store: "Long Store"}, Act: logbook.Act{By: "Wren Osei"}}
	_, err := b.Append(t.Context(), []logbook.Entry{e})
	require.NoError(t, err)
	text = parsed(t, get(h, "/store/Long%20Store").Body.String()).text
	require.Contains(t, text, "No gas declared")
	require.Contains(t, text, "Wren Osei")
	require.Equal(t, http.StatusNotFound, get(h, "/store/none").Code)
}

// treated is a logbook with a treatment in it.
func treated(t *testing.T, name string) *book {
	b := newBook(t)
	site := &logbook.SiteConfigured{Header: logbook.Header{Kind: logbook.KindSiteConfigured, Time: logbook.At(b.at)}, Site: logbook.Site{Name: "Elder Quay", Timezone: "UTC",
		Channels: map[string]logbook.Channel{"b-top": {Gas: "ph3", Unit: logbook.PPM, Range: 2000, Resolution: 1, DetectionLimit: 1}},
		Stores:   []logbook.Store{{Name: "Long Store", Stacks: []logbook.Stack{{Name: "B", Lines: []logbook.Line{{Name: "top", Channel: "b-top"}}}}}}}}
	start := &logbook.TreatmentStarted{Header: logbook.Header{Kind: logbook.KindTreatmentStarted, Time: logbook.At(b.at)}, OnStack: logbook.OnStack{Stack: "B"}, Treatment: name, Protocol: "five-day",
		Commodity: "maize", Tonnes: 100, VolumeM3: 150, PhosphineG: 200, GrainTempC: 27, Act: logbook.Act{By: "Amal Quint"}}
	_, err := b.Append(t.Context(), []logbook.Entry{site, start})
	require.NoError(t, err)
	return b
}

// Reports are shown, as a page that loads and runs nothing, and downloaded.
func TestReports(t *testing.T) {
	h := invented().handler(Options{Log: treated(t, "B-7")})
	w := get(h, "/report/B-7")
	require.Equal(t, http.StatusOK, w.Code)
	require.Contains(t, w.Body.String(), "B-7")
	require.Contains(t, w.Header().Get("Content-Security-Policy"), "default-src 'none'")
	require.Contains(t, w.Header().Get("Content-Security-Policy"), "sandbox")
	require.Empty(t, w.Header().Get("Content-Disposition"))
	w = get(h, "/report/B-7?download")
	require.Equal(t, "attachment; filename=report-B-7.html", w.Header().Get("Content-Disposition"))
	w = get(h, "/report/B-7.csv")
	require.Contains(t, w.Header().Get("Content-Type"), "text/csv")
	require.True(t, strings.HasPrefix(w.Body.String(), "section,time,place,item,value,unit,text"), w.Body.String()[:60])
	for ending, kind := range map[string]string{".html": "text/html; charset=utf-8", ".csv": "text/csv; charset=utf-8", ".json": "application/json", ".pdf": "application/pdf"} {
		w = get(h, "/report/B-7"+ending+"?lang=fr")
		require.Equal(t, http.StatusOK, w.Code)
		require.Equal(t, kind, w.Header().Get("Content-Type"))
		said, form, err := report.FindStatement(w.Body.Bytes())
		require.NoError(t, err)
		require.Equal(t, ending, "."+form)
		require.Equal(t, "B-7", said.Treatment)
		require.Equal(t, map[bool]string{true: "en", false: "fr"}[form == "json"], said.Lang, "JSON holds no words")
	}
	w = get(h, "/report/none")
	require.Equal(t, http.StatusNotFound, w.Code)
	require.Contains(t, parsed(t, w.Body.String()).links, "/report/B-7")
	odd := `x/../"é".csv`
	h = invented().handler(Options{Log: treated(t, odd)})
	w = get(h, "/report/x%2F..%2F%22%C3%A9%22.csv.csv")
	require.Equal(t, http.StatusOK, w.Code)
	require.Equal(t, "attachment; filename*=utf-8''report-x_..__%C3%A9_.csv.csv", w.Header().Get("Content-Disposition"), "no way out of the folder")
	w = get(h, "/report/x%2F..%2F%22%C3%A9%22.csv")
	require.Equal(t, http.StatusOK, w.Code)
	require.Contains(t, w.Header().Get("Content-Type"), "text/html", "a treatment may be called so")
}

// What the script draws is bounded, finite JSON.
func TestCurvesForTheScript(t *testing.T) {
	f := invented()
	h := f.handler(Options{})
	w := get(h, "/stack/B/curve.json")
	require.Equal(t, http.StatusOK, w.Code)
	var c Curves
	require.NoError(t, json.Unmarshal(w.Body.Bytes(), &c))
	require.Equal(t, 150.0, c.EndLevel)
	require.InDelta(t, 56, c.Now, 0.01)
	require.Equal(t, 120.0, c.PlannedEnd)
	require.True(t, c.Exposure)
	require.Len(t, c.Lines, 2)
	require.LessOrEqual(t, len(c.Lines[0].X), 2*picture.SpansOfLine+2)
	require.Greater(t, len(c.Lines[0].X), 100)
	require.Len(t, c.Lines[0].Y, len(c.Lines[0].X))
	require.Len(t, c.Lines[0].Fit.P95, 61)
	require.IsIncreasing(t, c.Lines[0].X)
	require.Equal(t, "Leak: raised north top", c.Events[1].Text)
	require.Equal(t, &CurveLeak{Statistic: 3.25, Threshold: 11.5, Live: true}, c.Leak)
	for _, path := range []string{"/stack/C/curve.json", "/stack/none/curve.json"} {
		require.Equal(t, http.StatusNotFound, get(h, path).Code, path)
	}
	f.broken = errDisk
	require.Contains(t, get(f.handler(Options{}), "/stack/B/curve.json").Body.String(), "Readings are missing")
	require.Equal(t, http.StatusOK, get(hostile().handler(Options{}), "/stack/"+strings.NewReplacer("<", "%3C", ">", "%3E", `"`, "%22", " ", "%20", "\x00", "%00", "\xff", "%FF", ";", "%3B", "/", "%2F", "&", "%26").Replace(hostile().view.Stores[0].Stacks[0].Name)+"/curve.json").Code)
}

// A logbook that cannot be read is said on every page that needs it.
func TestLogbookThatFails(t *testing.T) {
	b := written(t)
	h := invented().handler(Options{Log: b, Acts: b})
	require.NoError(t, b.Close())
	for _, path := range []string{"/logbook", "/logbook/1", "/answer/1", "/report/B-7"} {
		w := get(h, path)
		require.Equal(t, http.StatusInternalServerError, w.Code, path)
		require.Contains(t, parsed(t, w.Body.String()).text, "The logbook could not be read", path)
	}
	require.Equal(t, http.StatusOK, get(h, "/store/Long%20Store").Code, "what the view knows is shown")
	s, err := sqlite.Open(b.Path(), sqlite.Options{})
	require.NoError(t, err)
	b.Store = s
}

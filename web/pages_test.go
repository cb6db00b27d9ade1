package web

import (
	"context"
	"encoding/json"
	"io"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"
	"golang.org/x/net/html/atom"

	"undersheet/alert"
	"undersheet/ingest"
	"undersheet/logbook"
	"undersheet/rules"
	"undersheet/sensor"
	"undersheet/watch"
)

// page is a parsed page.
type page struct {
	seen  map[string]int
	ids   map[string]int
	links []string
	text  string
}

// optional are elements whose end tag HTML lets one leave out, or forbids.
var voids = map[atom.Atom]bool{atom.Meta: true, atom.Link: true, atom.Br: true, atom.Input: true}

// parsed reads a page strictly: every tag is closed in its turn (html.Parse alone
// mends what is broken), there is one of each landmark, nothing runs or loads
// from elsewhere.
func parsed(t *testing.T, body string) page {
	t.Helper()
	require.True(t, strings.HasPrefix(body, "<!doctype html>"))
	var open []string
	z := html.NewTokenizer(strings.NewReader(body))
	for z.Next() != html.ErrorToken {
		tok := z.Token()
		switch tok.Type {
		case html.StartTagToken:
			if !voids[tok.DataAtom] {
				open = append(open, tok.Data)
			}
		case html.EndTagToken:
			require.NotEmpty(t, open, "</%s> closes nothing", tok.Data)
			require.Equal(t, open[len(open)-1], tok.Data, "closed in its turn")
			open = open[:len(open)-1]
		}
	}
	require.Equal(t, io.EOF, z.Err())
	require.Empty(t, open, "every element is closed")
	root, err := html.Parse(strings.NewReader(body))
	require.NoError(t, err)
	p := page{seen: map[string]int{}, ids: map[string]int{}}
	var text strings.Builder
	for n := range root.Descendants() {
		if n.Type == html.TextNode {
			text.WriteString(n.Data + " ")
		}
		if n.Type != html.ElementNode {
			continue
		}
		p.seen[n.Data]++
		for _, a := range n.Attr {
			require.NotEqual(t, "style", a.Key, "the content security policy forbids it")
			require.False(t, strings.HasPrefix(a.Key, "on"), "no handlers in markup: %s", a.Key)
			if a.Key == "id" {
				p.ids[a.Val]++
			}
			if a.Key == "src" || a.Key == "href" {
				require.True(t, strings.HasPrefix(a.Val, "/"), "everything comes from here: %s", a.Val)
				p.links = append(p.links, a.Val)
			}
		}
	}
	p.text = strings.Join(strings.Fields(text.String()), " ")
	for _, landmark := range []string{"header", "main", "footer", "h1", "title"} {
		if landmark != "title" { // charts have titles too
			require.Equal(t, 1, p.seen[landmark], landmark)
		}
	}
	for id, n := range p.ids {
		require.Equal(t, 1, n, "id %q is unique", id)
	}
	require.Contains(t, []int{1, 3}, p.seen["script"], "the script of the layout, and the two of curves")
	require.Contains(t, body, `name="viewport" content="width=device-width`)
	require.NotRegexp(t, regexp.MustCompile(`(?i)\bsafe(ly|ty)?\b`), p.text, "a page never says that a place is safe")
	require.NotContains(t, p.text, "NaN")
	require.NotContains(t, p.text, "<nil>")
	return p
}

func TestDepotPage(t *testing.T) {
	w := get(invented().handler(Options{}), "/")
	require.Equal(t, http.StatusOK, w.Code)
	p := parsed(t, w.Body.String())
	for _, want := range []string{
		"Elder Quay Depot", "Wed 6 May 2026 16:59", "Africa/Nairobi", // UTC+3
		"SHUT", "Keep out", "Stack B is under gas, 56 hours", "from-a-newer-program", "Inside by masked entry: Amal Quint",
		"CHECK OWED", "Still owed", "The confirmation by a named person is owed", "two trained people with breathing protection, in daylight",
		"0.02", "0.042", "1 min", "below 0.1 ppm. An invented source",
		"Exposure", "verdict: provisional", "B-7: five-day, milled rice", "in 2 d 16 h",
		"At the end (Sat 9 May 09:00) the lowest line is expected at 130 ppm (90 %: 91–169); the chance that every line is at or above 150 ppm is 31 %.",
		"north top", "271", "4 min", "silent", "Not under treatment", "not read yet", "No limit set is chosen"[:2],
	} {
		require.Contains(t, p.text, want)
	}
	require.Less(t, strings.Index(p.text, "high"), strings.Index(p.text, "medium"), "high alarms come first")
	require.Contains(t, p.links, "/stack/B")
}

func TestStackPage(t *testing.T) {
	for _, path := range []string{"/stack/B", "/stack/B?axis=log"} {
		w := get(invented().handler(Options{}), path)
		require.Equal(t, http.StatusOK, w.Code)
		p := parsed(t, w.Body.String())
		require.Equal(t, 6, p.seen["svg"], "the shape of the gate, all lines, each line, residuals and leak test")
		require.Equal(t, 5, p.seen["figcaption"])
		for _, want := range []string{"Stack B in Long Store", "SHUT", "end level 150 ppm", "21345 ppm·h, 29.7 g·h/m³", "130 ppm, with 90 % between 91 and 169; chance about 31 %", "chance over 99 %",
			"not held: 131 ppm, median of the last hour; 150 ppm needed", "not shown: no valid reading", "Statistic 3.25, alarm from 11.5", "Half-life of the concentration without the leak 61.6 h", "Loss without the leak 0.27 ± 0.02 per day",
			"Treatment started: Amal Quint", "Leak: raised north top",
			"Since about Tue 5 May 14:00 (13:00–14:00) line north top has lost gas 3.0 times as fast as before (0.10 → 0.30 per day); the statistic was 12.0 against a threshold of 11.5.",
			"Phosphine added now, 122 g, would bring the chance to 95 %", "is for the licensed fumigator to decide", "two trained people, breathing protection, daylight", "Lowest line / highest line now: 0.94"} {
			require.Contains(t, p.text, want)
		}
	}
	w := get(invented().handler(Options{}), "/stack/C")
	require.Contains(t, parsed(t, w.Body.String()).text, "No curve: the stack has no treatment on record.")
}

// The stack's page tells how even the gas was: 300 and 400 ppm for 56 of 120 hours,
// where 900 ppm is expected without loss, are a ratio of 0.75 and an average maximum of
// 350 ppm, less than half; 48 h would do against Cynaeus angustus (21 h at 100 ppm, see
// rules/efficacy), and 7 days at 150 ppm are not over.
func TestStackPageTellsEfficacy(t *testing.T) {
	p := parsed(t, get(invented().handler(Options{}), "/stack/B").Body.String())
	for _, want := range []string{"Distribution and efficacy", "south low lowest 16800", "350 ppm so far, to be more than 450 ppm", "the lowest ratio from then on is 0.75",
		"No inspection after treatment is on record", "7 d. GRDC Groundcover", "not yet reached", "Cynaeus angustus, susceptible, egg, 100 % killed"} {
		require.Contains(t, strings.Join(strings.Fields(p.text), " "), want)
	}
}

// TestCurveLeavesOutUntrusted: a reading that the instrument does not trust (1e6
// ppm) would stretch the axis a thousandfold.
func TestCurveLeavesOutUntrusted(t *testing.T) {
	body := get(invented().handler(Options{}), "/stack/B").Body.String()
	require.Contains(t, body, ">400<")
	require.NotContains(t, body, ">1000000<")
}

func TestReadingsThatFailAreSaid(t *testing.T) {
	f := invented()
	f.broken = errDisk
	w := get(f.handler(Options{}), "/stack/B")
	require.Equal(t, http.StatusOK, w.Code)
	p := parsed(t, w.Body.String())
	require.Contains(t, p.text, "curves may be missing")
	require.Contains(t, p.text, "disk on fire")
	require.Equal(t, 6, p.seen["svg"], "what was read is shown")
	require.Contains(t, p.text, "SHUT")
}

func TestHostileNames(t *testing.T) {
	f := hostile()
	h := f.handler(Options{})
	for _, path := range []string{"/", "/stack/" + url.PathEscape(f.view.Stores[0].Stacks[0].Name), "/stack/<script>alert(1)</script>", "/<script>"} {
		w := get(h, strings.ReplaceAll(strings.ReplaceAll(path, "<", "%3C"), ">", "%3E"))
		p := parsed(t, w.Body.String())
		require.Contains(t, p.text, "<script>", "names are shown as they are")
		require.NotContains(t, w.Body.String(), "<script>alert")
	}
	require.Equal(t, http.StatusOK, get(h, "/stack/"+url.PathEscape(f.view.Stores[0].Stacks[0].Name)).Code)
	w := get(h, "/metrics")
	require.Equal(t, http.StatusOK, w.Code)
	require.Contains(t, w.Body.String(), "undersheet_line_concentration_ppm")
}

func TestUnknownHasAWayBack(t *testing.T) {
	h := invented().handler(Options{})
	for _, path := range []string{"/stack/none", "/nothing", "/stack/", "/stack/B/more", "/assets/layout.html", "/assets/"} {
		w := get(h, path)
		require.Equal(t, http.StatusNotFound, w.Code, path)
		require.Contains(t, parsed(t, w.Body.String()).links, "/stack/B")
	}
}

func TestAssetsAreServed(t *testing.T) {
	h := invented().handler(Options{})
	for path, kind := range map[string]string{"/assets/style.css": "text/css", "/assets/live.js": "javascript", "/assets/icon.svg": "image/svg+xml"} {
		w := get(h, path)
		require.Equal(t, http.StatusOK, w.Code, path)
		require.Contains(t, w.Header().Get("Content-Type"), kind)
		require.NotContains(t, strings.ReplaceAll(w.Body.String(), "http://www.w3.org/2000/svg", ""), "http", "nothing comes from elsewhere")
	}
}

// TestAsWatchShuts: whatever a gate's record says, while the watch does not keep
// up it is shown shut, on the pages and in the metrics, and health says why.
func TestAsWatchShuts(t *testing.T) {
	cases := map[string]func(f *fake, o *Options){
		"catching-up":      func(f *fake, _ *Options) { f.status.Shut = "catching-up" },
		"watch-in-trouble": func(f *fake, _ *Options) { f.status.Err = errDisk },
		"logbook-failing":  func(_ *fake, o *Options) { o.Intake = intake{ingest.Stats{LogError: "disk full"}} },
		"no-site":          func(f *fake, _ *Options) { f.view.Config = nil },
		"fold-stalled": func(f *fake, _ *Options) {
			f.view.Stores[1].Gate.Reasons = []logbook.Reason{{Code: "fold-stalled"}}
		},
	}
	for reason, change := range cases {
		t.Run(reason, func(t *testing.T) {
			f, o := invented(), Options{}
			f.view.Stores[1].Gate.State = logbook.GateCleared
			f.view.Stores[0].Gate.State = logbook.GateCheckOwed
			change(f, &o)
			h := f.handler(o)
			for _, path := range []string{"/", "/stack/B"} {
				p := parsed(t, get(h, path).Body.String())
				require.Contains(t, p.text, "every gate is shut")
				require.Contains(t, p.text, "SHUT")
				require.NotContains(t, p.text, "CLEARED")
				require.NotContains(t, p.text, "CHECK OWED")
			}
			w := get(h, "/healthz")
			require.Equal(t, http.StatusServiceUnavailable, w.Code)
			var a Health
			require.NoError(t, json.Unmarshal(w.Body.Bytes(), &a))
			require.False(t, a.OK)
			require.Equal(t, reason, a.Reason)
			m := get(h, "/metrics").Body.String()
			require.Contains(t, m, `undersheet_gate_state{state="shut",store="Round Store"} 1`)
			require.Contains(t, m, `undersheet_gate_state{state="cleared",store="Round Store"} 0`)
			require.Contains(t, m, "undersheet_up_to_date 0")
		})
	}
	w := get(invented().handler(Options{Intake: intake{}}), "/healthz")
	require.Equal(t, http.StatusOK, w.Code)
	require.JSONEq(t, `{"ok":true,"seq":4711,"judged":4711,"version":"test"}`, w.Body.String())
}

func TestUnknownGateStateIsShut(t *testing.T) {
	for _, state := range []string{"", "open", "Cleared"} {
		f := invented()
		f.view.Stores[1].Gate.State = state
		p := parsed(t, get(f.handler(Options{}), "/").Body.String())
		require.Equal(t, 4, strings.Count(p.text, "SHUT"), "both stores, in the overview and at their place")
		require.Contains(t, get(f.handler(Options{}), "/metrics").Body.String(), `undersheet_gate_state{state="shut",store="Round Store"} 1`)
	}
}

func TestEmptyView(t *testing.T) {
	f := &fake{view: &rules.View{}, changed: make(chan struct{}), status: watch.Status{Shut: "catching-up"}}
	p := parsed(t, get(f.handler(Options{}), "/").Body.String())
	require.Contains(t, p.text, "every gate is shut")
	require.Contains(t, p.text, "Nothing has been recorded yet")
}

// TestPageThatBreaks: a page that panics answers, and says what to think of gates.
func TestPageThatBreaks(t *testing.T) {
	f := invented()
	h := f.handler(Options{})
	f.view = nil
	w := get(h, "/")
	require.Equal(t, http.StatusInternalServerError, w.Code)
	require.Contains(t, w.Body.String(), "Take every gate for shut")
}

// TestPagesDoNotChangeTheView: the view is shared between requests.
func TestPagesDoNotChangeTheView(t *testing.T) {
	f := invented()
	f.status.Shut = "clock-behind"
	before, err := json.Marshal(f.view)
	require.NoError(t, err)
	h := f.handler(Options{})
	for _, path := range []string{"/", "/stack/B", "/metrics", "/nothing"} {
		get(h, path)
	}
	after, err := json.Marshal(f.view)
	require.NoError(t, err)
	require.JSONEq(t, string(before), string(after))
}

// TestCurvesAreKept: open pages do not read the logbook again and again, and what
// changed shows.
func TestCurvesAreKept(t *testing.T) {
	f := invented()
	h := f.handler(Options{})
	first := get(h, "/stack/B").Body.String()
	f.broken = errDisk
	require.NotContains(t, get(h, "/stack/B").Body.String(), "disk on fire")
	require.Equal(t, first, get(h, "/stack/B").Body.String())
	f.view.Now = f.view.Now.Add(curveAge)
	require.Contains(t, get(h, "/stack/B").Body.String(), "disk on fire")
}

func TestLiveTellsChanges(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := invented()
		h := f.handler(Options{Clock: func() time.Time { return now }})
		ctx, cancel := context.WithCancel(t.Context())
		r, w := newStream(ctx)
		ended := make(chan struct{})
		go func() { defer close(ended); h.ServeHTTP(w, r) }()
		synctest.Wait()
		require.Equal(t, "event: view\ndata: 4711\n\n", w.take())
		f.change(4712)
		synctest.Wait()
		require.Empty(t, w.take(), "no more often than every two seconds")
		time.Sleep(liveEvery) // fake time
		synctest.Wait()
		require.Equal(t, "event: view\ndata: 4712\n\n", w.take())
		time.Sleep(pingEvery + time.Second)
		synctest.Wait()
		require.Contains(t, w.take(), "event: ping")
		cancel()
		<-ended
	})
}

// What somebody has to put right stands on every page, and so does the site's line
// for an emergency.
func TestPagesSayWhatToPutRight(t *testing.T) {
	f := invented()
	f.view.Config = &logbook.Site{Timezone: "Africa/Nairobi", Emergency: "Call the duty officer on extension 7."}
	h := f.handler(Options{Intake: intake{ingest.Stats{LogError: "disk full", Instruments: []ingest.Instrument{{Name: "rack", Down: []sensor.Status{{Unit: "unit 7", Detail: "no answer"}}}}}},
		Outbox: outbox{alert.Stats{Attention: []string{"the mail server refuses the password"}}},
		Machinery: Machinery{Beacon: func() (Beacon, error) { return Beacon{Trouble: "the broker refuses the password"}, nil }, Forwards: func() ([]Forward, error) {
			return []Forward{{Name: "archive"}, {Name: "time series", Trouble: "it refuses the token"}}, nil
		}, Messengers: func() ([]Messenger, error) {
			return []Messenger{{"mail", 3, 11 * time.Minute, 4}, {"sms", 1, 9 * time.Hour, 0}, {"webhook", 1, time.Minute, 2}}, nil
		}}})
	for _, path := range []string{"/", "/stack/B"} {
		text := parsed(t, get(h, path).Body.String()).text
		for _, want := range []string{"The logbook cannot be written: disk full", "The instrument rack unit 7 does not answer: no answer", "the mail server refuses the password", "Beacon: the broker refuses the password", "Copy of the logbook to time series: it refuses the token",
			"Messages by mail do not go out: 3 wait, the oldest for 11 min. Tell people by telephone.", "extension 7"} {
			require.Contains(t, text, want, path)
		}
		require.NotContains(t, text, "to archive", "nothing is wrong with it")
		require.NotContains(t, text, "by sms", "it waits for first light")
		require.NotContains(t, text, "by webhook", "it has just been tried")
	}
}

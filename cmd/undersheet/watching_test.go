package main

import (
	"encoding/json"
	"fmt"
	"io"
	"io/fs"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/goccy/go-yaml"
	"github.com/stretchr/testify/require"

	"undersheet/configs"
	"undersheet/peer"
)

// TestEveryQueryOfBoardsAndRules: a real Prometheus with the shipped configuration
// scrapes a real daemon of a depot with a torn sheet, somebody inside, doors, pumps,
// wind, a modem and a copy of its logbook. Every query of every panel, variable and
// annotation of the shipped boards, and every expression of the shipped rules, is
// asked: none fails and none comes back empty. Grafana itself is not run.
func TestEveryQueryOfBoardsAndRules(t *testing.T) {
	if testing.Short() {
		t.Skip("a depot and a Prometheus: run without -short")
	}
	bin := peer.Need(t, "prometheus", "prometheus")
	w := newWatched(t)
	w.start()
	w.tornSheet()
	require.NoError(t, w.stdin.Close())
	require.NoError(t, w.child.Wait(), "an orderly end: the state is kept")
	w.start()
	w.step()
	w.sameCalendar()
	p := startPrometheus(t, bin, w.listen)
	p.awaits(`count_over_time(undersheet_up_to_date[30s]) > 8`)
	p.awaits(`undersheet_modem_signal_dbm`)
	w.step()
	p.awaits(`increase(undersheet_entries_folded_total[20s]) > 0`)
	vars := map[string]string{"$__rate_interval": "10s", "$__range": "60s", "$depot": w.listen, "$stack": "A"}
	asked := 0
	for _, b := range shippedBoards(t) {
		for _, v := range b.Templating.List {
			if v.Type == "query" {
				require.Contains(t, p.variable(filled(v.Query, vars)), vars["$"+v.Name], "%s: the variable %s", b.Title, v.Name)
			}
		}
		for _, q := range b.queries() {
			require.Positive(t, p.ask(q, vars), "%s, %s: nothing comes of %s", b.Title, q.of, q.Expr)
			asked++
		}
	}
	require.Greater(t, asked, 70)
	p.rules(t)
	w.kill()
	p.awaits(`ALERTS{alertname="UndersheetDown",alertstate="pending",job="undersheet"}`)
}

// watched is a depot with all that can be watched.
type watched struct {
	*depotTest
	listen string
}

// around is what is read beside what the end-to-end test reads.
var around = map[string]float64{"drain": 0, "wind-speed": 3.5, "wind-from": 270, "office": 0.02}

// newWatched is the depot of the end-to-end test, with wind, a water sensor and an
// office.
func newWatched(t *testing.T) *watched {
	d := newDepotTest(t)
	text, err := os.ReadFile(d.site)
	require.NoError(t, err)
	site := "wind: {speed: wind-speed, direction: wind-from}\n" + string(text)
	for old, with := range map[string]string{
		"\nchannels:": "\nchannels:\n  drain: {unit: state}\n  wind-speed: {unit: m/s, range: 60}\n  wind-from: {unit: deg, range: 360}\n" +
			"  office: {unit: ppm, range: 20, resolution: 0.01, detection_limit: 0.02, accuracy: 0.1}",
		"{name: gangway, channel: gangway}]": "{name: gangway, channel: gangway}, {name: weighing office, channel: office, where: office}]\n    water: [{name: drain, channel: drain}]",
	} {
		require.Equal(t, 1, strings.Count(site, old), old)
		site = strings.Replace(site, old, with, 1)
	}
	require.NoError(t, os.WriteFile(d.site, []byte(site), 0o600))
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	t.Setenv(childListen, l.Addr().String())
	return &watched{d, l.Addr().String()}
}

// step lets one poll pass.
func (w *watched) step() {
	w.poll()
	for name, v := range around {
		b, err := json.Marshal([]map[string]any{{"n": name, "v": v, "t": w.at.Unix()}})
		require.NoError(w.t, err)
		require.NoError(w.t, wait(w.client.Publish("depot/"+name, 1, false, b)))
	}
	w.printed()
}

// tornSheet is a treatment whose sheet tears, until the leak is found and somebody
// has gone in to mend it.
func (w *watched) tornSheet() {
	w.accepted("no-gas-declared|store=Store 1|by=Ana Brook")
	w.step()
	w.accepted("stock-received|form=tablets|count=1000|by=Ana Brook")
	w.accepted("instrument-checked|channel=gangway|check=bump|applied=1|read=0.98|unit=ppm|passed=true|due=2027-01-05T08:00:00Z|by=Ana Brook")
	w.accepted("dosing-started|stack=A|store_empty=true|by=Ana Brook")
	w.depot.Dose("A")
	w.accepted("treatment-started|stack=A|treatment=A-1|protocol=five-day|commodity=milled rice|tonnes=180|volume_m3=260|phosphine_g=285|grain_temp_c=27|by=Ana Brook")
	for w.at.Sub(e2eStart) < 40*time.Hour {
		w.step()
	}
	w.depot.Tear("A", "low", 0.9)
	for !strings.Contains(w.metrics(), `undersheet_alarm_raised{alarm="leak"`) {
		require.Less(w.t, w.at.Sub(e2eStart), 56*time.Hour, "a tear must be found within sixteen hours")
		w.step()
	}
	w.accepted("alarm-acknowledged|alarm=leak|stack=A|store=Store 1|by=Ana Brook")
	w.accepted("masked-entry|store=Store 1|in=Ben Ash|at_door=Ana Brook|protection=self-contained apparatus|by=Ana Brook")
	w.step()
}

// sameCalendar holds the calendar that the pages serve to the one that is made from the
// logbook's records alone.
func (w *watched) sameCalendar() {
	w.t.Helper()
	r, err := http.Get("http://" + w.listen + "/follow-ups.ics")
	require.NoError(w.t, err)
	defer r.Body.Close()
	served, err := io.ReadAll(r.Body)
	require.NoError(w.t, err)
	require.Contains(w.t, string(served), "SUMMARY:Test channel gangway with a known gas")
	status, out, errs := tried(w.t, "", "due", "--ics", w.book)
	require.Zero(w.t, status, errs)
	require.Equal(w.t, string(served), out)
}

// metrics are what the daemon tells now.
func (w *watched) metrics() string {
	w.t.Helper()
	r, err := http.Get("http://" + w.listen + "/metrics")
	require.NoError(w.t, err)
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	require.NoError(w.t, err)
	return string(b)
}

// shippedBoard is what is asked of a board.
type shippedBoard struct {
	Title      string
	Panels     []shippedPanel
	Templating struct {
		List []struct{ Name, Type, Query string }
	}
	Annotations struct {
		List []struct{ Name, Expr string }
	}
}

type shippedPanel struct {
	Title   string
	Targets []boardQuery
	Panels  []shippedPanel
}

// boardQuery is one query, and where it stands.
type boardQuery struct {
	Expr           string
	Instant, Range bool
	of             string
}

func shippedBoards(t *testing.T) (bs []shippedBoard) {
	files, err := fs.Glob(configs.Shipped(), "grafana/*.json")
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(files), 2)
	for _, name := range files {
		text, err := fs.ReadFile(configs.Shipped(), name)
		require.NoError(t, err)
		var b shippedBoard
		require.NoError(t, json.Unmarshal(text, &b), name)
		bs = append(bs, b)
	}
	return bs
}

// queries are all queries of a board.
func (b *shippedBoard) queries() (qs []boardQuery) {
	var add func(ps []shippedPanel)
	add = func(ps []shippedPanel) {
		for _, p := range ps {
			for _, q := range p.Targets {
				q.of = p.Title
				qs = append(qs, q)
			}
			add(p.Panels)
		}
	}
	add(b.Panels)
	for _, a := range b.Annotations.List {
		qs = append(qs, boardQuery{Expr: a.Expr, Range: true, of: a.Name})
	}
	return qs
}

// filled puts values in place of a board's variables.
func filled(expr string, vars map[string]string) string {
	for name, value := range vars {
		expr = strings.ReplaceAll(expr, name, value)
	}
	return expr
}

// prom is a running Prometheus with the shipped configuration, sped up.
type prom struct {
	t   *testing.T
	url string
}

func startPrometheus(t *testing.T, bin, target string) *prom {
	dir := t.TempDir()
	for _, name := range []string{"prometheus.yml", "rules.yml"} {
		text, err := fs.ReadFile(configs.Shipped(), "prometheus/"+name)
		require.NoError(t, err)
		s := string(text)
		if name == "prometheus.yml" {
			for old, with := range map[string]string{`"127.0.0.1:8080"`: `"` + target + `"`, "scrape_interval: 15s": "scrape_interval: 1s", "scrape_timeout: 10s": "scrape_timeout: 1s", "evaluation_interval: 15s": "evaluation_interval: 1s"} {
				require.Contains(t, s, old)
				s = strings.Replace(s, old, with, 1)
			}
		}
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(s), 0o600))
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	addr := l.Addr().String()
	require.NoError(t, l.Close())
	c := exec.Command(bin, "--config.file="+filepath.Join(dir, "prometheus.yml"), "--storage.tsdb.path="+filepath.Join(dir, "db"), "--web.listen-address="+addr, "--log.level=error")
	c.Stderr = os.Stderr
	require.NoError(t, c.Start())
	t.Cleanup(func() { c.Process.Kill(); c.Wait() })
	return &prom{t, "http://" + addr}
}

// get asks the HTTP API; an error of Prometheus is told with its words.
func (p *prom) get(path string, args url.Values, into any) error {
	r, err := http.Get(p.url + path + "?" + args.Encode())
	if err != nil {
		return err
	}
	defer r.Body.Close()
	var answer struct {
		Status, Error string
		Data          json.RawMessage
	}
	if err := json.NewDecoder(r.Body).Decode(&answer); err != nil {
		return err
	}
	if answer.Status != "success" {
		return fmt.Errorf("%s", answer.Error)
	}
	return json.Unmarshal(answer.Data, into)
}

// series is what a query returns.
type series struct {
	ResultType string
	Result     json.RawMessage
}

// many is how many series, or points, there are.
func (s series) many() int {
	var items []json.RawMessage
	if json.Unmarshal(s.Result, &items) != nil {
		return 0
	}
	return len(items)
}

// awaits waits until a query returns something.
func (p *prom) awaits(expr string) {
	p.t.Helper()
	require.Eventually(p.t, func() bool {
		var s series
		return p.get("/api/v1/query", url.Values{"query": {expr}}, &s) == nil && s.many() > 0
	}, patience, 100*time.Millisecond, expr)
}

// ask asks a query of a board as Grafana would, and returns how many series come.
func (p *prom) ask(q boardQuery, vars map[string]string) (n int) {
	p.t.Helper()
	require.True(p.t, q.Instant != q.Range, "%s: either of now or over time: %s", q.of, q.Expr)
	expr := filled(q.Expr, vars)
	require.NotContains(p.t, expr, "$", "%s: a variable that is not known", q.of)
	var s series
	if q.Instant {
		require.NoError(p.t, p.get("/api/v1/query", url.Values{"query": {expr}}, &s), "%s: %s", q.of, expr)
		return s.many()
	}
	now := time.Now()
	require.NoError(p.t, p.get("/api/v1/query_range", url.Values{"query": {expr}, "start": {now.Add(-20 * time.Second).Format(time.RFC3339)}, "end": {now.Format(time.RFC3339)}, "step": {"1s"}}, &s), "%s: %s", q.of, expr)
	return s.many()
}

var labelValues = regexp.MustCompile(`^label_values\((.*), (\w+)\)$`)

// variable returns the values that a board's variable would offer.
func (p *prom) variable(query string) (values []string) {
	p.t.Helper()
	m := labelValues.FindStringSubmatch(query)
	require.Len(p.t, m, 3, query)
	require.NoError(p.t, p.get("/api/v1/label/"+m[2]+"/values", url.Values{"match[]": {m[1]}}, &values), query)
	return values
}

var metricName = regexp.MustCompile(`\b(undersheet_\w+|process_\w+|up)\b`)

// rules asks every expression of the shipped rules, which must not fail, and every
// metric in them, which must be there: else an alert could never come.
func (p *prom) rules(t *testing.T) {
	var file struct {
		Groups []struct {
			Rules []struct{ Alert, Record, Expr string }
		}
	}
	text, err := fs.ReadFile(configs.Shipped(), "prometheus/rules.yml")
	require.NoError(t, err)
	require.NoError(t, yaml.Unmarshal(text, &file))
	n := 0
	for _, g := range file.Groups {
		for _, r := range g.Rules {
			var s series
			require.NoError(t, p.get("/api/v1/query", url.Values{"query": {r.Expr}}, &s), r.Alert+r.Record)
			for _, name := range metricName.FindAllString(r.Expr, -1) {
				require.NoError(t, p.get("/api/v1/query", url.Values{"query": {name}}, &s))
				require.Positive(t, s.many(), "%s: no series of %s", r.Alert+r.Record, name)
			}
			if r.Record != "" {
				require.NoError(t, p.get("/api/v1/query", url.Values{"query": {r.Record}}, &s))
				require.Positive(t, s.many(), r.Record)
			}
			n++
		}
	}
	require.Greater(t, n, 20)
}

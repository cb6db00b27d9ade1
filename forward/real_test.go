package forward

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"math"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/peer"
)

// program is a database server of other authors, from Debian.
type program struct {
	t    testing.TB
	path string
	args []string
	port int
	cmd  *exec.Cmd
}

// newProgram starts a program whose %d among args is its port, or skips the test.
func newProgram(t testing.TB, port int, path, pkg string, args ...string) *program {
	t.Helper()
	if _, err := os.Stat(path); err != nil {
		peer.Missing(t, path, pkg)
	}
	p := &program{t: t, path: path, args: args, port: port}
	p.start()
	t.Cleanup(p.kill)
	return p
}

// start starts the program and waits until it answers.
func (p *program) start() {
	p.t.Helper()
	p.cmd = exec.Command(p.path, p.args...)
	p.cmd.Stdout, p.cmd.Stderr = p.t.Output(), p.t.Output()
	require.NoError(p.t, p.cmd.Start())
	require.Eventually(p.t, func() bool {
		resp, err := http.Get(p.url("/ping"))
		if err == nil {
			resp.Body.Close()
		}
		return err == nil
	}, patience, 20*time.Millisecond)
}

// kill kills the program as a power cut would (SIGKILL).
func (p *program) kill() {
	p.cmd.Process.Kill()
	p.cmd.Wait()
}

// url returns an address on the program.
func (p *program) url(path string) string { return fmt.Sprintf("http://127.0.0.1:%d%s", p.port, path) }

// get returns the body of an answer.
func (p *program) get(method, path string) []byte {
	p.t.Helper()
	r, err := http.NewRequestWithContext(p.t.Context(), method, p.url(path), nil)
	require.NoError(p.t, err)
	resp, err := http.DefaultClient.Do(r)
	require.NoError(p.t, err)
	defer resp.Body.Close()
	b, err := io.ReadAll(resp.Body)
	require.NoError(p.t, err)
	require.Less(p.t, resp.StatusCode, 300, "%s", b)
	return b
}

// freePort returns a port of this computer that nobody uses.
func freePort(t testing.TB) int {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

// newInflux starts InfluxDB 1.x with the database depot.
func newInflux(t testing.TB) *program {
	t.Helper()
	port, dir := freePort(t), t.TempDir()
	conf := filepath.Join(dir, "influxdb.conf")
	require.NoError(t, os.WriteFile(conf, fmt.Appendf(nil, `reporting-disabled = true
bind-address = "127.0.0.1:%d"
[meta]
dir = %q
[data]
dir = %q
wal-dir = %q
query-log-enabled = false
[monitor]
store-enabled = false
[http]
bind-address = "127.0.0.1:%d"
log-enabled = false
`, freePort(t), dir+"/meta", dir+"/data", dir+"/wal", port), 0o600))
	return newProgram(t, port, "/usr/bin/influxd", "influxdb", "run", "-config", conf)
}

// newMetrics starts VictoriaMetrics as the package doc says.
func newMetrics(t testing.TB) *program {
	t.Helper()
	port, dir := freePort(t), t.TempDir()
	return newProgram(t, port, "/usr/bin/victoria-metrics", "victoria-metrics", "-storageDataPath="+dir, "-retentionPeriod=100y",
		fmt.Sprintf("-httpListenAddr=127.0.0.1:%d", port), "-dedup.minScrapeInterval=1ms", "-loggerLevel=WARN")
}

// stored returns all points that InfluxDB has.
func stored(p *program, measurements []string) points {
	p.t.Helper()
	got := points{}
	for _, m := range measurements {
		q := url.Values{"db": {"depot"}, "epoch": {"ns"}, "q": {"SELECT * FROM " + m + " GROUP BY *"}}
		d := json.NewDecoder(strings.NewReader(string(p.get("GET", "/query?"+q.Encode()))))
		d.UseNumber()
		var answer struct {
			Results []struct {
				Series []struct {
					Tags    map[string]string
					Columns []string
					Values  [][]any
				}
				Error string
			}
		}
		require.NoError(p.t, d.Decode(&answer))
		require.Empty(p.t, answer.Results[0].Error)
		for _, s := range answer.Results[0].Series {
			maps.DeleteFunc(s.Tags, func(_, v string) bool { return v == "" })
			for _, row := range s.Values {
				for i, v := range row[1:] {
					key := series(m, s.Tags) + fmt.Sprintf("|%s|%s", s.Columns[i+1], row[0])
					if n, ok := v.(json.Number); ok {
						f, err := n.Float64()
						require.NoError(p.t, err)
						v = f
					}
					if v != nil {
						require.NotContains(p.t, got, key)
						got[key] = v
					}
				}
			}
		}
	}
	return got
}

// nastyDepot puts names and kinds into the log that a server could stumble over.
func nastyDepot(t testing.TB, s *sqlite.Store) {
	t.Helper()
	conf := site(`Dépôt "Ostrava", = \ 仓库`)
	st := &conf.Site.Stores[0]
	for i, n := range []string{"a b", "a,b", "a=b", `a"b`, `a\b`, `a\`, `a\,b`, "a\nb", "a\tb", "#a", "Sýpka č. 2", "🌾", "'", "{}[]", `\"`, "a=,\\ =b", " a", "a "} {
		ch := fmt.Sprintf("n%d %s", i, n)
		conf.Site.Channels[ch] = logbook.Channel{Unit: "%RH"}
		st.Air = append(st.Air, logbook.AirPoint{Name: n, Channel: ch, Where: logbook.WhereDoor})
	}
	conf.Time++
	put(t, s, conf)
	for i, a := range st.Air {
		r := reading(a.Channel, 5000+i, 0.1*float64(i))
		if i%2 == 1 {
			r.Fault = a.Name + ` "off", = \ x`
		}
		put(t, s, r)
	}
	head := func(k logbook.Kind, i int) logbook.Header {
		return logbook.Header{Kind: k, Time: logbook.At(noon.Add(time.Duration(i) * time.Second))}
	}
	stack := st.Stacks[0].Name
	put(t, s, reading("nobody's", 6000, 1e-3), reading("nobody's, too", 6001, 1e9), reading("c1", 6000, math.Copysign(0, -1)),
		&logbook.HandReading{Header: head(logbook.KindHandReading, 6001), Store: "Store 2", Point: `under "the" sign`, Value: 0.25, Unit: "mg/m3", Method: "detector tube", Act: logbook.Act{By: "R. Amadi"}},
		&logbook.InstrumentState{Header: head(logbook.KindInstrumentState, 6002), Instrument: "rack", OK: true},
		&logbook.Forecast{Header: head(logbook.KindForecast, 6003), Stack: stack, For: logbook.At(noon), PPM: logbook.Quantiles{P05: 101, P50: 150.5, P95: 211}, ChanceMet: 0.61},
		&logbook.Alarm{Header: head(logbook.KindAlarm, 6004), State: "raised", Alarm: "leak", Stack: stack, Priority: "high", Value: 0.5, Onset: logbook.At(noon)},
		&logbook.Phase{Header: head(logbook.KindPhase, 6005), Stack: stack, Treatment: "B-7", Phase: "airing", Verdict: "held"},
		&logbook.EndLevel{Header: head(logbook.KindEndLevel, 6006), Stack: stack, Treatment: "B-7", Line: "line 1", Moment: "airing", Shown: "met", PPM: 170, EndPPM: 150, ByHand: true},
		&logbook.Finding{Header: head(logbook.KindFinding, 6007), Code: "late", Channel: "c1"},
		&logbook.Accepted{Header: head(logbook.KindAccepted, 6008), Entry: "dosing-started", Stack: stack})
}

// measurements are all that nastyDepot and fill give.
var measurements = []string{"act", "alarm", "end_level", "finding", "forecast", "gate", "hand_reading", "instrument", "phase", "reading", "reading_second", "reading_unknown"}

// TestInfluxDB writes some thousand entries to InfluxDB 1.x, which is killed on the
// way and while nothing is sent, and compares what it has then, value for value.
func TestInfluxDB(t *testing.T) {
	t.Parallel()
	p, s := newInflux(t), store(t)
	p.get("POST", "/query?q=CREATE+DATABASE+depot")
	fill(t, s, 0, 3000)
	nastyDepot(t, s)
	f := newHasty(t, logbook.Forward{Name: "influx", URL: p.url("/write?db=depot")}, s, Options{Lines: 100})
	run(t, f)
	killed(t, f, p, s, 1000)
	require.Zero(t, f.Stats().Refused)
	require.Equal(t, inflow(t, want(t, s)), stored(p, measurements))
	unquoted(t, p, want(t, s))
}

// killed lets f copy while p is killed on the way, and once more before further
// n readings, and waits until all is there.
func killed(t *testing.T, f *Forwarder, p *program, s *sqlite.Store, n int) {
	t.Helper()
	require.Eventually(t, func() bool { return f.Stats().Sent > 1000 }, patience, time.Millisecond)
	p.kill()
	require.Eventually(t, func() bool { return f.Stats().Failed > 2 }, patience, time.Millisecond)
	require.NotZero(t, f.Stats().Lag)
	p.start()
	arrive(t, f)
	p.kill()
	p.start()
	fill(t, s, 10000, n)
	arrive(t, f)
}

// unquoted asks for every measurement, field and tag by its bare name.
func unquoted(t *testing.T, p *program, text string) {
	t.Helper()
	fields, tags := map[string]map[string]bool{}, map[string]map[string]bool{}
	pointsOf(t, text, func(m string, labels map[string]string, field string, _ time.Time, _ any) {
		if fields[m] == nil {
			fields[m], tags[m] = map[string]bool{}, map[string]bool{}
		}
		fields[m][field] = true
		for tag := range labels {
			tags[m][tag] = true
		}
	})
	require.Len(t, fields, len(measurements))
	for m := range fields {
		by := slices.Sorted(maps.Keys(tags[m]))
		q := fmt.Sprintf("SELECT %s FROM %s WHERE %s <> 'x' GROUP BY %s", strings.Join(slices.Sorted(maps.Keys(fields[m])), ","), m,
			strings.Join(by, " <> 'x' AND "), strings.Join(by, ","))
		require.Contains(t, string(p.get("GET", "/query?db=depot&q="+url.QueryEscape(q))), `"columns"`, q)
	}
}

// TestInfluxDBRefuses: a field that somebody wrote with another type is refused
// there; the other lines arrive and the copy goes on. Without a database nothing
// is passed over.
func TestInfluxDBRefuses(t *testing.T) {
	t.Parallel()
	p, s := newInflux(t), store(t)
	fill(t, s, 0, 1000)
	for query, says := range map[string]string{"?db=depot": "database not found", "": "database is required"} {
		f := newHasty(t, logbook.Forward{Name: "none" + query, URL: p.url("/write" + query)}, s, Options{})
		stop := run(t, f)
		require.Eventually(t, func() bool { return strings.Contains(f.Stats().LastError, says) }, patience, time.Millisecond)
		stop()
		st := f.Stats()
		require.True(t, st.Attention)
		require.Zero(t, st.Cursor+st.Sent+st.Refused, "%+v", st)
	}
	p.get("POST", "/query?q=CREATE+DATABASE+depot")
	resp, err := http.Post(p.url("/write?db=depot"), "", strings.NewReader(`reading_second,site=x value="text" 1772366400000000001`))
	require.NoError(t, err)
	require.NoError(t, resp.Body.Close())
	f := newHasty(t, logbook.Forward{Name: "influx", URL: p.url("/write?db=depot")}, s, Options{Lines: 300})
	run(t, f)
	arrive(t, f)
	rest, n := without(want(t, s), func(l string) bool { return strings.HasPrefix(l, "reading_second") })
	require.NotZero(t, n)
	require.EqualValues(t, n, f.Stats().Refused)
	require.Contains(t, f.Stats().LastError, "field type conflict")
	require.Equal(t, inflow(t, rest), stored(p, []string{"gate", "reading"}))
}

// TestFileIntoServers: a file, comments and all, can be given to both servers as it is.
func TestFileIntoServers(t *testing.T) {
	t.Parallel()
	influx, metrics, s := newInflux(t), newMetrics(t), store(t)
	influx.get("POST", "/query?q=CREATE+DATABASE+depot")
	fill(t, s, 0, 500)
	nastyDepot(t, s)
	path := filepath.Join(t.TempDir(), "lines")
	copyAll(t, toFile(path), s, Options{Lines: 100})
	for _, p := range []*program{influx, metrics} {
		f, err := os.Open(path)
		require.NoError(t, err)
		resp, err := http.Post(p.url("/write?db=depot"), "text/plain", f)
		require.NoError(t, err)
		require.NoError(t, resp.Body.Close())
		require.Equal(t, http.StatusNoContent, resp.StatusCode)
	}
	require.Equal(t, inflow(t, want(t, s)), stored(influx, measurements))
	got, _ := exported(metrics)
	require.Equal(t, slices.Sorted(maps.Keys(numbers(t, want(t, s)))), slices.Sorted(maps.Keys(got)))
}

// exported returns the raw values of VictoriaMetrics by series, field and
// millisecond, and how many there are.
func exported(p *program) (map[string]float64, int) {
	p.t.Helper()
	p.get("GET", "/internal/force_flush")
	got, n := map[string]float64{}, 0
	lines := bufio.NewScanner(strings.NewReader(string(p.get("GET", "/api/v1/export?match[]="+url.QueryEscape(`{__name__!=""}`)+"&start=2026-01-01T00:00:00Z"))))
	lines.Buffer(nil, 64<<20)
	for lines.Scan() {
		var l struct {
			Metric     map[string]string
			Values     []float64
			Timestamps []int64
		}
		require.NoError(p.t, json.Unmarshal(lines.Bytes(), &l))
		name := l.Metric["__name__"]
		delete(l.Metric, "__name__")
		require.Equal(p.t, "depot", l.Metric["db"])
		delete(l.Metric, "db")
		for i, at := range l.Timestamps {
			got[series(name, l.Metric)+fmt.Sprintf("|%d", at)] = l.Values[i]
			n++
		}
	}
	require.NoError(p.t, lines.Err())
	return got, n
}

// TestVictoriaMetrics does the same with VictoriaMetrics. It keeps numbers, with
// 15 digits, and makes a 0 of strings; and of the values of one millisecond it
// keeps one, whichever (version 1.79).
func TestVictoriaMetrics(t *testing.T) {
	t.Parallel()
	p, s := newMetrics(t), store(t)
	fill(t, s, 0, 3000)
	nastyDepot(t, s)
	f := newHasty(t, logbook.Forward{Name: "metrics", URL: p.url("/write?db=depot")}, s, Options{Lines: 100})
	run(t, f)
	killed(t, f, p, s, 1000)
	want := numbers(t, want(t, s))
	got, n := exported(p)
	require.Equal(t, slices.Sorted(maps.Keys(want)), slices.Sorted(maps.Keys(got)))
	require.Len(t, want, n, "nothing stands twice")
	for key, v := range got {
		require.True(t, slices.ContainsFunc(want[key], func(w float64) bool { return math.Abs(v-w) <= 1e-14*math.Abs(w) }), "%s: want %v, got %v", key, want[key], v)
	}
}

// numbers returns what VictoriaMetrics makes of lines: for each series and
// millisecond the values that it may keep.
func numbers(t *testing.T, text string) map[string][]float64 {
	t.Helper()
	want := map[string][]float64{}
	pointsOf(t, text, func(m string, tags map[string]string, field string, at time.Time, v any) {
		f, _ := v.(float64) // 0 for a string
		if v == true {
			f = 1
		}
		key := series(m+"_"+field, tags) + fmt.Sprintf("|%d", at.UnixMilli())
		want[key] = append(want[key], f)
	})
	return want
}

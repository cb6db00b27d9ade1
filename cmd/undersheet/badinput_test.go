package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

// tried runs a command as the shell would and returns what it wrote.
func tried(t *testing.T, stdin string, args ...string) (status int, out, errs string) {
	t.Helper()
	var o, e bytes.Buffer
	status = run(args, &console{in: strings.NewReader(stdin), out: &o, err: &e})
	return status, o.String(), e.String()
}

// smallSite is an invented depot that needs no instruments.
const smallSite = `site: Alder Wharf
timezone: Europe/Lisbon
limits: EU
logbook: depot.db
emergency: "Call 112."
channels:
  top: {unit: ppm, range: 2000, resolution: 1, detection_limit: 1, accuracy: 0.05}
  door: {unit: ppm, range: 20, resolution: 0.01, detection_limit: 0.02, accuracy: 0.1}
stores:
  - name: Store 1
    air: [{name: door, channel: door, where: door}]
    stacks: [{name: A, lines: [{name: top, channel: top}]}]
`

func write(t *testing.T, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	return path
}

// Each wrong site file is an error that says what, where and what to do.
func TestWrongSiteFiles(t *testing.T) {
	for name, c := range map[string]struct{ old, new, want string }{
		"unknown key":          {"timezone:", "timezon:", "site.yaml:2:1: timezon"},
		"two of one name":      {"  door: {", "  top: {unit: ppm}\n  door: {", "site.yaml:8:3: channels.top"},
		"line without channel": {"{name: top, channel: top}", "{name: top}", "channel"},
		"unknown channel":      {"channel: top}", "channel: tip}", "tip"},
		"loosened protocol":    {"stores:", "protocols:\n  five-day: {base: five-day, hours: 96}\nstores:", "120"},
		"unknown zone":         {"Europe/Lisbon", "Europe/Lisboa", "Europe/Lisboa"},
	} {
		t.Run(name, func(t *testing.T) {
			path := write(t, "site.yaml", strings.Replace(smallSite, c.old, c.new, 1))
			for _, args := range [][]string{{"check", path}, {"replay", "--site", path, "-"}} {
				status, out, errs := tried(t, "", args...)
				require.Equal(t, 1, status)
				require.Contains(t, out+errs, c.want)
				require.Contains(t, out+errs, "site.yaml:", "file and line")
			}
		})
	}
}

// A wrong line names itself; what came before it was judged, and printed.
func TestWrongLines(t *testing.T) {
	site := write(t, "site.yaml", smallSite)
	good := `{"time":"2026-05-04T06:00:00Z","kind":"no-gas-declared","store":"Store 1","by":"Ana Brook"}` + "\n"
	for name, c := range map[string]struct{ line, want string }{
		"cut in half":   {`{"time":"2026-05-04T06:10:00Z","kind":"read`, "cut short"},
		"unknown field": {`{"time":"2026-05-04T06:10:00Z","kind":"clock","colour":1}`, "colour"},
		"unknown kind":  {`{"time":"2026-05-04T06:10:00Z","kind":"sleep"}`, "unknown kind"},
		"unknown unit":  {`{"time":"2026-05-04T06:10:00Z","kind":"reading","channel":"top","value":1,"unit":"oz"}`, "unit"},
		"newer version": {`{"time":"2026-05-04T06:10:00Z","kind":"clock","v":99}`, "newer version"},
		"no time":       {`{"kind":"clock"}`, "time"},
	} {
		t.Run(name, func(t *testing.T) {
			status, out, errs := tried(t, good+c.line+"\n", "replay", "--json", "--site", site, "-")
			require.Equal(t, 1, status)
			require.Contains(t, out, `"kind":"accepted"`)
			require.Contains(t, errs, "standard input:2")
			require.Contains(t, errs, c.want)
		})
	}
}

// Facts that break good practice are findings, and the run goes on.
func TestFindingsGoOn(t *testing.T) {
	site := write(t, "site.yaml", smallSite)
	lines := `{"time":"2026-05-04T06:00:00Z","kind":"dosing-started","stack":"A","store_empty":true,"by":"Ana Brook"}
{"time":"2026-05-04T07:00:00Z","kind":"treatment-started","stack":"A","treatment":"A-1","protocol":"five-day","commodity":"linseed","tonnes":80,"volume_m3":120,"phosphine_g":100,"grain_temp_c":27,"by":"Ana Brook"}
{"time":"2027-05-04T07:10:00Z","kind":"reading","channel":"top","value":5,"unit":"ppm"}
{"time":"2026-05-04T07:10:00Z","kind":"entry-confirmed","store":"Store 1","by":"Ana Brook"}
{"time":"2026-05-04T07:20:00Z","kind":"dosing-started","stack":"Z","store_empty":true,"by":"Ana Brook"}
{"time":"2026-05-04T07:30:00Z","kind":"clock"}
`
	status, out, errs := tried(t, lines, "replay", "--json", "--site", site, "-")
	require.Zero(t, status, errs)
	for _, want := range []string{`"code":"commodity-unsuited"`, `"code":"future"`, `"kind":"refused","entry":"entry-confirmed"`, `"code":"unknown-stack"`, `"state":"shut"`} {
		require.Contains(t, out, want)
	}
	require.NotContains(t, out, `"time":"2027`, "a reading from next year moves nothing")
	for n := 1; n <= 6; n++ { // the output for the first lines is a prefix of the output for all
		part := strings.Join(strings.SplitAfter(lines, "\n")[:n], "")
		_, first, _ := tried(t, part, "replay", "--json", "--site", site, "-")
		require.True(t, strings.HasPrefix(out, first), "after %d lines", n)
	}
}

// Every command teaches a newcomer.
func TestHelp(t *testing.T) {
	_, out, _ := tried(t, "", "--help")
	for _, c := range []string{"demo", "check", "serve", "act", "due", "report", "season", "fit", "replay", "export", "import", "verify", "backup", "restore"} {
		require.Contains(t, out, c)
		status, help, _ := tried(t, "", c, "--help")
		require.Zero(t, status)
		require.Greater(t, len(help), 400, "%s --help", c)
	}
	status, _, errs := tried(t, "", "fumigate")
	require.Equal(t, 2, status)
	require.Contains(t, errs, "undersheet --help")
}

// Acts without a daemon: the verdict comes at once, a refusal is status 1.
func TestActWithoutADaemon(t *testing.T) {
	dir := t.TempDir()
	book := filepath.Join(dir, "depot.db")
	status, _, errs := tried(t, "", "act", "-l", book, "no-gas-declared", "store=Store 1", "by=Ana Brook")
	require.Equal(t, 1, status)
	require.Contains(t, errs, "no such file", "act makes no logbook")
	entries := write(t, "e.jsonl", `{"time":"2026-05-04T06:00:00Z","kind":"clock"}`+"\n")
	status, _, errs = tried(t, "", "import", book, entries)
	require.Zero(t, status, errs)
	status, _, errs = tried(t, "", "act", "-l", book, "entry-confirmed", "store=Store 1", "by=Ana Brook")
	require.Equal(t, 1, status)
	require.Contains(t, errs, "refused")
	for _, wrong := range [][]string{{"sleep"}, {"clock"}, {"entry-confirmed", "colour=1"}, {"entry-confirmed", "store=Store 1"}, {"hand-reading", "value=x"}} {
		status, _, errs = tried(t, "", append([]string{"act", "-l", book}, wrong...)...)
		require.Equal(t, 1, status, wrong)
		require.NotEmpty(t, errs)
	}
}

// Lists have commas between their items, an entry is named by its number, and the right
// entry of a correction is one JSON object.
func TestActFieldsOfEverySort(t *testing.T) {
	for _, c := range []struct {
		kind   string
		fields []string
		want   func(e logbook.Entry) any
		value  any
	}{
		{"checks-signed", []string{"store=Store 1", "in_order=floor, corners", "wanting=signs", "second=Ben Osei"}, func(e logbook.Entry) any { return e.(*logbook.ChecksSigned).InOrder }, []string{"floor", "corners"}},
		{"dose-placed", []string{"stack=B", "form=tablets", "count=540", "people=Ana Brook,Ben Osei"}, func(e logbook.Entry) any { return e.(*logbook.DosePlaced).People }, []string{"Ana Brook", "Ben Osei"}},
		{"instrument-checked", []string{"channel=door", "check=zero", "read=0.01", "unit=ppm", "passed=true", "due=2026-07-01"},
			func(e logbook.Entry) any { return e.(*logbook.InstrumentChecked).Due }, logbook.Expiry("2026-07-01")},
		{"corrected", []string{"of=12", "withdrawn=true", "why=never happened"}, func(e logbook.Entry) any { return e.(*logbook.Corrected).Of }, uint64(12)},
		{"corrected", []string{"of=12", `entry={"kind":"stock-counted","time":"2026-05-04T06:00:00Z","form":"tablets","count":7,"by":"Ana Brook"}`, "why=miscounted"},
			func(e logbook.Entry) any {
				right, _ := e.(*logbook.Corrected).Right()
				return right.(*logbook.StockCounted).Count
			}, 7},
	} {
		e, err := (&actCmd{Kind: c.kind, Fields: append(c.fields, "by=Ana Brook")}).entry(time.Date(2026, 5, 4, 7, 0, 0, 0, time.UTC))
		require.NoError(t, err, c.kind)
		require.Equal(t, c.value, c.want(e), c.kind)
	}
	for _, wrong := range []string{"of=-1", "of=x", "entry={"} {
		_, err := (&actCmd{Kind: "corrected", Fields: []string{wrong, "why=x", "by=Ana Brook"}}).entry(time.Now())
		require.ErrorContains(t, err, "write ", wrong)
	}
}

// An export's correction is led to the act that it is about, which has another seq in the
// logbook that takes it in; without that act it is not kept, lest it strike another.
func TestImportedCorrectionFindsItsAct(t *testing.T) {
	count := `{"seq":7,"time":"2026-05-04T06:00:00Z","kind":"stock-counted","form":"tablets","count":90,"by":"Ana Brook"}` + "\n"
	strike := `{"seq":9,"time":"2026-05-04T07:00:00Z","kind":"corrected","of":7,"withdrawn":true,"why":"never happened","by":"Ana Brook"}` + "\n"
	clocks := `{"time":"2026-05-04T05:00:00Z","kind":"clock"}` + "\n"
	book := filepath.Join(t.TempDir(), "depot.db")
	status, _, errs := tried(t, "", "import", book, write(t, "c.jsonl", clocks))
	require.Zero(t, status, errs)
	for range 2 { // again: it is there already
		status, _, errs = tried(t, "", "import", book, write(t, "e.jsonl", count+strike))
		require.Zero(t, status, errs)
	}
	_, out, _ := tried(t, "", "export", book)
	var seq, of uint64
	r := logbook.NewReader("export", strings.NewReader(out))
	for e, err := r.Next(); err == nil; e, err = r.Next() {
		switch e := e.(type) {
		case *logbook.StockCounted:
			seq = e.Seq
		case *logbook.Corrected:
			require.Zero(t, of, "kept once")
			of = e.Of
		}
	}
	require.NotZero(t, seq)
	require.NotEqual(t, uint64(7), seq)
	require.Equal(t, seq, of)

	status, _, errs = tried(t, "", "import", book, write(t, "s.jsonl", strings.Replace(strike, `"of":7`, `"of":2`, 1)))
	require.Equal(t, 1, status)
	require.Contains(t, errs, "not kept")
}

// The pages are for this machine only, and nothing is watched without a logbook.
func TestServeListensHereOnly(t *testing.T) {
	site := write(t, "site.yaml", smallSite)
	status, _, errs := tried(t, "", "serve", "--site", site, "--listen", "0.0.0.0:0")
	require.Equal(t, 1, status)
	require.Contains(t, errs, "only 127.0.0.1")
	site = write(t, "site.yaml", strings.Replace(smallSite, "logbook: depot.db\n", "", 1))
	status, _, errs = tried(t, "", "serve", "--site", site)
	require.Equal(t, 1, status)
	require.Contains(t, errs, `add the line "logbook: depot.db"`)
}

// A report cannot leave its folder.
func TestReportNames(t *testing.T) {
	for name, want := range map[string]string{"B-7": "report-B-7$", "../../etc/passwd": "report-_.._etc_passwd-[0-9a-f]{8}$", "a/b c": "report-a_b_c-[0-9a-f]{8}$"} {
		require.Regexp(t, "^"+want, fileName(name))
	}
	require.NotEqual(t, fileName("B/7"), fileName("B_7"), "one report must not replace another")
}

// Whoever verifies a report needs the version that wrote it.
func TestVersionIsTold(t *testing.T) {
	status, out, errs := tried(t, "", "--version")
	require.Zero(t, status, errs)
	require.Equal(t, version()+"\n", out)
}

// The demonstration carries its three treatments to their reports.
func TestDemo(t *testing.T) {
	if testing.Short() {
		t.Skip("eleven days of a depot: run without -short")
	}
	dir := t.TempDir()
	status, out, errs := tried(t, "", "demo", "--once", "--pace", "0", "--listen", "127.0.0.1:0", "--out", dir)
	require.Zero(t, status, errs)
	for _, want := range []string{"Door open: Long Store, east door", "Line off: stack L1, line middle", "Leak: stack L2", "mail to tobias.renn@hazelford.example", "SMS to +351900000002",
		"Acknowledged by Tobias Renn", "Not cleared", "Gas is back: Long Store", "L1-26: closed, verdict held", "L2-26: closed, verdict held", "R1-26: withholding"} {
		require.Contains(t, out, want)
	}
	messages, err := os.ReadFile(filepath.Join(dir, "messages.txt"))
	require.NoError(t, err)
	require.Contains(t, string(messages), "mail to tobias.renn@hazelford.example\n[Hazel Ford Depot] HIGH: Leak: stack L2, line low far corner")
	require.Contains(t, string(messages), "the statistic was ", "the whole of it")
	require.Regexp(t, `SMS to \+351900000001\n\n(Late, written [^.]+\. )?Hazel Ford Depot HIGH: Leak: `, string(messages), "late where the machine is slow")
	require.NotContains(t, string(messages), "=\n", "as people read it")
	require.NotContains(t, out, "R1-26: closed", "its jar is looked at after a month")
	status, owed, errs := tried(t, "", "due", filepath.Join(dir, "demo.db"))
	require.Zero(t, status, errs)
	require.Contains(t, owed, "Look again at the jar of test insects from stack R1")
	require.NotContains(t, out, "Danger of fire", "a line that is put back is none")
	for _, name := range storyTreatments {
		require.FileExists(t, filepath.Join(dir, "report-"+name+".html"))
		require.FileExists(t, filepath.Join(dir, "report-"+name+".csv"))
	}
}

package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

// wharfSite has the channels, the store and the stack of the lines below.
const wharfSite = `site: Old Wharf
timezone: Africa/Nairobi
limits: GB
emergency: "Call 999."
channels:
  b-north-top: {gas: ph3, unit: ppm, range: 2000, resolution: 1, detection_limit: 1, accuracy: 0.05}
  b-south-low: {gas: ph3, unit: ppm, range: 2000, resolution: 1, detection_limit: 1, accuracy: 0.05}
  s2-door: {gas: ph3, unit: ppm, range: 20, resolution: 0.01, detection_limit: 0.03, accuracy: 0.1}
  s2-b-air: {gas: ph3, unit: ppm, range: 20, resolution: 0.01, detection_limit: 0.03, accuracy: 0.1}
stores:
  - name: Store 2
    air: [{name: door, channel: s2-door, where: door}, {name: beside B, channel: s2-b-air}]
    stacks:
      - name: B
        lines: [{name: north top, channel: b-north-top}, {name: south low, channel: b-south-low}]
`

var wharfStart = time.Date(2026, 3, 1, 7, 0, 0, 0, time.UTC)

// t = 0, the planned end of an exposure that was extended to 121 h, and the airing.
const (
	wharfShut   = time.Hour
	wharfEnd    = wharfShut + 121*time.Hour
	wharfAiring = wharfEnd + time.Hour
)

// wharfActs are acts as a person writes them by hand, one of each kind.
var wharfActs = []struct {
	after time.Duration
	line  string
}{
	{0, `"kind":"no-gas-declared","store":"Store 2","by":"R. Amadi"`},
	{30 * time.Minute, `"kind":"dosing-started","stack":"B","store_empty":true,"by":"R. Amadi"`},
	{wharfShut, `"kind":"treatment-started","stack":"B","treatment":"B-7","protocol":"five-day","commodity":"milled rice","tonnes":180,"volume_m3":260,` +
		`"phosphine_g":520,"grain_temp_c":29,"gas_space_m3":130,"grain_moisture_pct":12.5,"form":"tablets","count":520,"by":"R. Amadi"`},
	{10 * time.Hour, `"kind":"dose-added","stack":"B","phosphine_g":100,"by":"R. Amadi"`},
	{11 * time.Hour, `"kind":"exposure-extended","stack":"B","exposure_hours":121,"by":"R. Amadi"`},
	{24 * time.Hour, `"kind":"masked-entry","store":"Store 2","in":"O. Lind","at_door":"R. Amadi","protection":"self-contained apparatus","by":"R. Amadi"`},
	{24*time.Hour + 15*time.Minute, `"kind":"masked-exit","store":"Store 2","out":"O. Lind","by":"R. Amadi"`},
	{25 * time.Hour, `"kind":"hand-reading","stack":"B","line":"north top","value":790,"unit":"ppm","method":"detector tube","by":"R. Amadi"`},
	{wharfAiring, `"kind":"airing-started","stack":"B","by":"R. Amadi"`},
	{wharfAiring + time.Hour, `"kind":"airing-paused","stack":"B","by":"R. Amadi"`},
	{wharfAiring + 2*time.Hour, `"kind":"airing-resumed","stack":"B","by":"R. Amadi"`},
	{wharfAiring + 3*time.Hour, `"kind":"entry-confirmed","store":"Store 2","by":"R. Amadi"`},
	{wharfAiring + 5*time.Hour, `"kind":"hand-reading","store":"Store 2","point":"beside B","value":0.02,"unit":"ppm","method":"hand meter","detection_limit":0.02,"by":"R. Amadi"`},
	{wharfAiring + 5*time.Hour + 5*time.Minute, `"kind":"entry-confirmed","store":"Store 2","by":"R. Amadi"`},
	{wharfAiring + 6*time.Hour, `"kind":"clock"`},
	{wharfAiring + 6*time.Hour, `"kind":"treatment-abandoned","stack":"B","why":"the buyer came","by":"R. Amadi"`},
}

// wharfLines is an invented treatment, in the order of time.
func wharfLines() string {
	type at struct {
		after time.Duration
		line  string
	}
	var all []at
	for _, a := range wharfActs {
		all = append(all, at{a.after, a.line})
	}
	for h := time.Duration(0); h <= wharfAiring+6*time.Hour; h += 10 * time.Minute {
		days, ripple := max(0, (h-wharfShut).Hours()/24), math.Sin(float64(h/time.Minute))
		under := 900 * (math.Exp(-0.1*days) - math.Exp(-1.5*days))
		if h > wharfAiring {
			under *= math.Exp(-3 * (h - wharfAiring).Hours())
		}
		for i, ch := range []string{"b-north-top", "b-south-low"} {
			all = append(all, at{h, fmt.Sprintf(`"kind":"reading","channel":%q,"value":%.0f,"unit":"ppm"`, ch, under*(0.98+0.04*float64(i))*(1+0.01*ripple))})
		}
		for _, ch := range []string{"s2-door", "s2-b-air"} {
			all = append(all, at{h, fmt.Sprintf(`"kind":"reading","channel":%q,"value":%.2f,"unit":"ppm"`, ch, 0.01+0.01*math.Abs(ripple))})
		}
	}
	slices.SortStableFunc(all, func(a, b at) int { return int(a.after - b.after) })
	var b strings.Builder
	for _, a := range all {
		fmt.Fprintf(&b, "{\"time\":%q,%s}\n", wharfStart.Add(a.after).Format(time.RFC3339), a.line)
	}
	return b.String()
}

// wharfKeys are the fields that outside programs rely on, by kind of record.
var wharfKeys = map[logbook.Kind][]string{
	logbook.KindForecast: {"time", "kind", "stack", "for", "ppm", "chance_met"},
	logbook.KindAlarm:    {"time", "kind", "state", "alarm", "onset", "priority"},
	logbook.KindGate:     {"time", "kind", "store", "state", "limit_ppm", "reasons"},
	logbook.KindPhase:    {"time", "kind", "stack", "phase", "verdict"},
	logbook.KindRefused:  {"time", "kind", "entry", "store", "why"},
}

// replayedLines decodes the output of replay --json.
func replayedLines(t *testing.T, out string) []map[string]any {
	t.Helper()
	var all []map[string]any
	for line := range strings.Lines(out) {
		var m map[string]any
		require.NoError(t, json.Unmarshal([]byte(line), &m), line)
		all = append(all, m)
	}
	return all
}

// A whole treatment as lines of every kind of act: what replay prints has the
// fields that are fixed for outside programs, in the order of time; the gate and
// the phases go their way; forecasts come every hour from the twelfth; a refusal
// is no error.
func TestReplayTellsATreatment(t *testing.T) {
	site := write(t, "site.yaml", wharfSite)
	status, out, errs := tried(t, wharfLines(), "replay", "--json", "--site", site, "-")
	require.Zero(t, status, errs)
	var gates, phases, refused []string
	last := ""
	hours := map[string]map[int]bool{"": {}, "north top": {}, "south low": {}}
	for _, m := range replayedLines(t, out) {
		kind := logbook.Kind(m["kind"].(string))
		for _, key := range wharfKeys[kind] {
			require.Contains(t, m, key)
		}
		at := m["time"].(string)
		require.LessOrEqual(t, last, at)
		last = at
		switch kind {
		case logbook.KindGate:
			if s := m["state"].(string); len(gates) == 0 || gates[len(gates)-1] != s {
				gates = append(gates, s)
			}
		case logbook.KindPhase:
			phases = append(phases, m["phase"].(string)+" "+m["verdict"].(string))
		case logbook.KindRefused:
			refused = append(refused, m["entry"].(string))
		case logbook.KindForecast:
			line, _ := m["line"].(string)
			ppm := m["ppm"].(map[string]any)
			p05, p50, p95 := ppm["p05"].(float64), ppm["p50"].(float64), ppm["p95"].(float64)
			require.True(t, 0 <= p05 && p05 <= p50 && p50 <= p95, "%v", m)
			chance := m["chance_met"].(float64)
			require.True(t, 0 <= chance && chance <= 1, "%v", m)
			when, err := time.Parse(time.RFC3339, at)
			require.NoError(t, err)
			hours[line][int(when.Sub(wharfStart.Add(wharfShut))/time.Hour)] = true
			require.Equal(t, wharfStart.Add(wharfEnd).Format(time.RFC3339), m["for"], "the planned end")
		}
	}
	require.Equal(t, []string{"shut", "airing", "shut", "airing", "check-owed", "cleared"}, gates[:6])
	require.Equal(t, []string{"dosing provisional", "exposure provisional", "airing provisional", "withholding provisional"}, phases[:4])
	require.Equal(t, []string{"entry-confirmed"}, refused)
	for line, seen := range hours {
		for h := 12; h < 121; h++ {
			require.True(t, seen[h], "no forecast of %q in hour %d", line, h)
		}
	}
}

// The output for the first lines begins the output for all, and its bytes are the
// same on one processor and on two, from a file and from standard input; the
// site's folder stays as it is.
func TestReplayIsTheSame(t *testing.T) {
	site := write(t, "site.yaml", wharfSite)
	text := wharfLines()
	entries := write(t, "entries.jsonl", text)
	_, whole, _ := tried(t, text, "replay", "--json", "--site", site, "-")
	require.NotEmpty(t, whole)
	for _, procs := range []string{"1", "2"} {
		c := exec.Command(os.Args[0], "replay", "--json", "--site", site, entries)
		c.Env = append(os.Environ(), childMain+"=1", "GOMAXPROCS="+procs)
		out, err := c.Output()
		require.NoError(t, err)
		require.Equal(t, whole, string(out), "GOMAXPROCS=%s", procs)
	}
	lines := strings.SplitAfter(text, "\n")
	for _, n := range []int{0, 1, 2, 3, 100, len(lines) / 2, len(lines) - 200, len(lines) - 2} {
		status, part, errs := tried(t, strings.Join(lines[:n], ""), "replay", "--json", "--site", site, "-")
		require.Zero(t, status, errs)
		require.True(t, strings.HasPrefix(whole, part), "after %d lines", n)
	}
	status, plain, errs := tried(t, text, "replay", "--site", site, "-")
	require.Zero(t, status, errs)
	require.NotContains(t, strings.ToLower(plain), "safe")
	for _, path := range []string{site, entries} {
		there, err := os.ReadDir(filepath.Dir(path))
		require.NoError(t, err)
		require.Len(t, there, 1)
	}
}

// Without a site there is nothing to judge by.
func TestReplayWithoutASite(t *testing.T) {
	status, out, errs := tried(t, wharfLines(), "replay", "--json", "-")
	require.Zero(t, status)
	require.Contains(t, errs, "give --site FILE")
	require.NotContains(t, out, `"state":"cleared"`)
	require.NotContains(t, out, `"state":"check-owed"`)
	status, _, errs = tried(t, "", "replay", "--site", filepath.Join(t.TempDir(), "none.yaml"), "-")
	require.Equal(t, 1, status)
	require.Contains(t, errs, "none.yaml")
}

// The report of hand-written entries: both files, in the folder that was named,
// under a name that cannot leave it; a treatment that is not there makes no file.
func TestReportOfEntries(t *testing.T) {
	site := write(t, "site.yaml", wharfSite)
	text := strings.ReplaceAll(wharfLines(), `"B-7"`, `"../../B-7"`)
	entries := write(t, "entries.jsonl", text)
	top := t.TempDir()
	dir := filepath.Join(top, "a", "b")
	report := func(name string) (int, string, string) {
		return tried(t, "", "report", "--entries", entries, "--site", site, "--out", dir, name)
	}
	status, out, errs := report("../../B-7")
	require.Zero(t, status, errs)
	files := strings.Fields(out)
	require.Len(t, files, 2)
	for _, f := range files {
		require.Equal(t, dir, filepath.Dir(f))
		require.FileExists(t, f)
	}
	for _, name := range []string{"B-8", "", "../../B-8"} {
		status, _, errs = report(name)
		require.Equal(t, 1, status)
		require.Contains(t, errs, "undersheet report: ")
	}
	there, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Len(t, there, 2, "no file of what is not there, and none left over")
	there, err = os.ReadDir(top)
	require.NoError(t, err)
	require.Len(t, there, 1)
	for _, wrong := range [][]string{{"report", "B-7"}, {"report", "-l", "depot.db", "--entries", entries, "B-7"}, {"report", "-l", "none.db", "B-7"}} {
		status, _, errs = tried(t, "", wrong...)
		require.Equal(t, 1, status)
		require.NotEmpty(t, errs)
	}
}

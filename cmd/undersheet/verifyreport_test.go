package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/report"
)

// bookOf imports an invented treatment, with readings of so many hours, into a new
// logbook of an invented depot.
func bookOf(t *testing.T, hours int) string {
	t.Helper()
	line := logbook.Channel{Gas: "ph3", Unit: "ppm", Range: 2000, Resolution: 1, DetectionLimit: 1, Accuracy: 0.05}
	site := logbook.Site{Name: "Alder Wharf", Timezone: "Europe/Lisbon", Channels: map[string]logbook.Channel{"top": line},
		Stores: []logbook.Store{{Name: "Store 1", Stacks: []logbook.Stack{{Name: "B", Lines: []logbook.Line{{Name: "top", Channel: "top"}}}}}}}
	zero := time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC)
	conf := &logbook.SiteConfigured{Header: logbook.Header{Kind: logbook.KindSiteConfigured, Time: logbook.At(zero.Add(-time.Hour))}, Site: site}
	text, err := logbook.Encode(conf)
	require.NoError(t, err)
	lines := []string{string(text),
		`{"time":"2026-03-01T07:30:00Z","kind":"dosing-started","stack":"B","store_empty":true,"by":"R. Amadi"}`,
		`{"time":"2026-03-01T08:00:00Z","kind":"treatment-started","stack":"B","treatment":"B-7","protocol":"five-day","commodity":"maize","tonnes":180,"volume_m3":260,"phosphine_g":520,"grain_temp_c":29,"by":"R. Amadi"}`}
	for h := range hours {
		lines = append(lines, fmt.Sprintf(`{"time":%q,"kind":"reading","channel":"top","value":%d,"unit":"ppm"}`, zero.Add(time.Duration(h)*time.Hour).Format(time.RFC3339), 900-h))
	}
	db := filepath.Join(t.TempDir(), "depot.db")
	status, _, errs := tried(t, strings.Join(lines, "\n")+"\n", "import", db, "-")
	require.Zero(t, status, errs)
	return db
}

// A report is proved in every form and language; whatever was done to it or to the
// logbook is told by its name, with status 1.
func TestVerifyReport(t *testing.T) {
	dir := t.TempDir()
	db := bookOf(t, 30)
	status, _, errs := tried(t, "", "report", "-l", db, "--out", dir, "--pdf", "--json", "--lang", "fr", "B-7")
	require.Zero(t, status, errs)
	status, _, errs = tried(t, `{"time":"2026-03-02T15:00:00Z","kind":"reading","channel":"top","value":700,"unit":"ppm"}`+"\n", "import", db, "-")
	require.Zero(t, status, errs)
	for _, form := range report.Forms() {
		path := filepath.Join(dir, "report-B-7."+form)
		status, out, errs := tried(t, "", "verify", "--report", path, db)
		require.Zero(t, status, errs)
		require.Contains(t, out, "byte for byte", "the log has gone on since")
		require.Contains(t, out, "not that instruments read true")
		require.Contains(t, out, "it is not the newest: the logbook tells of this treatment up to entry ")

		text, err := os.ReadFile(path)
		require.NoError(t, err)
		changed := filepath.Join(dir, "changed."+form)
		at := len(text) / 2
		text[at] ^= 1
		require.NoError(t, os.WriteFile(changed, text, 0o600))
		status, _, errs = tried(t, "", "verify", "--report", changed, db)
		require.Equal(t, 1, status)
		require.Contains(t, errs, fmt.Sprintf("The first difference is at byte %d, in ", at), form)
		require.Contains(t, errs, fmt.Sprintf("Write it again with: undersheet report %q -l %q --until ", "B-7", db), "a command that can be given as it stands")
	}
	page := filepath.Join(dir, "report-B-7.html")
	text, err := os.ReadFile(page)
	require.NoError(t, err)
	s, _, err := report.FindStatement(text)
	require.NoError(t, err)
	refused := func(name string, text []byte, book, want string) {
		path := filepath.Join(dir, name+".html")
		require.NoError(t, os.WriteFile(path, text, 0o600))
		status, _, errs := tried(t, "", "verify", "--report", path, book)
		require.Equal(t, 1, status, name)
		require.Contains(t, errs, want, name)
	}
	said := func(from, to string) []byte { return bytes.ReplaceAll(text, []byte(from), []byte(to)) }
	refused("another log", text, bookOf(t, 30), "it is of another logbook")
	refused("cut", said(fmt.Sprintf(":%d:%d:", s.FirstSeq, s.LastSeq), fmt.Sprintf(":%d:%d:", s.FirstSeq, s.LastSeq+50)), db, "the logbook was cut")
	refused("hash", said(s.Head, strings.Repeat("ab", 32)), db, "the logbook was changed, or the hash in the report")
	refused("treatment", said(":B-7:", ":B-8:"), db, `find treatment "B-8"`)
	refused("no statement", said("undersheet-report", "report"), db, "holds no statement")
	version, _, _ := strings.Cut(strings.TrimPrefix(s.String(), s.String()[:strings.Index(s.String(), s.Head)]+s.Head+":"), ":")
	refused("version", said(":"+version+":fr", ":v0.9:fr"), db, "version v0.9 wrote it, as it says, and this is version")
	refused("no report", []byte("GIF89a"), db, "it begins as no report does")
	status, _, errs = tried(t, "", "verify", "--report", filepath.Join(dir, "none.pdf"), db)
	require.Equal(t, 1, status)
	require.Contains(t, errs, "open report")

	status, _, errs = tried(t, "", "report", "-l", db, "--out", filepath.Join(dir, "then"), "--until", fmt.Sprint(s.LastSeq), "--lang", "fr", "B-7")
	require.Zero(t, status, errs)
	again, err := os.ReadFile(filepath.Join(dir, "then", "report-B-7.html"))
	require.NoError(t, err)
	require.Equal(t, string(text), string(again), "made again at the range that it names")
}

// A season's summary is proved as a report is, and one that leaves out how it went on is
// told.
func TestVerifySeason(t *testing.T) {
	dir := t.TempDir()
	db := bookOf(t, 30)
	for _, form := range report.Forms() {
		path := filepath.Join(dir, "season."+form)
		status, _, errs := tried(t, "", "season", "-l", db, "-o", path, "--to", "2026-03-02", "--lang", "fr")
		require.Zero(t, status, errs)
		status, out, errs := tried(t, "", "verify", "--report", path, db)
		require.Zero(t, status, errs)
		require.Contains(t, out, "season from 2025-03-03 to 2026-03-02, entries 1 to ")
		require.Contains(t, out, "byte for byte")
		require.Contains(t, out, "The logbook tells no more of these days to this day.")

		text, err := os.ReadFile(path)
		require.NoError(t, err)
		text[len(text)/2] ^= 1
		changed := filepath.Join(dir, "changed."+form)
		require.NoError(t, os.WriteFile(changed, text, 0o600))
		status, _, errs = tried(t, "", "verify", "--report", changed, db)
		require.Equal(t, 1, status)
		require.Contains(t, errs, fmt.Sprintf("The first difference is at byte %d, in ", len(text)/2), form)
		require.Contains(t, errs, "undersheet season --from 2025-03-03 --to 2026-03-02 -l ")
	}
	path := filepath.Join(dir, "season.html")
	status, _, errs := tried(t, `{"time":"2026-03-02T15:00:00Z","kind":"dose-added","stack":"B","phosphine_g":80,"by":"R. Amadi"}`+"\n", "import", db, "-")
	require.Zero(t, status, errs)
	status, out, errs := tried(t, "", "verify", "--report", path, db)
	require.Zero(t, status, errs)
	require.Contains(t, out, "byte for byte", "the log has gone on since")
	require.Contains(t, out, "it is not the newest")
	status, _, errs = tried(t, "", "verify", "--report", path, bookOf(t, 30))
	require.Equal(t, 1, status)
	require.Contains(t, errs, "it is of another logbook")
}

// A report that is unchanged may still be an early one, hide who wrote it, or be of a
// treatment that was corrected: it is never said to be more than it is.
func TestVerifyReportClaimsNoMore(t *testing.T) {
	dir := t.TempDir()
	db := bookOf(t, 30)
	path := filepath.Join(dir, "report-B-7.csv")
	written := func(args ...string) []byte {
		status, _, errs := tried(t, "", append([]string{"report", "-l", db, "--out", dir, "B-7"}, args...)...)
		require.Zero(t, status, errs)
		text, err := os.ReadFile(path)
		require.NoError(t, err)
		return text
	}
	told := func(text []byte) (status int, out, errs string) {
		require.NoError(t, os.WriteFile(path, text, 0o600))
		return tried(t, "", "verify", "--report", path, db)
	}
	whole := written()
	status, out, errs := told(whole)
	require.Zero(t, status, errs)
	require.Contains(t, out, "The logbook tells no more of this treatment to this day.")

	s, _, err := report.FindStatement(whole)
	require.NoError(t, err)
	status, out, errs = told(written("--until", fmt.Sprint(s.LastSeq-10)))
	require.Zero(t, status, errs)
	require.Contains(t, out, fmt.Sprintf("it is not the newest: the logbook tells of this treatment up to entry %d (", s.LastSeq))

	ours := s.String()
	s.Program = "v9.9"
	other := bytes.Replace(whole, []byte(ours), []byte(s.String()), 1)
	by := "written by,,," // in the row of the program that wrote it
	at := bytes.Index(other, []byte(by)) + len(by)
	other = append(append(bytes.Clone(other[:at]), "v9.9"...), other[at+bytes.IndexByte(other[at:], '\r'):]...)
	status, out, errs = told(other)
	require.Zero(t, status, errs)
	require.Contains(t, out, "It names version v9.9 as its writer; this is version ")
	require.Contains(t, out, "is not proved")

	s, _, err = report.FindStatement(whole)
	require.NoError(t, err)
	s.Lang = "xx"
	status, _, errs = told(bytes.Replace(whole, []byte(ours), []byte(s.String()), 1))
	require.Equal(t, 1, status)
	require.Contains(t, errs, `language "xx", which this program does not speak`)
}

// Only a version that names one state of the source shows that a report which comes
// otherwise was changed.
func TestExactVersions(t *testing.T) {
	for version, is := range map[string]bool{"": false, "unknown": false, "(devel)": false, "22e55e1aa0b1+changed": false, "22e55e1aa0b1": true, "v1.2.0": true} {
		require.Equal(t, is, exact(version), version)
	}
}

// What a logbook exports tells the same as the logbook, but which log it is.
func TestReportOfAnExport(t *testing.T) {
	dir := t.TempDir()
	db, file := bookOf(t, 30), filepath.Join(dir, "all.jsonl")
	status, out, errs := tried(t, "", "export", db)
	require.Zero(t, status, errs)
	require.NoError(t, os.WriteFile(file, []byte(out), 0o600))
	facts := func(args ...string) []string {
		to := filepath.Join(dir, args[0][2:])
		status, _, errs := tried(t, "", append([]string{"report", "--out", to, "B-7"}, args...)...)
		require.Zero(t, status, errs)
		text, err := os.ReadFile(filepath.Join(to, "report-B-7.csv"))
		require.NoError(t, err)
		var rows []string
		for _, row := range strings.Split(string(text), "\r\n") {
			if !strings.HasPrefix(row, "log,") {
				rows = append(rows, row)
			}
		}
		return rows
	}
	require.Equal(t, facts("--logbook", db), facts("--entries", file))
}

// Numbered entries without the records that a logbook has among them tell of nothing that
// happened: that is said, with what to do about it.
func TestEntriesWithoutTheirRecords(t *testing.T) {
	site := write(t, "site.yaml", wharfSite)
	warned := func(text string) bool {
		file := write(t, "e.jsonl", text)
		all := true
		for i, args := range [][]string{{"report", "--out", t.TempDir(), "--entries", file, "--site", site, "B-7"}, {"season", "--csv", "--entries", file, "--site", site}} {
			status, _, errs := tried(t, "", args...)
			require.Zero(t, status, errs)
			is := strings.Contains(errs, "holds none of its records") && strings.Contains(errs, "take \"seq\" out of each line")
			require.True(t, i == 0 || is == all, "both say it, or none")
			all = is
		}
		return all
	}
	numbered := ""
	for i, line := range strings.Split(strings.TrimSpace(wharfLines()), "\n") {
		numbered += fmt.Sprintf(`{"seq":%d,`, i+1) + line[1:] + "\n"
	}
	require.False(t, warned(wharfLines()), "by hand: the rules make the records")
	require.True(t, warned(numbered))
	last := strings.Count(numbered, "\n") + 1
	require.False(t, warned(numbered+fmt.Sprintf(`{"seq":%d,"time":"2026-03-20T08:00:00Z","received":"2026-03-20T08:00:00Z","kind":"phase","stack":"B","treatment":"B-7","phase":"closed","verdict":"held","program":"v1"}`, last)+"\n"))
}

package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// A season is written in four forms, to a file by its ending or to standard output, in
// the site's language or another.
func TestSeasonForms(t *testing.T) {
	dir, entries, site := t.TempDir(), write(t, "b.jsonl", wharfLines()), write(t, "site.yaml", wharfSite)
	do := func(args ...string) (int, string, string) {
		return tried(t, "", append([]string{"season", "--entries", entries, "--site", site}, args...)...)
	}
	read := func(name string) string {
		b, err := os.ReadFile(filepath.Join(dir, name))
		require.NoError(t, err)
		return string(b)
	}
	status, _, errs := do("-o", filepath.Join(dir, "s.pdf"))
	require.Zero(t, status, errs)
	require.True(t, strings.HasPrefix(read("s.pdf"), "%PDF-"))
	status, table, errs := do("--csv", "--from", "2026-03-01", "--to", "2026-03-31")
	require.Zero(t, status, errs)
	require.Contains(t, table, "treatment,2026-03-01T08:00:00Z,B-7,phosphine,620,g,")
	status, _, errs = do("-o", filepath.Join(dir, "s.csv"))
	require.Zero(t, status, errs)
	require.Contains(t, read("s.csv"), "B-7,phosphine,620,g,")
	status, page, errs := do("--lang", "fr")
	require.Zero(t, status, errs)
	require.Contains(t, page, `<html lang="fr">`)
	require.Contains(t, page, "Old Wharf")

	status, _, errs = do("-o", filepath.Join(dir, "s.json"))
	require.Zero(t, status, errs)
	require.Contains(t, read("s.json"), `"treatment": "B-7"`)

	status, _, errs = do("--csv", "-o", filepath.Join(dir, "wrong.pdf"))
	require.Equal(t, 1, status)
	require.Contains(t, errs, "the file's name says another form")
	require.NoFileExists(t, filepath.Join(dir, "wrong.pdf"))
	status, _, errs = do("--from", "soon")
	require.Equal(t, 1, status)
	require.Contains(t, errs, "“soon” is no day")
	status, _, errs = do("--csv", "--pdf")
	require.Equal(t, 2, status, errs)
	status, _, errs = tried(t, "", "season")
	require.Equal(t, 1, status)
	require.Contains(t, errs, "name either --logbook or --entries")
}

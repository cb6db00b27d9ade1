package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// The picture of a replay: what is printed stays the same, and a path or a stack that
// cannot be is named before or after it.
func TestReplayDraws(t *testing.T) {
	dir := t.TempDir()
	site, entries, svg := filepath.Join(dir, "site.yaml"), wharfLines(), filepath.Join(dir, "b.svg")
	require.NoError(t, os.WriteFile(site, []byte(wharfSite), 0o600))
	status, plain, errs := tried(t, entries, "replay", "--site", site, "--json", "-")
	require.Zero(t, status, errs)
	status, out, errs := tried(t, entries, "replay", "--site", site, "--json", "--plot", svg, "-")
	require.Zero(t, status, errs)
	require.Equal(t, plain, out)
	got, err := os.ReadFile(svg)
	require.NoError(t, err)
	for _, want := range []string{"Stack B, treatment B-7", "north top", "end level 150 ppm", "% of the fit", "threshold", "hours since t = 0"} {
		require.Contains(t, string(got), want)
	}
	for args, want := range map[string]string{
		"--plot " + dir: "it is a folder; give the name of a file",
		"--plot " + filepath.Join(dir, "none", "b.svg"): "there is no folder " + filepath.Join(dir, "none") + "; make it first",
		"--plot " + svg + " --stack C":                  `no treatment of stack "C" has started; there are "B"`,
		"--stack B":                                     "give --plot FILE with it",
	} {
		status, _, errs := tried(t, entries, append(strings.Fields("replay --site "+site+" "+args), "-")...)
		require.Equal(t, 1, status, args)
		require.Contains(t, errs, want, args)
	}
	status, _, errs = tried(t, strings.SplitAfter(entries, "\n")[0], "replay", "--site", site, "--plot", svg, "-")
	require.Equal(t, 1, status)
	require.Contains(t, errs, "the entries hold no treatment that has started")
}

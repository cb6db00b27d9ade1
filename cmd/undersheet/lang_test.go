package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// What commands say to people is in the site's language, unless another is asked for.
func TestCommandsSpeak(t *testing.T) {
	dir := t.TempDir()
	site := filepath.Join(dir, "site.yaml")
	require.NoError(t, os.WriteFile(site, []byte(strings.Replace(wharfSite, "timezone:", "language: fr\ntimezone:", 1)), 0o600))
	replay := func(args ...string) string {
		status, out, errs := tried(t, wharfLines(), append([]string{"replay", "--site", site}, append(args, "-")...)...)
		require.Zero(t, status, errs)
		return out
	}
	french, english := replay(), replay("--lang", "en")
	require.Contains(t, french, "pile B B-7\u00a0: exposition, verdict provisoire")
	require.Contains(t, french, "l'accès est fermé")
	require.NotContains(t, french, "the gate is shut")
	require.Contains(t, english, "stack B B-7: exposure, verdict provisional")
	require.Equal(t, strings.Count(english, "\n"), strings.Count(french, "\n"))
	require.NotContains(t, replay("--json"), "pile B", "programs read English sentences unless they ask")
	require.Contains(t, replay("--json", "--lang", "fr"), "La pile B est sous gaz")

	db := filepath.Join(dir, "depot.db")
	status, _, errs := tried(t, wharfLines(), "import", db, "-")
	require.Zero(t, status, errs)
	status, out, errs := tried(t, "", "act", "-l", db, "--lang", "fr", "airing-started", "stack=B", "by=Ana Brook")
	require.Equal(t, 1, status, out)
	require.Contains(t, errs, "refusé\u00a0: Non exécuté\u00a0: le registre ne contient pas encore de site.")

	status, _, errs = tried(t, "", "replay", "--lang", "xx", "-")
	require.Equal(t, 2, status)
	require.Contains(t, errs, "--lang xx: there are sentences in en, fr")
}

package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/stretchr/testify/require"

	"undersheet/configs"
)

// What the README says of a depot of one's own is done here as it stands there, in a shell, with
// the example site file; only what it needs of wires and of other machines is cut from that. Nobody
// waits five days for the airing, so the confirmation is refused, as it must be.
func TestReadmeLeadsToAReport(t *testing.T) {
	text, err := os.ReadFile("../../README.md")
	require.NoError(t, err)
	_, section, _ := strings.Cut(string(text), "## A depot of your own")
	section, _, _ = strings.Cut(section, "| command | does |")

	var site map[string]any
	require.NoError(t, yaml.Unmarshal(configs.Example(), &site))
	for _, wire := range []string{"instruments", "mail", "sms", "webhooks", "beacon", "forward"} {
		delete(site, wire)
	}
	cut, err := yaml.Marshal(site)
	require.NoError(t, err)
	path := write(t, "depot.yaml", string(cut))
	serve(t, path).end(syscall.SIGTERM)
	dir := filepath.Dir(path)
	self, err := filepath.Abs(os.Args[0])
	require.NoError(t, err)
	require.NoError(t, os.Symlink(self, filepath.Join(dir, "undersheet")))

	done := map[string]bool{}
	for line := range strings.Lines(section) {
		words := strings.Fields(line)
		if len(words) < 2 || words[0] != "./undersheet" || words[1] == "serve" || words[1] == "listen" || strings.Contains(line, "--example") || strings.Contains(line, "--trial") {
			continue
		}
		c := exec.Command("sh", "-c", line)
		c.Dir, c.Env = dir, append(os.Environ(), childMain+"=1", "UNDERSHEET_LOGBOOK=depot.db")
		out, err := c.CombinedOutput()
		if words[2] == "entry-confirmed" {
			require.Error(t, err)
			require.Contains(t, string(out), "refused: Not cleared: Store 1 is not ready")
		} else {
			require.NoError(t, err, "%s%s", line, out)
		}
		done[words[1]] = true
	}
	for _, command := range []string{"check", "plan", "act", "report", "verify", "due", "season"} {
		require.True(t, done[command], command)
	}
	for _, file := range []string{"plan.html", "report-A-1.html", "report-A-1.pdf", "report-A-1.csv", "season.pdf"} {
		require.FileExists(t, filepath.Join(dir, file))
	}
}

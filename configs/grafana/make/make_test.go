package main

import (
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/cog/plugins"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/prometheus"
	"github.com/stretchr/testify/require"
)

// TestBoardsAreAsGenerated: the files that are shipped are what this program makes.
func TestBoardsAreAsGenerated(t *testing.T) {
	files, err := filepath.Glob("../*.json")
	require.NoError(t, err)
	require.Len(t, files, len(boards()))
	for name, b := range boards() {
		want, err := render(b)
		require.NoError(t, err)
		got, err := os.ReadFile(filepath.Join("..", name))
		require.NoError(t, err)
		require.Equal(t, string(want), string(got), "%s: run go generate in this folder", name)
		again, err := render(boards()[name])
		require.NoError(t, err)
		require.Equal(t, want, again, "the same bytes each time")
	}
}

// TestGrafanaKnowsEveryOption: Grafana's own library reads the files strictly and
// knows every key, and writes them back the same. Its strict reading returns an
// empty list of faults instead of nil when it finds none.
func TestGrafanaKnowsEveryOption(t *testing.T) {
	plugins.RegisterDefaultPlugins()
	for name := range boards() {
		text, err := os.ReadFile(filepath.Join("..", name))
		require.NoError(t, err)
		require.NoError(t, strict(text), name)
		var board dashboard.Dashboard
		require.NoError(t, json.Unmarshal(text, &board))
		require.NoError(t, board.Validate())
		again, err := json.MarshalIndent(board, "", "  ")
		require.NoError(t, err)
		require.Equal(t, strings.TrimSpace(string(text)), string(again))
		typo := strings.Replace(string(text), `"transparent"`, `"transparrent"`, 1)
		require.ErrorContains(t, strict([]byte(typo)), "transparrent", "a mistyped key is found")
	}
}

// strict reads a board strictly.
func strict(text []byte) error {
	var board dashboard.Dashboard
	err := board.UnmarshalJSONStrict(text)
	var faults cog.BuildErrors
	if errors.As(err, &faults) && len(faults) == 0 {
		return nil
	}
	return err
}

// TestPanelsSayWhatTheyShow: each panel has a title of its own, a query, its place;
// nothing promises clean air, and no colour does.
func TestPanelsSayWhatTheyShow(t *testing.T) {
	plugins.RegisterDefaultPlugins()
	for name := range boards() {
		text, err := os.ReadFile(filepath.Join("..", name))
		require.NoError(t, err)
		require.NotRegexp(t, `(?i)\bsafe(ly|ty)?\b`, string(text))
		require.NotContains(t, string(text), "green")
		require.Contains(t, string(text), "two trained people, breathing protection, daylight; else wait")
		var board dashboard.Dashboard
		require.NoError(t, json.Unmarshal(text, &board))
		titles, n := map[string]bool{}, 0
		taken := map[[2]uint32]string{}
		for _, p := range board.Panels {
			if p.Panel == nil || p.Panel.Type == "text" {
				continue
			}
			n++
			require.NotEmpty(t, *p.Panel.Title)
			require.False(t, titles[*p.Panel.Title], "%s is there twice", *p.Panel.Title)
			titles[*p.Panel.Title] = true
			place(t, taken, *p.Panel.Title, p.Panel.GridPos)
			require.NotEmpty(t, p.Panel.Targets)
			for _, target := range p.Panel.Targets {
				q, ok := target.(*prometheus.Dataquery)
				require.True(t, ok, "%s: %T", *p.Panel.Title, target)
				require.Regexp(t, regexp.MustCompile(`instance="\$depot"`), q.Expr, "a board shows one depot")
			}
		}
		require.Greater(t, n, 15)
	}
}

// place marks the cells of the grid that a panel takes; no two may take the same.
func place(t *testing.T, taken map[[2]uint32]string, title string, at *dashboard.GridPos) {
	t.Helper()
	require.NotNil(t, at, title)
	require.LessOrEqual(t, at.X+at.W, uint32(24), title)
	for x := at.X; x < at.X+at.W; x++ {
		for y := at.Y; y < at.Y+at.H; y++ {
			require.Empty(t, taken[[2]uint32{x, y}], "%s lies over another panel", title)
			taken[[2]uint32{x, y}] = title
		}
	}
}

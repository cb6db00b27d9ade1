package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A plan that nothing stands against ends with 0, one that something forbids with 1;
// the page is written all the same, since it says what is owed.
func TestPlanCommand(t *testing.T) {
	page := filepath.Join(t.TempDir(), "plan.html")
	code, out, errs := tried(t, "", "plan", "--commodity", "wheat", "--stack", "B=180,9x6x5", "--temp", "29", "--guide", "in", "--form", "tablets", "--html", page)
	require.Equal(t, 0, code, errs)
	for _, want := range []string{"540 tablets", "120 h", "Sampling line 3", "[ ] Floor gas-tight"} {
		assert.Contains(t, out, want)
	}
	html, err := os.ReadFile(page)
	require.NoError(t, err)
	assert.Contains(t, string(html), "POISON GAS")

	code, out, _ = tried(t, "", "plan", "--commodity", "wheat", "--tonnes", "180", "--json")
	require.Equal(t, 1, code)
	var p struct {
		Stacks []struct{ Says []struct{ Code string } }
	}
	require.NoError(t, json.Unmarshal([]byte(out), &p))
	assert.Equal(t, "moisture-owed", p.Stacks[0].Says[0].Code)

	for want, args := range map[string][]string{
		"there are guides of": {"--guide", "QQ", "--tonnes", "1"},
		"want NAME=TONNES":    {"--stack", "180"},
		"want 3 lengths":      {"--stack", "B=180,9x6"},
		"is neither t nor m3": {"--tonnes", "1", "--dose", "3g/bag"},
		"needs its source":    {"--tonnes", "1", "--dose", "3g/t"},
		"no stack":            {},
	} {
		code, _, errs := tried(t, "", append([]string{"plan", "--commodity", "wheat", "--temp", "28"}, args...)...)
		assert.Equal(t, 1, code)
		assert.Contains(t, errs, want)
	}
}

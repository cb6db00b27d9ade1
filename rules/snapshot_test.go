package rules

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"
)

// A snapshot of a program that kept what a stack's lines read otherwise is refused, so that
// everything is folded anew: taken as it is, the first reading would break the fold, at
// every start.
func TestSnapshotOfOtherParts(t *testing.T) {
	d := underGas(t)
	d.run(14)
	raw, err := json.Marshal(d.state)
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(raw, New()))
	for _, part := range []string{"Fit", "Leak", "Faults", "Setup", "Bin", "Rises"} {
		var all map[string]any
		require.NoError(t, json.Unmarshal(raw, &all))
		delete(all["Stacks"].(map[string]any)["A"].(map[string]any)["Gas"].(map[string]any), part)
		without, err := json.Marshal(all)
		require.NoError(t, err)
		again := New()
		require.ErrorContains(t, json.Unmarshal(without, again), `"A"`, part)
		require.Empty(t, again.Stacks, "as it was")
	}
}

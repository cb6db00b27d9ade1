package configs

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// The distances are the worked examples by which it is taught: kitten to sitting is 3,
// Saturday to Sunday is 3 (common practice).
func TestSlips(t *testing.T) {
	require.Equal(t, 3, slips("kitten", "sitting"))
	require.Equal(t, 3, slips("Saturday", "Sunday"))
	require.Equal(t, 1, slips("timzone", "timezone"))
	require.Equal(t, 0, slips("bâche", "bâche"))
	require.Equal(t, 5, slips("", "bâche"))
}

// TestMeant: a slip is asked for; another word is not.
func TestMeant(t *testing.T) {
	require.Equal(t, `; did you mean "timezone"?`, meant("timzone", []string{"site", "stores", "timezone"}))
	require.Empty(t, meant("hall", []string{"door", "office"}))
	require.Empty(t, meant("xy", []string{"ab"}), "nothing of it is left")
}

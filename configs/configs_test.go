package configs

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// TestExample: what is shipped as an example is without fault, and says so.
func TestExample(t *testing.T) {
	site, warnings, err := Parse(ExampleName, Example())
	require.NoError(t, err)
	require.Empty(t, warnings)
	require.Len(t, site.Stores, 2)
	require.Len(t, site.Channels, 17)
}

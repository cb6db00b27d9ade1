package decay

import (
	"bytes"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestReferencesAreWhatTheirScriptsPrint runs the scripts in testdata again and holds the
// kept files against what they print here, whatever the version of R or SciPy: to 1e-6,
// for a least-squares search and a difference quotient end where they end.
func TestReferencesAreWhatTheirScriptsPrint(t *testing.T) {
	if testing.Short() {
		t.Skip("other programs, which no race detector sees: run without -short")
	}
	for _, c := range []struct{ kept, program, script, argument, check, debian string }{
		{"decay/theoph_nls.csv", "Rscript", "nls.R", "theoph", "stats", "r-base-core"},
		{"decay/indometh_nls.csv", "Rscript", "nls.R", "indometh", "stats", "r-base-core"},
		{"decay/indometh.csv", "Rscript", "nls.R", "readings", "stats", "r-base-core"},
		{"decay/plain_forecast.csv", "Rscript", "nls.R", "forecast", "stats", "r-base-core"},
		{"decay/distributions.csv", "Rscript", "distributions.R", "", "stats", "r-base-core"},
		{"leak/arl.csv", "Rscript", "arl.R", "", "spc", "r-cran-spc"},
		{"decay/theoph_scipy.csv", "/usr/bin/python3", "curve_fit.py", "theoph", "scipy", "python3-scipy"},
		{"decay/indometh_scipy.csv", "/usr/bin/python3", "curve_fit.py", "indometh", "scipy", "python3-scipy"},
		{"decay/balance_expm.csv", "/usr/bin/python3", "balance.py", "", "scipy", "python3-scipy"},
	} {
		t.Run(c.kept, func(t *testing.T) {
			kept := filepath.Join("..", "..", "testdata", filepath.FromSlash(c.kept))
			peer(t, c.program, c.check, c.debian)
			cmd := exec.Command(c.program, strings.Fields(c.script+" "+c.argument)...)
			cmd.Dir = filepath.Dir(kept)
			printed, err := cmd.Output()
			require.NoError(t, err)
			want, err := os.ReadFile(kept)
			require.NoError(t, err)
			alike(t, strings.Split(string(bytes.TrimSpace(want)), "\n"), strings.Split(string(bytes.TrimSpace(printed)), "\n"))
		})
	}
}

// peer skips a test where a program or its library is missing.
func peer(t *testing.T, program, library, debian string) {
	t.Helper()
	load := []string{"-e", "library(" + library + ")"}
	if strings.Contains(program, "python") {
		load = []string{"-c", "import " + library}
	}
	if err := exec.Command(program, load...).Run(); err == nil {
		return
	}
	if os.Getenv("CI") == "true" {
		t.Fatalf("needs %s with %s (Debian package %s)", program, library, debian)
	}
	t.Skipf("needs %s with %s (Debian package %s)", program, library, debian)
}

// alike holds lines of words and numbers against each other. The first names versions.
func alike(t *testing.T, want, got []string) {
	t.Helper()
	require.Len(t, got, len(want))
	require.Greater(t, len(want), 2)
	for i := range want[1:] {
		a, b := strings.Split(want[i+1], ","), strings.Split(got[i+1], ",")
		require.Len(t, b, len(a), got[i+1])
		for j := range a {
			x, err := strconv.ParseFloat(a[j], 64)
			if err != nil {
				require.Equal(t, a[j], b[j])
				continue
			}
			y, err := strconv.ParseFloat(b[j], 64)
			require.NoError(t, err)
			require.InDelta(t, x, y, 1e-6*math.Abs(x)+1e-10, "line %d: %s", i+2, got[i+1])
		}
	}
}

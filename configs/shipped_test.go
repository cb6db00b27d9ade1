package configs

import (
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/stretchr/testify/require"
)

// shippedText returns a shipped file with some of its text replaced; each piece
// must be there, so that a test tries the file as it is shipped.
func shippedText(t *testing.T, name string, oldnew ...string) string {
	t.Helper()
	b, err := fs.ReadFile(Shipped(), name)
	require.NoError(t, err)
	text := string(b)
	for i := 0; i < len(oldnew); i += 2 {
		require.Contains(t, text, oldnew[i], name)
		text = strings.ReplaceAll(text, oldnew[i], oldnew[i+1])
	}
	return text
}

// written writes text to a file in a folder of the test and returns its path.
func written(t *testing.T, dir, name, text string) string {
	t.Helper()
	path := filepath.Join(dir, name)
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	return path
}

// TestShippedNameNobody: what is shipped holds no secret and no mail or network
// address of a living person.
func TestShippedNameNobody(t *testing.T) {
	n := 0
	require.NoError(t, fs.WalkDir(Shipped(), ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		n++
		require.NotRegexp(t, `(?i)(password|secret|token)\s*[:=]\s*"?[a-z0-9]{6,}|[a-z0-9.]+@[a-z0-9]+\.(com|org|net)`, shippedText(t, path), path)
		return nil
	}))
	require.Greater(t, n, 9)
}

// must reads a file of the test.
func must(t *testing.T, path string) []byte {
	t.Helper()
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	return b
}

// TestProvisioningNamesWhatIsThere: the files for Grafana are YAML without unknown
// keys as its documentation lists them, and agree with what is shipped beside them.
func TestProvisioningNamesWhatIsThere(t *testing.T) {
	var sources struct {
		APIVersion  int `yaml:"apiVersion"`
		Datasources []struct {
			Name, Type, UID, Access, URL string
			IsDefault                    bool `yaml:"isDefault"`
			Editable                     bool
			JSONData                     struct {
				TimeInterval string `yaml:"timeInterval"`
				HTTPMethod   string `yaml:"httpMethod"`
			} `yaml:"jsonData"`
		}
	}
	require.NoError(t, yaml.UnmarshalWithOptions([]byte(shippedText(t, "grafana/provisioning/datasources/undersheet.yaml")), &sources, yaml.Strict()))
	require.Equal(t, 1, sources.APIVersion)
	require.Equal(t, "prometheus", sources.Datasources[0].Type, "the boards ask for a source of this type")
	require.Contains(t, shippedText(t, "prometheus/prometheus.yml"), "scrape_interval: "+sources.Datasources[0].JSONData.TimeInterval)
	var boards struct {
		APIVersion int `yaml:"apiVersion"`
		Providers  []struct {
			Name, Folder, Type    string
			DisableDeletion       bool `yaml:"disableDeletion"`
			AllowUIUpdates        bool `yaml:"allowUiUpdates"`
			UpdateIntervalSeconds int  `yaml:"updateIntervalSeconds"`
			Options               struct{ Path string }
		}
	}
	require.NoError(t, yaml.UnmarshalWithOptions([]byte(shippedText(t, "grafana/provisioning/dashboards/undersheet.yaml")), &boards, yaml.Strict()))
	require.Equal(t, "file", boards.Providers[0].Type)
	require.NotEmpty(t, boards.Providers[0].Options.Path)
}

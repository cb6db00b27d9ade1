package configs

import (
	"io/fs"
	"os/exec"
	"strings"
	"testing"

	"undersheet/peer"

	"github.com/goccy/go-yaml"
	"github.com/stretchr/testify/require"
)

// rule is an alert, or a record, of rules.yml.
type rule struct {
	Alert, Record, Expr string
	For                 string
	Labels, Annotations map[string]string
}

// shippedRules reads rules.yml.
func shippedRules(t *testing.T) (rules []rule) {
	var file struct {
		Groups []struct {
			Name  string
			Rules []rule
		}
	}
	require.NoError(t, yaml.UnmarshalWithOptions([]byte(shippedText(t, "prometheus/rules.yml")), &file, yaml.Strict()))
	for _, g := range file.Groups {
		rules = append(rules, g.Rules...)
	}
	require.Greater(t, len(rules), 20)
	return rules
}

// TestPromtoolAccepts: Prometheus' own tool reads the files and finds nothing to
// remark, and the alerts come when rules_test.yml says that they should.
func TestPromtoolAccepts(t *testing.T) {
	promtool := peer.Need(t, "promtool", "prometheus")
	dir := t.TempDir()
	for _, name := range []string{"prometheus.yml", "rules.yml", "rules_test.yml"} {
		written(t, dir, name, shippedText(t, "prometheus/"+name))
	}
	for _, args := range [][]string{{"check", "config", "prometheus.yml"}, {"check", "rules", "--lint-fatal", "rules.yml"}, {"test", "rules", "rules_test.yml"}} {
		c := exec.Command(promtool, args...)
		c.Dir = dir
		out, err := c.CombinedOutput()
		require.NoError(t, err, "%v: %s", args, out)
	}
}

// TestRuleTestsCanFail: an alert that no longer fires is found, each of them.
func TestRuleTestsCanFail(t *testing.T) {
	promtool := peer.Need(t, "promtool", "prometheus")
	rules, text := shippedRules(t), shippedText(t, "prometheus/rules.yml")
	for _, r := range rules {
		text = strings.Replace(text, "expr: "+r.Expr+"\n", "expr: absent(vector(1))\n", 1)
	}
	dir := t.TempDir()
	written(t, dir, "rules.yml", text)
	written(t, dir, "rules_test.yml", shippedText(t, "prometheus/rules_test.yml"))
	c := exec.Command(promtool, "test", "rules", "rules_test.yml")
	c.Dir = dir
	out, err := c.CombinedOutput()
	require.Error(t, err)
	for _, r := range rules {
		require.Contains(t, string(out), r.Alert+r.Record, "no test notices when it is gone")
	}
}

// TestAlertsSayWhatToDo: each alert says what it means and what to do; one that
// may send somebody to the stores says the rule of two (FAO/ACIAR guide to the
// fumigation of sheeted bag-stacks; common practice), and none promises clean air.
func TestAlertsSayWhatToDo(t *testing.T) {
	for _, r := range shippedRules(t) {
		require.NotRegexp(t, `(?i)\bsafe(ly|ty)?\b`, r.Annotations, r.Alert)
		if r.Alert == "" {
			continue
		}
		for _, key := range []string{"summary", "description", "action"} {
			require.Greater(t, len(r.Annotations[key]), 20, "%s %s", r.Alert, key)
		}
		switch r.Labels["severity"] {
		case "critical":
			require.Regexp(t, `(?i)two trained people, breathing protection, daylight; else wait`, r.Annotations["people"], r.Alert)
		case "warning", "none":
		default:
			t.Errorf("%s has severity %q", r.Alert, r.Labels["severity"])
		}
	}
	n := 0
	require.NoError(t, fs.WalkDir(Shipped(), "prometheus", func(_ string, d fs.DirEntry, err error) error { n++; return err }))
	require.Equal(t, 4, n)
}

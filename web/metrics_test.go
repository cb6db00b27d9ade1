package web

import (
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/alert"
	"undersheet/ingest"
)

func full() (*fake, http.Handler) {
	f := invented()
	return f, f.handler(Options{Intake: intake{ingest.Stats{Instruments: []ingest.Instrument{{Name: "rack", Readings: 900, Refused: 2}}}},
		Outbox: outbox{alert.Stats{Pending: 3, Oldest: 90 * time.Second, HandedOver: 8}}})
}

func TestMetricsSayWhatTheViewSays(t *testing.T) {
	_, h := full()
	body := get(h, "/metrics").Body.String()
	for _, want := range []string{
		`undersheet_line_concentration_ppm{line="north top",stack="B",store="Long Store"} 271`,
		`undersheet_line_reading_age_seconds{line="south low",stack="B",store="Long Store"} 240`,
		`undersheet_line_forecast_ppm{line="north top",percentile="5",stack="B",store="Long Store"} 91`,
		`undersheet_line_end_level_chance_ratio{line="north top",stack="B",store="Long Store"} 0.31`,
		`undersheet_air_concentration_ppm{point="door",store="Long Store",where="door"} 0.02`,
		`undersheet_gate_state{state="shut",store="Long Store"} 1`, `undersheet_gate_state{state="cleared",store="Long Store"} 0`,
		`undersheet_gate_state{state="check-owed",store="Round Store"} 1`,
		`undersheet_stack_phase{phase="exposure",stack="B",store="Long Store"} 1`, `undersheet_stack_phase{phase="none",stack="C",store="Long Store"} 1`,
		`undersheet_alarms_raised{alarm="leak",priority="high"} 1`, `undersheet_alarms_raised_priority{priority="low"} 0`,
		`undersheet_entries_folded_total 4711`, `undersheet_outbox_pending_messages 3`, `undersheet_outbox_oldest_age_seconds 90`,
		`undersheet_newest_entry_age_seconds 2`, `undersheet_up_to_date 1`, `undersheet_instrument_readings_total{instrument="rack"} 900`,
		`undersheet_stack_leak_threshold{stack="B",store="Long Store"} 11.5`, `undersheet_build_info{goversion="`,
	} {
		require.Contains(t, body, want)
	}
	require.NotContains(t, body, `undersheet_line_concentration_ppm{line="south low"`, "a silent line has no present concentration")
	require.NotContains(t, body, `undersheet_line_concentration_ppm{line="top"`, "nor has one that was never read")
	require.NotContains(t, body, "Amal Quint", "people are no labels")
}

// TestPromtoolAccepts: the linter of Prometheus has nothing to say.
func TestPromtoolAccepts(t *testing.T) {
	promtool, err := exec.LookPath("promtool")
	if err != nil {
		missing(t, "promtool", "prometheus")
	}
	for name, f := range map[string]*fake{"invented": invented(), "hostile names": hostile()} {
		_, h := full()
		if name != "invented" {
			h = f.handler(Options{})
		}
		c := exec.Command(promtool, "check", "metrics")
		c.Stdin = strings.NewReader(get(h, "/metrics").Body.String())
		out, err := c.CombinedOutput()
		require.NoError(t, err, "%s: %s", name, out)
		require.Empty(t, string(out), name)
	}
}

// TestPrometheusScrapes: a real Prometheus reads the metrics and answers for them.
func TestPrometheusScrapes(t *testing.T) {
	prometheus, err := exec.LookPath("prometheus")
	if err != nil {
		missing(t, "prometheus", "prometheus")
	}
	if testing.Short() {
		t.Skip("starts a Prometheus server")
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	_, h := full()
	served := make(chan error, 1)
	go func() { served <- Serve(t.Context(), l, h) }()
	dir, port := t.TempDir(), freePort(t)
	config := filepath.Join(dir, "p.yml")
	require.NoError(t, os.WriteFile(config, fmt.Appendf(nil, "scrape_configs: [{job_name: undersheet, scrape_interval: 200ms, scrape_timeout: 200ms, static_configs: [{targets: [%q]}]}]\n", l.Addr()), 0o600))
	c := exec.CommandContext(t.Context(), prometheus, "--config.file="+config, "--storage.tsdb.path="+filepath.Join(dir, "db"), "--web.listen-address="+port, "--log.level=error")
	require.NoError(t, c.Start())
	defer func() { _ = c.Process.Kill(); _ = c.Wait() }()
	query := "http://" + port + "/api/v1/query?query=" + url.QueryEscape(`undersheet_gate_state{store="Long Store",state="shut"}`)
	require.Eventually(t, func() bool {
		r, err := http.Get(query)
		if err != nil {
			return false
		}
		defer r.Body.Close()
		var a struct {
			Data struct {
				Result []struct{ Value []any }
			}
		}
		return json.NewDecoder(r.Body).Decode(&a) == nil && len(a.Data.Result) == 1 && a.Data.Result[0].Value[1] == "1"
	}, 15*time.Second, 100*time.Millisecond)
}

func freePort(t *testing.T) string {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	return l.Addr().String()
}

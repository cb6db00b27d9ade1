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
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/alert"
	"undersheet/ingest"
	"undersheet/logbook"
	"undersheet/peer"
	"undersheet/rules"
	"undersheet/rules/gate"
	"undersheet/rules/instrument"
	"undersheet/rules/ledger"
	"undersheet/rules/reading"
)

// full is the invented depot with everything that can be watched.
func full() (*fake, http.Handler) {
	f := invented()
	f.view.Alarms[1].Acknowledged = logbook.At(now.Add(-time.Hour))
	f.status.Snapshot, f.status.SnapshotAt = 4700, now.Add(-time.Minute)
	st := &f.view.Stores[0]
	st.Doors = []rules.ContactView{{Name: "gate", Channel: "long-gate", Known: true, On: true, Last: sample(1, 30*time.Second, reading.OK)}, {Name: "hatch", Channel: "hatch"}}
	st.Water = []rules.ContactView{{Name: "drain", Channel: "drain", Known: true, Last: sample(0, 5*time.Second, reading.OK)}}
	f.view.Mains = []rules.ContactView{{Name: "relay", Channel: "relay", Known: true, On: true, Last: sample(1, time.Second, reading.OK)}}
	flow := sample(0.9, time.Second, reading.OK)
	flow.Unit = logbook.LMin
	f.view.Pumps = []rules.PumpView{{Name: "north pump", State: rules.PumpRuns, Flow: 1.2, Last: flow}, {Name: "spare", State: rules.PumpNotWatched, Flow: 1}}
	f.view.Stock = []ledger.FormStock{{Form: "pellets", Stock: ledger.Stock{Received: 5000, Used: 1500, Left: 3500}}, {Form: "a strip of paper", Stock: ledger.Stock{Left: -2}}, {Form: "a roll", Stock: ledger.Stock{Left: 5}}}
	due := logbook.At(now.Add(-24 * time.Hour))
	st.Stacks[0].NotToIssue = true
	f.view.FollowUps = []rules.FollowUpView{{FollowUp: logbook.FollowJar, Stack: "B", State: logbook.FollowOpen}, {FollowUp: logbook.FollowJar, Stack: "B", State: logbook.FollowOpen, Due: due, Overdue: true},
		{FollowUp: logbook.FollowLicence, Person: "Amal Quint", State: logbook.FollowDone, Due: due}}
	f.view.Channels = []rules.ChannelView{{Name: "door", Owes: gate.CheckOverdue, Checks: []instrument.KindCheck{{What: logbook.CheckBump, Check: instrument.Check{Passed: true, Due: due}}}}, {Name: "office"}}
	f.view.Wind = &rules.WindView{Speed: sample(3.5, time.Second, reading.OK), Direction: sample(270, time.Second, reading.Silent)}
	return f, f.handler(Options{Intake: intake{ingest.Stats{Waiting: 1, Instruments: []ingest.Instrument{{Name: "rack", Readings: 900, Refused: 2, Repeated: 7, Reused: 1, Last: now.Add(-8 * time.Second)}}}},
		Outbox: outbox{alert.Stats{Pending: 3, Oldest: 90 * time.Second, HandedOver: 8, Repeats: 2, Attention: []string{"x"}}},
		Machinery: Machinery{
			Head: func() (uint64, error) { return 4719, nil },
			Disk: func() (Disk, error) { return Disk{Size: 4096, Free: 1 << 30}, nil },
			Messengers: func() ([]Messenger, error) {
				return []Messenger{{"mail", 2, time.Minute, 4}, {"sms", 1, time.Second, 0}}, nil
			},
			Modem: func() (Modem, error) {
				return Modem{Ready: true, Registered: true, SignalKnown: true, SignalDBm: -83, Parts: 6, Failed: 1}, nil
			},
			Beacon: func() (Beacon, error) { return Beacon{Connected: true, Published: 12}, nil },
			Forwards: func() ([]Forward, error) {
				return []Forward{{Name: "archive", Lag: 19, Oldest: 7 * time.Second, Sent: 4700, Refused: 2, Failed: 5, Trouble: "it refuses the token"}}, nil
			},
		}})
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
		`undersheet_stack_half_life_seconds{stack="B",store="Long Store"} 221760`, `undersheet_stack_loss_se_per_day{stack="B",store="Long Store"} 0.02`,
		`undersheet_stack_lowest_to_highest_ratio{stack="B",store="Long Store"} 0.94`, `undersheet_line_unread_seconds{line="north top",stack="B",store="Long Store"} 0`,
		`undersheet_gate_reason{reason="under-gas",store="Long Store"} 1`, `undersheet_gate_reasons{store="Long Store"} 2`,
		`undersheet_alarm_raised{alarm="leak",channel="",follow_up="",line="north top",point="",priority="high",stack="B",store="Long Store"} 1`,
		`undersheet_alarm_acknowledged{alarm="leak",channel="",follow_up="",line="north top",point="",priority="high",stack="B",store="Long Store"} 1`,
		`undersheet_alarms_unacknowledged{priority="high"} 0`, `undersheet_alarms_unacknowledged{priority="medium"} 1`,
		`undersheet_door_open{door="gate",store="Long Store"} 1`, `undersheet_water_wet{sensor="drain",store="Long Store"} 0`, `undersheet_mains_power{mains="relay"} 1`,
		`undersheet_contact_reading_age_seconds{channel="long-gate"} 30`, `undersheet_pump_state{pump="north pump",state="running"} 1`,
		`undersheet_pump_state{pump="spare",state="not-watched"} 1`, `undersheet_pump_flow_ratio{pump="north pump"} 0.75`, `undersheet_wind_speed_meters_per_second 3.5`,
		`undersheet_site_info{site="Elder Quay Depot",timezone="Africa/Nairobi"} 1`, `undersheet_clock_timestamp_seconds 1.778076e+09`,
		`undersheet_watch_state{state="keeping-up"} 1`, `undersheet_watch_state{state="clock-behind"} 0`, `undersheet_folded_seq 4711`, `undersheet_judged_seq 4711`,
		`undersheet_snapshot_seq 4700`, `undersheet_snapshot_age_seconds 60`, `undersheet_logbook_head_seq 4719`, `undersheet_logbook_fold_lag_entries 8`,
		`undersheet_logbook_size_bytes 4096`, `undersheet_logbook_disk_free_bytes 1.073741824e+09`, `undersheet_intake_waiting_calls 1`,
		`undersheet_instrument_repeated_readings_total{instrument="rack"} 7`, `undersheet_instrument_reused_numbers_total{instrument="rack"} 1`, `undersheet_instrument_age_seconds{instrument="rack"} 8`,
		`undersheet_outbox_faults 1`, `undersheet_messages_repeated_total 2`, `undersheet_messenger_pending_messages{messenger="mail"} 2`,
		`undersheet_messenger_oldest_age_seconds{messenger="mail"} 60`, `undersheet_messenger_waiting_attempts{messenger="mail"} 4`, `undersheet_messenger_waiting_attempts{messenger="sms"} 0`,
		`undersheet_modem_registered 1`, `undersheet_modem_signal_dbm -83`, `undersheet_forward_lag_entries{forward="archive"} 19`, `undersheet_forward_attempts_failed_total{forward="archive"} 5`,
		`undersheet_forward_oldest_age_seconds{forward="archive"} 7`, `undersheet_forward_lines_total{forward="archive"} 4700`, `undersheet_forward_refused_lines_total{forward="archive"} 2`, `undersheet_forward_attention{forward="archive"} 1`,
		`undersheet_follow_ups_open{follow_up="jar"} 2`, `undersheet_follow_ups_overdue{follow_up="jar"} 1`, `undersheet_follow_ups_next_due_timestamp_seconds{follow_up="jar"} 1.7779896e+09`,
		`undersheet_follow_ups_open{follow_up="licence"} 0`, `undersheet_stack_not_to_issue{stack="B",store="Long Store"} 1`, `undersheet_stack_not_to_issue{stack="C",store="Long Store"} 0`,
		// 0.2 g of phosphine a pellet of 0.6 g: rules/plan has the source
		`undersheet_stock_pieces{form="pellets"} 3500`, `undersheet_stock_phosphine_grams{form="pellets"} 700`, `undersheet_stock_pieces{form="other"} 3`,
		`undersheet_channels_owing_check{reason="check-overdue"} 1`, `undersheet_channels_owing_check{reason="check-failed"} 0`, `undersheet_channel_check_due_timestamp_seconds{channel="door",check="bump"} 1.7779896e+09`,
		`undersheet_modem_ready 1`, `undersheet_modem_parts_sent_total 6`, `undersheet_modem_attempts_failed_total 1`,
		`undersheet_beacon_connected 1`, `undersheet_beacon_messages_total 12`,
	} {
		require.Contains(t, body, want)
	}
	require.NotContains(t, body, `undersheet_line_concentration_ppm{line="south low"`, "a silent line has no present concentration")
	require.NotContains(t, body, `undersheet_line_concentration_ppm{line="top"`, "nor has one that was never read")
	require.NotContains(t, body, "strip of paper", "free text of the log is no label")
	require.NotContains(t, body, "Amal Quint", "people are no labels")
	require.NotContains(t, body, `door="hatch"`, "a door that was never read is neither open nor shut")
	require.NotContains(t, body, "undersheet_wind_direction_degrees ", "a wind vane that is silent shows nothing")
	for _, m := range catalogue() {
		if m.name != "wind_direction_degrees" {
			require.Contains(t, body, "\nundersheet_"+m.name, "every metric of the list can come")
		}
	}
}

// TestMetricsWithFaultyMachinery: what cannot be asked is left out; the rest comes.
func TestMetricsWithFaultyMachinery(t *testing.T) {
	m := Machinery{Head: func() (uint64, error) { return 0, errDisk }, Disk: func() (Disk, error) { return Disk{}, errDisk },
		Modem: func() (Modem, error) { return Modem{}, errDisk }, Forwards: func() ([]Forward, error) {
			return []Forward{{Name: "archive", Lag: 19, Oldest: 7 * time.Second, Sent: 4700, Refused: 2, Failed: 5, Trouble: "it refuses the token"}}, nil
		}}
	body := get(invented().handler(Options{Machinery: m}), "/metrics").Body.String()
	for _, out := range []string{"undersheet_logbook_head_seq", "undersheet_logbook_size_bytes", "undersheet_modem", "undersheet_messenger"} {
		require.NotContains(t, body, out)
	}
	require.Contains(t, body, `undersheet_forward_attempts_failed_total{forward="archive"} 5`)
	require.Contains(t, body, "undersheet_up_to_date 1")
}

// TestWatchStatesAreTold: each reason for which every gate is shown shut is a state
// of the watch, one at a time.
func TestWatchStatesAreTold(t *testing.T) {
	for _, reason := range watchStates {
		f := invented()
		if reason != keepingUp {
			f.status.Shut = reason
		}
		body := get(f.handler(Options{}), "/metrics").Body.String()
		require.Contains(t, body, `undersheet_watch_state{state="`+reason+`"} 1`)
		require.Len(t, regexp.MustCompile(`undersheet_watch_state\{[^}]*\} 0`).FindAllString(body, -1), len(watchStates)-1)
	}
}

// TestPromtoolAccepts: the linter of Prometheus has nothing to say.
func TestPromtoolAccepts(t *testing.T) {
	promtool := peer.Need(t, "promtool", "prometheus")
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
	prometheus := peer.Need(t, "prometheus", "prometheus")
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

// Follow-ups of one stack that are due at once are told apart, by what they are; of two of one
// sort nobody is said to have taken charge before somebody took charge of both. Prometheus
// refuses a series that comes twice in one answer (its text format, "each line must have a
// unique combination of a metric name and labels").
func TestFollowUpsOfOneStackInMetrics(t *testing.T) {
	f, h := full()
	due := func(code, treatment string, taken bool) {
		a := rules.AlarmView{Alarm: logbook.Alarm{Alarm: "follow-up-due", Store: "Long Store", Stack: "B", Priority: logbook.PriorityMedium, Code: code, Owed: &logbook.Owed{Treatment: treatment}}}
		if taken {
			a.Acknowledged = logbook.At(now)
		}
		f.view.Alarms = append(f.view.Alarms, a)
	}
	due("inspection", "B-7", true)
	due("jar", "B-7", true)
	due("jar", "B-8", false)
	due("bag-gas", "B-7", false)
	body := get(h, "/metrics").Body.String()
	series := map[string]string{}
	for _, line := range strings.Split(body, "\n") {
		name, value, _ := strings.Cut(line, "} ")
		require.NotContains(t, series, name+"}")
		if strings.HasPrefix(name, "undersheet_alarm_") {
			series[name+"}"] = value
		}
	}
	for code, taken := range map[string]string{"inspection": "1", "jar": "0", "bag-gas": "0"} {
		of := `{alarm="follow-up-due",channel="",follow_up="` + code + `",line="",point="",priority="medium",stack="B",store="Long Store"}`
		require.Equal(t, "1", series["undersheet_alarm_raised"+of], code)
		require.Equal(t, taken, series["undersheet_alarm_acknowledged"+of], code)
	}
	require.Contains(t, body, `undersheet_alarms_raised{alarm="follow-up-due",priority="medium"} 4`)
}

// A point that nobody read has no mean: a 0 would be taken for clean air (29 CFR 1910.1000(d)(1)
// averages what was measured).
func TestMeanOfUnreadAirIsAbsent(t *testing.T) {
	f, h := full()
	air := &f.view.Stores[0].Air[0]
	shown := func(read8h float64, last rules.Sample) (windows []string) {
		air.TWA8h, air.Mean15min, air.Read8h, air.Last = 0, 0, read8h, last
		body := get(h, "/metrics").Body.String()
		for _, window := range []string{"8h", "15min"} {
			if strings.Contains(body, `undersheet_air_mean_ppm{point="`+air.Name+`",store="Long Store",where="`+air.Where+`",window="`+window+`"} 0`) {
				windows = append(windows, window)
			}
		}
		return windows
	}
	require.Empty(t, shown(0, rules.Sample{State: reading.None}))
	require.Equal(t, []string{"8h", "15min"}, shown(2, sample(0, time.Minute, reading.BelowDetection)))
	require.Equal(t, []string{"8h"}, shown(2, sample(0, 20*time.Minute, reading.BelowDetection)))
	require.Equal(t, []string{"8h"}, shown(2, sample(0, time.Minute, reading.Fault)))
}

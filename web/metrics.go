package web

import (
	"net/http"
	"runtime"
	"strings"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"undersheet/logbook"
	"undersheet/rules"
	"undersheet/rules/reading"
)

// metrics returns the handler of /metrics, with a registry of its own.
func (p *site) metrics() http.Handler {
	r := prometheus.NewRegistry()
	r.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}), newCollector(p))
	return promhttp.HandlerFor(r, promhttp.HandlerOpts{ErrorHandling: promhttp.ContinueOnError, MaxRequestsInFlight: 4, ErrorLog: errorLog{p}})
}

// errorLog writes the registry's complaints to the program's log.
type errorLog struct{ p *site }

// Println implements promhttp.Logger.
func (l errorLog) Println(v ...any) { l.p.opts.Logger.Error("gather metrics", "error", v) }

// Values of enumerated labels.
var (
	gateStates = []string{logbook.GateShut, logbook.GateAiring, logbook.GateCheckOwed, logbook.GateCleared}
	phases     = []string{"none", logbook.PhaseDosing, logbook.PhaseExposure, logbook.PhaseAiring, logbook.PhaseWithholding, logbook.PhaseClosed}
	verdicts   = []string{"none", logbook.VerdictProvisional, logbook.VerdictHeld, logbook.VerdictFailed, logbook.VerdictAbandoned}
	priorities = []string{logbook.PriorityHigh, logbook.PriorityMedium, logbook.PriorityLow}
)

// collector gives the metrics from the view and the counts as they are when
// somebody asks. Labels take their values from the site file and from the codes
// of the rules alone, so that their number is bounded.
type collector struct {
	site  *site
	descs map[string]*prometheus.Desc
}

// metric describes one metric.
type metric struct {
	name, help string
	labels     []string
}

var (
	ofStore = []string{"store"}
	ofStack = []string{"store", "stack"}
	ofLine  = []string{"store", "stack", "line"}
	ofPoint = []string{"store", "point", "where"}
)

// with returns labels and more.
func with(labels []string, more ...string) []string {
	return append(append([]string(nil), labels...), more...)
}

// catalogue lists all metrics, by the part of their names after "undersheet_".
func catalogue() []metric {
	return []metric{
		{"line_concentration_ppm", "Newest trusted reading of a sampling line under a sheet, in ppm by volume. Absent while there is none to trust.", ofLine},
		{"line_reading_age_seconds", "Age of the newest reading of a sampling line.", ofLine},
		{"line_ctp_ppm_seconds", "Concentration-time product of a line since t = 0, in ppm seconds.", ofLine},
		{"line_forecast_ppm", "Concentration expected at the planned end of the exposure: its percentile 5, 50 or 95.", with(ofLine, "percentile")},
		{"line_end_level_chance_ratio", "Chance from 0 to 1 that the line holds the end level at the planned end.", ofLine},
		{"air_concentration_ppm", "Newest trusted reading of an air point, in ppm by volume. Absent while there is none to trust.", ofPoint},
		{"air_reading_age_seconds", "Age of the newest reading of an air point.", ofPoint},
		{"air_mean_ppm", "Time-weighted mean of an air point in ppm over the window 8h or 15min.", with(ofPoint, "window")},
		{"stack_phase", "Phase of the treatment of a stack: 1 for the one that it is in, 0 for the others.", with(ofStack, "phase")},
		{"stack_verdict", "Verdict on the treatment of a stack: 1 for the one that holds, 0 for the others.", with(ofStack, "verdict")},
		{"stack_end_level_ppm", "Concentration that every line must still show at the end of the exposure.", ofStack},
		{"stack_start_timestamp_seconds", "Time of t = 0 of the treatment, in seconds since 1970.", ofStack},
		{"stack_planned_end_timestamp_seconds", "Planned end of the exposure, in seconds since 1970.", ofStack},
		{"stack_forecast_ppm", "Concentration expected of the lowest line at the planned end: its percentile 5, 50 or 95.", with(ofStack, "percentile")},
		{"stack_end_level_chance_ratio", "Chance from 0 to 1 that all lines hold the end level at the planned end.", ofStack},
		{"stack_loss_per_day", "Fitted first-order loss of concentration, per day.", ofStack},
		{"stack_leak_statistic", "Statistic of the leak test.", ofStack},
		{"stack_leak_threshold", "Threshold of the leak test's statistic.", ofStack},
		{"stack_leak_test_live", "1 while the leak test watches the stack.", ofStack},
		{"gate_state", "State of the re-entry gate of a store: 1 for the one that holds, 0 for the others. No state says that a store is free of danger.", with(ofStore, "state")},
		{"gate_limit_ppm", "Concentration below which the air of a store must be.", ofStore},
		{"gate_reasons", "How many reasons keep the gate from opening.", ofStore},
		{"store_people_inside", "1 while somebody is inside by masked entry.", ofStore},
		{"alarms_raised", "Alarms that are raised now, by name and priority.", []string{"alarm", "priority"}},
		{"alarms_raised_priority", "Alarms that are raised now, by priority.", []string{"priority"}},
		{"up_to_date", "1 while the fold keeps up; 0 while every gate is shown shut for the program's own sake.", nil},
		{"entries_folded_total", "Entries of the logbook folded since the start.", nil},
		{"records_committed_total", "Records committed to the logbook since the start.", nil},
		{"newest_entry_age_seconds", "Age of the newest entry that was folded.", nil},
		{"outbox_pending_messages", "Messages to people that wait.", nil},
		{"outbox_oldest_age_seconds", "Age of the oldest message that waits.", nil},
		{"messages_handed_over_total", "Messages handed over since the start.", nil},
		{"message_attempts_failed_total", "Attempts to hand a message over that failed since the start.", nil},
		{"messages_given_up_total", "Messages given up since the start.", nil},
		{"instrument_readings_total", "Readings committed since the start, by instrument.", []string{"instrument"}},
		{"instrument_refused_payloads_total", "Payloads and readings that were kept as refused since the start, by instrument.", []string{"instrument"}},
		{"instrument_units_silent", "Units of an instrument that do not answer now.", []string{"instrument"}},
		{"logbook_write_failing", "1 while the logbook cannot be written.", nil},
		{"build_info", "1; the program's version and that of Go are labels.", []string{"version", "goversion"}},
	}
}

// newCollector describes every metric of the catalogue once.
func newCollector(s *site) *collector {
	c := &collector{site: s, descs: map[string]*prometheus.Desc{}}
	for _, m := range catalogue() {
		c.descs[m.name] = prometheus.NewDesc("undersheet_"+m.name, m.help, m.labels, nil)
	}
	return c
}

// Describe implements prometheus.Collector.
func (c *collector) Describe(ch chan<- *prometheus.Desc) {
	for _, d := range c.descs {
		ch <- d
	}
}

// Collect implements prometheus.Collector.
func (c *collector) Collect(ch chan<- prometheus.Metric) {
	v := c.site.source.View()
	g := &gathering{descs: c.descs, ch: ch, now: logbook.At(c.site.opts.Clock()), shut: !c.site.health(v).OK}
	for i := range v.Stores {
		g.store(&v.Stores[i])
	}
	g.alarms(v.Alarms)
	if v.Now != 0 {
		g.gauge("newest_entry_age_seconds", g.age(v.Now))
	}
	g.program(c.site)
}

// gathering is one answer to whoever asks for metrics.
type gathering struct {
	descs map[string]*prometheus.Desc
	ch    chan<- prometheus.Metric
	now   logbook.Time
	shut  bool // the watch does not keep up: every gate is shut
}

// gauge sends a value of now.
func (g *gathering) gauge(name string, v float64, labels ...string) {
	g.put(prometheus.GaugeValue, name, v, labels)
}

// counter sends a count since the start.
func (g *gathering) counter(name string, v uint64, labels ...string) {
	g.put(prometheus.CounterValue, name, float64(v), labels)
}

// put sends a metric; one that cannot be made is told to the registry.
func (g *gathering) put(t prometheus.ValueType, name string, v float64, labels []string) {
	for i, l := range labels {
		labels[i] = strings.ToValidUTF8(l, "\uFFFD")
	}
	m, err := prometheus.NewConstMetric(g.descs[name], t, v, labels...)
	if err != nil {
		m = prometheus.NewInvalidMetric(g.descs[name], err)
	}
	g.ch <- m
}

// enum gives 1 for the value that holds and 0 for the others.
func (g *gathering) enum(name, holds string, all []string, labels ...string) {
	for _, v := range all {
		g.gauge(name, truth(v == holds), with(labels, v)...)
	}
}

// truth is 1 for true and 0 for false.
func truth(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// age is how old a moment is, in seconds; never negative.
func (g *gathering) age(at logbook.Time) float64 { return max(0, g.now.Sub(at).Seconds()) }

// store gives the gate, the air and the stacks of a store.
func (g *gathering) store(st *rules.StoreView) {
	state := st.Gate.State
	if g.shut || gateWords[state] == "" {
		state = logbook.GateShut // never decided, or not known: as the pages show it
	}
	g.enum("gate_state", state, gateStates, st.Name)
	g.gauge("gate_reasons", float64(len(st.Gate.Reasons)), st.Name)
	g.gauge("store_people_inside", truth(st.Inside != ""), st.Name)
	if st.Gate.LimitPPM > 0 {
		g.gauge("gate_limit_ppm", float64(st.Gate.LimitPPM), st.Name)
	}
	for _, a := range st.Air {
		labels := []string{st.Name, a.Name, a.Where}
		g.sample("air_concentration_ppm", "air_reading_age_seconds", a.Last, labels)
		g.gauge("air_mean_ppm", a.TWA8h, with(labels, "8h")...)
		g.gauge("air_mean_ppm", a.Mean15min, with(labels, "15min")...)
	}
	for i := range st.Stacks {
		g.stack(&st.Stacks[i], []string{st.Name, st.Stacks[i].Name})
	}
}

// sample gives a reading and its age; a reading that is not trusted, or old, is
// left out, so that no rule of alerting takes it for the present.
func (g *gathering) sample(value, ageOf string, s rules.Sample, labels []string) {
	if s.At == 0 {
		return
	}
	g.gauge(ageOf, g.age(s.At), labels...)
	switch s.State {
	case reading.OK, reading.BelowDetection, reading.OverRange:
		g.gauge(value, s.PPM, labels...)
	}
}

// stack gives a stack and its lines.
func (g *gathering) stack(k *rules.StackView, labels []string) {
	g.enum("stack_phase", orNone(k.Phase), phases, labels...)
	g.enum("stack_verdict", orNone(k.Verdict), verdicts, labels...)
	for i := range k.Lines {
		g.line(&k.Lines[i], k, with(labels, k.Lines[i].Name))
	}
	if k.Started == 0 {
		return
	}
	g.gauge("stack_end_level_ppm", k.EndLevelPPM, labels...)
	g.gauge("stack_start_timestamp_seconds", unix(k.Started), labels...)
	g.gauge("stack_planned_end_timestamp_seconds", unix(k.PlannedEnd), labels...)
	g.gauge("stack_leak_statistic", k.Leak.Statistic, labels...)
	g.gauge("stack_leak_threshold", k.Leak.Threshold, labels...)
	g.gauge("stack_leak_test_live", truth(k.Leak.Live), labels...)
	if k.Fit != nil {
		g.gauge("stack_loss_per_day", k.Fit.LossPerDay, labels...)
	}
	if k.Phase == logbook.PhaseExposure {
		g.forecast("stack_forecast_ppm", "stack_end_level_chance_ratio", k.Lowest, labels)
	}
}

// line gives one line.
func (g *gathering) line(l *rules.LineView, k *rules.StackView, labels []string) {
	g.sample("line_concentration_ppm", "line_reading_age_seconds", l.Last, labels)
	if k.Started != 0 {
		g.gauge("line_ctp_ppm_seconds", 3600*l.CTPPPMh, labels...)
	}
	if k.Phase == logbook.PhaseExposure {
		g.forecast("line_forecast_ppm", "line_end_level_chance_ratio", l.Forecast, labels)
	}
}

// forecast gives a forecast and its chance; nothing while there is none.
func (g *gathering) forecast(ppm, chance string, f *logbook.Forecast, labels []string) {
	if f == nil {
		return
	}
	g.gauge(ppm, float64(f.PPM.P05), with(labels, "5")...)
	g.gauge(ppm, float64(f.PPM.P50), with(labels, "50")...)
	g.gauge(ppm, float64(f.PPM.P95), with(labels, "95")...)
	g.gauge(chance, float64(f.ChanceMet), labels...)
}

// orNone names an empty code.
func orNone(code string) string {
	if code == "" {
		return "none"
	}
	return code
}

// unix is t in seconds since 1970.
func unix(t logbook.Time) float64 { return float64(t) / 1e6 }

// alarms counts the raised alarms.
func (g *gathering) alarms(alarms []rules.AlarmView) {
	byName, byPriority := map[[2]string]int{}, map[string]int{}
	for _, a := range alarms {
		byName[[2]string{a.Alarm.Alarm, a.Alarm.Priority}]++
		byPriority[a.Alarm.Priority]++
	}
	for k, n := range byName {
		g.gauge("alarms_raised", float64(n), k[0], k[1])
	}
	for _, p := range priorities {
		g.gauge("alarms_raised_priority", float64(byPriority[p]), p)
	}
}

// program gives how the daemon's own work goes.
func (g *gathering) program(s *site) {
	st := s.source.Status()
	g.gauge("up_to_date", truth(!g.shut))
	g.counter("entries_folded_total", st.Folded)
	g.counter("records_committed_total", st.Records)
	g.gauge("build_info", 1, s.opts.Version, runtime.Version())
	if s.opts.Outbox != nil {
		o := s.opts.Outbox.Stats()
		g.gauge("outbox_pending_messages", float64(o.Pending))
		g.gauge("outbox_oldest_age_seconds", o.Oldest.Seconds())
		g.counter("messages_handed_over_total", o.HandedOver)
		g.counter("message_attempts_failed_total", o.Failed)
		g.counter("messages_given_up_total", o.GivenUp)
	}
	if s.opts.Intake == nil {
		return
	}
	in := s.opts.Intake.Stats()
	g.gauge("logbook_write_failing", truth(in.LogError != ""))
	for _, i := range in.Instruments {
		g.counter("instrument_readings_total", i.Readings, i.Name)
		g.counter("instrument_refused_payloads_total", i.Refused, i.Name)
		g.gauge("instrument_units_silent", float64(len(i.Down)), i.Name)
	}
}

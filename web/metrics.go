package web

import (
	"math"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"undersheet/logbook"
	"undersheet/rules"
	"undersheet/rules/gate"
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
	watchStates = []string{keepingUp, reasonTrouble, gate.NoSite, gate.CatchingUp, gate.ClockBehind,
		gate.NoEntries, gate.LogbookFailing, gate.FoldStalled, gate.FoldFailed, gate.WatchStopped}
	pumpStates = []string{rules.PumpRuns, rules.PumpOff, rules.PumpNotKnown, rules.PumpNotWatched}
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
	h := c.site.health(v)
	g := &gathering{descs: c.descs, ch: ch, now: logbook.At(c.site.opts.Clock()), shut: !h.OK}
	for i := range v.Stores {
		g.store(&v.Stores[i])
	}
	g.rooms(v)
	g.alarms(v.Alarms)
	g.followUps(v)
	g.stock(v.Stock)
	g.checks(v.Channels)
	g.gauge("clock_timestamp_seconds", unix(g.now))
	if v.Config != nil {
		g.gauge("site_info", 1, v.Site, v.Config.Timezone)
	}
	if v.Now != 0 {
		g.gauge("newest_entry_age_seconds", g.age(v.Now))
	}
	g.watch(c.site, h)
	g.intake(c.site.opts.Intake)
	g.machinery(c.site)
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
	if g.shut || !slices.Contains(gateStates, state) {
		state = logbook.GateShut // never decided, or not known: as the pages show it
	}
	g.enum("gate_state", state, gateStates, st.Name)
	g.reasons(st)
	g.gauge("store_people_inside", truth(st.Inside != ""), st.Name)
	g.gauge("store_airing_seconds", 3600*st.AiringH, st.Name)
	if st.Gate.LimitPPM > 0 {
		g.gauge("gate_limit_ppm", float64(st.Gate.LimitPPM), st.Name)
	}
	for _, a := range st.Air {
		labels := []string{st.Name, a.Name, a.Where}
		g.sample("air_concentration_ppm", "air_reading_age_seconds", a.Last, labels)
		if a.Read8h > 0 {
			g.gauge("air_mean_ppm", a.TWA8h, with(labels, "8h")...)
		}
		if a.Mean15min > 0 || shows(a.Last) && g.now.Sub(a.Last.At) < shortTerm {
			g.gauge("air_mean_ppm", a.Mean15min, with(labels, "15min")...)
		}
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
	if shows(s) {
		g.gauge(value, s.PPM, labels...)
	}
}

// shows reports whether a reading is to be trusted now.
func shows(s rules.Sample) bool {
	return s.State == reading.OK || s.State == reading.BelowDetection || s.State == reading.OverRange
}

// shortTerm is the time that a short-term limit is of.
const shortTerm = 15 * time.Minute

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
	if k.LowHighRatio > 0 {
		g.gauge("stack_lowest_to_highest_ratio", k.LowHighRatio, labels...)
	}
	if k.Fit != nil {
		g.gauge("stack_loss_per_day", k.Fit.LossPerDay, labels...)
		g.gauge("stack_loss_se_per_day", k.Fit.LossSE, labels...)
		g.gauge("stack_yield_ppm", k.Fit.YieldPPM, labels...)
	}
	if k.Fit != nil && k.Fit.HalfLifeHours > 0 && !math.IsInf(k.Fit.HalfLifeHours, 0) {
		g.gauge("stack_half_life_seconds", 3600*k.Fit.HalfLifeHours, labels...)
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
		g.gauge("line_unread_seconds", 3600*l.GapHours, labels...)
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

package main

import (
	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/cog/variants"
	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/prometheus"
	"github.com/grafana/grafana-foundation-sdk/go/stat"
	"github.com/grafana/grafana-foundation-sdk/go/statetimeline"
	"github.com/grafana/grafana-foundation-sdk/go/table"
	"github.com/grafana/grafana-foundation-sdk/go/text"
	"github.com/grafana/grafana-foundation-sdk/go/timeseries"
)

// caution stands on top of every board.
const caution = `**A board shows what was read, and may be old or blind.** Nobody enters a store by what stands here: the store's page, its gate and hand readings beside the stacks decide. ` +
	`Where gas is or may be: two trained people, breathing protection, daylight; else wait.`

// ref returns a pointer to v.
func ref[T any](v T) *T { return &v }

// source is the data source that the reader of a board chose.
func source() common.DataSourceRef {
	return common.DataSourceRef{Type: ref("prometheus"), Uid: ref("${source}")}
}

// board begins a board with what all have: the choice of source and depot, and the
// caution.
func board(title, uid, about string) *dashboard.DashboardBuilder {
	return dashboard.NewDashboardBuilder(title).Uid(uid).Description(about).Tags([]string{"undersheet", "phosphine"}).
		Timezone("browser").Refresh("30s").Tooltip(dashboard.DashboardCursorSyncCrosshair).Readonly().
		WithVariable(dashboard.NewDatasourceVariableBuilder("source").Label("Prometheus").Type("prometheus")).
		WithVariable(choice("depot", "Depot", "label_values(undersheet_up_to_date, instance)"))
}

// choice is a variable whose values Prometheus names.
func choice(name, label, query string) *dashboard.QueryVariableBuilder {
	return dashboard.NewQueryVariableBuilder(name).Label(label).Datasource(source()).Query(dashboard.StringOrMap{String: &query}).Definition(query).
		Refresh(dashboard.VariableRefreshOnTimeRangeChanged).Sort(dashboard.VariableSortAlphabeticalAsc)
}

// cautionPanel says what a board is not.
func cautionPanel() *text.PanelBuilder {
	return text.NewPanelBuilder().Title("").Transparent(true).Mode(text.TextModeMarkdown).Content(caution).Span(24).Height(3)
}

// query asks for series over the time of the board.
func query(expr, legend string) *prometheus.DataqueryBuilder {
	return prometheus.NewDataqueryBuilder().Datasource(source()).Expr(expr).LegendFormat(legend).Range()
}

// now asks for values of this moment.
func now(expr, legend string) *prometheus.DataqueryBuilder {
	return prometheus.NewDataqueryBuilder().Datasource(source()).Expr(expr).LegendFormat(legend).Instant()
}

// rows asks for values of this moment as rows of a table.
func rows(expr string) *prometheus.DataqueryBuilder {
	return now(expr, "").Format(prometheus.PromQueryFormatTable)
}

// named gives queries the letters that Grafana knows them by: A, B, …
func named(qs []*prometheus.DataqueryBuilder) []cog.Builder[variants.Dataquery] {
	out := make([]cog.Builder[variants.Dataquery], len(qs))
	for i, q := range qs {
		out[i] = q.RefId(string(rune('A' + i)))
	}
	return out
}

// curves is a panel of curves over time.
func curves(title, about, unit string, qs ...*prometheus.DataqueryBuilder) *timeseries.PanelBuilder {
	return timeseries.NewPanelBuilder().Title(title).Description(about).Datasource(source()).Unit(unit).Targets(named(qs)).Span(12).Height(9).
		LineWidth(2).FillOpacity(0).ShowPoints(common.VisibilityModeNever).SpanNulls(common.BoolOrFloat64{Bool: ref(false)}).
		Legend(common.NewVizLegendOptionsBuilder().DisplayMode(common.LegendDisplayModeList).Placement(common.LegendPlacementBottom).ShowLegend(true)).
		Tooltip(common.NewVizTooltipOptionsBuilder().Mode(common.TooltipDisplayModeMulti).Sort(common.SortOrderDescending))
}

// dashed draws the curves of that name as a dashed line in a colour of its own: a
// limit or a level, told apart without colour too.
func dashed(p *timeseries.PanelBuilder, name, colour string) *timeseries.PanelBuilder {
	return p.OverrideByRegexp("/"+name+"/", []dashboard.DynamicConfigValue{
		{Id: "custom.lineStyle", Value: map[string]any{"fill": "dash", "dash": []int{10, 6}}},
		{Id: "color", Value: map[string]any{"mode": "fixed", "fixedColor": colour}},
	})
}

// figure is a panel of big figures of this moment.
func figure(title, about, unit string, qs ...*prometheus.DataqueryBuilder) *stat.PanelBuilder {
	return stat.NewPanelBuilder().Title(title).Description(about).Datasource(source()).Unit(unit).Targets(named(qs)).Span(4).Height(5).
		GraphMode(common.BigValueGraphModeNone).ColorMode(common.BigValueColorModeBackground).TextMode(common.BigValueTextModeValueAndName).
		ReduceOptions(common.NewReduceDataOptionsBuilder().Calcs([]string{"lastNotNull"})).Thresholds(steps("text")).NoValue("not known")
}

// bands is a panel of states over time.
func bands(title, about string, qs ...*prometheus.DataqueryBuilder) *statetimeline.PanelBuilder {
	return statetimeline.NewPanelBuilder().Title(title).Description(about).Datasource(source()).Targets(named(qs)).Span(12).Height(7).
		ShowValue(common.VisibilityModeAlways).MergeValues(true).FillOpacity(70).RowHeight(0.8).Thresholds(steps("text")).
		Legend(common.NewVizLegendOptionsBuilder().DisplayMode(common.LegendDisplayModeHidden).ShowLegend(false))
}

// list is a panel of rows of this moment; hidden names columns that are left out.
func list(title, about string, hidden []string, qs ...*prometheus.DataqueryBuilder) *table.PanelBuilder {
	exclude := map[string]bool{"Time": true, "__name__": true, "job": true, "instance": true}
	for _, h := range hidden {
		exclude[h] = true
	}
	return table.NewPanelBuilder().Title(title).Description(about).Datasource(source()).Targets(named(qs)).Span(12).Height(7).
		WithTransformation(dashboard.DataTransformerConfig{Id: "merge", Options: map[string]any{}}).
		WithTransformation(dashboard.DataTransformerConfig{Id: "organize", Options: map[string]any{"excludeByName": exclude}}).NoValue("none").
		Footer(common.NewTableFooterOptionsBuilder().Show(false).Reducer([]string{}))
}

// column gives a column of a table its heading and unit.
func column(p *table.PanelBuilder, name, heading, unit string, decimals int) *table.PanelBuilder {
	return p.OverrideByName(name, []dashboard.DynamicConfigValue{{Id: "displayName", Value: heading}, {Id: "unit", Value: unit}, {Id: "decimals", Value: decimals}})
}

// steps colours values: the first colour from below, then value and colour in turn.
func steps(colour string, more ...any) *dashboard.ThresholdsConfigBuilder {
	ts := []dashboard.Threshold{{Color: colour}}
	for i := 0; i+1 < len(more); i += 2 {
		ts = append(ts, dashboard.Threshold{Value: ref(more[i].(float64)), Color: more[i+1].(string)})
	}
	return dashboard.NewThresholdsConfigBuilder().Mode(dashboard.ThresholdsModeAbsolute).Steps(ts)
}

// word is what a value is shown as.
type word struct{ value, text, colour string }

// words shows values as words.
func words(ws ...word) []dashboard.ValueMapping {
	m := dashboard.NewValueMap()
	for i, w := range ws {
		m.Options[w.value] = dashboard.ValueMappingResult{Text: &w.text, Color: &w.colour, Index: ref(int32(i))}
	}
	return []dashboard.ValueMapping{{ValueMap: m}}
}

// Colours: red where people keep out or act, orange where something is owed, blue
// for what runs as it should. There is no green: a board gives no all-clear.
const (
	red    = "dark-red"
	orange = "dark-orange"
	blue   = "dark-blue"
	grey   = "text"
)

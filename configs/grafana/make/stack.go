package main

import (
	"strings"

	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/prometheus"
	"github.com/grafana/grafana-foundation-sdk/go/timeseries"
)

// of puts the chosen depot and stack into an expression, in place of the sign @.
func of(expr string) string {
	return strings.ReplaceAll(expr, "@", `instance="$depot",stack="$stack"`)
}

// ofStore asks for what belongs to the store of the chosen stack.
func ofStore(expr string) string {
	return expr + of(` and on (instance, store) undersheet_stack_phase{@}`)
}

// stackBoard shows one treatment.
func stackBoard() *dashboard.DashboardBuilder {
	b := board("Stack: one treatment", "undersheet-stack", "Curves, forecast, leak test and losses of one stack under its sheet.").Time("now-7d", "now").
		WithVariable(choice("stack", "Stack", `label_values(undersheet_stack_phase{instance="$depot"}, stack)`)).
		Annotation(raised()).WithPanel(cautionPanel())
	for _, part := range []func(*dashboard.DashboardBuilder){nowRow, gasRow, forecastRow, lossRow, storeRow} {
		part(b)
	}
	return b
}

// raised marks on every curve when an alarm of the stack stood.
func raised() *dashboard.AnnotationQueryBuilder {
	return dashboard.NewAnnotationQueryBuilder().Name("Alarms of the stack").Datasource(source()).Enable(true).IconColor(red).
		Expr(of(`undersheet_alarm_raised{@}`)).TitleFormat("{{alarm}} {{follow_up}} {{line}}").TextFormat("priority {{priority}}").Step("60s")
}

// nowRow shows how the treatment stands.
func nowRow(b *dashboard.DashboardBuilder) {
	one := func(expr string) *prometheus.DataqueryBuilder { return now(of(expr), "") }
	b.WithRow(dashboard.NewRowBuilder("How it stands")).
		WithPanel(figure("Phase", "", "", now(of(`undersheet_stack_phase{@} == 1`), "{{phase}}")).TextMode(common.BigValueTextModeName)).
		WithPanel(figure("Verdict", "", "", now(of(`undersheet_stack_verdict{@} == 1`), "{{verdict}}")).TextMode(common.BigValueTextModeName)).
		WithPanel(figure("Gate of its store", "", "", now("("+gateCode+")"+of(` and on (store) undersheet_stack_phase{@}`), "{{store}}")).Mappings(gateWords())).
		WithPanel(figure("Lowest line", "", "ppm", one(`min(undersheet_line_concentration_ppm{@})`)).TextMode(common.BigValueTextModeValue)).
		WithPanel(figure("Chance that all lines hold the end level", "", "percentunit", one(`max(undersheet_stack_end_level_chance_ratio{@})`)).
			TextMode(common.BigValueTextModeValue).Thresholds(steps(red, 0.5, orange, 0.9, grey))).
		WithPanel(figure("Until the planned end", "Negative: the end has passed.", "s",
			one(`max(undersheet_stack_planned_end_timestamp_seconds{@} - on (instance) group_left () undersheet_clock_timestamp_seconds)`)).TextMode(common.BigValueTextModeValue))
}

// gasRow shows the concentration under the sheet.
func gasRow(b *dashboard.DashboardBuilder) {
	lines := func(title, about string) *timeseries.PanelBuilder {
		return dashed(curves(title, about, "ppm", query(of(`undersheet_line_concentration_ppm{@}`), "{{line}}"), query(of(`max(undersheet_stack_end_level_ppm{@})`), "end level")), "^end level", orange)
	}
	logarithmic := lines("Concentration, logarithmic", "A straight fall is a steady loss; a kink is a leak or a line that came off.").
		ScaleDistribution(common.NewScaleDistributionConfigBuilder().Type(common.ScaleDistributionLog).Log(10))
	b.WithRow(dashboard.NewRowBuilder("Gas under the sheet")).
		WithPanel(lines("Concentration", "A curve that ends is a line that nobody can trust now.").Min(0)).WithPanel(logarithmic).
		WithPanel(curves("Lowest line over highest line", "Uneven gas, or a line that draws air.", "none", query(of(`undersheet_stack_lowest_to_highest_ratio{@}`), "ratio")).Span(8).Height(7).Min(0).Max(1)).
		WithPanel(curves("Age of the newest reading", "", "s", query(of(`undersheet_line_reading_age_seconds{@}`), "{{line}}")).Span(8).Height(7).Min(0)).
		WithPanel(curves("Time of exposure without a reading", "", "s", query(of(`undersheet_line_unread_seconds{@}`), "{{line}}")).Span(8).Height(7).Min(0))
}

// forecastRow shows what is expected at the planned end.
func forecastRow(b *dashboard.DashboardBuilder) {
	fan := curves("Forecast of the lowest line at the planned end", "As it was forecast at each hour: median, and between 5 and 95 % the range that holds nine times in ten. Dashed: the end level.", "ppm",
		query(of(`max(undersheet_stack_forecast_ppm{@,percentile="95"})`), "95 %"), query(of(`max(undersheet_stack_forecast_ppm{@,percentile="50"})`), "median"),
		query(of(`max(undersheet_stack_forecast_ppm{@,percentile="5"})`), "5 %"), query(of(`max(undersheet_stack_end_level_ppm{@})`), "end level")).Min(0).
		OverrideByName("95 %", []dashboard.DynamicConfigValue{{Id: "custom.fillBelowTo", Value: "5 %"}, {Id: "custom.fillOpacity", Value: 20}, {Id: "custom.lineWidth", Value: 1}}).
		OverrideByName("5 %", []dashboard.DynamicConfigValue{{Id: "custom.lineWidth", Value: 1}})
	b.WithRow(dashboard.NewRowBuilder("Forecast")).WithPanel(dashed(fan, "^end level", orange)).
		WithPanel(dashed(curves("Forecast of each line: median", "", "ppm", query(of(`undersheet_line_forecast_ppm{@,percentile="50"}`), "{{line}}"), query(of(`max(undersheet_stack_end_level_ppm{@})`), "end level")).Min(0), "^end level", orange)).
		WithPanel(curves("Chance to hold the end level", "", "percentunit", query(of(`undersheet_line_end_level_chance_ratio{@}`), "{{line}}"), query(of(`undersheet_stack_end_level_chance_ratio{@}`), "all lines")).Min(0).Max(1).Height(7)).
		WithPanel(curves("Concentration-time product", "In ppm·h since t = 0.", "none", query(of(`undersheet_line_ctp_ppm_seconds{@} / 3600`), "{{line}}")).Min(0).Height(7))
}

// lossRow shows the fit and the leak test.
func lossRow(b *dashboard.DashboardBuilder) {
	statistic := curves("Leak test", "An alarm is raised when the statistic passes the threshold.", "none", query(of(`undersheet_stack_leak_statistic{@}`), "statistic"), query(of(`undersheet_stack_leak_threshold{@}`), "threshold"))
	loss := curves("Loss a day", "Fitted first-order loss with its standard error: leakage, sorption and what the pump takes.", "none",
		query(of(`undersheet_stack_loss_per_day{@} + undersheet_stack_loss_se_per_day`), "plus one standard error"), query(of(`undersheet_stack_loss_per_day{@}`), "loss"),
		query(of(`undersheet_stack_loss_per_day{@} - undersheet_stack_loss_se_per_day`), "minus one standard error")).Min(0)
	b.WithRow(dashboard.NewRowBuilder("Leaks and losses")).
		WithPanel(dashed(statistic, "^threshold", red).Min(0)).WithPanel(loss).
		WithPanel(bands("The leak test watches", "", query(of(`undersheet_stack_leak_test_live{@}`), "leak test")).Mappings(words(word{"0", "not yet, or no longer", grey}, word{"1", "watches", blue})).Height(5).Span(8)).
		WithPanel(curves("Half-life of the concentration", "", "s", query(of(`undersheet_stack_half_life_seconds{@}`), "half-life")).Height(7).Span(8).Min(0)).
		WithPanel(curves("Yield by the fit", "What the dose would give without loss.", "ppm", query(of(`undersheet_stack_yield_ppm{@}`), "yield")).Height(7).Span(8).Min(0))
}

// storeRow shows what is around the stack.
func storeRow(b *dashboard.DashboardBuilder) {
	b.WithRow(dashboard.NewRowBuilder("Around it")).
		WithPanel(dashed(curves("Air of its store", "Air that rises while the sheet is shut is a sign of a leak.", "ppm", query(ofStore(`undersheet_air_concentration_ppm{instance="$depot"}`), "{{point}}"),
			query(ofStore(`undersheet_gate_limit_ppm{instance="$depot"}`), "limit")).Min(0), "^limit", red)).
		WithPanel(column(list("Alarms of the stack", "1 in the last column: somebody took charge of it.", []string{"stack", "store"},
			rows(of(`min by (alarm, follow_up, priority, line) (undersheet_alarm_acknowledged{@})`))), "Value", "taken charge of", "none", 0).Height(9))
}

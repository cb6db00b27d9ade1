package main

import (
	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/stat"
)

// gateCode numbers the states of gates of the depot: 0 shut, 1 airing, 2 check
// owed, 3 cleared.
const gateCode = `sum by (store) (undersheet_gate_state{instance="$depot",state="airing"}) + 2 * sum by (store) (undersheet_gate_state{instance="$depot",state="check-owed"})` +
	` + 3 * sum by (store) (undersheet_gate_state{instance="$depot",state="cleared"})`

// gateWords are the words of gates.
func gateWords() []dashboard.ValueMapping {
	return words(word{"0", "SHUT: keep out", red}, word{"1", "AIRING: keep out", red}, word{"2", "CHECK OWED: hand readings first", orange},
		word{"3", "CLEARED on record: read its page", blue})
}

// depotBoard shows all stores of a depot at once.
func depotBoard() *dashboard.DashboardBuilder {
	b := board("Depot: stores under gas", "undersheet-depot", "Gates, alarms, stacks and air of one depot, and whether its watch keeps up.").Time("now-24h", "now").WithPanel(cautionPanel())
	for _, part := range []func(*dashboard.DashboardBuilder){gateRow, alarmRow, stackRow, airRow, dueRow, roomRow, watchRow, wireRow} {
		part(b)
	}
	return b
}

// gateRow shows what each store's gate is and why.
func gateRow(b *dashboard.DashboardBuilder) {
	b.WithRow(dashboard.NewRowBuilder("Gates")).
		WithPanel(figure("Gate of each store", "As the daemon shows it. While the watch does not keep up, every gate is shown shut.", "", now(gateCode, "{{store}}")).
			Mappings(gateWords()).Span(12).Height(7).Orientation(common.VizOrientationHorizontal)).
		WithPanel(column(list("What keeps gates from opening", "How many reasons with each code; the store's page says them in sentences with their readings.", nil,
			rows(`sum by (store, reason) (undersheet_gate_reason{instance="$depot"})`)), "Value", "how many", "none", 0)).
		WithPanel(bands("Gates through time", "", query(gateCode, "{{store}}")).Mappings(gateWords()).Span(16)).
		WithPanel(figure("Somebody is inside by masked entry", "", "", now(`undersheet_store_people_inside{instance="$depot"}`, "{{store}}")).
			Mappings(words(word{"0", "nobody", grey}, word{"1", "INSIDE", red})).Height(7).Span(4)).
		WithPanel(figure("Airing that counts", "Time of airing so far that counts for the gate.", "s", now(`undersheet_store_airing_seconds{instance="$depot"}`, "{{store}}")).Height(7).Span(4))
}

// alarmRow shows what is raised and what nobody took charge of.
func alarmRow(b *dashboard.DashboardBuilder) {
	count := func(title, about, expr string) *stat.PanelBuilder {
		return figure(title, about, "none", now(expr, "{{priority}}")).Span(5).Height(7).Thresholds(steps(grey, 1.0, orange))
	}
	b.WithRow(dashboard.NewRowBuilder("Alarms")).
		WithPanel(count("Alarms raised", "By priority.", `sum by (priority) (undersheet_alarms_raised_priority{instance="$depot"})`)).
		WithPanel(count("Nobody took charge of", "Raised alarms that no person has acknowledged.", `sum by (priority) (undersheet_alarms_unacknowledged{instance="$depot"})`)).
		WithPanel(column(list("Alarms that stand", "1 in the last column: somebody took charge of it.", nil,
			rows(`min by (alarm, follow_up, priority, store, stack, line, point, channel) (undersheet_alarm_acknowledged{instance="$depot"})`)), "Value", "taken charge of", "none", 0).Span(14)).
		WithPanel(curves("Alarms through time", "", "none", query(`sum by (alarm) (undersheet_alarms_raised{instance="$depot"})`, "{{alarm}}")).Span(24).Height(6).Decimals(0).Min(0).
			DrawStyle(common.GraphDrawStyleBars).FillOpacity(60).Stacking(common.NewStackingConfigBuilder().Mode(common.StackingModeNormal).Group("A")))
}

// stackRow shows the stacks at a glance.
func stackRow(b *dashboard.DashboardBuilder) {
	glance := list("Stacks at a glance", "Lowest line now, end level that it must still hold, chance that all lines hold it, time until the planned end.", nil,
		rows(`sum by (store, stack, phase) (undersheet_stack_phase{instance="$depot"} == 1)`),
		rows(`min by (store, stack) (undersheet_line_concentration_ppm{instance="$depot"})`),
		rows(`max by (store, stack) (undersheet_stack_end_level_ppm{instance="$depot"})`),
		rows(`max by (store, stack) (undersheet_stack_end_level_chance_ratio{instance="$depot"})`),
		rows(`max by (store, stack) (undersheet_stack_planned_end_timestamp_seconds{instance="$depot"} - on (instance) group_left () undersheet_clock_timestamp_seconds{instance="$depot"})`),
		rows(`max by (store, stack) (undersheet_stack_half_life_seconds{instance="$depot"})`)).Span(24).Height(8)
	for _, c := range []struct {
		name, heading, unit string
		decimals            int
	}{{"Value #A", "in phase", "none", 0}, {"Value #B", "lowest line, ppm", "none", 0}, {"Value #C", "end level, ppm", "none", 0}, {"Value #D", "chance to hold it", "percentunit", 0},
		{"Value #E", "until the planned end", "s", 1}, {"Value #F", "half-life", "s", 1}} {
		column(glance, c.name, c.heading, c.unit, c.decimals)
	}
	lowest := curves("Lowest line of each stack", "The lowest line decides. Dashed: the end level.", "ppm",
		query(`stack:undersheet_line_concentration_ppm:min{instance="$depot"}`, "{{stack}}"),
		query(`max by (stack) (undersheet_stack_end_level_ppm{instance="$depot"})`, "end level of {{stack}}")).Min(0)
	chance := curves("Chance that all lines hold the end level", "", "percentunit", query(`undersheet_stack_end_level_chance_ratio{instance="$depot"}`, "{{stack}}")).Min(0).Max(1)
	b.WithRow(dashboard.NewRowBuilder("Stacks")).WithPanel(glance).WithPanel(dashed(lowest, "^end level", orange)).WithPanel(chance)
}

// airRow shows the air that people breathe.
func airRow(b *dashboard.DashboardBuilder) {
	limit := query(`max by (store) (undersheet_gate_limit_ppm{instance="$depot"})`, "limit of {{store}}")
	b.WithRow(dashboard.NewRowBuilder("Air")).
		WithPanel(dashed(curves("Air in stores and at their doors", "A curve that ends is a point that nobody can trust now, not clean air.", "ppm",
			query(`undersheet_air_concentration_ppm{instance="$depot",where=~"inside|door"}`, "{{store}} {{point}}"), limit).Min(0), "^limit", red)).
		WithPanel(curves("Air where people sit or live, and outside", "", "ppm",
			query(`undersheet_air_concentration_ppm{instance="$depot",where!~"inside|door"}`, "{{store}} {{point}} ({{where}})")).Min(0)).
		WithPanel(figure("Worst air against its limit", "1 = the limit of the gate. Instruments are less exact than this figure looks.", "none",
			now(`store:undersheet_air_concentration_ppm:max{instance="$depot"} / on (job, instance, store) undersheet_gate_limit_ppm`, "{{store}}")).
			Decimals(2).Span(8).Height(6).Thresholds(steps(grey, 0.5, orange, 1.0, red))).
		WithPanel(curves("Mean of the air over 8 hours", "Against the limit for a working day.", "ppm", query(`undersheet_air_mean_ppm{instance="$depot",window="8h"}`, "{{store}} {{point}}")).Span(8).Height(6).Min(0)).
		WithPanel(curves("Age of the newest air reading", "", "s", query(`undersheet_air_reading_age_seconds{instance="$depot"}`, "{{store}} {{point}}")).Span(8).Height(6).Min(0))
}

// dueRow shows what instruments owe and what is left in stock.
func dueRow(b *dashboard.DashboardBuilder) {
	follow := list("Follow-ups", "After treatments and around them; the daemon's page of follow-ups names the stacks. Below 0 the first one is past its time.", nil,
		rows(`sum by (follow_up) (undersheet_follow_ups_open{instance="$depot"} > 0)`),
		rows(`sum by (follow_up) (undersheet_follow_ups_overdue{instance="$depot"} and undersheet_follow_ups_open > 0)`),
		rows(`min by (follow_up) (undersheet_follow_ups_next_due_timestamp_seconds{instance="$depot"} - on (instance) group_left () undersheet_clock_timestamp_seconds{instance="$depot"})`)).Span(12)
	column(column(column(follow, "Value #A", "owed", "none", 0), "Value #B", "overdue", "none", 0), "Value #C", "until the next is due", "s", 1)
	b.WithRow(dashboard.NewRowBuilder("What is owed, and what is in stock")).
		WithPanel(follow).
		WithPanel(figure("Overdue", "Follow-ups past their time.", "none", now(`sum (undersheet_follow_ups_overdue{instance="$depot"})`, "")).Thresholds(steps(grey, 1.0, orange)).
			TextMode(common.BigValueTextModeValue).Height(7)).
		WithPanel(figure("Grain held back", "Not to be issued: under gas, in withholding, or gas in bags.", "", now(`undersheet_stack_not_to_issue{instance="$depot"}`, "{{stack}}")).
			Mappings(words(word{"0", "not held back", grey}, word{"1", "HELD BACK", orange})).Height(7).Span(8)).
		WithPanel(figure("Instruments that owe a check", "Until it is done their air points count for no gate.", "none", now(`sum by (reason) (undersheet_channels_owing_check{instance="$depot"})`, "{{reason}}")).
			Thresholds(steps(grey, 1.0, orange)).Height(7).Span(8).Orientation(common.VizOrientationHorizontal)).
		WithPanel(column(list("Next checks of instruments", "Below 0 a check is overdue.", nil,
			rows(`min by (channel, check) (undersheet_channel_check_due_timestamp_seconds{instance="$depot"} - on (instance) group_left () undersheet_clock_timestamp_seconds{instance="$depot"})`)),
			"Value", "until it is due", "s", 1).Span(8)).
		WithPanel(figure("Product in stock, pieces", "By the ledger. Below 0 more was used than came in: count what is there.", "none", now(`sum by (form) (undersheet_stock_pieces{instance="$depot"})`, "{{form}}")).
			Thresholds(steps(red, 0.0, grey)).Height(7).Span(4)).
		WithPanel(figure("Phosphine in stock", "What the pieces in stock give off in full.", "massg", now(`sum by (form) (undersheet_stock_phosphine_grams{instance="$depot"})`, "{{form}}")).
			Thresholds(steps(red, 0.0, grey)).Height(7).Span(4))
}

// roomRow shows doors, pumps, power and wind, where a depot has them.
func roomRow(b *dashboard.DashboardBuilder) {
	b.WithRow(dashboard.NewRowBuilder("Doors, pumps, power, wind: where the depot reads them")).
		WithPanel(bands("Doors", "", query(`undersheet_door_open{instance="$depot"}`, "{{store}} {{door}}")).Mappings(words(word{"0", "shut", blue}, word{"1", "OPEN", orange})).Span(8)).
		WithPanel(bands("Water", "Wet tablets release gas at once and may burn.", query(`undersheet_water_wet{instance="$depot"}`, "{{store}} {{sensor}}")).
			Mappings(words(word{"0", "dry", blue}, word{"1", "WET", red})).Span(8)).
		WithPanel(bands("Mains", "", query(`undersheet_mains_power{instance="$depot"}`, "{{mains}}")).Mappings(words(word{"0", "NO POWER", red}, word{"1", "power", blue})).Span(8)).
		WithPanel(bands("Sampling pumps", "A line whose pump stands shows old gas.",
			query(`sum by (pump) (undersheet_pump_state{instance="$depot",state="off"}) + 2 * sum by (pump) (undersheet_pump_state{instance="$depot",state=~"not-known|not-watched"})`, "{{pump}}")).
			Mappings(words(word{"0", "running", blue}, word{"1", "OFF", red}, word{"2", "not known", orange}))).
		WithPanel(curves("Wind", "More wind draws more gas from under a sheet.", "velocityms", query(`undersheet_wind_speed_meters_per_second{instance="$depot"}`, "speed"),
			query(`undersheet_wind_direction_degrees{instance="$depot"}`, "from")).Height(7).Min(0).OverrideByName("from", []dashboard.DynamicConfigValue{{Id: "unit", Value: "degree"}, {Id: "custom.axisPlacement", Value: "right"}}))
}

// watchRow shows whether the daemon keeps up.
func watchRow(b *dashboard.DashboardBuilder) {
	b.WithRow(dashboard.NewRowBuilder("The watch itself")).
		WithPanel(figure("The watch", "In any state but keeping-up every gate is shown shut.", "", now(`undersheet_watch_state{instance="$depot"} == 1`, "{{state}}")).
			TextMode(common.BigValueTextModeName).Span(6)).
		WithPanel(figure("Answers Prometheus", "", "", now(`up{instance="$depot"}`, "")).Mappings(words(word{"0", "NO: nobody watches", red}, word{"1", "yes", blue})).TextMode(common.BigValueTextModeValue)).
		WithPanel(figure("Entries not folded yet", "", "none", now(`undersheet_logbook_fold_lag_entries{instance="$depot"}`, "")).Thresholds(steps(grey, 1000.0, red)).TextMode(common.BigValueTextModeValue)).
		WithPanel(figure("Runs since", "", "dateTimeFromNow", now(`process_start_time_seconds{instance="$depot"} * 1000`, "")).TextMode(common.BigValueTextModeValue)).
		WithPanel(figure("Program", "", "", now(`undersheet_build_info{instance="$depot"}`, "{{version}}")).TextMode(common.BigValueTextModeName).Span(6)).
		WithPanel(curves("Logbook", "", "bytes", query(`undersheet_logbook_size_bytes{instance="$depot"}`, "logbook"), query(`undersheet_logbook_disk_free_bytes{instance="$depot"}`, "left on the disk")).
			Span(8).Height(7).Min(0)).
		WithPanel(curves("Memory", "", "bytes", query(`process_resident_memory_bytes{instance="$depot"}`, "resident"), query(`go_memstats_heap_inuse_bytes{instance="$depot"}`, "heap")).Span(8).Height(7).Min(0)).
		WithPanel(curves("Age of the newest entry and snapshot", "", "s", query(`undersheet_newest_entry_age_seconds{instance="$depot"}`, "entry"), query(`undersheet_snapshot_age_seconds{instance="$depot"}`, "snapshot")).
			Span(8).Height(7).Min(0))
}

// wireRow shows the ways in and out.
func wireRow(b *dashboard.DashboardBuilder) {
	b.WithRow(dashboard.NewRowBuilder("Ways in and out")).
		WithPanel(curves("Readings a minute", "", "none", query(`60 * rate(undersheet_instrument_readings_total{instance="$depot"}[$__rate_interval])`, "{{instrument}}")).Span(8).Height(7).Min(0)).
		WithPanel(curves("Time since an instrument was heard", "", "s", query(`undersheet_instrument_age_seconds{instance="$depot"}`, "{{instrument}}")).Span(8).Height(7).Min(0)).
		WithPanel(curves("Refused, repeated, counted anew", "In the time that the board shows.", "none",
			query(`increase(undersheet_instrument_refused_payloads_total{instance="$depot"}[$__range])`, "{{instrument}} refused"),
			query(`increase(undersheet_instrument_repeated_readings_total{instance="$depot"}[$__range])`, "{{instrument}} repeated"),
			query(`increase(undersheet_instrument_reused_numbers_total{instance="$depot"}[$__range])`, "{{instrument}} counted anew")).Span(8).Height(7).Min(0)).
		WithPanel(curves("Messages that wait", "At night SMS that need not wake anybody wait for first light.", "none", query(`undersheet_messenger_pending_messages{instance="$depot"}`, "{{messenger}}")).Span(8).Height(7).Min(0)).
		WithPanel(curves("Oldest message that waits", "", "s", query(`undersheet_messenger_oldest_age_seconds{instance="$depot"}`, "{{messenger}}")).Span(8).Height(7).Min(0)).
		WithPanel(curves("Handed over and failed", "In the time that the board shows.", "none", query(`increase(undersheet_messages_handed_over_total{instance="$depot"}[$__range])`, "handed over"),
			query(`increase(undersheet_message_attempts_failed_total{instance="$depot"}[$__range])`, "attempts that failed"),
			query(`increase(undersheet_messages_given_up_total{instance="$depot"}[$__range])`, "given up")).Span(8).Height(7).Min(0)).
		WithPanel(figure("Things to put right", "About messages; the daemon's pages name them.", "none", now(`undersheet_outbox_faults{instance="$depot"}`, "")).Thresholds(steps(grey, 1.0, orange)).TextMode(common.BigValueTextModeValue).Height(7)).
		WithPanel(curves("Modem", "Under -100 dBm is poor.", "dBm", query(`undersheet_modem_signal_dbm{instance="$depot"}`, "signal")).Span(10).Height(7)).
		WithPanel(curves("Copies of the logbook: entries behind", "", "none", query(`undersheet_forward_lag_entries{instance="$depot"}`, "{{forward}}")).Span(10).Height(7).Min(0))
}

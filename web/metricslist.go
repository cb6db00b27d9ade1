package web

// metric describes one metric.
type metric struct {
	name, help string
	labels     []string
}

var (
	ofStore      = []string{"store"}
	ofStack      = []string{"store", "stack"}
	ofLine       = []string{"store", "stack", "line"}
	ofPoint      = []string{"store", "point", "where"}
	ofAlarm      = []string{"alarm", "priority", "store", "stack", "line", "point", "channel", "follow_up"}
	ofInstrument = []string{"instrument"}
	ofFollowUp   = []string{"follow_up"}
	ofForm       = []string{"form"}
	ofMessenger  = []string{"messenger"}
	ofForward    = []string{"forward"}
)

// with returns labels and more.
func with(labels []string, more ...string) []string {
	return append(append([]string(nil), labels...), more...)
}

// catalogue lists all metrics, by the part of their names after "undersheet_".
func catalogue() []metric {
	var all []metric
	for _, part := range [][]metric{gasMetrics(), stackMetrics(), gateMetrics(), dueMetrics(), roomMetrics(), watchMetrics(), wayMetrics()} {
		all = append(all, part...)
	}
	return all
}

// gasMetrics are of lines and air points.
func gasMetrics() []metric {
	return []metric{
		{"line_concentration_ppm", "Newest trusted reading of a sampling line under a sheet, in ppm by volume. Absent while there is none to trust.", ofLine},
		{"line_reading_age_seconds", "Age of the newest reading of a sampling line.", ofLine},
		{"line_ctp_ppm_seconds", "Concentration-time product of a line since t = 0, in ppm seconds.", ofLine},
		{"line_unread_seconds", "Time of the exposure that no reading of the line covers.", ofLine},
		{"line_forecast_ppm", "Concentration expected at the planned end of the exposure: its percentile 5, 50 or 95.", with(ofLine, "percentile")},
		{"line_end_level_chance_ratio", "Chance from 0 to 1 that the line holds the end level at the planned end.", ofLine},
		{"air_concentration_ppm", "Newest trusted reading of an air point, in ppm by volume. Absent while there is none to trust.", ofPoint},
		{"air_reading_age_seconds", "Age of the newest reading of an air point.", ofPoint},
		{"air_mean_ppm", "Time-weighted mean of an air point in ppm over the window 8h or 15min. Time that nobody read adds nothing to it; absent where all of it is such.", with(ofPoint, "window")},
	}
}

// stackMetrics are of treatments.
func stackMetrics() []metric {
	return []metric{
		{"stack_phase", "Phase of the treatment of a stack: 1 for the one that it is in, 0 for the others.", with(ofStack, "phase")},
		{"stack_verdict", "Verdict on the treatment of a stack: 1 for the one that holds, 0 for the others.", with(ofStack, "verdict")},
		{"stack_end_level_ppm", "Concentration that every line must still show at the end of the exposure.", ofStack},
		{"stack_start_timestamp_seconds", "Time of t = 0 of the treatment, in seconds since 1970.", ofStack},
		{"stack_planned_end_timestamp_seconds", "Planned end of the exposure, in seconds since 1970.", ofStack},
		{"stack_forecast_ppm", "Concentration expected of the lowest line at the planned end: its percentile 5, 50 or 95.", with(ofStack, "percentile")},
		{"stack_end_level_chance_ratio", "Chance from 0 to 1 that all lines hold the end level at the planned end.", ofStack},
		{"stack_loss_per_day", "Fitted first-order loss of concentration, per day.", ofStack},
		{"stack_loss_se_per_day", "Standard error of the fitted loss, per day.", ofStack},
		{"stack_half_life_seconds", "Half-life of the concentration by the fitted loss. Absent while nothing is lost.", ofStack},
		{"stack_yield_ppm", "Fitted yield: the concentration that the dose would give without loss.", ofStack},
		{"stack_leak_statistic", "Statistic of the leak test.", ofStack},
		{"stack_leak_threshold", "Threshold of the leak test's statistic.", ofStack},
		{"stack_leak_test_live", "1 while the leak test watches the stack.", ofStack},
		{"stack_lowest_to_highest_ratio", "Lowest line over highest line now. Absent while it is not known.", ofStack},
	}
}

// gateMetrics are of stores as rooms that people enter, and of alarms.
func gateMetrics() []metric {
	return []metric{
		{"gate_state", "State of the re-entry gate of a store: 1 for the one that holds, 0 for the others. No state says that a store is free of danger.", with(ofStore, "state")},
		{"gate_limit_ppm", "Concentration below which the air of a store must be.", ofStore},
		{"gate_reasons", "How many reasons keep the gate from opening.", ofStore},
		{"gate_reason", "How many reasons with this code keep the gate from opening.", with(ofStore, "reason")},
		{"store_people_inside", "1 while somebody is inside by masked entry.", ofStore},
		{"store_airing_seconds", "Time of airing that counts for the gate so far.", ofStore},
		{"alarm_raised", "1 for what an alarm is raised of now; other labels are empty. Follow-ups of one sort that are due at one place share a series.", ofAlarm},
		{"alarm_acknowledged", "1 when a person took charge of a raised alarm, 0 when nobody did; of a series that several share, when nobody did of one.", ofAlarm},
		{"alarms_raised", "Alarms that are raised now, by name and priority.", []string{"alarm", "priority"}},
		{"alarms_raised_priority", "Alarms that are raised now, by priority.", []string{"priority"}},
		{"alarms_unacknowledged", "Alarms that are raised now and that nobody took charge of, by priority.", []string{"priority"}},
	}
}

// dueMetrics are of what is in stock and of what is owed.
func dueMetrics() []metric {
	return []metric{
		{"follow_ups_open", "Follow-ups that are owed, by what they are.", ofFollowUp},
		{"follow_ups_overdue", "Follow-ups that are overdue, by what they are.", ofFollowUp},
		{"follow_ups_next_due_timestamp_seconds", "When the first of the follow-ups that are owed is due, by what they are, in seconds since 1970. Absent while none has a date.", ofFollowUp},
		{"stack_not_to_issue", "1 while grain of the stack is held back: under gas, until withholding has ended, and while gas is found in its bags.", ofStack},
		{"stock_pieces", "Pieces of product that the store of chemicals must hold by the ledger, by form. Below 0 more was used than came in.", ofForm},
		{"stock_phosphine_grams", "Phosphine that the pieces in stock give off in full, by form. Absent for forms whose yield is not known.", ofForm},
		{"channels_owing_check", "Channels whose instrument owes a check before it counts for a gate, by why.", []string{"reason"}},
		{"channel_check_due_timestamp_seconds", "When the next zero, bump test or calibration of a channel is due, in seconds since 1970. Absent where no check on record says.", []string{"channel", "check"}},
	}
}

// roomMetrics are of contacts, pumps and wind.
func roomMetrics() []metric {
	return []metric{
		{"door_open", "1 while a door is open. Absent until it was read.", with(ofStore, "door")},
		{"water_wet", "1 while a water sensor is wet. Absent until it was read.", with(ofStore, "sensor")},
		{"mains_power", "1 while power is there. Absent until it was read.", []string{"mains"}},
		{"contact_reading_age_seconds", "Age of the newest reading of a door, water sensor or mains relay, by its channel.", []string{"channel"}},
		{"pump_state", "State of a sampling pump: 1 for the one that holds, 0 for the others.", []string{"pump", "state"}},
		{"pump_flow_ratio", "Flow of a sampling pump now, as a fraction of what it draws by the site file. Absent without a flow that is to be trusted.", []string{"pump"}},
		{"wind_speed_meters_per_second", "Speed of the wind of the site.", nil},
		{"wind_direction_degrees", "Direction from which the wind blows, in degrees from north.", nil},
	}
}

// watchMetrics are of the program's own work.
func watchMetrics() []metric {
	return []metric{
		{"build_info", "1; the program's version and that of Go are labels.", []string{"version", "goversion"}},
		{"site_info", "1; the site's name and time zone are labels.", []string{"site", "timezone"}},
		{"clock_timestamp_seconds", "The clock that the daemon goes by, in seconds since 1970.", nil},
		{"up_to_date", "1 while the fold keeps up; 0 while every gate is shown shut for the program's own sake.", nil},
		{"watch_state", "How the watch stands: 1 for the state that holds, 0 for the others. In any but keeping-up every gate is shown shut.", []string{"state"}},
		{"entries_folded_total", "Entries of the logbook folded since the start.", nil},
		{"records_committed_total", "Records committed to the logbook since the start.", nil},
		{"newest_entry_age_seconds", "Age of the newest entry that was folded.", nil},
		{"folded_seq", "Sequence number of the last entry folded.", nil},
		{"judged_seq", "Sequence number of the last entry whose records are committed.", nil},
		{"snapshot_seq", "Sequence number of the newest snapshot of the fold; 0 = none.", nil},
		{"snapshot_age_seconds", "Age of what the newest snapshot of the fold holds. Absent while there is none.", nil},
		{"logbook_head_seq", "Sequence number of the newest entry of the logbook.", nil},
		{"logbook_fold_lag_entries", "Entries of the logbook that are not folded yet.", nil},
		{"logbook_write_failing", "1 while the logbook cannot be written.", nil},
		{"logbook_size_bytes", "Size of the logbook's file with its write-ahead log.", nil},
		{"logbook_disk_free_bytes", "Space that is left for the logbook on its disk.", nil},
	}
}

// wayMetrics are of the ways in and out.
func wayMetrics() []metric {
	return []metric{
		{"instrument_readings_total", "Readings committed since the start, by instrument.", ofInstrument},
		{"instrument_refused_payloads_total", "Payloads and readings that were kept as refused since the start, by instrument.", ofInstrument},
		{"instrument_repeated_readings_total", "Readings of messages that came again and were dropped, since the start, by instrument.", ofInstrument},
		{"instrument_reused_numbers_total", "Readings whose sequence number had been used before for another, since the start, by instrument. They are kept.", ofInstrument},
		{"instrument_age_seconds", "Time since something of the instrument was last committed.", ofInstrument},
		{"instrument_units_silent", "Units of an instrument that do not answer now.", ofInstrument},
		{"intake_waiting_calls", "Instruments that wait for a logbook that cannot be written.", nil},
		{"outbox_pending_messages", "Messages to people that wait.", nil},
		{"outbox_oldest_age_seconds", "Age of the oldest message that waits.", nil},
		{"messages_handed_over_total", "Messages handed over since the start.", nil},
		{"messages_repeated_total", "Messages handed over again since the start, after a hand-over in doubt.", nil},
		{"message_attempts_failed_total", "Attempts to hand a message over that failed since the start.", nil},
		{"messages_given_up_total", "Messages given up since the start.", nil},
		{"outbox_faults", "Things about messages that somebody has to put right.", nil},
		{"messenger_pending_messages", "Messages that wait, by messenger.", ofMessenger},
		{"messenger_oldest_age_seconds", "Age of the oldest message that waits, by messenger.", ofMessenger},
		{"messenger_waiting_attempts", "Most attempts so far to hand over one of the messages that wait, by messenger.", ofMessenger},
		{"modem_ready", "1 while the modem answers and its SIM is open.", nil},
		{"modem_registered", "1 while the modem is registered with a network that takes messages.", nil},
		{"modem_signal_dbm", "Received signal strength of the modem. Absent while it is not known.", nil},
		{"modem_parts_sent_total", "Parts of SMS that the network took since the start.", nil},
		{"modem_attempts_failed_total", "Attempts to send an SMS that failed since the start.", nil},
		{"beacon_connected", "1 while the beacon is connected to its broker.", nil},
		{"beacon_messages_total", "Messages of the beacon that its broker took since the start.", nil},
		{"forward_lag_entries", "Entries of the logbook that are not forwarded yet, by forward.", ofForward},
		{"forward_oldest_age_seconds", "Time since the oldest entry that is not forwarded yet was received, by forward.", ofForward},
		{"forward_lines_total", "Lines that the destination took since the start, by forward.", ofForward},
		{"forward_refused_lines_total", "Lines that will not be at the destination, since the start, by forward.", ofForward},
		{"forward_attempts_failed_total", "Attempts to forward that failed since the start, by forward.", ofForward},
		{"forward_attention", "1 while somebody must put something right about a forward.", ofForward},
	}
}

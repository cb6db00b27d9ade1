// Package report writes the post-job concentration report of one treatment from
// the logbook alone.
//
// [Make] folds a log once, through the rules of package rules, and quotes the
// records that the log holds (or, for entries written by hand, those that the
// rules make of them). [Report.WriteHTML] writes one self-contained page for
// paper, [Report.WriteCSV] the same as a table. The same entries give the same
// bytes: nothing in a report comes from a clock or from chance.
//
// Phases, verdicts, end levels, gates, alarms and forecasts are quoted as they were
// recorded. Hours, days, products and exposure are sums over every reading that
// counts for the record, late ones too, in order of time. What the log holds after
// a treatment has closed, or the stack is treated again, changes no byte.
//
// It refuses a treatment that the log does not hold, and it judges nothing: what
// a report says was in the record before.
package report

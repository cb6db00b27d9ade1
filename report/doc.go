// Package report writes the post-job concentration report of one treatment from
// the logbook alone.
//
// [Make] folds a log once, through the rules of package rules, and quotes the
// records that the log holds (or, for entries written by hand, those that the
// rules make of them); [OfLog] does it with a logbook, [Reader] again and again with
// one that grows. [Report.Write] writes it in one of [Forms]: a page and a PDF, which
// are one [Report.Document], a table, and JSON. The same entries give the same bytes:
// nothing in a report comes from a clock or from chance.
//
// Phases, verdicts, end levels, gates, alarms, forecasts and follow-ups are quoted as
// they were recorded. Hours, days, products and exposure are sums over every reading
// that counts for the record, late ones too, in order of time. When withholding has
// ended, or the stack is treated again, only what is said of this treatment still
// counts; all else that the log holds from then on changes no byte.
//
// Every form, of a season's summary too, holds a [Statement] of the log, the range of
// entries, its hash, and the program that wrote it. [FindStatement] reads it out of a
// file, and [Differs] says where a file is otherwise than what was made again.
//
// # JSON
//
// The JSON form is [Report] itself ([Schema]). Units stand in the names of fields
// (_ppm, _h, _per_day, _g, _m3, _c); times are RFC 3339 in UTC; fractions are of 1;
// computed figures have 6 significant digits. What was not recorded is left out, or
// null where a figure would stand. Entries and records of the log that are quoted have
// the log's own form.
//
// It refuses a treatment that the log does not hold, and it judges nothing: what
// a report says was in the record before.
package report

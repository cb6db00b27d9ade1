// Package logbook holds the words of the record: what an entry is, the kinds of
// entries there are, the types of a site file, and their JSON form.
//
// Everything that happens at a depot, a reading or a person's act, becomes one
// [Entry]. Entries are either inputs (readings, acts, the clock, the
// configuration) or records (what the program made of the inputs: verdicts on
// acts, phases, gates, alarms, forecasts, messages). All state is a fold of the
// inputs and of the recorded verdicts on acts.
//
// The first call is [Decode] for one line of a JSON Lines file, or [Reader] for
// a whole one; [Encode] writes the same form back. A store that keeps entries
// durably is the business of logbook/sqlite; the sentences made from codes are
// in logbook/words.
//
// The package is pure: it reads no clock, opens no file and starts nothing. It
// refuses unknown kinds, unknown fields, kinds of a newer version and entries
// without what their kind needs; it does not judge whether an entry makes sense
// for the depot (package rules does).
package logbook

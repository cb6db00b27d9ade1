// Package rules folds the entries of a logbook into the state of a depot: the
// phase and verdict of every treatment, its fit and forecast, leak tests, the
// re-entry gate of every store, and alarms.
//
// [New] makes an empty [State]; [State.Fold] takes one entry after another, in
// order of seq, and returns the records that it proposes; [State.View] is what
// pages, metrics and messages show. The sub-packages hold the trade's
// computations, one idea each; this package only leads entries to them.
//
// Alarms live in three steps: raised, acknowledged by a person, cleared. What holds
// for those of one name stands in the table of package alarm. A cause, such as mains
// that are lost or a pump that is off, speaks for what follows from it (causes.go).
// Air that no pump is known to draw counts against a gate and never for it.
//
// The package is pure. It has no clock: now is the running maximum of the
// entries' received times. It opens nothing and starts nothing, so a restart, a
// replay of last month, a test and a report run the same code and agree to the
// byte. A permission takes effect only by its recorded verdict: the caller
// commits the proposed records and folds them back as entries.
//
// It refuses to guess on the side of people: every doubt keeps a gate from
// opening, with the reason.
package rules

// Package watch follows a logbook and keeps the state of the depot.
//
// [New] takes the log; [Loop.Run] folds it from the newest snapshot to its head
// and then follows. [Loop.View] is what pages, metrics and messages show,
// [Loop.Changed] tells when to look again, [Loop.Answer] waits for the verdict
// on an act.
//
// # What is committed when
//
// Folding an entry may propose records, and a record that was read back may ask
// for messages. Both are committed together with the judged cursor, in one
// transaction, before anything shows them or acts on them. Then they are read
// back and folded in order like any entry: a verdict takes effect there, and a
// message is planned from the record as it stands in the log. What an entry at
// or below the cursor proposes was committed before, perhaps by an older
// program, and is dropped: a fold that runs again raises nothing and sends
// nothing a second time. After a crash the entries beyond the cursor are judged
// on start, an act without a verdict among them.
//
// While nothing is proposed the cursor is kept in memory and written now and
// then, so that a quiet depot does not wear out its disk.
//
// Of the forecasts only that of the day is committed; the hourly ones are for
// the view.
//
// # When every gate is shown shut
//
// The view shows every gate shut, with one reason in front, while
//
//	catching-up      the fold has not reached the head of the log, or is behind
//	                 it by a whole batch
//	clock-behind     the wall clock stands before the newest entry
//	no-entries       the newest entry is older than Options.Stale: not even the
//	                 clock is written to the log, so nobody would see gas
//	logbook-failing  records cannot be committed; the loop tries again for ever
//	fold-stalled     the fold has not come to an end within two seconds
//	fold-failed      the fold broke at an entry; Run has returned the error
//	watch-stopped    Run has returned
//
// # When the fold breaks
//
// A panic while folding leaves a state that nobody can vouch for. The loop does
// not go on with it and does not end the program: it commits an alarm
// watch-stopped with its messages, and Run returns an [ErrBroken] that names the
// entry. The view stays, every gate shut. The caller should keep its pages, its
// messages and the recording of readings up, call [Loop.StillBroken], which tells
// people again once a day, and stop with the error when asked to. Started again
// it tells them again, too, once a day at most. A program that can fold the entry
// goes on from there, and records that the alarm is over.
//
// It refuses: a log with a gap, a snapshot of another build, configuration or
// log, a record that cannot be written (an alarm is written without its numbers,
// anything else is noted as a finding in its place).
package watch

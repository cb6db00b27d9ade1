// Package alert decides whom to tell of what and when, and hands the messages
// over.
//
// [NewPlanner] makes the part that decides. It is folded over the logbook like
// the state of the rules ([Planner.Fold]) and returns messages for the outbox;
// package watch commits them together with its cursor, so that each is planned
// once whatever happens. [NewSender] makes the part that hands over:
// [Sender.Run] takes what is due from the outbox and gives it to a [Messenger],
// one sub-package each.
//
// # Who is told what
//
// For each alarm raised there is one message to each person of the site file
// whose lowest priority ("from", medium unless given) the alarm reaches. An alarm
// that speaks for others of the same cause names them; they get no message of
// their own. The end of an alarm is told to those who were told of it, but only
// after it stayed quiet for Options.Quiet: an alarm that comes and goes is one
// message at its start and one at its end that counts how often it came. Until
// then people believe the worse, never the better. An alarm that comes back with
// a higher priority or for another cause is told at once. Nothing is planned
// while the site has no mail server: a server that is added later would send
// the alarms of months.
//
// A clearance that falls is told too: gas that came back is the alarm
// gate-rebound; any other fall is a message of its own.
//
// Messages name what was read, the forecast for the stack, the gate, the time at
// the site and in UTC, the hash of the logbook's head, and end with the site's
// emergency line. No message says that a place is safe, sends one person into
// gas, or anybody in at night.
//
// # Handing over
//
// At least once: a message stays in the outbox until the messenger says that the
// other side took charge of it, for days if need be. A message whose hand-over
// was interrupted is repeated with the same Message-ID and says "may be a
// repeat". Failures that pass by themselves are tried again after half a minute,
// doubling up to a quarter of an hour; those that somebody has to put right (a
// wrong password, an address that does not exist) after a quarter of an hour,
// doubling up to one hour, and [Stats] names them. A message is given up, with a
// record, only when its person is no longer in the site file or when it cannot
// be read.
//
// A messenger that is down holds all its messages back together: one is tried,
// the others wait with it.
package alert

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
// whose lowest priority ("from", medium unless given) the alarm reaches: by e-mail
// to those with an address, by SMS to those with a telephone. An alarm that speaks
// for others of the same cause names them; they get no message of their own for
// Options.Together, unless they are graver or outlive it. The end of an alarm is
// told to those who were told of it, but only after it stayed quiet for
// Options.Quiet: an alarm that comes and goes is one message at its start and one
// at its end that counts how often it came. Until then people believe the worse,
// never the better. An alarm that comes back with a higher priority, for another
// cause, or after somebody took charge of it is told at once; so is each one on
// which lives hang (air-gas, gate-rebound, fire-risk, door-opened,
// masked-entry-overdue), because people may have gone in since it was over. Nothing is planned for a way that the site does not have:
// a server that is added later would send the alarms of months.
//
// What people owe (a check, a jar to be judged) is held for Options.Together, so that what
// falls due together is one message to each person, with the priority of each. Nothing
// on which lives hang, and nothing that wakes people, ever waits or shares a message so.
//
// A clearance that falls is told too: gas that came back is the alarm
// gate-rebound; any other fall is a message of its own.
//
// An SMS about an alarm of high priority that nobody acknowledges is repeated
// after 15 minutes and then hourly, six times. When somebody does, the others who
// were told by SMS hear of it by e-mail.
//
// Webhooks are for programs. They get each record as it is: every alarm raised,
// acknowledged or cleared from their own lowest priority on, and every change of a
// gate, with the record as JSON in [Letter].Record.
//
// # At night
//
// E-mail and webhooks go at any hour. By SMS people are woken at night, in the
// site's zone, only for an alarm whose record says so (wake), and for its repeats.
// The rest is held until first light and then told if it still stands, with the
// time since when, in one SMS for each person. An SMS of the day that the modem
// could not send before night waits for light as well, see Options.Night of the
// Sender.
//
// # What is said
//
// Mails name what was read, the forecast for the stack, the gate, the time at the
// site and in UTC, and the hash of the logbook's head. An SMS says site, priority,
// what, where and the figure, and one thing to do; it is written in the letters of
// the GSM 7-bit alphabet where names allow it, and in two parts where it can be.
// Every message ends with the site's emergency line, whole. No message says that a
// place is safe, sends one person into gas, or anybody in at night. What tempts
// people to go in and mend something (leak, line-off, line-blocked,
// end-level-at-risk) opens with who may go in, and how.
//
// # Handing over
//
// At least once: a message stays in the outbox until the messenger says that the
// other side took charge of it, for days if need be. A message whose hand-over
// was interrupted is repeated with the same Message-ID and says "may be a
// repeat". Failures that pass by themselves are tried again after half a minute,
// doubling up to a quarter of an hour; those that somebody has to put right (a
// wrong password, an address that does not exist) after a quarter of an hour,
// doubling up to one hour, and [Stats] names them. Each wait is spread by a fifth,
// and is not shorter than the other side asks for, up to one hour. A message is
// given up, with a record, only when its person or webhook is no longer in the
// site file or when it cannot be read.
//
// Each messenger hands over one message at a time, the most urgent first, and none
// waits for another; each webhook is on its own and gets its messages in the order
// in which they were planned, except for those that it refuses for good. A
// messenger that is down holds all its messages back together: one is tried, the
// others wait with it; but what is urgent (of high priority, or to wake people) is tried
// once for each of its recipients all the same, lest it waits for a fault that is not his. An attempt is cut short after Options.Longest.
package alert

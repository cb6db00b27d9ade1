// Package lines writes entries of the logbook as line protocol, one line each.
//
// The first call is [New]; then [Encoder.Append] for each entry in the order of
// the log: it follows the site-configured entries among them and puts the store,
// stack, line or air point of a channel beside its readings. To begin in the
// middle of a log, give the configuration in force there to
// [Encoder.Configure] first.
//
// # What is written
//
// One measurement for each sort of entry. Types of fields: f float, i integer, s
// string, b boolean. A field or tag that has nothing to say is left out. No name is
// a keyword of InfluxQL, so queries need no quotes.
//
//	measurement      tags                                               fields
//	act              kind site stack store                              accepted:i code:s elsewhere:s
//	alarm            alarm channel follow_up line point site stack store detail:s elsewhere:s onset_ms:i priority:s priority_code:i state:s state_code:i threshold:f treatment:s value:f
//	end_level        line moment site stack store                       by_hand:b elsewhere:s end_level_ppm:f ppm:f shown:s shown_code:i treatment:s
//	finding          channel code line site stack store                 elsewhere:s threshold:f value:f
//	forecast         line site stack store                              chance_met:f elsewhere:s for_ms:i p05_ppm:f p50_ppm:f p95_ppm:f
//	gate             site store                                         elsewhere:s limit_ppm:f reasons:i state:s state_code:i upper_ppm:f why:s
//	hand_reading     line point site stack store unit                   detection_limit:f elsewhere:s method:s value:f where:s
//	instrument       address instrument site                            elsewhere:s ok:i
//	phase            site stack store                                   elsewhere:s phase:s phase_code:i treatment:s verdict:s verdict_code:i
//	reading          channel line place point site stack store unit use active:i fault:s faulty:f retained:f value:f
//	reading_second   channel line place point site stack store unit use active:i fault:s faulty:f retained:f value:f
//	reading_unknown  site unit                                          elsewhere:s fault:s faulty:f retained:f value:f
//
// A value is in the unit of the tag unit, else ppm or what the code implies.
//
//   - reading: value is what the instrument read. A reading that its instrument
//     does not vouch for has faulty and fault in place of value; a value that a
//     broker had stored, with no time of its own, has retained in place of value.
//     So nobody averages them in by mistake. Channels of two states have active,
//     1 or 0, as well: door open, water there, power there.
//   - reading_second: a value for a channel and time that had one already. The
//     first is the one that counts and is the only one under reading.
//   - reading_unknown: of a channel that the site file, as it was then, does not
//     have; elsewhere holds its name.
//   - forecast: the one that the logbook keeps each day; without line, of the
//     lowest line of the stack. p05_ppm and p95_ppm bound the concentration at
//     for_ms with 90 %.
//   - gate: state_code 0 shut, -1 airing, -2 check-owed, -3 cleared, and 0 for
//     anything else: what a server makes of it by mistake (a 0, or the greatest
//     value of a millisecond) is shut. reasons counts what keeps it from opening,
//     why holds their codes; upper_ppm is the highest upper value of its air
//     points.
//   - alarm: state_code 0 cleared, 1 acknowledged, 2 raised; priority_code 1 low,
//     2 medium, 3 high; detail is the alarm's own code, as "stuck". value is held
//     against threshold, as for a finding. follow_up says what is due, of
//     follow-up-due, treatment after which one.
//   - phase: phase_code 0 dosing, 1 exposure, 2 airing, 3 withholding, 4 closed;
//     verdict_code 0 provisional, 1 held, 2 failed, 3 abandoned.
//   - end_level: shown_code 1 met, 0 not met, -1 not shown (then no ppm).
//   - act: what a person did, by its kind; accepted 1, or 0 with the code of the
//     refusal.
//
// Codes of words that this version does not know are -1, but for the gate.
//
// No name of a person, no message and no free text of theirs is written, but for
// what they call a place. Not written are clock, clock-stepped, site-configured,
// payload-refused, logbook-restored, message, criteria and line-proved entries, and acts
// other than hand readings except by the verdict on them.
//
// # Tags stay few
//
// A tag holds only words of this program and names that the site file, as it was
// then, has. Any other name, as a hand reading's free text for a place, is in
// the field elsewhere. Treatments, of which there are ever more, are fields. So
// the number of series is that of the site file and not that of the years.
//
// Line protocol cannot carry control characters in tags, and servers differ on
// backslashes there: those characters are written as the symbols that stand for
// them (U+2400 and on, U+FF3C), in tags as in strings (strings keep their
// backslashes).
//
// # Times
//
// Times are the entry's event time, in nanoseconds. The logbook counts
// microseconds; the last three digits are 000 for readings and, for everything
// else, the last three digits of the entry's seq. So entries of one series and
// one microsecond stand beside each other in their order and overwrite nothing,
// unless a thousand entries lie between them, and the same entry always gives the
// same line: written twice it is one point.
//
// It refuses a time outside the years 1678 to 2262, which nanoseconds do not
// reach; the line is left out and the error says of which entry.
package lines

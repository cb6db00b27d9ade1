// Package beacon publishes where gates, alarms and stacks stand as retained MQTT
// messages, so that lamps, panels and other programs can show them.
//
//	b, err := beacon.New(*site.Beacon, site.Name, loop, beacon.Options{})
//	err = b.Run(ctx)
//
// # Topics
//
// Every topic begins with the site file's topic, undersheet/<site> unless it says
// otherwise. Names stand in topics as they are, but for / + # % and control
// characters, which are percent-encoded. All messages have
// quality of service 1 and are retained; payloads other than that of online are
// JSON, in UTF-8.
//
//	<topic>/online                    online or offline, plain text; online only while
//	                                  the daemon runs and has caught up
//	<topic>/stores/<store>/gate       the gate of a store: type [Gate]
//	<topic>/alarms/<alarm>/<place>    an alarm that stands: type [Alarm]; an empty
//	                                  message when it is over
//	<topic>/stacks/<stack>            where a stack stands: type [Stack]
//
// <place> is what the alarm is of, for example store=Store 2,point=door or
// stack=B,line=north top (a comma in a name is %2C); site when it is of no place.
//
// # What a reader must do
//
// A gate is open for nobody unless all of these hold; a lamp shows it shut else,
// also when it knows nothing:
//
//   - online says online,
//   - state is cleared,
//   - valid_until has not passed by the reader's own clock; a reader without a
//     right clock counts valid_seconds from a message that is not marked retained
//     (how old a retained one is, it cannot know).
//
// Everything is published again every minute ([Options].Refresh), with a new
// valid_until three minutes ahead, so a program that died behind a broker that
// lives on leaves no clearance standing. No message says that a place is safe:
// reasons and readings stand beside the state.
//
// # What it does
//
// At each connection everything is published anew, online last, and retained
// messages of an earlier run that are no longer true are taken away; topics of
// other shapes under the same beginning are left alone. While the daemon is still
// catching up with its logbook, online says offline, every gate is published as
// shut, those of an earlier run too, and alarms and stacks stay as they are. While the broker is
// away nothing is queued: when it is back, the state of that moment goes out.
//
// When Run ends, every gate is published as shut (reason watch-stopped), then
// offline. When the program dies or the line is cut, the broker itself publishes
// offline (the last will).
//
// The user needs both write and read access to these topics: what was published
// is read back once per connection, and [Beacon.Status] says when it did not
// come, because a broker drops what it does not allow without a word.
//
// It refuses topics with wildcards, secrets in the site file, and TLS before
// version 1.2. It listens to no command: nothing that is published to it changes
// a gate or acknowledges an alarm.
package beacon

// Package ingest brings what instruments give into the logbook: it stamps,
// turns readings, states and refused payloads into entries, and returns when
// they are durable, so that a way in knows when it may acknowledge.
//
//	in := ingest.New(func(ctx context.Context, es []logbook.Entry) ([]logbook.Entry, error) {
//		stored, err := store.Append(ctx, es)
//		if err != nil {
//			return nil, err
//		}
//		return store.Known(ctx, stored)
//	}, ingest.Options{Unit: unitOf})
//	client := mqtt.New(cfg, in, mqtt.Options{})
//
// [Ingest] is the [sensor.Sink] of all ways in. Each call is one commit's worth;
// calls of several instruments that wait together are committed together by the
// logbook. There is no queue in here: a call blocks until its entries are
// durable, so at most one batch an instrument is in memory. When the logbook
// cannot be written (a full disk), the call tries again with growing waits until
// it can or its context ends; the others wait on their own, nothing is
// acknowledged meanwhile, and [Ingest.Stats] says since when and why.
//
// Duplicates (the same channel, time and value) are dropped by the logbook. A
// reading without a time but with a key of its source's own (a sequence number)
// gets that as its entry's id. When the key is there already, with the same value
// and at most [RepeatWithin] ago, the message was repeated: it is dropped and
// counted as Repeated. Otherwise the instrument counts anew, as after a power cut:
// the reading is kept under another id and counted as Reused.
//
// It judges nothing: readings of unknown channels, from next year, out of range
// are kept as they came. It refuses only what cannot be written down: a reading
// without a channel, a finite value, a known unit or a time that can be printed
// becomes a payload-refused entry with the reason.
//
// [Clockwork] writes the entries that say that time has passed or that the wall
// clock was set. The decoders of payloads are in ingest/payload.
package ingest

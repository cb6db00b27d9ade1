// Package sqlite keeps a logbook durably in one embedded database file.
//
// The first call is [Open]; then [Store.Append] for readings and acts,
// [Store.Entries] or [Store.Read] to follow them, [Store.Wait] to sleep until
// there are more. What a program makes of the entries goes back with
// [Store.AppendRecords], which moves the judged cursor and fills the outbox in
// the same transaction. [Store.Verify] checks the whole file, [Store.Backup]
// copies it while it is in use, [Restore] makes a new log of a copy.
//
// An entry is durable when Append returns: the database runs in write-ahead
// mode with synchronous FULL, one fsync a commit, and calls that wait together
// are committed together. Entries are never changed and never removed.
//
// It refuses: a second writer (a lock file beside the database names the first),
// an empty or foreign file, a file of a newer program, records passed to Append,
// entries that their kind's Validate refuses, restoring over an existing file.
//
// # Identity
//
// An entry is known by (site, log id, seq). The log id is random, made when the
// logbook is created and again when one is restored. A restored logbook keeps
// its old blocks with their old log id and goes on with the next seq under the
// new one; the first new block begins with a logbook-restored entry that names
// both ids and the head it goes on from. So seq has no gaps within a file, and
// two logs that grew from one backup differ in log id from their first new block.
//
// # On disk, version 1
//
// One SQLite file, application_id 0x55534C42 ("USLB"), user_version 1; beside it
// NAME-wal and NAME-shm while it is open, NAME.lock (held by flock, holds the
// writer's process id) and NAME.sock (see package door).
//
//	meta        key, value: log (log id), entries (newest version of entries
//	            written), judged (cursor of AppendRecords), written (last seq),
//	            cursor NAME (seq and site of a Cursor, a blank between)
//	blocks      first, last (seq), header, content: the record itself
//	identities  identity, seq, body: to drop duplicates. identity is the time
//	            (8 bytes, big-endian, sign flipped; all ones when the entry has
//	            an id) and the first 12 bytes of logbook.Identity; body is
//	            logbook.Identity without the id, to tell apart entries that
//	            gave the same id
//	channels    id, name
//	times       channel, time, seq: finds the readings of a channel
//	outbox      messages that are to be handed over, and keys of those that were
//	snapshots   states of the fold; can be thrown away
//
// Only blocks count; identities, channels and times can be made again from them.
//
// A block holds entries that were committed together, at most 1024 and 16 MiB.
// All of them have the received time of the block. Its header is 116 bytes,
// integers big-endian:
//
//	magic "USBL" (4), block version (2), entry version (2), log id (16),
//	first seq (8), last seq (8), count (4), received in µs (8),
//	SHA-256 of the header before (32, zeros in the first),
//	SHA-256 of the content as stored (32)
//
// The hash of a header is the SHA-256 of these 116 bytes; the chain
// runs over headers, so the hash of the last one, the head, vouches for the whole.
//
// Content: block version (1 byte); number of channels and, for each, its name,
// in the order of first use; then one item an entry. A number is an unsigned
// LEB128 varint in its shortest form, a text is its length in bytes and UTF-8.
//
//	0  text                        any kind but reading: the entry's JSON object
//	1  flags (1 byte)              a reading: 1 retained, 2 stamped, 4 fault, 8 id
//	   channel                     place in the table, from 0
//	   time                        zigzag varint, µs after the reading before it
//	                               in the block (the first: after 1970-01-01 UTC)
//	   value (8)                   IEEE 754 bits, big-endian
//	   unit (1)                    1 ppm, 2 mg/m3, 3 g/m3, 4 C, 5 %RH, 6 hPa,
//	                               7 m/s, 8 L/min, 9 state
//	   fault, id                   texts, when flagged
//
// A program refuses a file whose user_version, entry version or block version is
// above its own.
package sqlite

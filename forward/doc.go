// Package forward copies the logbook out, in line protocol, to a file or to a
// server: for plots beside other data, for years of history, for people who do
// not come to the depot. Nothing that the depot decides depends on it.
//
// The first call is [New] with one entry of the site file's key forward; then
// [Forwarder.Run] until the program stops, and [Forwarder.Stats] meanwhile. What
// a line holds is told in package lines.
//
// # The log is the spool
//
// Nothing is queued. A cursor by the name of the destination, kept in the
// logbook, says up to which entry it has taken all. Each batch is made of the
// log anew from there on, so a destination that is away for days costs nothing
// but time: memory is bounded by one batch (Options.Lines and Options.Bytes).
// The cursor moves only after the destination has taken the batch. A destination
// that gets a new name gets everything from the beginning of the log; one that
// keeps its name goes on, wherever it now points.
//
// A restored logbook goes on from the cursor of its backup. What the destination
// took between the backup and now stays with it.
//
// # To a file
//
// Lines are appended, batch by batch, each durable (fsync) before the cursor
// moves. After each batch stands a comment, which line protocol allows:
//
//	# seq 5123 site 12 log 0f3c…9a lines 391 bytes 48211 crc32c 1a2b3c4d
//
// seq is the last entry of the batch, site the seq of the site-configured entry
// in force there, log the log id, then the number of lines, the bytes of the
// batch and the CRC-32C of those bytes and of the comment up to it. At start a
// tail that is no whole batch is cut off and the copy goes on from the last
// comment: each line stands in the file exactly once, whenever the program was
// killed or the power went. When the log id is another one (a restored logbook),
// or the file is gone or new (rotated away), it goes on from the cursor in the
// logbook. A file that is not empty and has no such comment at its end is not
// touched. The file can be given to a server as it is, comments and all.
//
// # Over HTTP
//
// A batch is one POST, compressed with gzip, under a deadline. 2xx means taken.
// Entries sent twice are the same points with the same times, so a server that
// keeps one value a series and time, as InfluxDB does, has them once. Where a
// server keeps both (VictoriaMetrics), run it with -dedup.minScrapeInterval=1ms.
//
//	400, 422       the batch is halved until the lines that the server refuses
//	               stand alone; these are logged, counted and passed over. A
//	               server that says how many points of a partly written batch it
//	               dropped (InfluxDB: "partial write … dropped=3") is believed.
//	               A server that refuses every single line is set up wrongly
//	               until it takes one: nothing is passed over
//	413            the batch is halved, and later ones begin smaller
//	timeouts       later batches begin smaller, for slow links
//	429, 5xx, no   tried again after 1 s, doubling up to 2 min, with jitter;
//	connection     Retry-After is kept to, up to an hour
//	anything else  somebody must put it right (wrong password, address or
//	               database): tried again after 30 s, doubling up to 10 min;
//	               Stats.LastError says what
//
// A server may answer before what it took is on its disk: VictoriaMetrics says
// 204 and loses some seconds when it is killed; it also says 204 and only logs a
// line that it cannot read, or one older than its retention (one month unless
// set). So 2xx is no proof of content. Therefore the cursor in the logbook stays
// Options.Settle behind, and when the connection to the server was lost what was
// sent in that time is sent again, the same entries at most three times.
//
// User and password are sent as HTTP Basic, a password without a user as
// "Authorization: Token …". They are read from the environment or a file before
// each batch and never logged. Redirects are not followed, for they would take
// the password elsewhere.
//
// It refuses: plain http to anything but this computer, secrets in the URL, a
// precision other than nanoseconds in the URL's query, a destination without a
// name or with both file and url.
package forward

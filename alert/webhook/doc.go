// Package webhook tells other programs of alarms and gates: it hands alert's
// letters to web servers as CloudEvents 1.0 over HTTP.
//
// [New] takes the webhooks of a site file and checks them; [Hooks.Deliver] hands
// one letter to the webhook whose name stands where other messengers have a
// person. Each letter is one POST over a connection of its own.
//
// # The request
//
// The body is one event in the structured mode of the CloudEvents JSON format
// (content type application/cloudevents+json):
//
//	specversion      1.0
//	id               the same for every attempt at a letter: drop what you have seen
//	source           the site, a URI reference: /undersheet/<site>
//	type             undersheet.<kind>.<state> of the record, for example
//	                 undersheet.alarm.raised, undersheet.gate.shut; undersheet.message
//	                 when the letter tells of no record that can be read
//	subject          what it is of, names percent-encoded: stores/Store%202/points/door,
//	                 stacks/B/lines/north%20top; left out for the whole site
//	time             when it happened
//	datacontenttype  application/json
//	data             record     the logbook's record as it stands there (see logbook.Alarm, logbook.Gate)
//	                 headline   one line for people
//	                 text       the whole message for people
//	                 priority   high, medium or low
//	                 written    when the message was written
//	                 of         number of the logbook entry that it tells of
//	                 repeat     true when an earlier attempt may have arrived
//	                 emergency  the site's emergency line
//
// # The signature
//
// Two headers let the receiver know that the message is this program's and not
// an old one played again:
//
//	Undersheet-Timestamp: 1767225600        seconds since 1970-01-01 UTC, of this attempt
//	Undersheet-Signature: v1=<64 hex digits>
//
// The digits are HMAC-SHA256 (RFC 2104, FIPS 198-1) with the shared secret as
// key, over the timestamp's text, a full stop, and the body's bytes. [Verify]
// checks them; a receiver in another language does the same: compute the digits
// over the bytes as they came, compare in constant time, refuse a timestamp more
// than five minutes from its own clock, and then drop ids that it has seen. The
// secret is 32 bytes or longer (RFC 2104, section 3), from the environment or
// from a file, and read anew for every letter.
//
// # Answers
//
// Only a 2xx answer hands a letter over; its body is not read. 408, 425, 429 and
// 5xx are temporary, and Retry-After is honoured up to [MostWait]. Everything
// else, a redirect above all, is permanent until somebody puts it right: no
// redirect is ever followed. 502, 504, and a connection that ends or a deadline
// that passes once the request is out, leave it in doubt whether the letter
// arrived. At most 64 KiB of a refusal are read, and an excerpt is shown.
//
// No trouble with one webhook holds up another: failures never concern everyone.
// A webhook that could not be reached, or that asked for it, is left alone for a
// while; letters that come meanwhile fail at once, without a request.
//
// It refuses http to any other computer, a user or password in a URL, webhooks
// without a secret, and TLS before version 1.2. A proxy is taken from the
// environment (HTTPS_PROXY, NO_PROXY).
package webhook

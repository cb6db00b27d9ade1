// Package web serves the depot's pages, where people look and act, its metrics and
// its health.
//
// [New] makes the handler from a [Source]; [Serve] serves it on a listener of
// this machine until its context ends:
//
//	/                         stores with their gate, stacks, lines, forecasts, alarms
//	/store/NAME               one store: its gate in big words, each condition, air, protection, doors
//	/stack/NAME               curve, fit, forecast, lines, leak test, events of one stack
//	/stack/NAME/curve.json    what the script draws; see [Curves]
//	/stack/NAME/photo         the form that attaches a picture; POST takes it
//	/alarms                   what stands, and who took charge of it
//	/follow-ups               what is owed after treatments and around them; /follow-ups.ics is the calendar
//	/instruments              instruments, channels, proofs of lines
//	/logbook, /logbook/SEQ    the record with filters, one entry; POST /logbook/verify checks the chain
//	/logbook/SEQ/photo        the picture of an entry
//	/logbook/SEQ/correct      the form that corrects an act; POST takes it
//	/plan/STORE               the form of a plan; /plan/STORE/sheet is the plan, for paper
//	/act, /act/KIND           the form of each act (package form); POST takes it
//	/answer/SEQ               what became of an act
//	/report/NAME              the report of a treatment, in the reader's language; with .pdf, .csv or .json behind it in those
//	                          forms, with ?download a file
//	/season                   the summary of a period, ?from= and ?to=; the same forms
//	/live                     server-sent events: the pages look again when something changed
//	/metrics                  for Prometheus
//	/healthz                  200 while the watch keeps up, else 503 and why, as JSON
//
// The pages need no script and nothing from another machine. With scripts they
// renew themselves, draw curves, and say so in large letters when they have lost
// touch: an old page must not be taken for the state of a gate. A page never says
// that a place is safe; it says what was read and what is still owed. Forms that
// send people into gas stand beside the live air and the protection that it
// allows, and say at night that nobody goes in.
//
// Pages speak the reader's language: the one that a link in their foot asked for,
// which a cookie remembers, else the browser's first that there is, else the depot's.
// What they say stands in logbook/words by key; templates write {{say "page/…"}}, and
// fields of forms find their words by their names (form.Worded). What programs read
// (curve.json, metrics, health) keeps its codes in every language.
//
// An act that is sent twice counts once: each form carries a key. A form is 64 KiB
// at most; with a fault nothing is kept and what was typed stays.
//
// Until people can sign in, the package refuses to be reached from elsewhere:
// [CheckLoopback] refuses other addresses, and a request whose Host header or
// sender is not this machine gets 403 (so a page of another site that rebinds its
// name to 127.0.0.1 reads nothing). A form that another site's page sends gets 403.
// Who acts is recorded as not verified.
package web

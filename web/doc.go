// Package web serves the depot's pages, its metrics and its health.
//
// [New] makes the handler from a [Source]; [Serve] serves it on a listener of
// this machine until its context ends:
//
//	/              stores with their gate, stacks, lines, forecasts, alarms
//	/stack/NAME    curve, fit, forecast, lines, leak test, events of one stack
//	/live          server-sent events: the pages look again when something changed
//	/metrics       for Prometheus
//	/healthz       200 while the watch keeps up, else 503 and why, as JSON
//
// The pages need no script and nothing from another machine. With scripts they
// renew themselves, and say so in large letters when they have lost touch: an old
// page must not be taken for the state of a gate. A page never says that a place
// is safe; it says what was read and what is still owed.
//
// Until people can sign in, the package refuses to be reached from elsewhere:
// [CheckLoopback] refuses other addresses, and a request whose Host header or
// sender is not this machine gets 403 (so a page of another site that rebinds its
// name to 127.0.0.1 reads nothing). It takes no acts: every method but GET and
// HEAD is refused.
package web

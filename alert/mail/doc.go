// Package mail hands alert's letters to a mail server (SMTP).
//
// [New] takes the mail part of a site file and checks it; [Server.Deliver] hands
// one letter over and returns when the server took charge of it or did not. Each
// letter goes over a connection of its own, so that a broken one harms no other.
//
// Encryption is STARTTLS and mandatory unless the site file says "tls: tls"
// (encrypted from the first byte, RFC 8314) or "tls: none", which is refused for
// any host but this computer. A user needs a password from the environment or
// from a file; both are read anew for every letter, so a changed password needs
// no restart. The password never goes over an unencrypted connection to another
// computer.
//
// Failures come back as *alert.Failure: temporary (4xx replies of RFC 5321,
// broken connections), permanent (5xx replies, wrong password, a certificate
// that does not verify, no STARTTLS offered), and in doubt (the whole letter was
// sent and the connection broke before the reply).
package mail

package mail

import (
	"crypto/tls"
	"errors"
	"net/textproto"
	"strings"

	gomail "github.com/wneessen/go-mail"

	"undersheet/alert"
	"undersheet/trust"
)

// classify tells what an error of the mail library means for the next attempt.
func classify(err error) *alert.Failure {
	var se *gomail.SendError
	if !errors.As(err, &se) {
		return &alert.Failure{Err: err, Permanent: refused(err), Everyone: true}
	}
	code := se.ErrorCode()
	f := &alert.Failure{Err: err, Permanent: code >= 500}
	switch se.Reason {
	case gomail.ErrSMTPDataClose:
		// The final dot is out. A reply with a code is a refusal; silence is not.
		f.InDoubt = code == 0
	case gomail.ErrConnCheck, gomail.ErrSMTPMailFrom:
		f.Everyone = true
	}
	if code == 0 || code == 421 { // broken connection; RFC 5321: service not available, closing
		f.Everyone = true
	}
	return f
}

// refused reports whether an error before the letter (connecting, encrypting,
// proving who we are) will come again until somebody changes a setting. These
// come as plain errors, so text decides where no type does.
func refused(err error) bool {
	var reply *textproto.Error
	if errors.As(err, &reply) {
		return reply.Code >= 500
	}
	var record tls.RecordHeaderError // no TLS on that port
	if trust.Certificate(err, "") != "" || errors.As(err, &record) {
		return true
	}
	for _, text := range []string{"does not support", "not supported", "no supported auth", "unencrypted connection", "x509:", "535 "} {
		if strings.Contains(strings.ToLower(err.Error()), text) {
			return true
		}
	}
	return false
}

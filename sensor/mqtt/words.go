package mqtt

import (
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"strings"
	"syscall"

	"github.com/eclipse/paho.mqtt.golang/packets"

	"undersheet/trust"
)

// errGone says that the connection ended.
var errGone = errors.New("the connection ended")

// lostError is why a connection that was there ended.
type lostError struct{ err error }

// Error implements error.
func (e *lostError) Error() string { return fmt.Sprintf("the connection was lost: %v", e.err) }

// Unwrap returns the cause.
func (e *lostError) Unwrap() error { return e.err }

// inWords says for people why there is no connection and what to do.
func (s *session) inWords(err error) string {
	return fmt.Sprintf("broker %q: %s", s.cfg.Broker, s.explain(err))
}

// explain says why there is no connection, without the broker's name.
func (s *session) explain(err error) string {
	if why := s.refusal(err); why != "" {
		return why
	}
	if why := s.certificates(err); why != "" {
		return why
	}
	var lost *lostError
	var dns *net.DNSError
	switch {
	case errors.As(err, &dns):
		return fmt.Sprintf("the name %q is not known: check the address and the name server", dns.Name)
	case errors.Is(err, syscall.ECONNREFUSED):
		return "nothing answers there: is the broker running, and is the port right?"
	case errors.Is(err, os.ErrDeadlineExceeded), isTimeout(err):
		return fmt.Sprintf("no answer within %v: check the address, the cable and the firewall", s.o.Timeout)
	case errors.As(err, &lost):
		return fmt.Sprintf("the connection was lost (%v); if this comes again and again, another client uses the client id %q", lost.err, s.id)
	case !cutOff(err):
		return err.Error()
	case strings.HasPrefix(s.cfg.Broker, "tls:"): // it may hang up before its reason is read
		return s.clientCertificate(err)
	default:
		return fmt.Sprintf("it closes the connection at once: a port for TLS needs tls://, and a client certificate if it asks for one (%v)", err)
	}
}

// cutOff reports whether the broker hung up while the connection was made.
func cutOff(err error) bool {
	return errors.Is(err, io.EOF) || errors.Is(err, syscall.ECONNRESET) || errors.Is(err, syscall.EPIPE)
}

// clientCertificate words that the broker hung up on a client of TLS.
func (s *session) clientCertificate(err error) string {
	if s.cfg.Cert == "" {
		return fmt.Sprintf("it hangs up on a client without a certificate: if it asks for a client certificate, give cert and key (%v)", err)
	}
	return fmt.Sprintf("it refuses the client certificate %q: is it of the authority that the broker trusts, and still valid? (%v)", s.cfg.Cert, err)
}

// isTimeout reports whether err is a wait that took too long.
func isTimeout(err error) bool {
	var ne net.Error
	return errors.As(err, &ne) && ne.Timeout()
}

// refusal words the broker's own refusal; "" when it is none.
func (s *session) refusal(err error) string {
	switch {
	case errors.Is(err, packets.ErrorRefusedBadUsernameOrPassword), errors.Is(err, packets.ErrorRefusedNotAuthorised):
		if s.cfg.User == "" {
			return "it refuses a client without a user: give user_env and password_env, or user_file and password_file"
		}
		return fmt.Sprintf("it refuses user %q: the user or the password is wrong, or the broker's access list leaves the user out", s.cfg.User)
	case errors.Is(err, packets.ErrorRefusedIDRejected):
		return fmt.Sprintf("it refuses the client id %q: choose another client_id", s.id)
	case errors.Is(err, packets.ErrorRefusedBadProtocolVersion):
		return "it does not speak MQTT 3.1.1: enable that version at the broker"
	case errors.Is(err, packets.ErrorRefusedServerUnavailable):
		return "it says that it is not available now"
	}
	return ""
}

// certificates words what is wrong with TLS; "" when it is something else.
func (s *session) certificates(err error) string {
	if why := trust.Certificate(err, s.cfg.CA); why != "" {
		return why
	}
	var record tls.RecordHeaderError
	switch {
	case errors.As(err, &record):
		return "it does not speak TLS on this port: use tcp://, or the port for TLS"
	case strings.Contains(err.Error(), "remote error: tls:"):
		return s.clientCertificate(err)
	}
	return ""
}

package webhook

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"
	"unicode"

	"undersheet/alert"
	"undersheet/trust"
)

// MostWait is the longest that a webhook is left alone because it asks for it: an
// alarm must not wait for a day.
const MostWait = 15 * time.Minute

// Bounds of what is read and shown of an answer.
const (
	mostBody    = 64 << 10 // bytes
	mostExcerpt = 200      // characters
)

// judge tells what an answer means for the next attempt; nil = handed over.
// Classes of unknown codes are those of RFC 9110, section 15: an unknown code
// counts as the x00 of its class, one outside 100 to 599 as a server's error.
func judge(status int, h http.Header, body []byte, now time.Time) *alert.Failure {
	class := status / 100
	if class == 2 {
		return nil
	}
	f := &alert.Failure{Permanent: true, Err: fmt.Errorf("it answers %d %s%s", status, http.StatusText(status), excerpt(body))}
	switch {
	case class == 3:
		f.Err = fmt.Errorf("it answers %d, sends to %s, and no redirect is followed: put the right url into the site file", status, elsewhere(h))
	case status == http.StatusRequestTimeout, status == http.StatusTooEarly, status == http.StatusTooManyRequests, class >= 5, class < 1:
		f.Permanent = false
		f.RetryAfter = retryAfter(h, now)
		// A gateway that lost its server does not know whether the server has it (RFC 9110, 15.6.3 and 15.6.5).
		f.InDoubt = status == http.StatusBadGateway || status == http.StatusGatewayTimeout
	case status == http.StatusUnauthorized, status == http.StatusForbidden:
		f.Err = fmt.Errorf("%w (is the secret the same on both sides, and are both clocks right?)", f.Err)
	case status == http.StatusGone:
		f.Err = fmt.Errorf("%w (the receiver is closed for good: take the webhook out of the site file)", f.Err)
	}
	return f
}

// elsewhere names the host that a redirect points to, and nothing that may be
// secret.
func elsewhere(h http.Header) string {
	u, err := url.Parse(h.Get("Location"))
	if err != nil || u.Host == "" {
		return "another path"
	}
	return strconv.Quote(shorten(u.Host))
}

// retryAfter reads Retry-After (RFC 9110, section 10.2.3): seconds, or a date,
// which is held against the answer's own Date so that a wrong clock does not
// matter. The result is between 0 and MostWait; 0 = none, or not readable.
func retryAfter(h http.Header, now time.Time) time.Duration {
	v := strings.TrimSpace(h.Get("Retry-After"))
	if v == "" {
		return 0
	}
	if strings.Trim(v, "0123456789") == "" {
		s, err := strconv.ParseUint(v, 10, 32)
		if err != nil || s > uint64(MostWait/time.Second) {
			return MostWait
		}
		return time.Duration(s) * time.Second
	}
	until, err := http.ParseTime(v)
	if err != nil {
		return 0
	}
	if date, err := http.ParseTime(h.Get("Date")); err == nil {
		now = date
	}
	return min(max(until.Sub(now), 0), MostWait)
}

// excerpt shows the beginning of an answer's body on one line.
func excerpt(body []byte) string {
	s := strings.Join(strings.Fields(strings.ToValidUTF8(string(body[:min(len(body), mostBody)]), "\uFFFD")), " ")
	if s == "" {
		return ""
	}
	return ": " + strconv.Quote(shorten(s))
}

// shorten cuts s to what is shown, and keeps from it what no terminal should see.
func shorten(s string) string {
	var b strings.Builder
	n := 0
	for _, r := range s {
		if n++; n > mostExcerpt {
			b.WriteString("…")
			break
		}
		if !unicode.IsPrint(r) {
			r = '\uFFFD'
		}
		b.WriteRune(r)
	}
	return b.String()
}

// unanswered tells what it means that there is no answer. sent: the request may
// have arrived as a whole.
func unanswered(err error, sent bool) *alert.Failure {
	var ue *url.Error
	if errors.As(err, &ue) { // it shows the whole URL, whose query may be secret
		err = ue.Err
	}
	f := &alert.Failure{Err: err, InDoubt: sent, Permanent: !sent && refused(err)}
	var ne net.Error
	if errors.Is(err, context.DeadlineExceeded) || errors.As(err, &ne) && ne.Timeout() {
		f.Err = fmt.Errorf("no answer in time: %w", err)
	}
	return f
}

// refused reports whether a connection will fail again until somebody puts it
// right: a certificate that does not verify, or no TLS at all.
func refused(err error) bool {
	var record tls.RecordHeaderError
	return trust.Certificate(err, "") != "" || errors.As(err, &record) || errors.Is(err, http.ErrSchemeMismatch)
}

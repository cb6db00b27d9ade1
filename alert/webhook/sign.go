package webhook

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/trust"
)

// Headers of a request.
const (
	ContentType     = "application/cloudevents+json"
	TimestampHeader = "Undersheet-Timestamp"
	SignatureHeader = "Undersheet-Signature"
)

// Tolerance is how far a timestamp may be from the receiver's clock.
const Tolerance = 5 * time.Minute

// scheme stands before the digits, so that another way of signing can be told apart.
const scheme = "v1="

// leastSecret is the shortest secret, in bytes: the length of the digest.
// RFC 2104, section 3, strongly discourages shorter keys.
const leastSecret = sha256.Size

// Why Verify refuses a message.
var (
	ErrUnsigned = errors.New("the message is not signed in the expected form")
	ErrStale    = errors.New("the message's timestamp is too far from this clock")
	ErrForged   = errors.New("the signature does not fit the message: another secret, or the message was changed")
)

// Verify checks that a message with this header and body was signed with secret
// no longer than Tolerance before or after now. It returns nil, or an error that
// is ErrUnsigned, ErrStale or ErrForged. An empty secret fits nothing.
func Verify(secret string, header http.Header, body []byte, now time.Time) error {
	stamp, err := only(header, TimestampHeader)
	if err != nil {
		return err
	}
	signature, err := only(header, SignatureHeader)
	if err != nil {
		return err
	}
	given, err := hex.DecodeString(strings.TrimPrefix(signature, scheme))
	if err != nil || len(given) != sha256.Size || !strings.HasPrefix(signature, scheme) {
		return fmt.Errorf("read %s: want %s and %d hex digits: %w", SignatureHeader, scheme, 2*sha256.Size, ErrUnsigned)
	}
	seconds, err := strconv.ParseInt(stamp, 10, 64)
	if err != nil {
		return fmt.Errorf("read %s: want seconds since 1970: %w", TimestampHeader, ErrUnsigned)
	}
	if secret == "" || !hmac.Equal(given, digest(secret, stamp, body)) {
		return ErrForged
	}
	if at := time.Unix(seconds, 0); at.Before(now.Add(-Tolerance)) || at.After(now.Add(Tolerance)) {
		return fmt.Errorf("signed at %s: %w", at.UTC().Format(time.RFC3339), ErrStale)
	}
	return nil
}

// only returns the one value of a header.
func only(h http.Header, name string) (string, error) {
	if v := h.Values(name); len(v) == 1 {
		return v[0], nil
	}
	return "", fmt.Errorf("read %s: want it once, got it %d times: %w", name, len(h.Values(name)), ErrUnsigned)
}

// sign puts timestamp and signature into a header.
func sign(h http.Header, secret string, body []byte, at time.Time) {
	stamp := strconv.FormatInt(at.Unix(), 10)
	h.Set(TimestampHeader, stamp)
	h.Set(SignatureHeader, scheme+hex.EncodeToString(digest(secret, stamp, body)))
}

// digest is what the signature is made of.
func digest(secret, stamp string, body []byte) []byte {
	return mac([]byte(secret), []byte(stamp), []byte("."), body)
}

// mac is HMAC-SHA256 (RFC 2104) over the parts, one after the other.
func mac(key []byte, parts ...[]byte) []byte {
	m := hmac.New(sha256.New, key)
	for _, p := range parts {
		m.Write(p) // never fails
	}
	return m.Sum(nil)
}

// readSecret reads the secret that signs the messages to c.
func readSecret(c logbook.Webhook) (string, error) {
	if c.SecretEnv == "" && c.SecretFile == "" {
		return "", errors.New("secret_env: give either secret_env or secret_file: without a signature nobody can tell a message from a forged one")
	}
	s, err := trust.Secret("secret", c.SecretEnv, c.SecretFile)
	if err == nil && len(s) < leastSecret {
		err = fmt.Errorf("secret_env, secret_file: the secret has %d bytes, want %d or more: make one with openssl rand -hex 32", len(s), leastSecret)
	}
	return s, err
}

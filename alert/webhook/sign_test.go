package webhook

import (
	"bytes"
	"encoding/hex"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// TestRFC4231 computes the HMAC-SHA-256 values of RFC 4231, section 4 (test case
// 5, a truncated output, does not apply).
func TestRFC4231(t *testing.T) {
	key4 := make([]byte, 25)
	for i := range key4 {
		key4[i] = byte(i + 1)
	}
	long := bytes.Repeat([]byte{0xaa}, 131)
	for _, tt := range []struct {
		section   string
		key, data []byte
		want      string
	}{
		{"4.2", bytes.Repeat([]byte{0x0b}, 20), []byte("Hi There"), "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"},
		{"4.3", []byte("Jefe"), []byte("what do ya want for nothing?"), "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"},
		{"4.4", bytes.Repeat([]byte{0xaa}, 20), bytes.Repeat([]byte{0xdd}, 50), "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe"},
		{"4.5", key4, bytes.Repeat([]byte{0xcd}, 50), "82558a389a443c0ea4cc819899f2083a85f0faa3e578f8077a2e3ff46729665b"},
		{"4.7", long, []byte("Test Using Larger Than Block-Size Key - Hash Key First"), "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54"},
		{"4.8", long, []byte("This is a test using a larger than block-size key and a larger than block-size data. " +
			"The key needs to be hashed before being used by the HMAC algorithm."), "9b09ffa71b942fcb27635fbcd5b0e944bfdc63644f0713938a7f51535c3a35e2"},
	} {
		require.Equal(t, tt.want, hex.EncodeToString(mac(tt.key, tt.data)), tt.section)
		half := len(tt.data) / 2
		require.Equal(t, tt.want, hex.EncodeToString(mac(tt.key, tt.data[:half], tt.data[half:])), "in parts")
	}
}

const secret = "0123456789abcdef0123456789abcdef"

var signedAt = time.Unix(1767225600, 0)

// signed returns a message whose signature was made by another program:
//
//	printf '1767225600.{"specversion":"1.0"}' | openssl dgst -sha256 -hmac 0123456789abcdef0123456789abcdef
//
// (OpenSSL 3.0.x).
func signed() (http.Header, []byte) {
	h := http.Header{}
	h.Set(TimestampHeader, "1767225600")
	h.Set(SignatureHeader, "v1=a524ad8c6abbb2341a441941b1f74adca8c6a88c0ce2032149835f271477ee8b")
	return h, []byte(`{"specversion":"1.0"}`)
}

func TestSignatureIsThatOfAnotherProgram(t *testing.T) {
	want, body := signed()
	got := http.Header{}
	sign(got, secret, body, signedAt)
	require.Equal(t, want, got)
	require.NoError(t, Verify(secret, got, body, signedAt))
}

func TestVerify(t *testing.T) {
	for name, tt := range map[string]struct {
		change func(h http.Header, body []byte, secret *string, now *time.Time)
		want   error
	}{
		"late, within":  {func(_ http.Header, _ []byte, _ *string, now *time.Time) { *now = now.Add(Tolerance) }, nil},
		"early, within": {func(_ http.Header, _ []byte, _ *string, now *time.Time) { *now = now.Add(-Tolerance) }, nil},
		"upper case": {func(h http.Header, _ []byte, _ *string, _ *time.Time) {
			h.Set(SignatureHeader, "v1="+strings.ToUpper(h.Get(SignatureHeader)[3:]))
		}, nil},
		"played again":      {func(_ http.Header, _ []byte, _ *string, now *time.Time) { *now = now.Add(Tolerance + time.Second) }, ErrStale},
		"from the future":   {func(_ http.Header, _ []byte, _ *string, now *time.Time) { *now = now.Add(-Tolerance - time.Second) }, ErrStale},
		"fresher stamp":     {func(h http.Header, _ []byte, _ *string, _ *time.Time) { h.Set(TimestampHeader, "1767225601") }, ErrForged},
		"stamp in disguise": {func(h http.Header, _ []byte, _ *string, _ *time.Time) { h.Set(TimestampHeader, "+1767225600") }, ErrForged},
		"changed body":      {func(_ http.Header, b []byte, _ *string, _ *time.Time) { b[3] ^= 1 }, ErrForged},
		"another secret":    {func(_ http.Header, _ []byte, s *string, _ *time.Time) { *s += "0" }, ErrForged},
		"no secret":         {func(_ http.Header, _ []byte, s *string, _ *time.Time) { *s = "" }, ErrForged},
		"no timestamp":      {func(h http.Header, _ []byte, _ *string, _ *time.Time) { h.Del(TimestampHeader) }, ErrUnsigned},
		"two timestamps":    {func(h http.Header, _ []byte, _ *string, _ *time.Time) { h.Add(TimestampHeader, "1767225600") }, ErrUnsigned},
		"no signature":      {func(h http.Header, _ []byte, _ *string, _ *time.Time) { h.Del(SignatureHeader) }, ErrUnsigned},
		"two signatures":    {func(h http.Header, _ []byte, _ *string, _ *time.Time) { h.Add(SignatureHeader, "v1=00") }, ErrUnsigned},
		"no scheme": {func(h http.Header, _ []byte, _ *string, _ *time.Time) {
			h.Set(SignatureHeader, h.Get(SignatureHeader)[3:])
		}, ErrUnsigned},
		"cut": {func(h http.Header, _ []byte, _ *string, _ *time.Time) {
			h.Set(SignatureHeader, h.Get(SignatureHeader)[:20])
		}, ErrUnsigned},
		"no hex": {func(h http.Header, _ []byte, _ *string, _ *time.Time) {
			h.Set(SignatureHeader, "v1="+strings.Repeat("g", 64))
		}, ErrUnsigned},
		"stamp is a date": {func(h http.Header, _ []byte, _ *string, _ *time.Time) { h.Set(TimestampHeader, "2026-01-01T00:00:00Z") }, ErrUnsigned},
		"stamp overflows": {func(h http.Header, _ []byte, _ *string, _ *time.Time) {
			h.Set(TimestampHeader, strings.Repeat("9", 30))
		}, ErrUnsigned},
	} {
		t.Run(name, func(t *testing.T) {
			h, body := signed()
			key, now := secret, signedAt
			tt.change(h, body, &key, &now)
			err := Verify(key, h, body, now)
			require.ErrorIs(t, err, tt.want)
			if err != nil {
				require.NotContains(t, err.Error(), secret)
			}
		})
	}
	// An empty secret must not pass for one that was agreed on.
	h := http.Header{}
	sign(h, "", nil, signedAt)
	require.ErrorIs(t, Verify("", h, nil, signedAt), ErrForged)
}

// FuzzVerify: whatever comes in, only what was signed with the secret passes, and
// then it is what sign writes.
func FuzzVerify(f *testing.F) {
	h, body := signed()
	f.Add(h.Get(TimestampHeader), h.Get(SignatureHeader), body)
	f.Add("+1767225600", "v1=", []byte(nil))
	f.Add("", strings.Repeat("0", 67), []byte("{}"))
	f.Fuzz(func(t *testing.T, stamp, signature string, body []byte) {
		got := http.Header{TimestampHeader: {stamp}, SignatureHeader: {signature}}
		if Verify(secret, got, body, signedAt) != nil {
			return
		}
		want := http.Header{}
		sign(want, secret, body, signedAt)
		require.Equal(t, want.Get(SignatureHeader), strings.ToLower(signature))
	})
}

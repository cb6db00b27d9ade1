package webhook

import (
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"
	"unicode"

	"github.com/stretchr/testify/require"

	"undersheet/alert"
)

// flags are permanent, everyone, in doubt.
func flags(f *alert.Failure) [3]bool { return [3]bool{f.Permanent, f.Everyone, f.InDoubt} }

// TestJudge: classes of RFC 9110, section 15 (429: RFC 6585; 425: RFC 8470), and
// of the CloudEvents web hook specification 1.0.2, section 2.2: 2xx delivered,
// 3xx never followed, 410 retired, 429 wait.
func TestJudge(t *testing.T) {
	for _, status := range []int{200, 201, 202, 204, 299} {
		require.Nil(t, judge(status, http.Header{}, nil, noon.Std()), "%d", status)
	}
	permanent := [3]bool{true, false, false}
	for _, status := range []int{300, 301, 302, 304, 307, 308, 400, 401, 403, 404, 405, 407, 410, 413, 415, 422, 451, 499} {
		require.Equal(t, permanent, flags(judge(status, http.Header{}, nil, noon.Std())), "%d", status)
	}
	for _, status := range []int{408, 425, 429, 500, 501, 503, 507, 599, 600, 999, 0} {
		require.Equal(t, [3]bool{}, flags(judge(status, http.Header{}, nil, noon.Std())), "%d", status)
	}
	for _, status := range []int{502, 504} {
		require.Equal(t, [3]bool{false, false, true}, flags(judge(status, http.Header{}, nil, noon.Std())), "%d", status)
	}
	f := judge(307, http.Header{"Location": {"https://elsewhere.example/in?token=x"}}, nil, noon.Std())
	require.Contains(t, f.Error(), `"elsewhere.example"`)
	require.NotContains(t, f.Error(), "token")
	f = judge(400, http.Header{}, []byte("no such\r\n\tdepot \x1b[31m"+strings.Repeat("x", 5000)), noon.Std())
	require.Contains(t, f.Error(), `no such depot`)
	require.NotContains(t, f.Error(), "\x1b")
	require.Less(t, len(f.Error()), 400)
}

// TestRetryAfter: forms of RFC 9110, sections 10.2.3 and 5.6.7 (its three dates).
func TestRetryAfter(t *testing.T) {
	now := time.Date(1994, 11, 6, 8, 48, 37, 0, time.UTC)
	for _, tt := range []struct {
		value, date string
		want        time.Duration
	}{
		{"120", "", 2 * time.Minute}, {" 120 ", "", 2 * time.Minute}, {"0", "", 0}, {"", "", 0}, {"900", "", MostWait}, {"901", "", MostWait},
		{"99999999999999999999999", "", MostWait}, {"-5", "", 0}, {"+5", "", 0}, {"1.5", "", 0}, {"soon", "", 0}, {"5 s", "", 0},
		{"Sun, 06 Nov 1994 08:49:37 GMT", "", time.Minute}, {"Sunday, 06-Nov-94 08:49:37 GMT", "", time.Minute}, {"Sun Nov  6 08:49:37 1994", "", time.Minute},
		{"Sun, 06 Nov 1994 07:49:37 GMT", "", 0}, {"Wed, 21 Oct 2015 07:28:00 GMT", "", MostWait},
		{"Sun, 06 Nov 1994 10:01:00 GMT", "Sun, 06 Nov 1994 10:00:00 GMT", time.Minute}, // by the server's clock, which is not ours
		{"Sun, 06 Nov 1994 08:49:37 GMT", "yesterday", time.Minute},
	} {
		h := http.Header{"Retry-After": {tt.value}, "Date": {tt.date}}
		require.Equal(t, tt.want, retryAfter(h, now), "%q", tt.value)
		require.Equal(t, tt.want, judge(503, h, nil, now).RetryAfter)
		require.Zero(t, judge(404, h, nil, now).RetryAfter, "who waits for it?")
	}
}

// FuzzJudge: 2xx and nothing else hands over; waits are bounded; an error is one
// short line that a terminal can show; one hook's trouble is never everyone's.
func FuzzJudge(f *testing.F) {
	f.Add(200, "", "", "", []byte("ok"))
	f.Add(429, "120", "", "", []byte("slow down"))
	f.Add(503, "Sun, 06 Nov 1994 08:49:37 GMT", "Sun, 06 Nov 1994 08:48:37 GMT", "", []byte("\x1b[2J\u2028"))
	f.Add(302, "", "", "https://u:p@elsewhere.example\x00/", []byte{0xff, 0xfe})
	f.Add(-7, "99999999999999999999999999", "x", "//[::1", []byte(strings.Repeat("long ", 300)))
	f.Fuzz(func(t *testing.T, status int, after, date, location string, body []byte) {
		h := http.Header{"Retry-After": {after}, "Date": {date}, "Location": {location}}
		got := judge(status, h, body, noon.Std())
		require.Equal(t, status >= 200 && status <= 299, got == nil)
		if got == nil {
			return
		}
		require.False(t, got.Everyone)
		require.False(t, got.Permanent && (got.InDoubt || got.RetryAfter != 0))
		require.GreaterOrEqual(t, got.RetryAfter, time.Duration(0))
		require.LessOrEqual(t, got.RetryAfter, MostWait)
		text := got.Error()
		require.LessOrEqual(t, len([]rune(text)), 1000)
		require.Contains(t, text, fmt.Sprint(status))
		for _, r := range text {
			require.True(t, unicode.IsPrint(r), "%U", r)
		}
	})
}

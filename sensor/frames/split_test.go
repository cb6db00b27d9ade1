package frames

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// cut gives s the parts of a stream and returns what came out, in words; "…" in
// parts is a lull.
func cut(s *splitter, parts ...string) []string {
	var got []string
	word := func(l line) string {
		switch {
		case l.long:
			return "long " + string(l.text[:8])
		case l.torn:
			return "torn " + string(l.text)
		}
		return string(l.text)
	}
	for _, p := range parts {
		if p == "…" {
			if l, ok := s.quiet(time.Time{}); ok {
				got = append(got, word(l))
			}
			continue
		}
		for _, l := range s.take([]byte(p), time.Time{}) {
			got = append(got, word(l))
		}
	}
	return got
}

func TestSplit(t *testing.T) {
	long := strings.Repeat("x", MaxLine+3)
	for name, c := range map[string]struct {
		end   string
		parts []string
		want  []string
	}{
		"first line may be torn":   {EndLF, []string{"2 ppm\n", "398 ppm\n"}, []string{"398 ppm"}},
		"after a lull it is whole": {EndLF, []string{"…", "412 ppm\r\n398", " ppm\r\n"}, []string{"412 ppm", "398 ppm"}},
		"torn and a lull":          {EndLF, []string{"2 pp", "…", "398 ppm\n"}, []string{"398 ppm"}},
		"broken off":               {EndLF, []string{"…", "41", "…", "398 ppm\n"}, []string{"torn 41", "398 ppm"}},
		"carriage returns":         {EndCR, []string{"…", "412\r\n398\r", "\n7\r"}, []string{"412", "398", "7"}},
		"empty lines":              {EndLF, []string{"…", "\n\r\n7\n"}, []string{"", "", "7"}},
		"too long":                 {EndLF, []string{"…", long, long, "\n7\n"}, []string{"long xxxxxxxx", "7"}},
		"too long at once":         {EndLF, []string{"…", long + "\n7\n"}, []string{"long xxxxxxxx", "7"}},
		"too long from the start":  {EndLF, []string{long, "\n7\n"}, []string{"long xxxxxxxx", "7"}},
		"too long and a lull":      {EndLF, []string{"…", long, "…", "7\n"}, []string{"long xxxxxxxx", "7"}},
		"as long as can be":        {EndLF, []string{"…", long[:MaxLine], "\r\n"}, []string{long[:MaxLine]}},
	} {
		t.Run(name, func(t *testing.T) {
			require.Equal(t, c.want, cut(newSplitter(c.end), c.parts...))
			var bytewise []string
			for _, p := range c.parts {
				if p == "…" {
					bytewise = append(bytewise, p)
					continue
				}
				bytewise = append(bytewise, strings.Split(p, "")...)
			}
			require.Equal(t, c.want, cut(newSplitter(c.end), bytewise...), "byte by byte")
		})
	}
}

// FuzzSplit: however a stream is cut into reads, the same lines come out, none is
// longer than MaxLine, and the splitter holds no more than MaxLine+2 bytes.
func FuzzSplit(f *testing.F) {
	f.Add([]byte("412 ppm\r\n398 ppm\n"), uint8(3), true)
	f.Add([]byte(strings.Repeat("x", 3*MaxLine)+"\n7\n"), uint8(200), false)
	f.Fuzz(func(t *testing.T, stream []byte, step uint8, cr bool) {
		end := EndLF
		if cr {
			end = EndCR
		}
		one, many := newSplitter(end), newSplitter(end)
		one.quiet(time.Time{})
		many.quiet(time.Time{})
		want := one.take(stream, time.Time{})
		var got []line
		for b := stream; len(b) > 0; {
			n := min(len(b), int(step)+1)
			got = append(got, many.take(b[:n], time.Time{})...)
			require.LessOrEqual(t, len(many.held), MaxLine+2)
			b = b[n:]
		}
		require.Equal(t, want, got)
		for _, l := range got {
			require.LessOrEqual(t, len(l.text), MaxLine+2)
			require.NotContains(t, string(l.text), string(rune(one.end)))
		}
	})
}

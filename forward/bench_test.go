package forward

import (
	"path/filepath"
	"testing"
	"time"

	"github.com/influxdata/line-protocol/v2/lineprotocol"
	"github.com/stretchr/testify/require"

	"undersheet/forward/lines"
	"undersheet/logbook"
	"undersheet/logbook/sqlite"
)

// plain is how many lines a second the protocol's library alone writes that are
// the same as ours, from values that are ready.
func plain(b *testing.B, log []logbook.Entry) float64 {
	const rounds = 20
	var enc lineprotocol.Encoder
	tags := [][2]string{{"channel", "c1"}, {"line", "line 1"}, {"site", "Depot Ostrava"}, {"stack", `B, "east" = new`}, {"store", "Store 2"}, {"unit", "ppm"}, {"use", "line"}}
	began, n := time.Now(), 0
	for range rounds {
		enc.Reset()
		for _, e := range log {
			r, ok := e.(*logbook.Reading)
			if !ok {
				continue
			}
			enc.StartLine("reading")
			for _, t := range tags {
				enc.AddTag(t[0], t[1])
			}
			enc.AddField("value", lineprotocol.MustNewValue(r.Value))
			enc.EndLine(r.Time.Std())
			n++
		}
	}
	require.NoError(b, enc.Err())
	return float64(n) / time.Since(began).Seconds()
}

// BenchmarkForward tells lines a second, and what part that is of the library's
// plain encoding in the same run: of the encoder alone, of batches made from the
// database, and of the whole way into a file, fsync and cursor included.
func BenchmarkForward(b *testing.B) {
	s := store(b)
	fill(b, s, 0, 20000)
	entries, err := s.Read(b.Context(), 1, 1<<20)
	require.NoError(b, err)
	var text []byte
	for name, once := range map[string]func(b *testing.B) int{
		"encode": func(b *testing.B) int {
			e, n := lines.New(), 0
			text = text[:0]
			for _, en := range entries {
				before := len(text)
				text, err = e.Append(text, en, false)
				require.NoError(b, err)
				if len(text) > before {
					n++
				}
			}
			return n
		},
		"batches": func(b *testing.B) int {
			f, err := New(toFile("none"), s, Options{})
			require.NoError(b, err)
			n := 0
			for full := true; full; {
				batch, err := f.build(b.Context())
				require.NoError(b, err)
				n, full, f.at = n+len(batch.ends), batch.full, batch.upTo
			}
			return n
		},
		"file": func(b *testing.B) int {
			require.NoError(b, s.SetCursor(b.Context(), "archive", sqlite.Cursor{}))
			return int(copyAll(b, toFile(filepath.Join(b.TempDir(), "x")), s, Options{}).Sent)
		},
	} {
		b.Run(name, func(b *testing.B) {
			alone := plain(b, entries)
			n := 0
			b.ResetTimer()
			for b.Loop() {
				n += once(b)
			}
			rate := float64(n) / b.Elapsed().Seconds()
			b.ReportMetric(rate, "lines/s")
			b.ReportMetric(rate/alone, "of-plain")
		})
	}
}

package sqlite

import (
	"fmt"
	"os"
	"path/filepath"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

// fdatasyncRate returns how often a second the disk under dir makes 4 KiB durable.
func fdatasyncRate(b *testing.B, dir string) float64 {
	f, err := os.Create(filepath.Join(dir, "raw"))
	require.NoError(b, err)
	defer f.Close()
	page := make([]byte, 4096)
	const n = 300
	start := time.Now()
	for i := range n {
		_, err := f.WriteAt(page, int64(i)*4096)
		require.NoError(b, err)
		require.NoError(b, syscall.Fdatasync(int(f.Fd())))
	}
	return n / time.Since(start).Seconds()
}

// BenchmarkAppend tells rows/s and commits/s against the raw fdatasync rate of
// the same disk in the same run: single commits can at best reach 1.
func BenchmarkAppend(b *testing.B) {
	for _, batch := range []int{1, 100, 1000} {
		b.Run(fmt.Sprint("batch", batch), func(b *testing.B) {
			s, _ := fresh(b)
			raw := fdatasyncRate(b, filepath.Dir(s.Path()))
			n := 0
			b.ResetTimer()
			for b.Loop() {
				in := make([]logbook.Entry, batch)
				for i := range in {
					in[i] = reading(fmt.Sprint("c", i%20), n, float64(i))
					n++
				}
				_, err := s.Append(b.Context(), in)
				require.NoError(b, err)
			}
			rate := float64(b.N) / b.Elapsed().Seconds()
			b.ReportMetric(rate*float64(batch), "rows/s")
			b.ReportMetric(rate/raw, "commits/fdatasync")
		})
	}
}

// BenchmarkAppendTogether has 64 callers with one row each.
func BenchmarkAppendTogether(b *testing.B) {
	s, _ := fresh(b)
	raw := fdatasyncRate(b, filepath.Dir(s.Path()))
	var n atomic.Int64
	b.SetParallelism(32) // times GOMAXPROCS
	b.ResetTimer()
	b.RunParallel(func(p *testing.PB) {
		for p.Next() {
			if _, err := s.Append(b.Context(), []logbook.Entry{reading("a", int(n.Add(1)), 1)}); err != nil {
				b.Error(err)
			}
		}
	})
	rate := float64(b.N) / b.Elapsed().Seconds()
	b.ReportMetric(rate, "rows/s")
	b.ReportMetric(rate/raw, "rows/fdatasync")
}

// BenchmarkRead scans 100,000 readings, 20 to a block.
func BenchmarkRead(b *testing.B) {
	s, _ := fresh(b)
	const blocks, rows = 5000, 20
	for i := range blocks / 50 {
		require.NoError(b, s.exclusive(b.Context(), "fill", func(t *txn) error {
			for j := range 50 * rows {
				r := reading(fmt.Sprint("c", j%rows), i*50+j/rows, float64(j))
				k, err := prepareOne(r)
				if err == nil {
					_, err = t.add(r, k)
				}
				if err == nil && j%rows == rows-1 {
					err = t.flush()
				}
				if err != nil {
					return err
				}
			}
			return nil
		}))
	}
	info, err := os.Stat(s.Path())
	require.NoError(b, err)
	b.Run("entries", func(b *testing.B) {
		for b.Loop() {
			require.Len(b, all(b, s), blocks*rows)
		}
		b.ReportMetric(float64(b.N*blocks*rows)/b.Elapsed().Seconds(), "rows/s")
		b.ReportMetric(float64(info.Size())/blocks/rows, "bytes/row")
	})
	b.Run("channel", func(b *testing.B) {
		for b.Loop() {
			n := 0
			for _, err := range s.Readings(b.Context(), "c3", 0, logbook.At(noon.AddDate(1, 0, 0))) {
				require.NoError(b, err)
				n++
			}
			require.Equal(b, blocks, n)
		}
		b.ReportMetric(float64(b.N*blocks)/b.Elapsed().Seconds(), "readings/s")
	})
	b.Run("verify", func(b *testing.B) {
		for b.Loop() {
			_, err := s.Verify(b.Context(), "", nil)
			require.NoError(b, err)
		}
		b.ReportMetric(float64(b.N*blocks*rows)/b.Elapsed().Seconds(), "rows/s")
	})
}

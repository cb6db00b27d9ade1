package sqlite

import (
	"context"
	"fmt"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

// TestCursor: a cursor is kept by name, over a restart, and never passes the head.
func TestCursor(t *testing.T) {
	s, c := fresh(t)
	got, err := s.Cursor(t.Context(), "depot copy")
	require.NoError(t, err)
	require.Zero(t, got)
	_, err = s.Append(t.Context(), []logbook.Entry{reading("a", 1, 1), reading("a", 2, 2), reading("a", 3, 3)})
	require.NoError(t, err)

	require.ErrorContains(t, s.SetCursor(t.Context(), "depot copy", Cursor{Seq: 4}), "the log ends at 3")
	require.ErrorContains(t, s.SetCursor(t.Context(), "depot copy", Cursor{Seq: 2, Site: 3}), "site of seq 3")
	require.ErrorContains(t, s.SetCursor(t.Context(), " ", Cursor{Seq: 2}), "no name")
	require.NoError(t, s.SetCursor(t.Context(), "depot copy", Cursor{Seq: 3, Site: 1}))
	require.NoError(t, s.SetCursor(t.Context(), "depot copy", Cursor{Seq: 2, Site: 1}), "it may go back")
	require.NoError(t, s.SetCursor(t.Context(), "copy", Cursor{Seq: 1}))

	require.NoError(t, s.Close())
	s = openTest(t, s.Path(), Options{Now: c.now})
	for name, want := range map[string]Cursor{"depot copy": {2, 1}, "copy": {1, 0}, "depot": {}} {
		got, err := s.Cursor(t.Context(), name)
		require.NoError(t, err)
		require.Equal(t, want, got, name)
	}
	report, err := s.Verify(t.Context(), "", nil)
	require.NoError(t, err)
	require.EqualValues(t, 3, report.Head.Seq)
}

// TestCursorOfBackup: a restored logbook goes on from the cursor of its backup.
func TestCursorOfBackup(t *testing.T) {
	s, c := fresh(t)
	_, err := s.Append(t.Context(), []logbook.Entry{reading("a", 1, 1), reading("a", 2, 2)})
	require.NoError(t, err)
	require.NoError(t, s.SetCursor(t.Context(), "copy", Cursor{Seq: 1}))
	dir := t.TempDir()
	_, err = s.Backup(t.Context(), filepath.Join(dir, "backup.db"), nil)
	require.NoError(t, err)
	require.NoError(t, s.SetCursor(t.Context(), "copy", Cursor{Seq: 2}))
	_, err = Restore(t.Context(), filepath.Join(dir, "backup.db"), filepath.Join(dir, "site.db"), c.now, nil)
	require.NoError(t, err)
	got, err := openTest(t, filepath.Join(dir, "site.db"), Options{Now: c.now}).Cursor(t.Context(), "copy")
	require.NoError(t, err)
	require.Equal(t, Cursor{Seq: 1}, got)
}

// TestCursorDamaged: a cursor that cannot be read is told, not taken for 0.
func TestCursorDamaged(t *testing.T) {
	s, _ := fresh(t)
	_, err := s.write.Exec("INSERT INTO meta VALUES ('cursor copy', 'x')")
	require.NoError(t, err)
	_, err = s.Cursor(t.Context(), "copy")
	var d *Damage
	require.ErrorAs(t, err, &d)
}

// TestRepeated: of the readings of one channel and time all but the first are repeated.
func TestRepeated(t *testing.T) {
	s, _ := fresh(t)
	first, other, late := reading("a", 1, 1), reading("b", 1, 9), reading("a", 0, 5)
	second, third := reading("a", 1, 2), reading("a", 1, 3)
	_, err := s.Append(t.Context(), []logbook.Entry{first, other, second, late, third})
	require.NoError(t, err)
	got, err := s.Repeated(t.Context(), []*logbook.Reading{third, first, other, second, late})
	require.NoError(t, err)
	require.Equal(t, []bool{true, false, false, true, false}, got)
	got, err = s.Repeated(t.Context(), nil)
	require.NoError(t, err)
	require.Empty(t, got)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err = s.Repeated(ctx, []*logbook.Reading{first})
	require.ErrorIs(t, err, context.Canceled)
}

// BenchmarkRepeated tells the cost of a look in a log of 100,000 readings.
func BenchmarkRepeated(b *testing.B) {
	s, _ := fresh(b)
	var rs []*logbook.Reading
	for n := 0; n < 100_000; n += 1000 {
		in := make([]logbook.Entry, 1000)
		for i := range in {
			r := reading(fmt.Sprint("c", i%20), (n+i)/20, 1)
			in[i], rs = r, append(rs, r)
		}
		_, err := s.Append(b.Context(), in)
		require.NoError(b, err)
	}
	n := 0
	for b.Loop() {
		_, err := s.Repeated(b.Context(), rs[n%100*1000:][:1000])
		require.NoError(b, err)
		n++
	}
	b.ReportMetric(float64(b.N)*1000/b.Elapsed().Seconds(), "readings/s")
}

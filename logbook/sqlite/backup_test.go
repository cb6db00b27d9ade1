package sqlite

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

func TestBackupIsTakenWhileInUse(t *testing.T) {
	s, _ := fresh(t)
	_, err := s.Append(t.Context(), []logbook.Entry{reading("a", 0, 1), dosing("k", "B", 0)})
	require.NoError(t, err)
	reader := openTest(t, s.Path(), Options{ReadOnly: true}) // as `undersheet backup` beside the daemon
	dest := filepath.Join(t.TempDir(), "copy.db")
	report, err := reader.Backup(t.Context(), dest, nil)
	require.NoError(t, err)
	head, err := s.Head(t.Context())
	require.NoError(t, err)
	require.Equal(t, head, report.Head)
	_, err = s.Append(t.Context(), []logbook.Entry{reading("a", 1, 1)})
	require.NoError(t, err, "the logbook goes on")
	require.Len(t, all(t, openTest(t, dest, Options{ReadOnly: true})), 2)

	_, err = s.Backup(t.Context(), dest, nil)
	require.ErrorContains(t, err, "exists already")
	_, err = s.Backup(t.Context(), s.Path(), nil)
	require.ErrorContains(t, err, "exists already")
	left, err := os.ReadDir(filepath.Dir(dest))
	require.NoError(t, err)
	for _, f := range left {
		require.NotContains(t, f.Name(), ".new")
	}
}

func TestRestoreGoesOnUnderANewLogID(t *testing.T) {
	s, c := fresh(t)
	ctx := t.Context()
	_, err := s.Append(ctx, []logbook.Entry{reading("a", 0, 1), dosing("k", "B", 0)})
	require.NoError(t, err)
	require.NoError(t, s.AppendRecords(ctx, 2, []logbook.Recorded{accepted(2)}, []Outgoing{mail("m1", 0)}))
	require.NoError(t, s.SaveSnapshot(ctx, Snapshot{Build: "p", Seq: 2}))
	old, err := s.Head(ctx)
	require.NoError(t, err)
	dir := t.TempDir()
	_, err = s.Backup(ctx, filepath.Join(dir, "copy.db"), nil)
	require.NoError(t, err)

	dest := filepath.Join(dir, "again.db")
	report, err := Restore(ctx, filepath.Join(dir, "copy.db"), dest, c.now, nil)
	require.NoError(t, err)
	require.Len(t, report.Logs, 2)
	require.Equal(t, Span{LogID: old.LogID, First: 1, Last: 3}, report.Logs[0])
	require.EqualValues(t, 4, report.Logs[1].First)
	r := openTest(t, dest, Options{Now: c.now})
	got := all(t, r)
	require.Equal(t, &logbook.Restored{Header: logbook.Header{Kind: logbook.KindRestored, Time: logbook.At(noon), Received: logbook.At(noon), Seq: 4, V: 1},
		Log: report.Head.LogID, Was: old.LogID, From: old.Hash}, got[3])
	require.NotEqual(t, old.LogID, report.Head.LogID)
	due, err := r.Due(ctx, noon, 10)
	require.NoError(t, err)
	require.Len(t, due, 1)
	require.True(t, due[0].InDoubt, "it may have been handed over since the backup")
	snap, err := r.LoadSnapshot(ctx, "p", "")
	require.NoError(t, err)
	require.Nil(t, snap)
	c.set(noon.Add(time.Hour))
	_, err = r.Append(ctx, []logbook.Entry{reading("a", 5, 1)})
	require.NoError(t, err)
	_, err = r.Verify(ctx, old.Hash, nil)
	require.NoError(t, err, "the old head vouches for the restored part")

	_, err = Restore(ctx, filepath.Join(dir, "copy.db"), dest, c.now, nil)
	require.ErrorContains(t, err, "exists already")
	_, err = Restore(ctx, copyFixture(t, "flipped-bit"), filepath.Join(dir, "x.db"), c.now, nil)
	require.ErrorContains(t, err, "not whole, use another one")
	require.NoFileExists(t, filepath.Join(dir, "x.db"))
}

func TestRestoreOfAnEmptyLogbook(t *testing.T) {
	s, c := fresh(t)
	dest := filepath.Join(t.TempDir(), "again.db")
	_, err := Restore(t.Context(), s.Path(), dest, c.now, nil)
	require.NoError(t, err)
	h, err := openTest(t, dest, Options{}).Head(t.Context())
	require.NoError(t, err)
	require.NotEqual(t, s.head.id.String(), h.LogID)
}

func TestReadOnlyNeedsAFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "none ?#%.db")
	_, err := Open(path, Options{ReadOnly: true})
	require.ErrorIs(t, err, os.ErrNotExist)
	require.NoFileExists(t, path)
	s := openTest(t, path, Options{}) // a name that needs quoting
	require.FileExists(t, path)
	require.Empty(t, all(t, s))
}

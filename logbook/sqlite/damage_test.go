package sqlite

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

var update = flag.Bool("update", false, "write the damaged logbooks of testdata/logbook anew")

const fixtures = "../../testdata/logbook"

// damages lists one fixture folder for each kind of damage. The logbooks are
// invented; how each was damaged is in do.
var damages = []struct {
	folder string
	do     func(t *testing.T, path string) // damages a whole logbook
	opens  bool                            // for a writer
	open   string                          // what opening says
	verify string                          // what verify says; empty: finds it whole
	head   string                          // what verify with the head of the whole logbook says
}{
	{folder: "whole", do: func(t *testing.T, path string) {}, opens: true},
	{folder: "torn-tail", do: sqlOn("DELETE FROM blocks WHERE first = (SELECT max(first) FROM blocks)"),
		open: "at seq 9: its end is torn off: entries up to seq 12 were committed, the last block ends at 8"},
	{folder: "cut-tail", do: sqlOn("DELETE FROM blocks WHERE first > 8; DELETE FROM identities WHERE seq > 8; DELETE FROM times WHERE seq > 8;" +
		"UPDATE meta SET value = '8' WHERE key = 'written'"), opens: true, head: "the tail was cut after that hash was printed"},
	{folder: "torn-file", do: truncate, open: "pages of the database file are missing or overwritten"},
	{folder: "flipped-bit", do: flip(-1), opens: true, verify: "in block 2 at seq 5: its content is not whole"},
	{folder: "flipped-header", do: flip(60), opens: true, verify: "hash of the block before it"},
	{folder: "flipped-end", do: sqlOn("UPDATE blocks SET content = CAST(x'00' || substr(content, 2) AS BLOB) WHERE first = 9"),
		open: "at seq 9: its last block is not whole"},
	{folder: "missing-block", do: sqlOn("DELETE FROM blocks WHERE first = 5"), opens: true, verify: "at seq 5: entries 5 to 8 are missing"},
	{folder: "swapped-log", do: swapLog, opens: true, verify: "no entry says that the logbook was restored"},
	{folder: "newer-version", do: sqlOn("PRAGMA user_version = 2"), open: "newer version"},
	{folder: "newer-entries", do: sqlOn("UPDATE meta SET value = '2' WHERE key = 'entries'"), open: "newer version"},
	{folder: "newer-block", do: sqlOn("UPDATE blocks SET header = CAST(substr(header, 1, 4) || x'0002' || substr(header, 7) AS BLOB) WHERE first = 9"), open: "newer version"},
	{folder: "empty-file", do: func(t *testing.T, path string) { require.NoError(t, os.Truncate(path, 0)) }, open: "the file is empty"},
	{folder: "no-logbook", do: func(t *testing.T, path string) {
		require.NoError(t, os.WriteFile(path, []byte("site: Old Mill\n"), 0o600))
	},
		open: "does not begin like a logbook"},
	{folder: "lost-file", do: func(t *testing.T, path string) { require.NoError(t, os.Rename(path, path+"-wal")) }, open: "the file is gone"},
}

// sqlOn returns a damage done by statements, leaving one file.
func sqlOn(statements string) func(t *testing.T, path string) {
	return func(t *testing.T, path string) {
		db := connect(path, nil)
		_, err := db.Exec(statements + "; PRAGMA journal_mode = DELETE")
		require.NoError(t, err)
		require.NoError(t, db.Close())
	}
}

func truncate(t *testing.T, path string) {
	info, err := os.Stat(path)
	require.NoError(t, err)
	require.NoError(t, os.Truncate(path, info.Size()/3))
}

// flip returns a damage of one bit, on the disk, of the second block: at byte at
// of its header, or of its content when at is negative.
func flip(at int) func(t *testing.T, path string) {
	return func(t *testing.T, path string) {
		db := connect(path, nil)
		var header, content []byte
		require.NoError(t, db.QueryRow("SELECT header, content FROM blocks WHERE first = 5").Scan(&header, &content))
		require.NoError(t, db.Close())
		file, err := os.ReadFile(path)
		require.NoError(t, err)
		needle, off := content, len(content)/2
		if at >= 0 {
			needle, off = header, at
		}
		require.Equal(t, 1, bytes.Count(file, needle))
		file[bytes.Index(file, needle)+off] ^= 1
		require.NoError(t, os.WriteFile(path, file, 0o600))
	}
}

// swapLog puts a block of another log, well made and well chained, at the end.
func swapLog(t *testing.T, path string) {
	s, err := Open(path, Options{Now: func() time.Time { return noon.Add(time.Hour) }})
	require.NoError(t, err)
	s.head.id = logbook.LogID{1, 2, 3}
	_, err = s.Append(t.Context(), []logbook.Entry{reading("b-north-top", 99, 1)})
	require.NoError(t, err)
	require.NoError(t, s.Close())
	sqlOn("SELECT 1")(t, path)
}

// makeWhole writes a logbook of three blocks of four entries and returns its head.
func makeWhole(t *testing.T, path string) string {
	c := &clock{t: noon}
	s, err := Open(path, Options{Now: c.now, LogID: "00112233445566778899aabbccddeeff"})
	require.NoError(t, err)
	for b := range 3 {
		c.set(noon.Add(time.Duration(b) * time.Minute))
		_, err := s.Append(t.Context(), []logbook.Entry{reading("b-north-top", b, 412.5), reading("b-south-low", b, 388),
			dosing("", "B", b), reading("s2-door", b, 0.03)})
		require.NoError(t, err)
	}
	h, err := s.Head(t.Context())
	require.NoError(t, err)
	require.NoError(t, s.Close())
	sqlOn("SELECT 1")(t, path)
	return h.Hash
}

func TestDamagedLogbooks(t *testing.T) {
	if *update {
		writeFixtures(t)
	}
	head, err := os.ReadFile(filepath.Join(fixtures, "whole", "head"))
	require.NoError(t, err)
	for _, d := range damages {
		t.Run(d.folder, func(t *testing.T) {
			path := copyFixture(t, d.folder)
			before := contents(t, path)
			ro, err := Open(path, Options{ReadOnly: true})
			if err == nil {
				_, err = ro.Verify(t.Context(), "", nil)
				require.NoError(t, ro.Close())
			}
			if want := d.open + d.verify; want != "" {
				require.ErrorContains(t, err, want)
			} else {
				require.NoError(t, err)
			}
			s, err := Open(path, Options{Now: func() time.Time { return noon.Add(2 * time.Hour) }})
			if !d.opens {
				require.ErrorContains(t, err, d.open)
				require.Equal(t, before, contents(t, path), "a refused file is not changed")
				return
			}
			require.NoError(t, err)
			defer s.Close()
			readsUpTo(t, s, d.verify)
			_, err = s.Verify(t.Context(), string(head), nil)
			if want := d.verify + d.head; want != "" {
				require.ErrorContains(t, err, want)
			} else {
				require.NoError(t, err)
			}
		})
	}
}

// readsUpTo checks that a reader is told of damage to what it reads, and gets
// nothing after it.
func readsUpTo(t *testing.T, s *Store, damage string) {
	t.Helper()
	var last uint64
	var failed error
	for e, err := range s.Entries(context.Background(), 1) {
		require.NoError(t, failed, "nothing comes after an error")
		if failed = err; err == nil {
			require.Equal(t, last+1, e.Head().Seq)
			last++
		}
	}
	if damage == "" {
		require.NoError(t, failed)
		return
	}
	var d *Damage
	require.True(t, errors.As(failed, &d) || strings.Contains(damage, "no entry says"), "got %v", failed)
}

func contents(t *testing.T, path string) map[string]string {
	t.Helper()
	got := map[string]string{}
	for _, end := range []string{"", "-wal"} {
		if b, err := os.ReadFile(path + end); err == nil {
			got[end] = string(b)
		}
	}
	return got
}

func copyFixture(t *testing.T, folder string) string {
	t.Helper()
	dir := t.TempDir()
	files, err := os.ReadDir(filepath.Join(fixtures, folder))
	require.NoError(t, err)
	for _, f := range files {
		b, err := os.ReadFile(filepath.Join(fixtures, folder, f.Name()))
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(filepath.Join(dir, f.Name()), b, 0o600))
	}
	return filepath.Join(dir, "site.db")
}

func writeFixtures(t *testing.T) {
	for _, d := range damages {
		dir := filepath.Join(fixtures, d.folder)
		require.NoError(t, os.RemoveAll(dir))
		require.NoError(t, os.MkdirAll(dir, 0o755))
		head := makeWhole(t, filepath.Join(dir, "site.db"))
		if d.folder == "whole" {
			require.NoError(t, os.WriteFile(filepath.Join(dir, "head"), []byte(head+"\n"), 0o644))
		}
		d.do(t, filepath.Join(dir, "site.db"))
		require.NoError(t, os.RemoveAll(filepath.Join(dir, "site.db.lock")))
	}
}

// The form on disk must not drift: a logbook made today has the same blocks as
// the one that was kept.
func TestFormOnDiskIsTheKeptOne(t *testing.T) {
	path := filepath.Join(t.TempDir(), "site.db")
	head := makeWhole(t, path)
	kept, err := os.ReadFile(filepath.Join(fixtures, "whole", "head"))
	require.NoError(t, err)
	require.Equal(t, string(kept), head+"\n")
}

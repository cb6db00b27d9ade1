package forward

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
)

// comments are the lines of a file that are none of the log's.
var comments = regexp.MustCompile(`(?m)^#.*\n`)

// content returns the lines of a file without comments.
func content(t testing.TB, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	return comments.ReplaceAllString(string(b), "")
}

// toFile is a destination.
func toFile(path string) logbook.Forward { return logbook.Forward{Name: "archive", File: path} }

// copyAll runs a Forwarder until it has copied up to the head.
func copyAll(t testing.TB, conf logbook.Forward, log Log, o Options) Stats {
	t.Helper()
	f, stop := start(t, conf, log, o)
	arrive(t, f)
	stop()
	return f.Stats()
}

// TestFile: the file holds the whole log once, and goes on when the log does.
func TestFile(t *testing.T) {
	s, path := store(t), filepath.Join(t.TempDir(), "depot.lines")
	fill(t, s, 0, 3000)
	f, stop := start(t, toFile(path), s, Options{Lines: 700})
	arrive(t, f)
	require.Equal(t, want(t, s), content(t, path))
	fill(t, s, 1000, 100)
	arrive(t, f)
	require.Equal(t, want(t, s), content(t, path))
	stop()
	put(t, s, site("Depot Ostrava 2"))
	fill(t, s, 2000, 100)
	stats := copyAll(t, toFile(path), s, Options{})
	require.Equal(t, want(t, s), content(t, path))
	require.EqualValues(t, 102, stats.Sent)
	require.Contains(t, content(t, path), `site=Depot\ Ostrava\ 2`)
	c, err := s.Cursor(t.Context(), "archive")
	require.NoError(t, err)
	head, err := s.Head(t.Context())
	require.NoError(t, err)
	require.Equal(t, head.Seq, c.Seq)
	require.Zero(t, f.Stats().Refused)
}

// oneRun returns the file of one run over the log, with so many lines a batch.
func oneRun(t testing.TB, s *sqlite.Store, perBatch int) []byte {
	path := filepath.Join(t.TempDir(), "one")
	copyAll(t, toFile(path), s, Options{Lines: perBatch})
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	return b
}

// TestFileKilled: whatever a kill or a power cut left of the end of the file, and
// wherever the logbook's cursor stood, the next run makes of it the file of one run.
func TestFileKilled(t *testing.T) {
	s := store(t)
	fill(t, s, 0, 90)
	put(t, s, site("Depot Ostrava 2"))
	fill(t, s, 1000, 60)
	const perBatch = 17
	whole := oneRun(t, s, perBatch)
	path := filepath.Join(t.TempDir(), "copy")
	first := bytes.IndexByte(whole, '\n') + 1 // the file is made whole with its first comment
	rapid.Check(t, func(rt *rapid.T) {
		cut := rapid.IntRange(first, len(whole)).Draw(rt, "cut")
		broken := bytes.Clone(whole[:cut])
		switch rapid.IntRange(0, 2).Draw(rt, "tail") {
		case 1: // length without content, as after a power cut
			broken = append(broken, make([]byte, rapid.IntRange(1, 5000).Draw(rt, "zeros"))...)
		case 2: // the last page never came
			for i := max(first, cut-rapid.IntRange(1, 300).Draw(rt, "lost")); i < cut; i++ {
				broken[i] = 0
			}
		}
		require.NoError(rt, os.WriteFile(path, broken, 0o600))
		c := uint64(rapid.IntRange(0, 150).Draw(rt, "cursor"))
		require.NoError(rt, s.SetCursor(context.Background(), "archive", sqlite.Cursor{Seq: c}))
		copyAll(t, toFile(path), s, Options{Lines: perBatch})
		got, err := os.ReadFile(path)
		require.NoError(rt, err)
		require.Equal(rt, string(whole), string(got))
	})
}

// TestFileRotated: a file that was moved away is begun anew where the old one ends.
func TestFileRotated(t *testing.T) {
	s, dir := store(t), t.TempDir()
	path := filepath.Join(dir, "lines")
	fill(t, s, 0, 300)
	f, _ := start(t, toFile(path), s, Options{})
	arrive(t, f)
	require.NoError(t, os.Rename(path, path+".1"))
	fill(t, s, 1000, 300)
	arrive(t, f)
	require.NoError(t, os.Truncate(path, 0))
	second := strings.TrimPrefix(want(t, s), content(t, path+".1"))
	fill(t, s, 2000, 300)
	arrive(t, f)
	require.Equal(t, want(t, s), content(t, path+".1")+second+content(t, path))
}

// TestFileChanged: a file that others put back to an earlier state is caught up.
func TestFileChanged(t *testing.T) {
	s, path := store(t), filepath.Join(t.TempDir(), "lines")
	fill(t, s, 0, 300)
	copyAll(t, toFile(path), s, Options{})
	early, err := os.ReadFile(path)
	require.NoError(t, err)
	f, err := New(toFile(path), s, Options{Gather: time.Millisecond, Logger: quiet(t)})
	require.NoError(t, err)
	fill(t, s, 1000, 300)
	require.Nil(t, f.begin(t.Context()))
	require.Nil(t, f.round(t.Context()))
	require.NoError(t, os.WriteFile(path, early, 0o600))
	fill(t, s, 2000, 300)
	bad := f.round(t.Context())
	require.NotNil(t, bad)
	require.True(t, bad.anew)
	require.ErrorContains(t, bad.err, "changed by others")
	require.Nil(t, f.begin(t.Context()))
	require.Nil(t, f.round(t.Context()))
	require.Equal(t, want(t, s), content(t, path))
}

// TestFileRestored: after a restore the file goes on from the cursor of the
// backup; after an unlawful copy of the logbook nothing is written.
func TestFileRestored(t *testing.T) {
	s, dir := store(t), t.TempDir()
	path := filepath.Join(dir, "lines")
	fill(t, s, 0, 300)
	copyAll(t, toFile(path), s, Options{})
	early := content(t, path)
	_, err := s.Backup(t.Context(), filepath.Join(dir, "backup.db"), nil)
	require.NoError(t, err)
	fill(t, s, 1000, 300)
	copyAll(t, toFile(path), s, Options{})
	lost := strings.TrimPrefix(content(t, path), early)
	_, err = sqlite.Restore(t.Context(), filepath.Join(dir, "backup.db"), filepath.Join(dir, "new.db"), func() time.Time { return noon }, nil)
	require.NoError(t, err)
	n := open(t, filepath.Join(dir, "new.db"))
	fill(t, n, 2000, 300)
	copyAll(t, toFile(path), n, Options{})
	require.Equal(t, early+lost+strings.TrimPrefix(want(t, n), early), content(t, path))

	before, err := os.ReadFile(path)
	require.NoError(t, err)
	old := filepath.Join(dir, "backup.db")
	require.NoError(t, os.WriteFile(filepath.Join(dir, "lines2"), appendComment(nil, comment{cursor: sqlite.Cursor{Seq: 1 << 40}, log: head(t, s).LogID}), 0o600))
	f, err := New(toFile(filepath.Join(dir, "lines2")), open(t, old), Options{Logger: quiet(t)})
	require.NoError(t, err)
	bad := f.begin(t.Context())
	require.NotNil(t, bad)
	require.ErrorContains(t, bad.err, "undersheet restore")
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, before, after)
}

// head returns the end of the log.
func head(t testing.TB, s *sqlite.Store) sqlite.Head {
	h, err := s.Head(t.Context())
	require.NoError(t, err)
	return h
}

// TestFileRefused: what is no file of this program is left alone, and it is said.
func TestFileRefused(t *testing.T) {
	dir := t.TempDir()
	foreign := filepath.Join(dir, "notes.txt")
	require.NoError(t, os.WriteFile(foreign, []byte("buy bread\n"), 0o600))
	s := store(t)
	fill(t, s, 0, 10)
	for path, says := range map[string]string{foreign: "give another file name", dir: "no regular file", filepath.Join(dir, "none", "x"): "no such file"} {
		f, err := New(toFile(path), s, Options{Logger: quiet(t)})
		require.NoError(t, err)
		bad := f.begin(t.Context())
		require.NotNil(t, bad)
		require.True(t, bad.slow)
		require.ErrorContains(t, bad.err, says)
		_, stop := start(t, toFile(path), s, Options{})
		stop()
	}
	b, err := os.ReadFile(foreign)
	require.NoError(t, err)
	require.Equal(t, "buy bread\n", string(b))
}

// FuzzLastComment: whatever a file holds, what is found is a whole batch.
func FuzzLastComment(f *testing.F) {
	text := []byte("a b=1 1\n")
	good := appendComment(bytes.Clone(text), comment{cursor: sqlite.Cursor{Seq: 7, Site: 1}, log: "0123", lines: 1, bytes: len(text)})
	f.Add(good)
	f.Add(append(bytes.Clone(good), "a b=2"...))
	f.Add(append(bytes.Clone(good), good[:len(good)-1]...))
	f.Add([]byte("# seq 1 site 1 log x lines -1 bytes -5 crc32c 00000000\n"))
	f.Add([]byte("# seq 1 site 1 log x lines 1 bytes 9223372036854775807 crc32c 00000000\n"))
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, b []byte) {
		c, end, err := lastComment(bytes.NewReader(b), int64(len(b)))
		if err != nil {
			require.ErrorIs(t, err, errForeign)
			return
		}
		at := bytes.LastIndexByte(b[:end-1], '\n') + 1
		require.GreaterOrEqual(t, at, c.bytes)
		require.True(t, bytes.HasPrefix(b[at:end], []byte(commentHead)))
		require.Equal(t, string(b[at-c.bytes:end]), string(appendComment(bytes.Clone(b[at-c.bytes:at]), c)))
	})
}

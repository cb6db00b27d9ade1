package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/alecthomas/kong"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/logbook/sqlite/door"
)

// ofLogbook are the commands on a logbook's file.
type ofLogbook struct {
	Export  exportCmd  `cmd:""`
	Import  importCmd  `cmd:""`
	Verify  verifyCmd  `cmd:""`
	Backup  backupCmd  `cmd:""`
	Restore restoreCmd `cmd:""`
}

// do runs a command line and returns what it printed.
func do(t *testing.T, in string, args ...string) (out, errs string, err error) {
	t.Helper()
	p, err := kong.New(&ofLogbook{})
	require.NoError(t, err)
	ctx, err := p.Parse(args)
	require.NoError(t, err)
	var o, e bytes.Buffer
	err = ctx.Run(&console{in: strings.NewReader(in), out: &o, err: &e})
	return o.String(), e.String(), err
}

const notes = `{"time":"2026-03-01T07:00:00Z","kind":"dosing-started","id":"k1","stack":"B","store_empty":true,"by":"R. Amadi"}

{"time":"2026-03-01T08:00:00Z","kind":"reading","channel":"b-north-top","value":412,"unit":"ppm"}
{"time":"2026-03-01T08:00:00Z","kind":"accepted","of":1,"entry":"dosing-started"}
`

func TestImportThenExport(t *testing.T) {
	dir := t.TempDir()
	db, file := filepath.Join(dir, "depot.db"), filepath.Join(dir, "notes.jsonl")
	require.NoError(t, os.WriteFile(file, []byte(notes), 0o600))
	_, said, err := do(t, "", "import", db, file)
	require.NoError(t, err)
	require.Equal(t, "3 entries read: 2 added, 0 were there already, 1 passed over (only the program itself writes them)\n", said)
	first, _, err := do(t, "", "export", db)
	require.NoError(t, err)
	require.Equal(t, 2, strings.Count(first, "\n"))
	require.Contains(t, first, `"channel":"b-north-top","value":412,"unit":"ppm"`)

	for range 2 { // again, and its own export
		_, said, err = do(t, first, "import", db, "-")
		require.NoError(t, err)
		require.Contains(t, said, "0 added, 2 were there already")
	}
	again, _, err := do(t, "", "export", db)
	require.NoError(t, err)
	require.Equal(t, first, again)
	tail, _, err := do(t, "", "export", "--from", "2", db)
	require.NoError(t, err)
	require.Equal(t, first[strings.Index(first, "\n")+1:], tail)

	_, said, err = do(t, strings.ReplaceAll(notes, `"B"`, `"C"`), "import", db, "-")
	require.ErrorIs(t, err, errReported)
	require.Contains(t, said, `line 1: not kept: its id "k1" was used before`)
}

func TestImportOfABadFileImportsNothing(t *testing.T) {
	db := filepath.Join(t.TempDir(), "depot.db")
	for bad, want := range map[string]string{
		`{"time":"2026-03-01T08:00:00Z","kind":"rea`:                      "standard input:5: the JSON object is cut short",
		`{"time":"2026-03-01T08:00:00Z","kind":"clock","colour":"red"}`:   `standard input:5: clock: unknown field "colour"`,
		`{"time":"2026-03-01T08:00:00Z","kind":"clock","v":2}`:            "newer version",
		`{"time":"2026-03-01T08:00:00Z","kind":"rain"}`:                   `standard input:5: unknown kind "rain"`,
		`{"time":"1970-01-01T00:00:00Z","kind":"clock"}`:                  "standard input:5",
		"{\"time\":\"2026-03-01T08:00:00Z\",\"kind\":\"clock\"}\nthe end": "standard input:6",
	} {
		_, _, err := do(t, notes+bad+"\n", "import", db, "-")
		require.ErrorContains(t, err, want)
		require.ErrorContains(t, err, "nothing was imported")
		require.NoFileExists(t, db)
	}
}

func TestConfigurationIsTakenByAnEmptyLogbookOnly(t *testing.T) {
	db := filepath.Join(t.TempDir(), "depot.db")
	site := `{"time":"2026-03-01T06:00:00Z","kind":"site-configured","site":{"site":"Old Mill","timezone":"UTC","channels":{},"stores":[]}}` + "\n"
	_, said, err := do(t, site+notes, "import", db, "-")
	require.NoError(t, err)
	require.Contains(t, said, "3 added")
	_, said, err = do(t, strings.ReplaceAll(site, "Old Mill", "New Mill"), "import", db, "-")
	require.NoError(t, err)
	require.Contains(t, said, "0 added, 0 were there already, 1 passed over")
}

func TestImportGoesThroughTheDoor(t *testing.T) {
	db := filepath.Join(t.TempDir(), "depot.db")
	s, err := sqlite.Open(db, sqlite.Options{})
	require.NoError(t, err)
	defer s.Close()
	l, err := door.Listen(sqlite.SocketPath(db))
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan error)
	go func() {
		served <- door.Serve(ctx, l, func(ctx context.Context, entries []logbook.Entry) ([]door.Answer, error) {
			answers, err := appendTo(s)(ctx, entries)
			if answers[0].Seq == 1 && !answers[0].Duplicate {
				answers[0].Verdict, answers[0].Refused = logbook.KindRefused, &logbook.Refused{Entry: logbook.KindEntryConfirmed, Store: "Store 2", Code: "gate-not-check-owed"}
			}
			return answers, err
		})
	}()
	_, said, err := do(t, notes, "import", db, "-")
	require.ErrorIs(t, err, errReported)
	require.Contains(t, said, "line 1: kept as seq 1, but refused: Not cleared: Store 2 is not ready for a confirmation.")
	require.Contains(t, said, "2 added")
	_, said, err = do(t, notes, "import", db, "-")
	require.NoError(t, err)
	require.Contains(t, said, "0 added, 2 were there already")
	cancel()
	require.NoError(t, <-served)
}

func TestVerifyBackupRestore(t *testing.T) {
	dir := t.TempDir()
	db, copied, again := filepath.Join(dir, "depot.db"), filepath.Join(dir, "copy.db"), filepath.Join(dir, "again.db")
	_, _, err := do(t, notes, "import", db, "-")
	require.NoError(t, err)
	out, _, err := do(t, "", "verify", db)
	require.NoError(t, err)
	require.Contains(t, out, "depot.db is whole.\nentries   2, of them 1 readings, in 1 blocks\n")
	head := out[strings.Index(out, "head      ")+10:][:64]
	_, _, err = do(t, "", "backup", db, copied)
	require.NoError(t, err)
	out, _, err = do(t, "", "restore", copied, again)
	require.NoError(t, err)
	require.Contains(t, out, "Every gate is shut")
	out, _, err = do(t, "", "verify", "--head", strings.ToUpper(head), again)
	require.NoError(t, err)
	require.Contains(t, out, "It holds the block")
	require.Equal(t, 2, strings.Count(out, "log id"))
	_, _, err = do(t, "", "verify", "--head", strings.Repeat("0", 64), db)
	require.ErrorContains(t, err, "no block has the hash")
	_, _, err = do(t, "", "verify", "--head", "6f3a", db)
	require.ErrorContains(t, err, `"6f3a" is no hash: want all 64 hexadecimal digits`)
	_, _, err = do(t, "", "export", filepath.Join(dir, "none.db"))
	require.ErrorIs(t, err, os.ErrNotExist)
}

func TestHelpOfLogbookCommandsTeaches(t *testing.T) {
	for name, c := range map[string]kong.HelpProvider{"export": exportCmd{}, "import": importCmd{}, "verify": verifyCmd{},
		"backup": backupCmd{}, "restore": restoreCmd{}} {
		require.Contains(t, c.Help(), "    undersheet "+name, "an example to copy")
	}
}

package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"undersheet/logbook/sqlite"
	"undersheet/report"
)

// mostReport is how large a report's file may be, in bytes.
const mostReport = 64 << 20

// verifyReport proves that a report is what it was made of a logbook, and unchanged. Its
// error says what is otherwise; whole is what was found of the logbook.
func verifyReport(ctx context.Context, store *sqlite.Store, whole *sqlite.Report, path string, out io.Writer) error {
	file, err := readReport(path)
	if err != nil {
		return err
	}
	s, form, err := report.FindStatement(file)
	if err != nil {
		return fmt.Errorf("verify report %q: %w", path, err)
	}
	if s.LogID == "" {
		return fmt.Errorf("verify report %q: it was made of a file of entries: no logbook vouches for it", path)
	}
	made, err := provableOf(s)
	if err != nil {
		return fmt.Errorf("verify report %q: %w", path, err)
	}
	fmt.Fprintf(out, "%s says: %s, entries %d to %d of log %s, hash %s.\n", path, made.what(), s.FirstSeq, s.LastSeq, s.LogID, s.Head)
	if err := sameLog(ctx, store, whole, s); err != nil {
		return fmt.Errorf("verify report %q: %w", path, err)
	}
	fmt.Fprintf(out, "The logbook holds these entries unchanged: entry %d has that hash.\n", s.LastSeq)
	var again bytes.Buffer
	if err := made.again(ctx, store, &again, form); err != nil {
		return fmt.Errorf("make report again: %w", err)
	}
	d := report.Differs(form, file, again.Bytes())
	switch {
	case d == nil:
		fmt.Fprintf(out, "%s is unchanged: made again from the logbook it is the same, byte for byte.\n", path)
		if s.Program != version() {
			fmt.Fprintf(out, "It names version %s as its writer; this is version %s, which writes the same. Which of them wrote it is not proved.\n", s.Program, version())
		}
		fmt.Fprintln(out, "That proves that it says what the logbook holds, not that instruments read true or that people entered what was so.")
		return made.since(ctx, store, out)
	case s.Program != version():
		return fmt.Errorf("verify report %q: version %s wrote it, as it says, and this is version %s, which writes it otherwise. What is proved is that the logbook is whole and holds what the report says it was made of, not that the report's text is unchanged: run \"undersheet verify --report\" of version %s", path, s.Program, version(), s.Program)
	}
	said := fmt.Sprintf("The first difference is at byte %d, in %s: there stands %q, the logbook gives %q. Write it again with: undersheet %s -l %q --until %d", d.Byte, d.Where, d.Found, d.Want, made.command(), store.Path(), s.LastSeq)
	if !exact(s.Program) {
		return fmt.Errorf("verify report %q: it was changed, or written by another build: version %s names no single one. %s", path, s.Program, said)
	}
	return fmt.Errorf("verify report %q: it was changed. %s", path, said)
}

// exact reports whether a version names one state of the program's source.
func exact(version string) bool {
	return version != "" && version != unknownVersion && version != develVersion && !strings.HasSuffix(version, changedSource)
}

// readReport reads a report's file.
func readReport(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("open report: %w", err)
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, mostReport+1))
	if err != nil {
		return nil, fmt.Errorf("read report %q: %w", path, err)
	}
	if len(b) > mostReport {
		return nil, fmt.Errorf("read report %q: it has more than %d bytes: it is no report", path, mostReport)
	}
	return b, nil
}

// sameLog proves that a logbook that is whole holds what a statement was made of.
func sameLog(ctx context.Context, store *sqlite.Store, whole *sqlite.Report, s report.Statement) error {
	known := false
	for _, l := range whole.Logs {
		known = known || l.LogID == s.LogID
	}
	switch {
	case !known:
		return fmt.Errorf("it is of another logbook: it was made of log %s, this one is log %s", s.LogID, whole.Head.LogID)
	case whole.Head.Seq < s.LastSeq:
		return fmt.Errorf("the logbook was cut: the report was made of entries up to %d, the logbook ends at %d. Look for the whole one", s.LastSeq, whole.Head.Seq)
	}
	id, hash, err := store.LogAt(ctx, s.LastSeq)
	switch {
	case err != nil:
		return err
	case id != s.LogID:
		return fmt.Errorf("the logbook was restored from a backup older than the report: entry %d stands here in log %s, the report is of log %s. Look for the logbook from before", s.LastSeq, id, s.LogID)
	case hash != s.Head:
		return errors.New("the logbook was changed, or the hash in the report: entry " + fmt.Sprint(s.LastSeq) + " has the hash " + hash + " here and " + s.Head + " in the report")
	}
	return nil
}

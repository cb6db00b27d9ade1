package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"slices"
	"sync"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"

	"undersheet/logbook/sqlite"
)

// Two people say something at the same moment while no daemon runs: the second command says that it
// waits, and neither is lost.
func TestASecondCommandWaitsForTheLogbook(t *testing.T) {
	notes := write(t, "notes.jsonl", `{"time":"2026-03-01T08:00:00Z","kind":"reading","channel":"top","value":412,"unit":"ppm"}`+"\n")
	for name, args := range map[string][]string{
		"act":    {"act", "-l", "BOOK", "no-gas-declared", "store=Store 1", "by=Ana Brook"},
		"import": {"import", "BOOK", notes},
	} {
		t.Run(name, func(t *testing.T) {
			book := newBook(t, smallSite)
			held, err := sqlite.Open(book, sqlite.Options{})
			require.NoError(t, err)
			defer held.Close()
			said := once(func() { require.NoError(t, held.Close()) })
			args[slices.Index(args, "BOOK")] = book
			require.Zero(t, run(args, &console{out: io.Discard, err: &said}))
			require.Nil(t, said, "it said that it waits")
		})
	}
}

// As many at once as may well be: each is kept.
func TestManyActsAtOnce(t *testing.T) {
	book := newBook(t, smallSite)
	var wg sync.WaitGroup
	status := make([]int, 4)
	for i, who := range []string{"Ana Brook", "Ben Ash", "Cleo Fane", "Dan Orr"} {
		wg.Go(func() {
			status[i] = run([]string{"act", "-l", book, "no-gas-declared", "store=Store 1", "by=" + who}, &console{out: io.Discard, err: io.Discard})
		})
	}
	wg.Wait()
	require.Equal(t, make([]int, 4), status)
}

// The wait ends with the command's own time, and then the error says who has the logbook, and
// that nobody answers for it.
func TestTheWaitForALogbookEnds(t *testing.T) {
	book := newBook(t, smallSite)
	held, err := sqlite.Open(book, sqlite.Options{})
	require.NoError(t, err)
	defer held.Close()
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	said := once(stop)
	_, _, err = openOrKnock(ctx, book, &said)
	require.ErrorContains(t, err, fmt.Sprintf("in use by process %d", os.Getpid()))
	require.ErrorContains(t, err, "reach the process that holds the logbook")
}

// The flags of an act may stand anywhere: before its kind, between its fields, behind them.
func TestFlagsBetweenFields(t *testing.T) {
	book := newBook(t, smallSite)
	act := []string{"no-gas-declared", "store=Store 1", "by=Ana Brook"}
	flags := []string{"-l", book, "--id", "k1", "--at", "2026-03-01T08:00:00Z", "--lang", "fr"}
	for n := range len(act) + 1 {
		said := ""
		for f := 0; f < len(flags); f += 2 { // each flag by itself at n, the others in front
			args := slices.Concat([]string{"act"}, flags[:f], flags[f+2:], act[:n], flags[f:f+2], act[n:])
			status, out, errs := tried(t, "", args...)
			require.Zero(t, status, "%v: %s", args, errs)
			if said == "" {
				said = out
			}
			require.Equal(t, said, out, "the same act")
		}
	}
	status, _, errs := tried(t, "", "act", "-l", book, "no-gas-declared", "--", "store=Store 1", "by=Ana Brook")
	require.Zero(t, status, errs)
	status, _, _ = tried(t, "", "act", "no-gas-declared", "-l")
	require.Equal(t, 2, status)
}

// newBook makes a logbook that holds a site, as "serve" does.
func newBook(t *testing.T, site string) string {
	t.Helper()
	p := serve(t, write(t, "site.yaml", site))
	p.end(syscall.SIGTERM)
	return p.book
}

package main

import (
	"context"
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-ical"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
)

// owingBook is a logbook in which something is owed, was moved, and was done; its newest
// entry is of 9 March, 12:00 UTC.
func owingBook(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "depot.db")
	at := func(s string) logbook.Time {
		m, err := logbook.ParseTime(s)
		require.NoError(t, err)
		return m
	}
	s, err := sqlite.Open(path, sqlite.Options{Now: func() time.Time { return at("2026-03-09T12:00:00Z").Std() }})
	require.NoError(t, err)
	defer s.Close()
	head := func(kind logbook.Kind, when string) logbook.Header {
		return logbook.Header{Kind: kind, Time: at(when), Received: at(when)}
	}
	_, err = s.Append(context.Background(), []logbook.Entry{
		&logbook.SiteConfigured{Header: head(logbook.KindSiteConfigured, "2026-03-01T08:00:00Z"), Site: logbook.Site{Name: "Elder Quay", Timezone: "Europe/Lisbon"}},
		&logbook.Clock{Header: head(logbook.KindClock, "2026-03-09T12:00:00Z")}})
	require.NoError(t, err)
	owed := func(when, kind, state string, due logbook.Time, more func(*logbook.FollowUp)) *logbook.FollowUp {
		f := &logbook.FollowUp{Header: head(logbook.KindFollowUp, when), Store: "Store 2", Stack: "B", Treatment: "B-7", FollowUp: kind, State: state, Due: due}
		f.Of = 1
		if more != nil {
			more(f)
		}
		return f
	}
	require.NoError(t, s.AppendRecords(context.Background(), 2, []logbook.Recorded{
		owed("2026-03-08T08:00:00Z", logbook.FollowInspection, logbook.FollowOpen, 0, nil),
		owed("2026-03-08T09:00:00Z", logbook.FollowInspection, logbook.FollowOpen, at("2026-03-08T10:00:00Z"), nil), // it has a date now
		owed("2026-03-08T08:00:00Z", logbook.FollowJar, logbook.FollowOpen, 0, nil),
		owed("2026-03-08T08:00:00Z", logbook.FollowResidue, logbook.FollowOpen, at("2026-03-10T09:00:00Z"), func(f *logbook.FollowUp) { f.Owner = "Ana Brook" }),
		owed("2026-03-09T08:00:00Z", logbook.FollowCagesRetrieval, logbook.FollowDone, at("2026-03-08T09:00:00Z"), func(f *logbook.FollowUp) { f.By, f.At = "Ben Ash", at("2026-03-08T11:00:00Z") }),
	}, nil))
	return path
}

func TestDuePrintsWhatIsOwed(t *testing.T) {
	book := owingBook(t)
	status, out, errs := tried(t, "", "due", book)
	require.Zero(t, status, errs)
	require.Equal(t, `Owed at Elder Quay as of Mon 9 Mar 12:00, by the newest entry of the logbook

OVERDUE  Look at the grain of stack B for live insects
    Due Sun 8 Mar 10:00

Dispose of what is left of the product of stack B
    Due Tue 10 Mar 09:00
    Owner: Ana Brook

Look again at the jar of test insects from stack B
    It waits for the cages to be taken out.
`, out)
	status, out, errs = tried(t, "", "due", "--all", "--lang", "fr", "--owner", "Ben Ash", book)
	require.Zero(t, status, errs)
	require.Contains(t, out, "Fait dim. 8 mars 11:00 par Ben Ash")
	require.NotContains(t, out, "Ana Brook", "that is another's")
}

func TestDueAsJSONAndCalendar(t *testing.T) {
	book := owingBook(t)
	status, out, errs := tried(t, "", "due", "--json", book)
	require.Zero(t, status, errs)
	var kinds []string
	for line := range strings.Lines(out) {
		var d struct {
			FollowUp string `json:"follow_up"`
			Overdue  bool
		}
		require.NoError(t, json.Unmarshal([]byte(line), &d))
		kinds = append(kinds, d.FollowUp)
		require.Equal(t, d.FollowUp == logbook.FollowInspection, d.Overdue, line)
	}
	require.Equal(t, []string{logbook.FollowInspection, logbook.FollowResidue, logbook.FollowJar}, kinds)

	status, out, errs = tried(t, "", "due", "--ics", book)
	require.Zero(t, status, errs)
	cal, err := ical.NewDecoder(strings.NewReader(out)).Decode()
	require.NoError(t, err)
	require.Len(t, cal.Events(), 3, "what has a date, done or not")
}

func TestDueSaysWhatItCannotDo(t *testing.T) {
	status, _, errs := tried(t, "", "due", "--lang", "xx", owingBook(t))
	require.NotZero(t, status)
	require.Contains(t, errs, "xx")
	path := filepath.Join(t.TempDir(), "new.db")
	s, err := sqlite.Open(path, sqlite.Options{})
	require.NoError(t, err)
	require.NoError(t, s.Close())
	status, _, errs = tried(t, "", "due", path)
	require.Equal(t, 1, status)
	require.Contains(t, errs, "holds no site yet")
}

// What replay prints of a follow-up says what is owed, and when.
func TestARecordOfAFollowUpSaysWhatIsOwed(t *testing.T) {
	due, err := logbook.ParseTime("2026-04-08T08:00:00Z")
	require.NoError(t, err)
	f := &logbook.FollowUp{Header: logbook.Header{Kind: logbook.KindFollowUp, Time: due}, FollowUp: logbook.FollowJar, Stack: "B", State: logbook.FollowOpen, Due: due}
	require.Equal(t, "2026-04-08 08:00  follow-up Look again at the jar of test insects from stack B: Due Wed 8 Apr 08:00", recordLine("en", f, time.UTC))
}

package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/logbook/words"
)

// A line says once where it is of, whether its sentence does or not.
func TestPlaceIsSaidOnce(t *testing.T) {
	for _, lang := range words.Languages() {
		stack := words.Text(lang, "mail/of-stack", "{name}", "B7")
		for where, recs := range map[string][]logbook.Recorded{
			stack: {&logbook.Finding{Code: "checks-owed", About: "all", Store: "Long Barn", Stack: "B7"}, &logbook.Finding{Code: "stuck", Store: "Long Barn", Stack: "B7", Line: "top", Channel: "c1", Value: 657},
				&logbook.Refused{Entry: logbook.KindDoseAdded, Stack: "B7", Code: "not-in-exposure"}},
			"Long Barn": {&logbook.Refused{Entry: logbook.KindEntryConfirmed, Store: "Long Barn", Code: "gate-not-check-owed"},
				&logbook.Refused{Entry: logbook.KindEntryConfirmed, Store: "Long Barn", Code: "no-name"}, &logbook.Finding{Code: "stuck", Store: "Long Barn", Channel: "c1", Value: 0.5}},
		} {
			for _, rec := range recs {
				words.Fill(lang, rec)
				line := recordText(lang, rec, time.UTC)
				require.Equal(t, 1, strings.Count(line, where), line)
			}
		}
	}
}

// The lines of a replay are in the time of the depot's clock, as its pages and the drawn
// stack are: three hours ahead of UTC in Nairobi (IANA time zone database).
func TestReplayIsInTheDepotsTime(t *testing.T) {
	site := filepath.Join(t.TempDir(), "site.yaml")
	require.NoError(t, os.WriteFile(site, []byte(regexp.MustCompile(`timezone: .*`).ReplaceAllString(wharfSite, "timezone: Africa/Nairobi")), 0o600))
	status, out, errs := tried(t, wharfLines(), "replay", "--site", site, "-")
	require.Zero(t, status, errs)
	status, records, errs := tried(t, wharfLines(), "replay", "--json", "--site", site, "-")
	require.Zero(t, status, errs)
	var first struct{ Time time.Time }
	require.NoError(t, json.Unmarshal([]byte(strings.SplitN(records, "\n", 2)[0]), &first))
	require.True(t, strings.HasPrefix(out, first.Time.Add(3*time.Hour).Format("2006-01-02 15:04 ")), "%s for %s", out[:20], first.Time)
}

package main

import (
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

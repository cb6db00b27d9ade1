package main

import (
	"fmt"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/words"
)

// recordLine is one record as a line of text; its sentences are filled in.
func recordLine(rec logbook.Recorded) string {
	return fmt.Sprintf("%s  %-9s %s", rec.Head().Time.Std().Format("2006-01-02 15:04"), rec.Head().Kind, recordText(rec, time.UTC))
}

// recordText is what a record says, its times in a zone.
func recordText(rec logbook.Recorded, zone *time.Location) string {
	switch r := rec.(type) {
	case *logbook.Accepted:
		return fmt.Sprintf("%s %s", r.Entry, place(r.Store, r.Stack, ""))
	case *logbook.Refused:
		return fmt.Sprintf("%s %s: %s", r.Entry, place(r.Store, r.Stack, ""), r.Why)
	case *logbook.Finding:
		return fmt.Sprintf("%s %s", place(r.Store, r.Stack, r.Line), r.Text)
	case *logbook.Phase:
		return fmt.Sprintf("%s: %s, verdict %s", strings.TrimSpace(place("", r.Stack, "")+" "+r.Treatment), r.Phase, r.Verdict)
	case *logbook.EndLevel:
		return fmt.Sprintf("%s at %s: %s, %.4g ppm against %.4g ppm", place("", r.Stack, r.Line), r.Moment, r.Shown, float64(r.PPM), float64(r.EndPPM))
	case *logbook.Criteria:
		parts := []string{place("", r.Stack, "") + " " + r.Treatment + ":"}
		for _, c := range r.Criteria {
			parts = append(parts, c.Text)
		}
		return strings.Join(parts, " ")
	case *logbook.Gate:
		headline, read := words.Gate("en", r)
		return strings.TrimSpace(headline + " " + read)
	case *logbook.Alarm:
		return fmt.Sprintf("%s (%s): %s", r.State, r.Priority, r.Text)
	case *logbook.Forecast:
		line := r.Line
		if line == "" {
			line = "lowest line"
		}
		return fmt.Sprintf("%s for %s: %.4g ppm (%.4g to %.4g), chance to hold the end level %s", place("", r.Stack, line),
			r.For.Std().In(zone).Format("2006-01-02 15:04"), float64(r.PPM.P50), float64(r.PPM.P05), float64(r.PPM.P95), words.Chance("en", float64(r.ChanceMet)))
	case *logbook.Message:
		return fmt.Sprintf("%s to %s by %s: %s", r.State, r.To, r.Messenger, r.Subject)
	}
	return ""
}

// place names where a record is of.
func place(store, stack, line string) string {
	var parts []string
	if store != "" {
		parts = append(parts, store)
	}
	if stack != "" {
		parts = append(parts, "stack "+stack)
	}
	if line != "" {
		parts = append(parts, line)
	}
	return strings.Join(parts, ", ")
}

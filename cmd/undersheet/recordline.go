package main

import (
	"fmt"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/words"
)

// recordLine is one record as a line of text, its times in a zone; its sentences are filled in.
func recordLine(lang string, rec logbook.Recorded, zone *time.Location) string {
	return fmt.Sprintf("%s  %-9s %s", rec.Head().Time.Std().In(zone).Format("2006-01-02 15:04"), rec.Head().Kind, recordText(lang, rec, zone))
}

// recordText is what a record says, its times in a zone.
func recordText(lang string, rec logbook.Recorded, zone *time.Location) string {
	ppm := func(v logbook.Number) string { return words.Quantity(lang, float64(v)) }
	switch r := rec.(type) {
	case *logbook.Accepted:
		return fmt.Sprintf("%s %s", r.Entry, place(lang, r.Store, r.Stack, ""))
	case *logbook.Refused:
		return string(r.Entry) + ": " + placed(lang, r.Store, r.Stack, "", r.Why)
	case *logbook.Finding:
		return placed(lang, r.Store, r.Stack, r.Line, r.Text)
	case *logbook.Phase:
		return words.Text(lang, "record/phase", "{of}", strings.TrimSpace(place(lang, "", r.Stack, "")+" "+r.Treatment),
			"{phase}", words.Word(lang, "phase", r.Phase), "{verdict}", words.Word(lang, "verdict", r.Verdict))
	case *logbook.EndLevel:
		key := "record/end-level"
		if r.Shown == logbook.NotShown {
			key = "record/end-level/not-shown" // nothing was read
		}
		return words.Text(lang, key, "{of}", place(lang, "", r.Stack, r.Line), "{moment}", words.Word(lang, "moment", r.Moment),
			"{shown}", words.Word(lang, "shown", r.Shown), "{ppm}", ppm(r.PPM), "{end}", ppm(r.EndPPM))
	case *logbook.Criteria:
		parts := []string{place(lang, "", r.Stack, "") + " " + r.Treatment + ":"}
		for _, c := range r.Criteria {
			parts = append(parts, c.Text)
		}
		return strings.Join(parts, " ")
	case *logbook.Gate:
		headline, read := words.Gate(lang, r)
		return strings.TrimSpace(headline + " " + read)
	case *logbook.Alarm:
		return words.Text(lang, "record/alarm", "{state}", words.Word(lang, "state", r.State), "{priority}", words.Word(lang, "priority", r.Priority), "{text}", r.Text)
	case *logbook.FollowUp:
		what, _ := words.FollowUp(lang, r)
		return words.Text(lang, "page/about", "{name}", what, "{what}", words.FollowUpWhen(lang, r, zone))
	case *logbook.Forecast:
		line := r.Line
		if line == "" {
			line = words.Text(lang, "record/lowest")
		}
		return words.Text(lang, "record/forecast", "{of}", place(lang, "", r.Stack, line), "{when}", r.For.Std().In(zone).Format("2006-01-02 15:04"),
			"{p50}", ppm(r.PPM.P50), "{p05}", ppm(r.PPM.P05), "{p95}", ppm(r.PPM.P95), "{chance}", words.Chance(lang, float64(r.ChanceMet)))
	case *logbook.Message:
		return words.Text(lang, "record/message", "{state}", words.Word(lang, "state", r.State), "{to}", r.To, "{by}", r.Messenger, "{subject}", r.Subject)
	}
	return ""
}

// placed says before a sentence where that is of, unless it says so itself.
func placed(lang, store, stack, line, sentence string) string {
	own := place(lang, "", stack, "")
	if stack == "" {
		own = store
	}
	if own == "" || strings.Contains(sentence, own) {
		return sentence
	}
	return place(lang, store, stack, line) + ": " + sentence
}

// place names where a record is of.
func place(lang, store, stack, line string) string {
	var parts []string
	if store != "" {
		parts = append(parts, store)
	}
	if stack != "" {
		parts = append(parts, words.Text(lang, "mail/of-stack", "{name}", stack))
	}
	if line != "" {
		parts = append(parts, line)
	}
	return strings.Join(parts, ", ")
}

package main

import (
	"fmt"
	"io"

	"undersheet/logbook"
)

// tellAround prints what a site reads beside gas.
func tellAround(w io.Writer, s *logbook.Site) {
	for _, m := range s.Mains {
		fmt.Fprintf(w, "  power watched: %s\n", m.Name)
	}
	for _, p := range s.Pumps {
		watched := "not watched"
		if p.Channel != "" {
			watched = fmt.Sprintf("off below %g L/min", p.Least)
		}
		fmt.Fprintf(w, "  pump %s: draws %s at %g L/min, %s, returns to %s\n", p.Name, count(len(p.Draws), "channel"), p.Flow, watched, returnsTo(p.Returns))
	}
	if s.Wind != nil {
		fmt.Fprintln(w, "  wind watched")
	}
}

func returnsTo(place string) string {
	if place == logbook.ReturnsStack {
		return "the stack"
	}
	return "the open air"
}

// tellPeople prints who is told, and by what.
func tellPeople(w io.Writer, s *logbook.Site) {
	var mailed, texted []string
	for _, p := range s.People {
		if p.Email != "" {
			mailed = append(mailed, fmt.Sprintf("%s (from %s)", p.Name, p.From))
		}
		if p.Phone != "" {
			texted = append(texted, fmt.Sprintf("%s (from %s)", p.Name, p.From))
		}
	}
	if s.Mail != nil || s.SMS != nil || len(s.Webhooks)+len(s.Forward) > 0 || s.Beacon != nil {
		fmt.Fprintln(w)
	}
	if s.Mail != nil {
		fmt.Fprintf(w, "mail by %s:%d to %s\n", s.Mail.Host, s.Mail.Port, listed(mailed))
	}
	if s.SMS != nil {
		fmt.Fprintf(w, "SMS by the modem on %s to %s; from %s to %s only what people are woken for\n", s.SMS.Port, listed(texted),
			s.Settings.Night.From, s.Settings.Night.To)
	}
	for _, h := range s.Webhooks {
		fmt.Fprintf(w, "webhook %s to %s (from %s)\n", h.Name, h.URL, h.From)
	}
	if b := s.Beacon; b != nil {
		fmt.Fprintf(w, "gates and alarms published on %s under %s\n", b.Broker, b.Topic)
	}
	for _, f := range s.Forward {
		fmt.Fprintf(w, "logbook forwarded to %s: %s\n", f.Name, f.File+f.URL)
	}
}

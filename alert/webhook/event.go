package webhook

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/url"
	"strings"
	"unicode/utf8"

	"undersheet/alert"
	"undersheet/logbook"
)

// Source returns the usual Options.Source of a site.
func Source(site string) string { return "/undersheet/" + url.PathEscape(site) }

// event is a CloudEvent in the JSON format, version 1.0.
type event struct {
	SpecVersion string       `json:"specversion"`
	ID          string       `json:"id"`
	Source      string       `json:"source"`
	Type        string       `json:"type"`
	Subject     string       `json:"subject,omitempty"`
	Time        logbook.Time `json:"time,omitzero"`
	ContentType string       `json:"datacontenttype"`
	Data        data         `json:"data"`
}

// data is what an event says.
type data struct {
	Record    json.RawMessage `json:"record,omitempty"`
	Headline  string          `json:"headline"`
	Text      string          `json:"text"`
	Priority  string          `json:"priority"`
	Written   logbook.Time    `json:"written,omitzero"`
	Of        uint64          `json:"of"`
	Repeat    bool            `json:"repeat"`
	Emergency string          `json:"emergency,omitempty"`
}

// about is what a record says of itself.
type about struct {
	Kind, State, Phase                 string
	Store, Stack, Line, Point, Channel string
	Time                               logbook.Time
}

// compose writes a letter as an event.
func (h *Hooks) compose(d *alert.Delivery) ([]byte, error) {
	e := event{SpecVersion: "1.0", ID: clean(d.ID), Source: h.opts.Source, Type: "undersheet.message", Time: d.Written, ContentType: "application/json",
		Data: data{Headline: d.Heading(), Text: d.Content(), Priority: d.Priority, Written: d.Written, Of: d.Of, Repeat: d.Repeat,
			Emergency: h.opts.Emergency}}
	if e.ID == "" {
		return nil, errors.New("the letter has no id")
	}
	var a about
	if len(d.Record) > 0 && utf8.Valid(d.Record) && json.Unmarshal(d.Record, &a) == nil && a.Kind != "" {
		e.Type, e.Subject, e.Data.Record = a.kind(), a.subject(), d.Record
		if a.Time != 0 {
			e.Time = a.Time
		}
	} // a record that cannot be read must not keep the text back
	b, err := json.Marshal(e)
	if err != nil {
		return nil, fmt.Errorf("write the event: %w", err)
	}
	return b, nil
}

// kind returns the event's type. A record has a state or a phase or neither.
func (a *about) kind() string {
	t := "undersheet." + strings.Map(plain, a.Kind)
	if state := a.State + a.Phase; state != "" {
		t += "." + strings.Map(plain, state)
	}
	return t
}

// plain keeps the letters that kinds and states are made of.
func plain(r rune) rune {
	if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '-' {
		return r
	}
	return '-'
}

// subject returns what the record is of; "" = the whole site.
func (a *about) subject() string {
	var parts []string
	for _, p := range [][2]string{{"stores", a.Store}, {"stacks", a.Stack}, {"lines", a.Line}, {"points", a.Point}, {"channels", a.Channel}} {
		if p[1] != "" {
			parts = append(parts, p[0], url.PathEscape(p[1]))
		}
	}
	return strings.Join(parts, "/")
}

// clean replaces what the String type of CloudEvents (section "Type System")
// forbids: control characters and noncharacters.
func clean(s string) string {
	return strings.Map(func(r rune) rune {
		if r < 0x20 || r >= 0x7f && r < 0xa0 || r >= 0xfdd0 && r <= 0xfdef || r&0xfffe == 0xfffe {
			return '_'
		}
		return r
	}, s)
}

package web

import (
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/rules"
	"undersheet/web/form"
)

// journalKinds lists the kinds of entries: acts, other inputs, records.
func journalKinds() []logbook.Kind {
	return slices.Concat(logbook.ActKinds,
		[]logbook.Kind{logbook.KindReading, logbook.KindClock, logbook.KindClockStepped, logbook.KindSiteConfigured, logbook.KindInstrumentState,
			logbook.KindPayloadRefused, logbook.KindRestored},
		[]logbook.Kind{logbook.KindAccepted, logbook.KindRefused, logbook.KindFinding, logbook.KindPhase, logbook.KindEndLevel, logbook.KindCriteria, logbook.KindFollowUp, logbook.KindGate,
			logbook.KindAlarm, logbook.KindForecast, logbook.KindMessage})
}

// say puts an entry into one line: who did it, and what it says.
func (f *frame) say(e logbook.Entry) (who, what string) {
	if a, ok := e.(logbook.Acting); ok {
		var parts []string
		for _, x := range f.factsOf(a) {
			if x.Name != f.text(whoLabel) && x.Name != f.text(whenLabel) {
				parts = append(parts, f.about(x.Name, x.Value))
			}
		}
		return a.Who().By, f.list(parts)
	}
	switch e := e.(type) {
	case *logbook.Reading:
		return e.Channel, strings.TrimSpace(f.figure(e.Value)+" "+unitWord(e.Unit)) + f.reservations(e)
	case *logbook.Gate:
		parts := []string{f.code("gate", e.State) + "."}
		for _, r := range e.Reasons {
			parts = append(parts, words.Reason(f.Lang, r))
		}
		return e.Store, strings.Join(parts, " ")
	case *logbook.Alarm:
		headline, _ := words.Alarm(f.Lang, e)
		return f.code("state", e.State), headline
	case *logbook.Refused:
		kept := *e
		kept.Reasons = slices.Clone(e.Reasons)
		words.Fill(f.Lang, &kept)
		return f.kind(e.Entry), kept.Why
	case *logbook.Finding:
		kept := *e
		words.Fill(f.Lang, &kept)
		return "", sentence(kept.Text)
	case *logbook.Accepted:
		return f.kind(e.Entry), f.text("page/accepted-entry", "{seq}", strconv.FormatUint(e.Of, 10), "{place}", e.Store+e.Stack)
	case *logbook.Phase:
		return f.text("form/stack-choice", "{stack}", e.Stack), f.about(e.Treatment, f.code("phase", e.Phase)+", "+f.code("verdict", e.Verdict))
	case *logbook.EndLevel:
		return f.text("form/stack-choice", "{stack}", e.Stack), f.text("page/judged-line", "{line}", e.Line, "{moment}", f.code("moment", e.Moment), "{result}", f.endLevelOf(*e))
	case *logbook.Criteria:
		var parts []string
		for _, c := range e.Criteria {
			asks, stands := words.Criterion(f.Lang, c)
			parts = append(parts, asks+" "+stands)
		}
		return f.text("form/stack-choice", "{stack}", e.Stack), strings.Join(parts, " ")
	case *logbook.Forecast:
		return f.text("form/stack-choice", "{stack}", e.Stack), f.text("page/forecast-at", "{when}", f.clock(e.For), "{forecast}", f.foreseen(e))
	case *logbook.FollowUp:
		return f.followUp(e)
	case *logbook.Message:
		return e.To, f.message(e)
	case *logbook.InstrumentState:
		if e.OK {
			return e.Instrument, f.text("page/unit-answers", "{unit}", words.Said(f.Lang, e.Unit))
		}
		return e.Instrument, f.text("page/unit-down", "{unit}", words.Said(f.Lang, e.Unit), "{detail}", words.Said(f.Lang, e.Detail))
	case *logbook.SiteConfigured:
		return "", e.Site.Name
	case *logbook.PayloadRefused:
		return e.Instrument, words.Said(f.Lang, e.Why)
	}
	return "", ""
}

// message says how an attempt to hand over a message ended. What stopped it is mostly the
// words of a server, in whatever language it speaks: they are quoted.
func (f *frame) message(m *logbook.Message) string {
	s := f.text("page/message", "{state}", f.code("state", m.State), "{way}", m.Messenger, "{try}", strconv.Itoa(m.Attempt), "{text}", m.Subject)
	detail := words.Said(f.Lang, m.Detail)
	switch {
	case detail == "":
		return s
	case m.State == "handed-over":
		return s + " (" + detail + ")"
	}
	return f.text("page/message-why", "{message}", s, "{why}", detail)
}

// reservations say why a reading is to be taken with care.
func (f *frame) reservations(r *logbook.Reading) string {
	s := ""
	if r.Fault != "" {
		s += ", " + f.text("page/reading-fault", "{fault}", words.Said(f.Lang, r.Fault))
	}
	if r.Retained {
		s += ", " + f.text("page/reading-stored")
	}
	return s
}

// Keys of the labels of what every act has.
const (
	whoLabel  = "page/said-by"
	whenLabel = "page/when"
)

// factsOf lists what an act says, with the labels of its form.
func (f *frame) factsOf(e logbook.Acting) []fact {
	facts := []fact{{f.text(whenLabel), f.second(e.Head().Time)}}
	text, err := logbook.Encode(e)
	if err != nil {
		return facts
	}
	var body map[string]any
	if err := json.Unmarshal(text, &body); err != nil {
		return facts
	}
	made, err := form.New(e.Head().Kind, form.Depot{View: &rules.View{}, Zone: f.zone, Lang: f.Lang})
	if err != nil {
		return facts
	}
	for _, x := range made.Fields {
		if x.Name == "data" || x.Sort == form.Moment || x.Sort == form.Hidden || x.Name == "by" {
			continue
		}
		var parts []string
		if x.Adds {
			parts = chosen(x, body)
		}
		for _, name := range x.Of() {
			if x.Adds {
				break
			}
			if v, ok := body[name]; ok {
				parts = append(parts, f.valueOf(x, name, v))
			}
		}
		if len(parts) > 0 {
			unit := x.Unit
			if x.Sort == form.Length { // it is kept with its unit
				unit = ""
			}
			facts = append(facts, fact{x.Label, strings.TrimSpace(strings.Join(parts, ", ") + " " + unit)})
		}
	}
	who := e.Who()
	said := who.By
	if who.Identity != "" {
		said += " (" + f.code("identity", who.Identity) + ")"
	}
	return append(facts, fact{f.text(whoLabel), said})
}

// lastDay prints the last day on which a thing may be used. Older acts hold a moment instead of
// a date.
func (f *frame) lastDay(v string) string {
	day, at, err := logbook.Expiry(v).Read()
	switch {
	case err != nil:
		return v
	case at != 0:
		return words.Moment(f.Lang, at, f.zone)
	}
	return words.When(f.Lang, day, "Mon 2 Jan 2006")
}

// valueOf prints a field of an act.
func (f *frame) valueOf(x form.Field, name string, v any) string {
	switch v := v.(type) {
	case bool:
		if v {
			return f.text("page/yes")
		}
		return f.text("page/no")
	case float64:
		return f.figure(v)
	case string:
		if x.Sort == form.Day {
			return f.lastDay(v)
		}
		if name == "alarm" {
			return f.code("alarm", v)
		}
		for _, o := range slices.Concat(x.Choices, x.Suggest) {
			if o.Value == v && x.Covers == nil {
				return o.Label
			}
		}
		return v
	case []any:
		var parts []string
		for _, item := range v {
			parts = append(parts, f.valueOf(x, name, item))
		}
		return strings.Join(parts, ", ")
	}
	return fmt.Sprint(v)
}

// chosen is the label of the first choice of a field that the lists of an act hold; none where
// they hold none.
func chosen(x form.Field, body map[string]any) []string {
	if i := slices.IndexFunc(x.Choices, func(o form.Option) bool { return o.In(body) }); i >= 0 {
		return []string{x.Choices[i].Label}
	}
	return nil
}

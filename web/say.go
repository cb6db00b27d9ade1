package web

import (
	"encoding/json"
	"fmt"
	"net/url"
	"slices"
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
		[]logbook.Kind{logbook.KindAccepted, logbook.KindRefused, logbook.KindFinding, logbook.KindPhase, logbook.KindEndLevel, logbook.KindCriteria, logbook.KindGate,
			logbook.KindAlarm, logbook.KindForecast, logbook.KindMessage})
}

// say puts an entry into one line: who did it, and what it says.
func (f *frame) say(e logbook.Entry) (who, what string) {
	if a, ok := e.(logbook.Acting); ok {
		var parts []string
		for _, x := range f.factsOf(a) {
			if x.Name != whoLabel && x.Name != whenLabel {
				parts = append(parts, x.Name+": "+x.Value)
			}
		}
		return a.Who().By, strings.Join(parts, "; ")
	}
	switch e := e.(type) {
	case *logbook.Reading:
		return e.Channel, strings.TrimSpace(figure(e.Value)+" "+unitWord(e.Unit)) + reservations(e)
	case *logbook.Gate:
		parts := []string{sentence(plain(e.State)) + "."}
		for _, r := range e.Reasons {
			parts = append(parts, words.Reason(f.Lang, r))
		}
		return e.Store, strings.Join(parts, " ")
	case *logbook.Alarm:
		headline, _ := words.Alarm(f.Lang, e)
		return e.State, headline
	case *logbook.Refused:
		kept := *e
		kept.Reasons = slices.Clone(e.Reasons)
		words.Fill(f.Lang, &kept)
		return plain(string(e.Entry)), kept.Why
	case *logbook.Finding:
		kept := *e
		words.Fill(f.Lang, &kept)
		return "", kept.Text
	case *logbook.Accepted:
		return plain(string(e.Entry)), strings.TrimSpace(fmt.Sprintf("entry %d %s%s", e.Of, e.Store, e.Stack))
	case *logbook.Phase:
		return "stack " + e.Stack, fmt.Sprintf("%s: %s, %s", e.Treatment, e.Phase, e.Verdict)
	case *logbook.EndLevel:
		return "stack " + e.Stack, fmt.Sprintf("line %s, %s: %s", e.Line, moments[e.Moment], endLevelOf(*e))
	case *logbook.Criteria:
		var parts []string
		for _, c := range e.Criteria {
			asks, stands := words.Criterion(f.Lang, c)
			parts = append(parts, asks+" "+stands)
		}
		return "stack " + e.Stack, strings.Join(parts, " ")
	case *logbook.Forecast:
		return "stack " + e.Stack, fmt.Sprintf("at %s: %s ppm, with 90 %% between %s and %s; %s", f.clock(e.For), figure(float64(e.PPM.P50)), figure(float64(e.PPM.P05)), figure(float64(e.PPM.P95)), chance(float64(e.ChanceMet)))
	case *logbook.Message:
		return e.To, fmt.Sprintf("%s by %s, try %d: %s %s", plain(e.State), e.Messenger, e.Attempt, e.Subject, e.Detail)
	case *logbook.InstrumentState:
		if e.OK {
			return e.Instrument, strings.TrimSpace(e.Unit + " answers")
		}
		return e.Instrument, strings.TrimSpace(e.Unit+" does not answer") + ": " + e.Detail
	case *logbook.SiteConfigured:
		return "", e.Site.Name
	case *logbook.PayloadRefused:
		return e.Instrument, e.Why
	}
	return "", ""
}

// reservations are what is to be held against a reading.
func reservations(r *logbook.Reading) string {
	s := ""
	if r.Fault != "" {
		s += ", fault: " + r.Fault
	}
	if r.Retained {
		s += ", stored value"
	}
	return s
}

// Labels of what every act has.
const (
	whoLabel  = "Said by"
	whenLabel = "When"
)

// factsOf lists what an act says, with the labels of its form.
func (f *frame) factsOf(e logbook.Acting) []fact {
	facts := []fact{{whenLabel, f.second(e.Head().Time)}}
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
				parts = append(parts, valueOf(name, v))
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
		said += " (" + who.Identity + ")"
	}
	return append(facts, fact{whoLabel, said})
}

// valueOf prints a field of an act.
func valueOf(name string, v any) string {
	switch v := v.(type) {
	case bool:
		if v {
			return "yes"
		}
		return "no"
	case float64:
		return figure(v)
	case string:
		if name == "alarm" {
			return plain(v)
		}
		return v
	case []any:
		var parts []string
		for _, x := range v {
			parts = append(parts, valueOf(name, x))
		}
		return strings.Join(parts, ", ")
	}
	return fmt.Sprint(v)
}

// chosen are the choices of a field whose items the lists of an act hold.
func chosen(x form.Field, body map[string]any) []string {
	for _, o := range x.Choices {
		parts, err := url.ParseQuery(o.Value)
		for name := range parts {
			list, _ := body[name].([]any)
			if err == nil && slices.Contains(list, any(parts.Get(name))) {
				return []string{o.Label}
			}
		}
	}
	return nil
}

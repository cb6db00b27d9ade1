package form

import (
	"maps"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/rules"
	"undersheet/rules/people"
	"undersheet/rules/protocol"
)

// Commodities are suggested; any other may be written.
var Commodities = []string{"milled rice", "brown rice", "paddy", "wheat", "maize", "sorghum", "barley", "millet", "groundnuts", "cocoa", "coffee", "beans", "peas", "lentils", "soya", "flour"}

// gasUnits are the units of a concentration.
var gasUnits = []Option{{Value: logbook.PPM, Label: "ppm"}, {Value: logbook.MgM3, Label: "mg/m³"}, {Value: logbook.GM3, Label: "g/m³"}}

// Place writes fields as the value of a choice that covers them; pairs are name, value.
func Place(pairs ...string) string {
	q := url.Values{}
	for i := 0; i+1 < len(pairs); i += 2 {
		if pairs[i+1] != "" {
			q.Set(pairs[i], pairs[i+1])
		}
	}
	return q.Encode()
}

func stackField(d Depot) Field {
	f := Field{Name: "stack", Sort: Choice, Needed: true}
	for _, s := range d.View.Stores {
		for _, k := range s.Stacks {
			label := k.Name
			if k.Phase != "" {
				label += " — " + words.Text(d.Lang, "phase/"+k.Phase)
			}
			f.Choices = append(f.Choices, Option{Value: k.Name, Label: label, Group: s.Name})
		}
	}
	return f
}

func storeField(d Depot) Field {
	f := Field{Name: "store", Sort: Choice, Needed: true}
	for _, s := range d.View.Stores {
		f.Choices = append(f.Choices, Option{Value: s.Name, Label: s.Name})
	}
	return f
}

// handPlaces are where a hand reading can be taken: beside each stack, at the air
// points, within the bags of each stack, at the lines under the sheets.
func handPlaces(d Depot) []Option {
	var all []Option
	for _, s := range d.View.Stores {
		for _, k := range s.Stacks {
			all = append(all, Option{Place("store", s.Name, "point", "beside "+k.Name), words.Text(d.Lang, "form/beside", "{stack}", k.Name), words.Text(d.Lang, "form/in-air", "{store}", s.Name)})
		}
		for _, a := range s.Air {
			if slices.ContainsFunc(s.Stacks, func(k rules.StackView) bool { return strings.EqualFold(a.Name, "beside "+k.Name) }) {
				continue
			}
			all = append(all, Option{Place("store", s.Name, "point", a.Name), a.Name, words.Text(d.Lang, "form/in-air", "{store}", s.Name)})
		}
	}
	for _, s := range d.View.Stores {
		for _, k := range s.Stacks {
			all = append(all, Option{Place("stack", k.Name, "where", logbook.WhereBags), words.Text(d.Lang, "form/within-bags", "{stack}", k.Name), words.Text(d.Lang, "form/bags")})
		}
	}
	return append(all, underSheets(d)...)
}

// linePlaces are what can be proved: the lines, and the air points.
func linePlaces(d Depot) []Option {
	all := underSheets(d)
	for _, s := range d.View.Stores {
		for _, a := range s.Air {
			all = append(all, Option{Place("store", s.Name, "point", a.Name), a.Name, words.Text(d.Lang, "form/air-points", "{store}", s.Name)})
		}
	}
	return all
}

func underSheets(d Depot) []Option {
	var all []Option
	for _, s := range d.View.Stores {
		for _, k := range s.Stacks {
			for _, l := range k.Lines {
				all = append(all, Option{Place("stack", k.Name, "line", l.Name), l.Name, words.Text(d.Lang, "form/lines-of", "{stack}", k.Name)})
			}
		}
	}
	return all
}

// protocols are those that are built in and those of the site.
func protocols(d Depot) []Option {
	names := protocol.Names()
	if d.View.Config != nil {
		for _, n := range slices.Sorted(maps.Keys(d.View.Config.Protocols)) {
			if !slices.Contains(names, n) {
				names = append(names, n)
			}
		}
	}
	var all []Option
	for _, n := range names {
		p, _ := protocol.Resolve(d.View.Config, n)
		all = append(all, Option{Value: n, Label: words.Text(d.Lang, "form/protocol-asks", "{protocol}", words.Word(d.Lang, "protocol", n),
			"{hours}", figure(d.Lang, p.Hours), "{level}", figure(d.Lang, p.EndLevel), "{unit}", unit(p.EndLevelUnit))})
	}
	return all
}

func channels(d Depot) []Option {
	var all []Option
	for _, c := range d.View.Channels {
		label := c.Name
		if feeds := Feeds(d.Lang, c); feeds != "" {
			label += " (" + feeds + ")"
		}
		all = append(all, Option{Value: c.Name, Label: label})
	}
	return all
}

// Feeds says what a channel is of, and what it shows there where it is no gas; empty
// when it is of nothing.
func Feeds(lang string, c rules.ChannelView) string {
	if c.Signal == "" {
		return c.Feeds
	}
	return strings.TrimPrefix(c.Feeds+", "+words.Word(lang, "signal", c.Signal), ", ")
}

// alarms are those that are raised.
func alarms(d Depot) []Option {
	var all []Option
	for _, a := range d.View.Alarms {
		headline, _ := words.Alarm(d.Lang, &a.Alarm)
		all = append(all, Option{Value: AlarmChoice(&a.Alarm), Label: headline})
	}
	return all
}

// AlarmChoice is the value that chooses a raised alarm.
func AlarmChoice(a *logbook.Alarm) string {
	return Place("alarm", a.Alarm, "store", a.Store, "stack", a.Stack, "line", a.Line, "point", a.Point, "channel", a.Channel, "owed", a.Which())
}

// inside are the people who are in by masked entry.
func inside(d Depot) []Option {
	var names []string
	for _, s := range d.View.Stores {
		for n := range strings.SplitSeq(s.Inside, ", ") {
			if n != "" {
				names = append(names, n)
			}
		}
	}
	return suggested(names...)
}

// twoPeople: nobody is inside alone.
func twoPeople(d Depot, e logbook.Acting) []Fault {
	m := e.(*logbook.MaskedEntry)
	if people.Same(m.In, m.AtDoor) {
		return []Fault{{"at_door", words.Text(d.Lang, "form/same-person")}}
	}
	return nil
}

// earlyReason: airing before the shortest exposure owes a reason.
func earlyReason(d Depot, e logbook.Acting) []Fault {
	a := e.(*logbook.AiringStarted)
	end, ok := ShortestEnd(d.View, a.Stack)
	if !ok || a.Time >= end || strings.TrimSpace(a.Early) != "" {
		return nil
	}
	return []Fault{{"early", words.Text(d.Lang, "form/early-why", "{when}", words.Moment(d.Lang, end, d.Zone))}}
}

// ShortestEnd returns when the shortest exposure of the stack's treatment has
// passed; false while the stack is in no exposure.
func ShortestEnd(v *rules.View, stack string) (logbook.Time, bool) {
	if _, k := v.Stack(stack); k != nil && k.Phase == logbook.PhaseExposure && k.Started != 0 {
		return k.ShortestEnd, true
	}
	return 0, false
}

// PlaceOf returns the store and the stack that a choice names.
func PlaceOf(value string) (store, stack string) {
	q, err := url.ParseQuery(value)
	if err != nil {
		return "", ""
	}
	return q.Get("store"), q.Get("stack")
}

// figure writes a figure of a choice.
func figure(lang string, v float64) string {
	return words.Figure(lang, strconv.FormatFloat(v, 'g', -1, 64))
}

// unit writes a unit of a concentration as people do.
func unit(u string) string {
	for _, o := range gasUnits {
		if o.Value == u {
			return o.Label
		}
	}
	return u
}

package web

import (
	"net/http"
	"strconv"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/rules"
)

// depotPage is the page of the whole depot.
type depotPage struct {
	frame
	Alarms   []alarmView
	Stores   []storeCard
	Findings []findingView
	Stock    []stockRow
	Due      *dueBrief // what is owed; nil: nothing
}

// storeCard is one store on the depot's page.
type storeCard struct {
	gateView
	ID, Name, Path string
	Inside         string
	Air            []airRow
	Limit, LimitOf string
	Stacks         []stackCard
}

// airRow is one air point.
type airRow struct {
	Name, Where, Last, State, Upper, Age string
	Mean15, TWA8                         string
}

// stackCard is one stack on the depot's page.
type stackCard struct {
	link
	stackHead
	Treatment   string
	Lines       []lineRow
	AnyForecast bool // some line has a forecast
}

// stackHead is what both pages say of a stack first.
type stackHead struct {
	Phase, Verdict, When, Forecast string
	NotToIssue                     string // until when its grain is held back; empty = it is not
}

// lineRow is one line of a stack.
type lineRow struct {
	Name, Last, State, Age, Forecast string
}

// stockRow is what there is of one form of the product, in pieces.
type stockRow struct{ Form, Received, Used, Left string }

// findingView is a finding in words.
type findingView struct{ At, Text string }

// shownFindings is how many of the newest findings the page lists.
const shownFindings = 12

func (p *site) depotPage(r *http.Request, v *rules.View) depotPage {
	page := depotPage{frame: p.frame(r, v, "page/depot")}
	page.Due = page.dueBrief(v)
	for _, s := range v.Stock {
		page.Stock = append(page.Stock, stockRow{page.code("product", s.Form), page.figure(float64(s.Received)), page.figure(float64(s.Used)), page.figure(float64(s.Left))})
	}
	page.Alarms = page.alarms(v, func(*rules.AlarmView) bool { return true })
	for i, s := range v.Stores {
		card := page.store(s)
		card.ID = "store-" + strconv.Itoa(i)
		page.Stores = append(page.Stores, card)
	}
	for i := len(v.Findings) - 1; i >= max(0, len(v.Findings)-shownFindings); i-- {
		f := v.Findings[i]
		words.Fill(page.Lang, &f)
		page.Findings = append(page.Findings, findingView{At: page.clock(f.Time), Text: sentence(f.Text)})
	}
	return page
}

func (page *depotPage) store(s rules.StoreView) storeCard {
	c := storeCard{gateView: page.gate(s.Name, s.Gate), Name: s.Name, Path: storePath(s.Name), Inside: page.insideNow(s), Air: page.air(s),
		Limit: page.figure(float64(s.Gate.LimitPPM)), LimitOf: sentence(words.Source(page.Lang, s.Gate.LimitOf))}
	for _, k := range s.Stacks {
		c.Stacks = append(c.Stacks, page.stackCard(k))
	}
	return c
}

func (f *frame) stackCard(k rules.StackView) stackCard {
	c := stackCard{link: linkTo(k.Name), stackHead: f.head(k)}
	if k.Treatment != "" {
		c.Treatment = f.text("page/treated-so", "{treatment}", k.Treatment, "{protocol}", words.Word(f.Lang, "protocol", k.Protocol), "{commodity}", f.commodity(k.Commodity))
	}
	for _, l := range k.Lines {
		row := lineRow{Name: l.Name, Last: f.last(l.Last), State: f.state(l.Last.State), Age: f.ageOf(l.Last.At)}
		if x := f.forecastOf(k, l.Forecast); x != nil {
			row.Forecast = f.figure(float64(x.PPM.P50))
			c.AnyForecast = true
		}
		c.Lines = append(c.Lines, row)
	}
	return c
}

// awaited reports whether the end level of a stack is still awaited: it is under gas, and its
// treatment was not abandoned.
func awaited(k rules.StackView) bool {
	return k.Phase == logbook.PhaseExposure && k.Verdict != logbook.VerdictAbandoned
}

// forecastOf returns x while what it speaks of is still to come.
func (f *frame) forecastOf(k rules.StackView, x *logbook.Forecast) *logbook.Forecast {
	if x == nil || !awaited(k) || f.now >= x.For {
		return nil
	}
	return x
}

// expected says in one sentence how the end level of a stack under gas stands: what is forecast or,
// once the time that the forecast spoke of has passed, what was shown.
func (f *frame) expected(k rules.StackView) string {
	if l := f.forecastOf(k, k.Lowest); l != nil {
		return words.Forecast(f.Lang, l, k.EndLevelPPM, f.zone)
	}
	var judged *logbook.EndLevel // of the line that is worst off
	for _, l := range k.Lines {
		for i, e := range l.EndLevels {
			if judged == nil || judged.Shown != logbook.NotShown && (e.Shown == logbook.NotShown || e.PPM < judged.PPM) {
				judged = &l.EndLevels[i]
			}
		}
	}
	switch {
	case k.Phase != logbook.PhaseExposure:
		return ""
	case !awaited(k):
		return f.text("page/abandoned")
	case judged == nil && k.Lowest == nil:
		return f.text("page/no-forecast", "{level}", f.figure(k.EndLevelPPM))
	case judged == nil:
		return ""
	case judged.Shown == logbook.NotShown:
		return f.text("page/end-not-shown", "{moment}", sentence(f.code("moment", judged.Moment)))
	}
	return f.text("page/end-shown", "{moment}", sentence(f.code("moment", judged.Moment)), "{value}", f.figure(float64(judged.PPM)), "{level}", f.figure(float64(judged.EndPPM)))
}

// head says where a stack stands.
func (f *frame) head(k rules.StackView) stackHead {
	h := stackHead{Phase: f.text("page/not-treated"), Verdict: words.Verdict(f.Lang, k.Verdict, len(k.Lines)), NotToIssue: f.heldBack(&k)}
	if k.Phase != "" {
		h.Phase = sentence(f.code("phase", k.Phase))
	}
	switch {
	case k.Phase == logbook.PhaseExposure && k.Started != 0:
		of := []string{"{time}", f.span(f.now.Sub(k.Started) - k.Skipped), "{when}", f.clock(k.PlannedEnd)}
		switch left := k.PlannedEnd.Sub(f.now); {
		case !awaited(k):
			h.When = f.text("page/under-gas-for", of...)
		case left > 0:
			h.When = f.text("page/under-gas", append(of, "{left}", f.span(left))...)
		default:
			h.When = f.text("page/end-passed", of...)
		}
	case k.Phase == logbook.PhaseAiring && k.AiringSince != 0:
		h.When = f.text("page/aired-since", "{when}", f.clock(k.AiringSince))
	}
	h.Forecast = f.expected(k)
	return h
}

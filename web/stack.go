package web

import (
	"html/template"
	"net/http"
	"slices"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/report/picture"
	"undersheet/rules"
	"undersheet/rules/gas"
)

// stackPage is the page of one stack.
type stackPage struct {
	frame
	link
	stackHead
	Store                        string
	Gate                         gateLine
	Alarms                       []alarmView
	Facts, Fit                   []fact
	Photo                        string // where a picture is attached
	Log                          bool
	Overview                     *drawing
	Charts, Residuals, Statistic []drawing
	ChartTrouble                 string
	Lines                        []lineCard
	Ratio                        string
	Success                      *successView
	Leak                         *leakView
	Outlook                      []string // what can still be done for the end level; none where it is sure to hold
	Events                       []eventRow
	StorePath, Report, CurvePath string // Report: empty before there is one
	Acts                         []actLink
	Due                          []dueRow
}

// fact is a name and its value.
type fact struct{ Name, Value string }

// drawing is a chart with its words.
type drawing struct {
	SVG     template.HTML
	Caption string
	Draw    string // what the script draws in its place: "all", or the index of a line
}

// lineCard is one line on the stack's page.
type lineCard struct {
	Key, Name, Last, State, Age, Forecast, CTP, Proof string
	EndLevels                                         []endLevel
}

// endLevel is one line judged at one moment.
type endLevel struct{ Moment, Result string }

// leakView is the leak test's statistic against its threshold.
type leakView struct {
	Value, Threshold string
	Live             bool
	Grounds          []string // what the leaks that stand were told from
}

// eventRow is one event with the number that it has in the charts.
type eventRow struct {
	Number   int
	At, Text string
}

func (p *site) stackPage(r *http.Request, v *rules.View, name string, log bool) (stackPage, bool) {
	s, found := v.Stack(name)
	if found == nil {
		return stackPage{}, false
	}
	k := *found
	page := stackPage{frame: p.frame(r, v, "page/stack", "{stack}", name), link: linkTo(name), Store: s.Name, Log: log}
	if k.LowHighRatio > 0 {
		page.Ratio = page.figure(k.LowHighRatio)
	}
	page.stackHead, page.Gate = page.head(k), gateLine{page.gate(s.Name, s.Gate), s.Name, storePath(s.Name)}
	page.Alarms = page.alarms(v, func(a *rules.AlarmView) bool { return a.Alarm.Stack == name })
	page.StorePath, page.Acts, page.Curves = storePath(s.Name), page.stackActs(k), true
	page.CurvePath = page.Path + "/curve.json"
	page.Due = page.dueOf(v, func(x *rules.FollowUpView) bool { return x.Stack == name })
	if k.Treatment != "" && p.opts.Log != nil {
		page.Report = reportPath(k.Treatment)
	}
	page.Success = page.success(k.Efficacy)
	page.Facts, page.Fit, page.Photo = page.facts(k), page.fitFacts(k), photoPath(k.Name)
	for i, l := range k.Lines {
		page.Lines = append(page.Lines, page.line(k, l, picture.Key(i)))
	}
	if k.Leak.Threshold > 0 {
		page.Leak = &leakView{Value: page.figure(k.Leak.Statistic), Threshold: page.figure(k.Leak.Threshold), Live: k.Leak.Live}
		page.Leak.Grounds = page.grounds(v, name)
	}
	if awaited(k) {
		page.Outlook = words.Outlook(page.Lang, k.Outlook, page.zone)
	}
	for i, e := range k.Events {
		page.Events = append(page.Events, eventRow{Number: i + 1, At: page.clock(e.At), Text: sentence(words.Event(page.Lang, e.Kind, e.Text))})
	}
	if k.Started != 0 {
		drawn, err := p.curves.of(r.Context(), p.opts.Record, &page.frame, k, log)
		if err != nil {
			page.ChartTrouble = page.text("page/readings-unread", "{error}", err.Error())
			p.unread(r.Context(), "read readings for a page", "stack", name, "error", err)
		}
		page.Overview, page.Charts, page.Residuals, page.Statistic = drawn.overview, drawn.lines, drawn.residuals, drawn.statistic
	}
	return page, true
}

func (f *frame) facts(k rules.StackView) []fact {
	if k.Treatment == "" {
		return nil
	}
	facts := []fact{
		{f.text("page/treatment"), k.Treatment},
		{f.text("page/protocol"), f.text("page/protocol-level", "{protocol}", words.Word(f.Lang, "protocol", k.Protocol), "{level}", f.figure(k.EndLevelPPM))},
		{f.text("page/commodity"), f.text("page/commodity-at", "{commodity}", f.commodity(k.Commodity), "{temperature}", f.figure(k.GrainTempC))},
		{f.text("page/phosphine-laid"), f.figure(k.PhosphineG) + " g"},
		{f.text("page/sheet-shut"), f.clock(k.Started)}, {f.text("page/planned-end"), f.clock(k.PlannedEnd)},
	}
	for _, p := range k.Product {
		facts = append(facts, fact{f.text("page/pieces", "{form}", f.code("product", p.Form)),
			f.text("page/pieces-went", "{laid}", f.count(p.Placed), "{out}", f.count(p.Taken), "{disposed}", f.count(p.Disposed))})
	}
	return facts
}

// fitFacts are the figures of the fit. Its loss is that of the sheet as it was before a leak.
func (f *frame) fitFacts(k rules.StackView) []fact {
	fit := k.Fit
	if fit == nil {
		return nil
	}
	loss, half := f.text("page/fit-loss"), f.text("page/half-life")
	if slices.ContainsFunc(k.Leak.Found, func(l gas.Found) bool { return l.Cleared == 0 }) {
		loss, half = f.text("page/but-for-leak", "{what}", loss), f.text("page/but-for-leak", "{what}", half)
	}
	with := func(v, se float64, unit string) string {
		return f.figure(v) + " ± " + f.figure(se) + " " + unit
	}
	perDay := f.text("page/per-day")
	facts := []fact{{f.text("page/fit-yield"), with(fit.YieldPPM, fit.YieldSE, "ppm")}, {f.text("page/fit-release"), with(fit.ReleasePerDay, fit.ReleSE, perDay)},
		{loss, with(fit.LossPerDay, fit.LossSE, perDay)}}
	if fit.HalfLifeHours > 0 {
		facts = append(facts, fact{half, f.figure(fit.HalfLifeHours) + " h"})
	}
	return append(facts, fact{"±", f.text("page/one-error")})
}

func (f *frame) line(k rules.StackView, l rules.LineView, key string) lineCard {
	c := lineCard{Key: key, Name: l.Name, Last: f.last(l.Last) + " ppm", State: f.state(l.Last.State), Age: f.ageOf(l.Last.At), Proof: f.proofOf(l.Proved)}
	if x := f.forecastOf(k, l.Forecast); x != nil {
		c.Forecast = f.foreseen(x)
	}
	if k.Started != 0 {
		parts := []string{f.figure(l.CTPPPMh) + " ppm·h, " + f.figure(l.CTPGhM3) + " g·h/m³"}
		if l.CTPByEnd > 0 && awaited(k) && f.now < k.PlannedEnd {
			parts = append(parts, f.text("page/ctp-by-end", "{ctp}", f.figure(l.CTPByEnd)))
		}
		if gap := time.Duration(l.GapHours * float64(time.Hour)).Round(time.Second); gap >= time.Minute {
			parts = append(parts, f.text("page/ctp-gap", "{time}", f.span(gap)))
		}
		c.CTP = f.list(parts)
	}
	for _, e := range l.EndLevels {
		c.EndLevels = append(c.EndLevels, endLevel{Moment: f.text("page/end-level-when", "{moment}", f.code("moment", e.Moment)), Result: f.endLevelOf(e)})
	}
	return c
}

// endLevelOf says how a line was judged.
func (f *frame) endLevelOf(e logbook.EndLevel) string {
	r := f.code("shown", e.Shown)
	if e.Shown != logbook.NotShown {
		r = f.text("page/median-of", "{result}", r, "{value}", f.figure(float64(e.PPM)), "{level}", f.figure(float64(e.EndPPM)))
	}
	if e.ByHand {
		r += ", " + f.text("page/by-hand")
	}
	return r
}

// foreseen says what is expected of a line, and how likely it is to hold the end level.
func (f *frame) foreseen(x *logbook.Forecast) string {
	return f.text("page/foreseen", "{p50}", f.figure(float64(x.PPM.P50)),
		"{p05}", f.figure(float64(x.PPM.P05)), "{p95}", f.figure(float64(x.PPM.P95)), "{chance}", f.chance(float64(x.ChanceMet)))
}

// grounds says what the leaks of a stack that stand were told from.
func (f *frame) grounds(v *rules.View, stack string) []string {
	var out []string
	for i := range v.Alarms {
		if a := &v.Alarms[i].Alarm; a.Stack == stack {
			if s := words.Grounds(f.Lang, a, f.zone); s != "" {
				out = append(out, s)
			}
		}
	}
	return out
}

package web

import (
	"context"
	"fmt"
	"html/template"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/report/picture"
	"undersheet/rules"
)

// stackPage is the page of one stack.
type stackPage struct {
	frame
	link
	stackHead
	Store                             string
	GateState, GateWord, GateHeadline string
	Alarms                            []alarmView
	Facts, Fit                        []fact
	Photo                             string // where a picture is attached
	Log                               bool
	Overview                          *drawing
	Charts, Residuals, Statistic      []drawing
	ChartTrouble                      string
	Lines                             []lineCard
	Ratio                             string
	Success                           *successView
	Leak                              *leakView
	Outlook                           []string // what can still be done for the end level; none where it is sure to hold
	Events                            []eventRow
	StorePath, Report, CurvePath      string // Report: empty before there is one
	Acts                              []actLink
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
	Key, Name, Last, State, Age, Forecast, Chance, CTP, Proof string
	EndLevels                                                 []endLevel
}

// endLevel is one line judged at one moment.
type endLevel struct{ Moment, Result string }

// leakView is the leak test's statistic against its threshold.
type leakView struct {
	Value, Threshold string
	Live             bool
	Grounds          []string // what the leaks that stand were told from
	Max, Shown       string   // for the bar
}

// eventRow is one event with the number that it has in the charts.
type eventRow struct {
	Number   int
	At, Text string
}

// find returns a stack and its store by the stack's name.
func find(v *rules.View, name string) (rules.StoreView, rules.StackView, bool) {
	for _, s := range v.Stores {
		for _, k := range s.Stacks {
			if k.Name == name {
				return s, k, true
			}
		}
	}
	return rules.StoreView{}, rules.StackView{}, false
}

func (p *site) stackPage(ctx context.Context, v *rules.View, name string, log bool) (stackPage, bool) {
	s, k, ok := find(v, name)
	if !ok {
		return stackPage{}, false
	}
	page := stackPage{frame: p.frame(v, "Stack "+name), link: linkTo(name), Store: s.Name, Log: log, Ratio: ratio(k.LowHighRatio)}
	page.stackHead = page.head(k)
	g := page.gate(s.Name, s.Gate)
	page.GateState, page.GateWord, page.GateHeadline = g.State, g.Word, g.Headline
	page.Alarms = page.alarms(v, func(a *rules.AlarmView) bool { return a.Alarm.Stack == name })
	page.StorePath, page.Acts, page.Curves = storePath(s.Name), stackActs(k), true
	page.CurvePath = page.Path + "/curve.json"
	if k.Treatment != "" && p.opts.Log != nil {
		page.Report = reportPath(k.Treatment)
	}
	page.Success = page.success(k.Efficacy)
	page.Facts, page.Fit, page.Photo = page.facts(k), fitFacts(k.Fit), photoPath(k.Name)
	for i, l := range k.Lines {
		page.Lines = append(page.Lines, page.line(k, l, picture.Key(i)))
	}
	if k.Leak.Threshold > 0 {
		page.Leak = leak(k.Leak)
		page.Leak.Grounds = page.grounds(v, name)
	}
	page.Outlook = words.Outlook(p.opts.Lang, k.Outlook, page.zone)
	for i, e := range k.Events {
		page.Events = append(page.Events, eventRow{Number: i + 1, At: page.clock(e.At), Text: eventText(e)})
	}
	if k.Started != 0 {
		drawn, err := p.curves.of(ctx, p.opts.Record, v, k, log)
		if err != nil {
			page.ChartTrouble = "The readings could not be read from the logbook, so curves may be missing: " + err.Error()
			p.unread(ctx, "read readings for a page", "stack", name, "error", err)
		}
		page.Overview, page.Charts, page.Residuals, page.Statistic = drawn.overview, drawn.lines, drawn.residuals, drawn.statistic
	}
	return page, true
}

func ratio(v float64) string {
	if !(v > 0) {
		return ""
	}
	return figure(v)
}

func (f *frame) facts(k rules.StackView) []fact {
	if k.Treatment == "" {
		return nil
	}
	facts := []fact{
		{"Treatment", k.Treatment}, {"Protocol", fmt.Sprintf("%s, end level %s ppm on every line", k.Protocol, figure(k.EndLevelPPM))},
		{"Commodity", fmt.Sprintf("%s, grain at %s °C", k.Commodity, figure(k.GrainTempC))}, {"Phosphine laid", figure(k.PhosphineG) + " g"},
		{"Sheet shut, t = 0", f.clock(k.Started)}, {"Planned end", f.clock(k.PlannedEnd)},
	}
	for _, p := range k.Product {
		facts = append(facts, fact{"Pieces: " + p.Form, fmt.Sprintf("%d laid, %d taken out, %d disposed of", p.Placed, p.Taken, p.Disposed)})
	}
	return facts
}

func fitFacts(fit *rules.FitView) []fact {
	if fit == nil {
		return nil
	}
	with := func(v, se float64, unit string) string {
		return fmt.Sprintf("%s ± %s %s", figure(v), figure(se), unit)
	}
	facts := []fact{{"Gas given off in all", with(fit.YieldPPM, fit.YieldSE, "ppm")}, {"Release", with(fit.ReleasePerDay, fit.ReleSE, "per day")},
		{"Loss", with(fit.LossPerDay, fit.LossSE, "per day")}}
	if fit.HalfLifeHours > 0 {
		facts = append(facts, fact{"Half-life of the concentration", figure(fit.HalfLifeHours) + " h"})
	}
	return append(facts, fact{"±", "one standard error"})
}

// moments are the moments of judging the end level in words.
var moments = map[string]string{logbook.MomentShortest: "when the shortest exposure had passed", logbook.MomentAiring: "when airing started"}

// shown are the results of judging the end level in words.
var shown = map[string]string{logbook.ShownMet: "held", logbook.ShownNotMet: "not held", logbook.NotShown: "not shown: no valid reading in the last hour"}

func (f *frame) line(k rules.StackView, l rules.LineView, key string) lineCard {
	c := lineCard{Key: key, Name: l.Name, Last: last(l.Last) + " ppm", State: stateWord(l.Last.State), Age: ageOf(l.Last.At, f.now), Proof: f.proofOf(l.Proved)}
	if x := forecastOf(k, l.Forecast); x != nil {
		c.Forecast = fmt.Sprintf("%s ppm, with 90 %% between %s and %s", figure(float64(x.PPM.P50)), figure(float64(x.PPM.P05)), figure(float64(x.PPM.P95)))
		c.Chance = chance(float64(x.ChanceMet))
	}
	if k.Started != 0 {
		c.CTP = fmt.Sprintf("%s ppm·h, %s g·h/m³", figure(l.CTPPPMh), figure(l.CTPGhM3))
		if l.CTPByEnd > 0 && k.Phase == logbook.PhaseExposure {
			c.CTP += fmt.Sprintf("; by the planned end %s ppm·h are expected", figure(l.CTPByEnd))
		}
		if l.GapHours > 0 {
			c.CTP += fmt.Sprintf("; %s h not counted: not read, or not the stack's gas", figure(l.GapHours))
		}
	}
	for _, e := range l.EndLevels {
		c.EndLevels = append(c.EndLevels, endLevel{Moment: moments[e.Moment], Result: endLevelOf(e)})
	}
	return c
}

// endLevelOf says how a line was judged.
func endLevelOf(e logbook.EndLevel) string {
	r := shown[e.Shown]
	if e.Shown != logbook.NotShown {
		r += fmt.Sprintf(": %s of %s ppm, median of the last hour", figure(float64(e.PPM)), figure(float64(e.EndPPM)))
	}
	if e.ByHand {
		r += ", by hand reading"
	}
	return r
}

func leak(l rules.LeakView) *leakView {
	return &leakView{Value: figure(l.Statistic), Threshold: figure(l.Threshold), Live: l.Live}
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

func eventText(e rules.EventView) string {
	text := sentence(plain(e.Kind))
	if e.Text != "" {
		text += ": " + e.Text
	}
	return text
}

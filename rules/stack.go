package rules

import (
	"math"
	"time"

	"undersheet/logbook"
	"undersheet/rules/alarm"
	"undersheet/rules/fault"
	"undersheet/rules/followup"
	"undersheet/rules/gas"
	"undersheet/rules/protocol"
	"undersheet/rules/treatment"
)

// Bounds of what is watched under a sheet.
const (
	unevenRatio = 0.25             // lowest / highest line: criterion (d) of the published criteria for success
	unevenFrom  = 0.25             // after this share of the exposure
	ratioFor    = 90 * time.Minute // how long the last whole bin speaks for the present
	silentLine  = 30 * time.Minute // or what is usual for it, see reading.History.Patience
	keepEvents  = 200
)

// event notes something for the margin of the stack's curve.
func (k *Stack) event(at logbook.Time, kind logbook.Kind, text string) {
	if len(k.Events) >= keepEvents {
		k.Events = append(k.Events[:0], k.Events[1:]...)
	}
	k.Events = append(k.Events, EventView{At: at, Kind: string(kind), Text: text})
}

// passStack lets time pass over a stack: end level, forecasts, alarms, phase.
func (s *State) passStack(name string, k *Stack) {
	s.due = farOff
	defer func() { k.Due = s.due }()
	figures := followup.FiguresOf(s.Site)
	t := k.Treatment
	if t == nil {
		s.passOwed(name, k, &figures)
		return
	}
	was := t.GasPhase()
	if moment := t.Advance(s.At, figures.Withholding); moment != "" {
		s.putEndLevels(k, moment, -1)
	}
	switch t.GasPhase() {
	case logbook.PhaseExposure:
		s.again(t.ShortestEnd())
	case logbook.PhaseWithholding:
		s.again(t.ClearedAt.Add(figures.Withholding))
	}
	if t.Phase == logbook.PhaseExposure {
		s.passExposure(name, k, t)
	} else {
		s.endAlarms(name, underSheet...)
	}
	lowest, missed := t.Missed()
	s.alarm(condition{of: logbook.Alarm{Alarm: alarm.Missed, Store: k.Store, Stack: name,
		Value: logbook.Number(lowest), Limit: logbook.Number(t.EndPPM())}, active: missed})
	s.passOwed(name, k, &figures)
	s.putPhase(t)
	if t.GasPhase() != was {
		s.stirAll() // what alarms can be depends on it
		s.watch()
	}
}

// putPhase records where a treatment stands when that changed.
func (s *State) putPhase(t *treatment.Treatment) {
	told := treatment.Told{Treatment: t.Name, Phase: t.Phase, Verdict: t.Verdict}
	if told == t.Told {
		return
	}
	t.Told = told
	s.put(&logbook.Phase{Stack: t.Stack, Treatment: t.Name, Phase: t.Phase, Verdict: t.Verdict}, logbook.KindPhase)
}

// putEndLevels records the judgements of a moment, of one line or (-1) of all.
func (s *State) putEndLevels(k *Stack, moment string, line int) {
	for _, e := range k.Treatment.EndLevels(line) {
		if e.Moment == moment {
			r := e
			s.put(&r, logbook.KindEndLevel)
		}
	}
}

// putNotShown records that the judgement at the end of the shortest exposure does not count, since
// that has not passed yet.
func (s *State) putNotShown(k *Stack) {
	for i := range k.Treatment.Lines {
		t := k.Treatment
		s.put(&logbook.EndLevel{Stack: t.Stack, Treatment: t.Name, Line: t.Lines[i].Name, Moment: logbook.MomentShortest,
			Shown: logbook.NotShown, EndPPM: logbook.Number(t.EndPPM())}, logbook.KindEndLevel)
	}
}

// passExposure looks at a stack under gas.
func (s *State) passExposure(name string, k *Stack, t *treatment.Treatment) {
	g := k.Gas
	if g == nil {
		return
	}
	if hour := int(math.Floor(s.At.Hours(t.Started))); hour > g.Hour && hour >= 2 {
		daily := hour/24 > g.Hour/24
		g.Hour = hour
		s.markAway(name, k, t)
		s.forecast(k, t, hour, daily)
		g.Hourly.Look(hour)
	}
	s.untoldDose(k, t)
	s.again(t.Started.Add(time.Duration(max(g.Hour+1, 2)) * time.Hour))
	exposed := s.At.Hours(t.Started)
	if exposed-float64(g.RatioSlot)*fault.BinHours > ratioFor.Hours() {
		g.Ratio = 0 // that was long ago
	}
	uneven := logbook.Alarm{Alarm: alarm.Uneven, Store: k.Store, Stack: name, Value: logbook.Number(g.Ratio), Limit: unevenRatio}
	planned := t.PlannedEnd.Hours(t.Started)
	if g.Ratio > 0 {
		s.around(t, float64(g.RatioSlot)*fault.BinHours+ratioFor.Hours())
		s.around(t, unevenFrom*planned)
	}
	s.alarm(condition{of: uneven, active: g.Ratio > 0 && s.below(&uneven) && exposed > unevenFrom*planned})
	cold := logbook.Alarm{Alarm: alarm.TooCold, Store: k.Store, Stack: name, Value: logbook.Number(s.temperature(k)), Limit: protocol.TooColdC}
	s.alarm(condition{of: cold, active: s.below(&cold)})
	for i := range t.Lines {
		s.lineAlarms(name, k, t, i)
	}
}

// forecast makes the forecasts of an hour and what they raise; daily are those of
// the day, which the logbook keeps.
func (s *State) forecast(k *Stack, t *treatment.Treatment, hour int, daily bool) {
	g := k.Gas
	g.Forecast(t, hour)
	if hour < gas.ForecastFrom {
		return
	}
	for i := range g.Forecasts {
		f := g.Forecasts[i]
		f.Daily = daily
		s.put(&f, logbook.KindForecast)
		g.Forecasts[i].Time = s.At
	}
	if g.Lowest == nil {
		return
	}
	f := *g.Lowest
	f.Daily = daily
	s.put(&f, logbook.KindForecast)
	g.Lowest.Time = s.At
	of := logbook.Alarm{Alarm: alarm.AtRisk, Store: k.Store, Stack: t.Stack, Value: f.ChanceMet, Limit: gas.PoorChance}
	risk := g.Risk(t, s.At, hour, float64(f.ChanceMet), s.raised(&of), s.leaks(t.Stack))
	switch {
	case risk.Collapsing:
		of.Code = alarm.CodeCollapsing
	case k.resists():
		of.Code = alarm.CodeResisted
	}
	over := s.raised(&of) && !risk.AtRisk
	if !risk.Unsettled && !(over && s.misled(t)) {
		s.alarm(condition{of: of, active: risk.AtRisk})
	}
}

// leaks reports whether an alarm of a leak stands for a stack.
func (s *State) leaks(stack string) bool {
	for key, a := range s.Alarms {
		if key.Alarm == alarm.Leak && key.Stack == stack && a.Raised {
			return true
		}
	}
	return false
}

// lineAlarms looks at one line under the sheet.
func (s *State) lineAlarms(name string, k *Stack, t *treatment.Treatment, line int) {
	l := t.Lines[line]
	c := s.channel(l.Channel)
	if f, _ := s.wires.Feed(l.Channel); f.Stack != name || f.Line < 0 {
		s.watch() // its readings, if any, are of something else
	}
	of := logbook.Alarm{Alarm: alarm.LineSilent, Store: k.Store, Stack: name, Line: l.Name, Channel: l.Channel}
	s.silenceAlarm(of, true, c, t.Started)
	s.faultAlarm(c, logbook.Alarm{Store: k.Store, Stack: name, Line: l.Name, Channel: l.Channel})
	s.fireUnanswered(k, t, line)
}

package rules

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"strings"

	"undersheet/logbook"
	"undersheet/rules/decay"
	"undersheet/rules/dose"
	"undersheet/rules/exposure"
	"undersheet/rules/followup"
	"undersheet/rules/gas"
	"undersheet/rules/reading"
	"undersheet/rules/treatment"
	"undersheet/rules/wiring"
)

// View makes a copy of the state for those who show it.
func (s *State) View() *View {
	v := &View{Now: s.At, Seq: s.LastSeq}
	if s.Site == nil {
		return v
	}
	v.Config, v.Site = s.Site, s.Site.Name
	for _, name := range s.storeNames() {
		v.Stores = append(v.Stores, s.storeView(name))
	}
	v.Mains, v.Pumps, v.Wind = s.contactViews(s.Site.Mains), s.pumpViews(), s.windView()
	for _, name := range slices.Sorted(maps.Keys(s.Site.Channels)) {
		v.Channels = append(v.Channels, s.channelView(name))
	}
	for _, key := range s.alarmKeys() {
		if a := s.Alarms[key]; a.Raised {
			of := a.Record
			of.Also = slices.Clone(of.Also)
			v.Alarms = append(v.Alarms, AlarmView{Alarm: of, Since: a.Since, Acknowledged: a.Acknowledged, By: a.By})
		}
	}
	slices.SortStableFunc(v.Alarms, func(a, b AlarmView) int { return cmp.Compare(a.Since, b.Since) })
	v.Findings = append(v.Findings, s.Found...)
	v.Stock = s.Stock.List()
	v.FollowUps = s.followViews()
	return v
}

func (s *State) storeView(name string) StoreView {
	st := s.store(name)
	v := StoreView{Name: name, Gate: s.gateNow(name), AiringH: s.gateOf(name).Aired().Hours(), Masked: slices.Clone(st.Inside), Protection: s.protection(name), People: s.PeopleIn(name)}
	v.Gate.Reasons, v.Gate.Read = slices.Clone(v.Gate.Reasons), slices.Clone(v.Gate.Read)
	for i, m := range st.Inside {
		if i > 0 {
			v.Inside += ", "
		}
		v.Inside += m.Name
	}
	site, _ := s.siteStore(name)
	for _, p := range site.Air {
		a := s.airView(st, p)
		v.Air = append(v.Air, a)
		if p.Gate() {
			v.AirTWA8h, v.Air15min = max(v.AirTWA8h, a.TWA8h), max(v.Air15min, a.Mean15min)
		}
	}
	v.Doors, v.Water = s.contactViews(site.Doors), s.contactViews(site.Water)
	for _, stack := range s.stacksIn(name) {
		v.Stacks = append(v.Stacks, s.stackView(stack))
	}
	return v
}

func (s *State) airView(st *Store, p logbook.AirPoint) AirView {
	a := AirView{Name: p.Name, Where: p.Where, Channel: p.Channel, Last: s.sample(p.Channel), Proved: st.Proofs.Of(p.Name, p.Channel)}
	if a.Where == "" {
		a.Where = logbook.WhereInside
	}
	if air := st.Air[p.Name]; air != nil {
		a.TWA8h, a.Read8h = air.TWA8(s.At)
		a.Mean15min = air.Mean15(s.At)
	}
	return a
}

// sample is the newest reading of a channel as it is to be shown.
func (s *State) sample(channel string) Sample {
	ch, c := s.Site.Channels[channel], s.Channels[channel]
	if c == nil || c.Last.At == 0 {
		return Sample{Unit: ch.Unit, State: reading.None}
	}
	v := Sample{At: c.Last.At, PPM: c.Last.Value, Raw: c.Last.Raw, Unit: c.Last.RawUnit, State: c.Last.State}
	if _, silent := c.SilentFor(ch, s.At); silent && c.Last.Counts {
		v.State = reading.Silent
		if s.aheadBy(channel) > 0 {
			v.State = reading.Future
		}
	}
	return v
}

func (s *State) channelView(name string) ChannelView {
	v := ChannelView{Name: name, Last: s.sample(name)}
	if c := s.Channels[name]; c != nil {
		v.UsualSeconds = c.Usual(s.Site.Channels[name]).Seconds()
		v.Checks, v.Owes = c.List(), s.owes(c)
	}
	switch f, ok := s.wires.Feed(name); {
	case !ok:
	case f.Line >= 0:
		v.Feeds = f.Stack + " " + f.Name
	case f.Signal == wiring.Grain:
		v.Feeds, v.Signal = f.Stack, f.Signal
	case f.Signal != "":
		v.Feeds, v.Signal = strings.TrimSpace(f.Store+" "+f.Name), f.Signal
	default:
		v.Feeds = f.Store + " " + f.Name
	}
	for _, in := range s.Site.Instruments {
		if in.Gives(name) {
			v.Instrument = in.Name
		}
	}
	return v
}

func (s *State) stackView(name string) StackView {
	k := s.Stacks[name]
	v := StackView{Name: name, Store: k.Store, Product: k.Product.List(), GrainTempC: s.temperature(k), Events: slices.Clone(k.Events)}
	t := k.Treatment
	if t == nil {
		site, _ := s.siteStack(name)
		for _, l := range site.Lines {
			v.Lines = append(v.Lines, LineView{Name: l.Name, Channel: l.Channel, Last: s.sample(l.Channel), Proved: k.Proofs.Of(l.Name, l.Channel)})
		}
		return v
	}
	v.Treatment, v.Phase, v.Verdict = t.Name, t.Phase, t.Verdict
	v.Protocol, v.Commodity = t.Given.Protocol, t.Given.Commodity
	v.Started, v.PlannedEnd, v.AiringSince = t.Started, t.PlannedEnd, t.AiringSince
	if t.Started != 0 {
		v.ShortestEnd, v.Skipped = t.ShortestEnd(), max(0, s.At.Sub(t.Started)-t.Lived(s.At))
	}
	v.EndLevelPPM, v.PhosphineG = t.EndPPM(), t.Grams()
	if held, from := k.heldBack(s.At, followup.FiguresOf(s.Site).Withholding); held {
		v.NotToIssue, v.IssueFrom = true, from
	}
	for i := range t.Lines {
		v.Lines = append(v.Lines, s.lineView(k, t, i))
	}
	v.Efficacy = s.efficacy(k)
	if k.Gas != nil {
		v.Fit = s.Fitted(name)
		showGas(&v, k.Gas, t)
		s.showAhead(&v, k, t)
	}
	return v
}

// Fitted returns what the fit says of a stack's current or last treatment; nil where
// there is none.
func (s *State) Fitted(stack string) *FitView {
	if k := s.Stacks[stack]; k != nil && k.Gas != nil {
		if p, ok := k.Gas.Fit.Params(); ok {
			return fitView(p)
		}
	}
	return nil
}

func (s *State) lineView(k *Stack, t *treatment.Treatment, line int) LineView {
	l := &t.Lines[line]
	v := LineView{Name: l.Name, Channel: l.Channel, Last: s.sample(l.Channel), Proved: k.Proofs.Of(l.Name, l.Channel), CTPPPMh: l.CTP.PPMh, GapHours: s.unread(t, l)}
	v.CTPGhM3 = CTPGhM3(l.CTP, s.temperature(k))
	v.EndLevels = t.EndLevels(line)
	if k.Gas != nil && t.Started != 0 {
		v.Curve = slices.Clone(k.Gas.Curve(t, line))
	}
	return v
}

// unread returns the hours of the exposure that no reading of a line covers. While the exposure
// runs, what has passed since the last reading counts once it is too long to be bridged.
func (s *State) unread(t *treatment.Treatment, l *treatment.Line) float64 {
	if t.AiringFirst != 0 {
		return l.CTP.Unread(t.AiringFirst)
	}
	last := l.CTP.Last.At
	if c := s.Channels[l.Channel]; last != 0 && c != nil && s.At.Sub(last) <= c.Bridge(s.Site.Channels[l.Channel]) {
		return l.CTP.Unread(last)
	}
	return l.CTP.Unread(s.At)
}

// CTPGhM3 returns a concentration-time product in g·h/m³ for gas at tempC.
func CTPGhM3(c exposure.CTP, tempC float64) float64 {
	return c.PPMh * dose.MgPerPPM(tempC, dose.StandardKPa) / 1000
}

// showGas adds what the fit and the leak test say.
func showGas(v *StackView, g *gas.State, t *treatment.Treatment) {
	for i := range g.Forecasts {
		f := g.Forecasts[i]
		for k := range v.Lines {
			if v.Lines[k].Name == f.Line {
				v.Lines[k].Forecast = &f
			}
		}
	}
	if g.Lowest != nil {
		f := *g.Lowest
		v.Lowest = &f
	}
	v.Leak = leakView(g)
	if t.Phase == logbook.PhaseExposure {
		v.LowHighRatio = g.Ratio
	} else {
		v.Leak.Live = false // neither is a figure of now
	}
}

// fitView is the fit for the pages.
func fitView(p decay.Params) *FitView {
	v := &FitView{YieldPPM: p.YieldPPM.Value, YieldSE: p.YieldPPM.SE, ReleasePerDay: p.ReleasePerDay.Value, ReleSE: p.ReleasePerDay.SE,
		LossPerDay: p.LossPerDay.Value, LossSE: p.LossPerDay.SE, SamplingPerDay: p.Sampling}
	if v.LossPerDay > 0 {
		v.HalfLifeHours = 24 * math.Ln2 / v.LossPerDay
	}
	return v
}

// leakView is the leak test for the pages.
func leakView(g *gas.State) LeakView {
	st := g.Leak.Statistic()
	return LeakView{Statistic: st.Value, Threshold: st.Threshold, Live: st.Live, Trail: g.Trail.Marks(), Found: slices.Clone(g.Leaks)}
}

// showAhead adds what is to come.
func (s *State) showAhead(v *StackView, k *Stack, t *treatment.Treatment) {
	o, ctp := k.Gas.Outlook(s.Site, t, s.At, k.resists())
	if o == nil {
		return
	}
	shown := *o
	v.Outlook = &shown
	for i, c := range ctp {
		v.Lines[i].CTPByEnd = c
	}
}

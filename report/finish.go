package report

import (
	"cmp"
	"math"
	"slices"

	"undersheet/logbook"
	"undersheet/rules"
	"undersheet/rules/dose"
)

// finish makes the figures of the report as the treatment stands now, or stood when it
// was over. The draft can go on.
func (d *draft) finish(s *rules.State, src Source) *Report {
	made := *d.r
	r := &made
	r.Acts, r.Air, r.Forecasts, r.Exposed = slices.Clone(r.Acts), slices.Clone(r.Air), slices.Clone(r.Forecasts), slices.Clone(r.Exposed)
	src.FirstSeq, src.LastSeq, r.ended = r.FirstSeq, r.LastSeq, d.closing
	r.Schema, r.Source = Schema, src
	if d.over != nil {
		r.Stack = *d.over
	} else {
		r.Stack = stackOf(s.View(), d.stack)
	}
	if n := len(r.Phases); n > 0 {
		r.Stack.Phase, r.Stack.Verdict = r.Phases[n-1].Phase, r.Phases[n-1].Verdict
	}
	r.Aired.First, r.Aired.Extra = d.t.AiringFirst, d.t.Extra
	if !r.Aired.Measured {
		r.Aired.TempC = r.Given.GrainTempC
	}
	r.Place.Site, r.Place.Timezone, r.Place.Store, r.Place.Stack = r.Site.Name, Zone(&r.Site).String(), d.store, d.stack
	slices.SortStableFunc(r.Acts, func(a, b Act) int { return cmp.Compare(a.At, b.At) })
	end := r.end()
	for i, l := range d.t.Lines {
		x := Line{Key: key(i), Name: l.Name, Channel: l.Channel, LengthM: r.tube(l.Name), View: r.Stack.Lines[i], samples: d.lines[i]}
		x.EndLevels = d.recorded(l.Name, x.View.EndLevels)
		x.figures(d.t.Started, end, r.Aired.TempC, r.Stack.EndLevelPPM, l.CTP.Hourly)
		r.Lines = append(r.Lines, x)
	}
	r.Days = distribution(r.Lines)
	r.Success = d.success(r.Stack.Efficacy)
	r.Dose, r.Course = r.dose(), r.course(d)
	r.Leaks = r.leaks()
	r.losses()
	r.limits()
	for i := range r.Air {
		r.Air[i].figures(r.Aired, r.LimitSets)
	}
	r.Hands = r.pairs(d.stack, d.store)
	r.Instruments = r.instruments(d.checks)
	r.came()
	for _, p := range r.Stack.Product {
		r.Product = append(r.Product, Product{p.Form, p.Placed, p.Taken, p.Live, p.Disposed})
	}
	r.People, r.Photos = r.people(), r.photos()
	return r
}

// end is when the exposure was over: when airing started, else now.
func (r *Report) end() logbook.Time {
	if r.Aired.First != 0 {
		return r.Aired.First
	}
	return r.Made
}

// course is the treatment in short.
func (r *Report) course(d *draft) Course {
	k := &r.Stack
	return Course{Name: k.Treatment, Phase: k.Phase, Verdict: k.Verdict, Protocol: r.Given.Protocol, EndLevelPPM: k.EndLevelPPM,
		DosingStarted: r.Dosed, Started: k.Started, ShortestEnd: d.t.ShortestEnd(), PlannedEnd: k.PlannedEnd, AiringStarted: r.Aired.First,
		ShortestHours: d.t.Protocol.Hours, ExposureHours: d.t.Lived(r.end()).Hours(), SkippedHours: (r.end().Sub(k.Started) - d.t.Lived(r.end())).Hours(),
		Cleared: r.Aired.Cleared, SecondFrom: r.Aired.SecondFrom, SecondUntil: r.Aired.SecondUntil,
		GrainTempC: r.Aired.TempC, Measured: r.Aired.Measured}
}

// dose is the phosphine that was laid against what it was laid for.
func (r *Report) dose() Dose {
	g := r.Given.PhosphineG
	d := Dose{PhosphineG: g, GasSpaceM3: r.gasSpace(), GPerTonne: ratio(g, r.Given.Tonnes), GPerVolume: ratio(g, r.Given.VolumeM3)}
	for _, x := range r.Aired.Extra {
		d.AddedG += x.Grams
	}
	d.GPerGas = ratio(g, d.GasSpaceM3)
	if held := r.Stack.Efficacy; held != nil && held.FullPPM > 0 {
		d.FullPPM = &held.FullPPM
	}
	return d
}

// gasSpace is the gas space under the sheet, m³, as given or reckoned.
func (r *Report) gasSpace() float64 {
	m3, _ := dose.GasSpace(r.Given.GasSpaceM3, r.Given.VolumeM3, r.Given.Tonnes, r.Given.Commodity)
	return m3
}

// ratio is a over b; nil where b is not known.
func ratio(a, b float64) *float64 {
	if x := a / b; b > 0 && !math.IsInf(x, 0) && !math.IsNaN(x) {
		return &x
	}
	return nil
}

// recorded returns the judgements of a line as they were recorded; where the log
// holds none, those of the fold.
func (d *draft) recorded(line string, folded []logbook.EndLevel) []logbook.EndLevel {
	var out []logbook.EndLevel
	for _, moment := range []string{logbook.MomentShortest, logbook.MomentAiring} {
		if e, ok := d.ends[endKey{line, moment}]; ok {
			out = append(out, e)
			continue
		}
		for _, e := range folded {
			if e.Moment == moment {
				out = append(out, e)
			}
		}
	}
	return out
}

// photos lists the pictures among the acts.
func (r *Report) photos() []Photo {
	var out []Photo
	for _, a := range r.Acts {
		if p, ok := a.entry.(*logbook.PhotoAttached); ok {
			out = append(out, Photo{At: a.At, By: a.By, Name: p.Name, Media: p.Media, SHA256: p.SHA256, Bytes: len(p.Data), Of: p.Of})
		}
	}
	return out
}

// tube is the length of a line's tube in m by the site file; 0 = not said.
func (r *Report) tube(line string) float64 {
	for _, st := range r.Site.Stores {
		for _, k := range st.Stacks {
			for _, l := range k.Lines {
				if k.Name == r.Stack.Name && l.Name == line {
					return l.Length
				}
			}
		}
	}
	return 0
}

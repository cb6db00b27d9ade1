package report

import (
	"sort"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/rules"
	"undersheet/rules/exposure"
	"undersheet/rules/reading"
	"undersheet/rules/treatment"
)

// longest is the shortest stretch between two readings of a line that the
// concentration-time product does not bridge, as in package rules: an hour, or
// three usual intervals.
const longest = time.Hour

// draft gathers what belongs to one treatment while the log is folded.
type draft struct {
	stack, store string
	t            *treatment.Treatment
	r            *Report
	lines        [][]sample
	ends         map[endKey]logbook.EndLevel // as last recorded
	criteria     []logbook.Criterion         // as last recorded
	closing      bool                        // closed was recorded
	closedOf     uint64                      // seq of the entry that closed it
}

// endKey names a judgement.
type endKey struct{ line, moment string }

// sample is a reading that counts.
type sample struct {
	Reading
	gap  time.Duration // longest stretch before it that is bridged
	over bool          // at the top of the range
}

// endsBefore reports whether the treatment was over before e: closed, or e begins
// another treatment of the stack. Records of the entry that closed it still count.
func (d *draft) endsBefore(e logbook.Entry) bool {
	if d.closing {
		rec, ok := e.(logbook.Recorded)
		return !ok || rec.Rec().Of != d.closedOf
	}
	over := d.t.Phase == logbook.PhaseClosed || d.t.Phase == logbook.PhaseWithholding
	switch e := e.(type) {
	case *logbook.DosingStarted: // of a stack under gas it begins nothing
		return e.Stack == d.stack && (over || d.t.Phase == logbook.PhaseAiring)
	case *logbook.AiringStarted: // of a stack that is not under gas it is a treatment that nobody recorded
		return e.Stack == d.stack && over
	case *logbook.TreatmentStarted:
		return e.Stack == d.stack
	}
	return false
}

// configure takes the site as it is now; air points that were once there stay.
func (d *draft) configure(site *logbook.Site) {
	d.r.Site = *site
	for _, st := range site.Stores {
		if st.Name == d.store {
			for _, p := range st.Air {
				d.point(p)
			}
		}
	}
}

// point returns the air point of that name.
func (d *draft) point(p logbook.AirPoint) *AirPoint {
	for i := range d.r.Air {
		if d.r.Air[i].Name == p.Name {
			return &d.r.Air[i]
		}
	}
	where := p.Where
	if where == "" {
		where = logbook.WhereInside
	}
	d.r.Air = append(d.r.Air, AirPoint{Key: key(len(d.r.Air)), Name: p.Name, Where: where, Channel: p.Channel})
	return &d.r.Air[len(d.r.Air)-1]
}

// readLine takes a reading under the sheet; one below detection counts as 0.
func (d *draft) readLine(line int, j reading.Judged, gap time.Duration) {
	if line >= len(d.lines) {
		return
	}
	s := sample{Reading{j.At, j.Value}, gap, j.State == reading.OverRange}
	if j.State == reading.BelowDetection {
		s.PPM = 0
	}
	d.lines[line] = append(d.lines[line], s)
}

// readAir takes a reading of the store's air, as it was read: below detection is
// never proof of zero.
func (d *draft) readAir(p logbook.AirPoint, j reading.Judged, gap time.Duration) {
	a := d.point(p)
	a.samples = append(a.samples, sample{Reading{j.At, max(j.Value, 0)}, gap, j.State == reading.OverRange})
}

// act notes what a person did to the stack or to its store.
func (d *draft) act(e logbook.Acting, recs []logbook.Recorded) {
	store, stack := e.Place()
	if stack != d.stack && (store == "" || store != d.store) {
		return
	}
	h, who := e.Head(), e.Who()
	a := Act{At: h.Time, Kind: h.Kind, By: who.By, Identity: who.Identity, Note: who.Note, Detail: detail(e), of: h.Seq}
	if a.Identity == "" {
		a.Identity = "not stated"
	}
	a.Hand, _ = e.(*logbook.HandReading)
	for _, rec := range recs {
		if verdictOn(rec) == h.Kind && h.Seq == 0 {
			a.of = rec.Rec().Of
		}
	}
	d.r.Acts = append(d.r.Acts, a)
}

// verdictOn returns the kind of act that a record is the verdict on.
func verdictOn(rec logbook.Recorded) logbook.Kind {
	switch r := rec.(type) {
	case *logbook.Accepted:
		return r.Entry
	case *logbook.Refused:
		return r.Entry
	}
	return ""
}

// quote takes a record of the stack, of its store, or of the whole site.
func (d *draft) quote(rec logbook.Recorded) {
	here := func(store, stack string) bool {
		return stack == d.stack || stack == "" && (store == d.store || store == "")
	}
	q, before := &d.r.Records, d.r.quoted()
	switch r := rec.(type) {
	case *logbook.Gate:
		if r.Store == d.store {
			q.Gates = append(q.Gates, *r)
		}
	case *logbook.Alarm:
		if here(r.Store, r.Stack) {
			q.Alarms = append(q.Alarms, *r)
		}
	case *logbook.Phase:
		if r.Stack == d.stack && (r.Treatment == d.t.Name || r.Treatment == "") {
			q.Phases = append(q.Phases, *r)
			if r.Phase == logbook.PhaseClosed {
				d.closing, d.closedOf = true, r.Of
			}
		}
	case *logbook.EndLevel:
		if r.Stack == d.stack && r.Treatment == d.t.Name {
			d.ends[endKey{r.Line, r.Moment}] = *r
		}
	case *logbook.Criteria:
		if r.Stack == d.stack && r.Treatment == d.t.Name {
			d.criteria = r.Criteria
		}
	case *logbook.Finding:
		if here(r.Store, r.Stack) {
			q.Findings = append(q.Findings, *r)
		}
	case *logbook.Refused:
		if here(r.Store, r.Stack) {
			q.Refused = append(q.Refused, *r)
			d.refuse(r)
		}
	case *logbook.Forecast:
		if r.Stack == d.stack && r.Line == "" && (r.Seq != 0 || r.Daily) {
			q.Forecasts = append(q.Forecasts, *r)
		}
	}
	if d.r.quoted() > before {
		q.program(rec.Rec().Program)
	}
}

// quoted counts the records.
func (q *Records) quoted() int {
	return len(q.Alarms) + len(q.Gates) + len(q.Phases) + len(q.Findings) + len(q.Refused) + len(q.Forecasts)
}

// program notes the version that made a record.
func (q *Records) program(version string) {
	for _, p := range q.Programs {
		if p == version {
			return
		}
	}
	if version != "" {
		q.Programs = append(q.Programs, version)
	}
}

// refuse marks the act that took no effect.
func (d *draft) refuse(r *logbook.Refused) {
	for i := range d.r.Acts {
		if a := &d.r.Acts[i]; a.of == r.Of && a.Kind == r.Entry {
			why := *r
			words.Fill("en", &why)
			a.Refused = why.Why
		}
	}
}

// pass notes where the treatment stands after e.
func (d *draft) pass(e logbook.Entry, s *rules.State) {
	d.r.LastSeq, d.r.Made = max(d.r.LastSeq, e.Head().Seq), s.Now()
	a := &d.r.Aired
	if k := s.Stacks[d.stack]; k != nil {
		if d.t.Phase == logbook.PhaseExposure && k.TempC != nil {
			a.TempC, a.Measured = *k.TempC, true
		}
		a.SecondFrom, a.SecondUntil = k.SecondFrom, k.SecondTill
	}
	if a.Cleared == 0 {
		a.Cleared = d.t.ClearedAt
	}
}

// finish makes the figures of the report as the treatment stands now.
func (d *draft) finish(s *rules.State) *Report {
	r := d.r
	for _, st := range s.View().Stores {
		for _, k := range st.Stacks {
			if k.Name == d.stack {
				r.Stack = k
			}
		}
	}
	if n := len(r.Phases); n > 0 {
		r.Stack.Phase, r.Stack.Verdict = r.Phases[n-1].Phase, r.Phases[n-1].Verdict
	}
	r.Aired.First, r.Aired.Extra = d.t.AiringFirst, d.t.Extra
	if !r.Aired.Measured {
		r.Aired.TempC = r.Given.GrainTempC
	}
	end := r.Aired.First
	if end == 0 {
		end = r.Made
	}
	for i, l := range d.t.Lines {
		x := Line{Key: key(i), Name: l.Name, Channel: l.Channel, Instrument: r.Site.Channels[l.Channel], View: r.Stack.Lines[i], samples: d.lines[i]}
		x.View.EndLevels = d.recorded(l.Name, x.View.EndLevels)
		var away exposure.Hours
		if held := r.Stack.Efficacy; held != nil && i < len(held.Lines) {
			away = held.Lines[i].Hours
		}
		x.figures(d.t.Started, end, r.Aired.TempC, away)
		r.Lines = append(r.Lines, x)
	}
	for i := range r.Air {
		r.Air[i].figures(r.Aired)
	}
	r.Days = distribution(r.Lines)
	r.Success = d.success(r.Stack.Efficacy)
	r.Limit.PPM, r.Limit.Of = exposure.Limit(r.Site.LimitSets, r.Made)
	if n := len(r.Gates); n > 0 {
		r.Limit.PPM, r.Limit.Of = float64(r.Gates[n-1].LimitPPM), r.Gates[n-1].LimitOf
	}
	sort.SliceStable(r.Acts, func(i, k int) bool { return r.Acts[i].At < r.Acts[k].At })
	r.Hands = r.pairs(d.stack, d.store)
	return r
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

package report

import (
	"undersheet/logbook"
	"undersheet/rules"
)

// quote takes a record of the stack, of its store, or of the whole site; when the
// treatment is over, only one that names it or was made of an act that still counts.
func (d *draft) quote(rec logbook.Recorded) {
	q, before := &d.r.Records, d.r.quoted()
	if d.over != nil && !d.quotesLate(rec) {
		return
	}
	here := func(store, stack string) bool {
		return stack == d.stack || stack == "" && (store == d.store || store == "")
	}
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
			if r.Phase == logbook.PhaseClosed && !d.closing {
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
	case *logbook.FollowUp:
		if r.Stack == d.stack && r.Treatment == d.t.Name {
			d.follows(r)
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
			d.r.Forecasts = append(d.r.Forecasts, forecastOf(r))
		}
	}
	if d.r.quoted() > before {
		q.program(rec.Rec().Program)
	}
	d.tell(rec)
}

// quotesLate reports whether a record is of the treatment though it is over.
func (d *draft) quotesLate(rec logbook.Recorded) bool {
	ours := func(stack, treatment string) bool { return stack == d.stack && treatment == d.t.Name }
	switch r := rec.(type) {
	case *logbook.Phase:
		return ours(r.Stack, r.Treatment)
	case *logbook.EndLevel:
		return ours(r.Stack, r.Treatment)
	case *logbook.Criteria:
		return ours(r.Stack, r.Treatment)
	case *logbook.FollowUp:
		return ours(r.Stack, r.Treatment)
	case *logbook.Finding, *logbook.Refused:
		return d.told[rec.Rec().Of]
	}
	return false
}

// quoted counts the records.
func (r *Report) quoted() int {
	return len(r.Alarms) + len(r.Gates) + len(r.Phases) + len(r.Findings) + len(r.Refused) + len(r.Forecasts)
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

// pass notes where the treatment stands after e.
func (d *draft) pass(e logbook.Entry, s *rules.State) {
	if d.over != nil && !d.told[e.Head().Seq] {
		return
	}
	d.r.LastSeq, d.r.Made = max(d.r.LastSeq, e.Head().Seq), s.Now()
	if d.over != nil {
		return
	}
	a := &d.r.Aired
	if k := s.Stacks[d.stack]; k != nil {
		if d.t.Phase == logbook.PhaseExposure && k.TempC != nil {
			a.TempC, a.Measured = *k.TempC, true
		}
		a.SecondFrom, a.SecondUntil = d.t.After.SecondFrom, d.t.After.SecondTill
	}
	if a.Cleared == 0 {
		a.Cleared = d.t.ClearedAt
	}
	if d.t.Withheld != 0 && !d.closing {
		d.closing, d.closedOf = true, e.Head().Seq
	}
}

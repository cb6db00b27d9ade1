package report

import "undersheet/logbook"

// GateRun is a run of gate records with one state and one limit.
type GateRun struct {
	From     logbook.Time // first record
	State    string
	LimitPPM float64
	LimitOf  string
	Records  int
	Reasons  []RunReason // in the order in which they first stood
}

// RunReason is one reason within a run.
type RunReason struct {
	logbook.Reason     // with its highest value
	Times          int // records that hold it
}

// GateRuns gathers the gate records for paper: while gas is near the limit the
// reasons come and go every few minutes, which the CSV file lists one by one.
func (r *Report) GateRuns() []GateRun {
	var runs []GateRun
	for _, g := range r.Gates {
		n := len(runs)
		if n == 0 || runs[n-1].State != g.State || runs[n-1].LimitPPM != float64(g.LimitPPM) || runs[n-1].LimitOf != g.LimitOf {
			runs = append(runs, GateRun{From: g.Time, State: g.State, LimitPPM: float64(g.LimitPPM), LimitOf: g.LimitOf})
			n++
		}
		runs[n-1].Records++
		for _, x := range g.Reasons {
			runs[n-1].reason(x)
		}
	}
	return runs
}

// reason takes one reason of one record into the run.
func (g *GateRun) reason(x logbook.Reason) {
	for i := range g.Reasons {
		if k := &g.Reasons[i]; k.Code == x.Code && k.About == x.About {
			k.Times++
			if x.Value > k.Value {
				k.Reason = x
			}
			return
		}
	}
	g.Reasons = append(g.Reasons, RunReason{x, 1})
}

// Limits lists the limits that held and their sources, each once, in order.
func (r *Report) Limits() []Limit {
	var out []Limit
	seen := map[Limit]bool{}
	for _, g := range r.Gates {
		l := Limit{float64(g.LimitPPM), g.LimitOf}
		if !seen[l] {
			seen[l] = true
			out = append(out, l)
		}
	}
	return out
}

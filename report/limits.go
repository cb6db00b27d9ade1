package report

import (
	"undersheet/logbook"
	"undersheet/rules/exposure"
)

// LimitSet is a set of occupational limits that held in the time of the report.
type LimitSet struct {
	From   logbook.Time    `json:"in_force_from,omitzero"` // 0 = not said
	Source string          `json:"source"`
	Levels []logbook.Level `json:"levels"`
	since  logbook.Time    // when it began to hold in the time of the report
}

// Against is what an air point held against one occupational limit while that held.
type Against struct {
	Set   int          `json:"set"`  // place in the list of occupational limits, from 0
	Level string       `json:"name"` // twa-8h, short-term-15min, ceiling, peak
	Limit float64      `json:"limit_ppm"`
	Found float64      `json:"highest_ppm"` // mean over the time that the limit is of, else the highest reading
	At    logbook.Time `json:"at,omitzero"`
	State string       `json:"state"` // below, reached or not-read
}

// States against a limit. A figure at the limit has reached it.
const (
	LimitBelow   = "below"
	LimitReached = "reached"
	LimitNotRead = "not-read"
)

// Names of the figures that limits are of.
const (
	level8h    = "twa-8h"
	level15min = "short-term-15min"
)

// limits finds the sets of limits that held from dosing to the end of the report.
func (r *Report) limits() {
	from := r.Dosed
	if from == 0 {
		from = r.Stack.Started
	}
	for at := from; ; {
		set, next := exposure.InForce(r.Site.LimitSets, at)
		r.LimitSets = append(r.LimitSets, LimitSet{set.From, set.Source, set.Levels, at})
		if next == 0 || next > r.Made {
			break
		}
		at = next
	}
	for i := range r.Exposed {
		r.Exposed[i].Limit, _ = exposure.Limit(r.Site.LimitSets, r.Exposed[i].Out)
	}
	r.Limit.PPM, r.Limit.Of = exposure.Limit(r.Site.LimitSets, r.Made)
	if n := len(r.Gates); n > 0 {
		r.Limit.PPM, r.Limit.Of = float64(r.Gates[n-1].LimitPPM), r.Gates[n-1].LimitOf
	}
}

// figures sums up an air point: 8-hour averages are those of 29 CFR
// 1910.1000(d)(1)(i), over any 8 hours that end with a reading. Each is held against
// the limits in force at its time.
func (p *AirPoint) figures(a Aired, sets []LimitSet) {
	byTime(p.samples)
	for i, s := range sets {
		for _, l := range s.Levels {
			p.Against = append(p.Against, Against{Set: i, Level: l.Name, Limit: l.PPM, State: LimitNotRead})
		}
	}
	var air exposure.Air
	for _, s := range p.samples {
		p.Readings++
		p.Hours = addHour(p.Hours, s.Reading)
		air.Add(s.At, s.PPM, s.gap)
		twa, covered := air.TWA8(s.At)
		short := air.Mean15(s.At)
		if twa > p.HighestTWA8h || p.Readings == 1 {
			p.HighestTWA8h, p.TWACovered, p.TWAAt = twa, covered, s.At
		}
		p.Highest15min = max(p.Highest15min, short)
		if s.PPM > p.Highest || p.Readings == 1 {
			p.Highest, p.HighestAt = s.PPM, s.At
		}
		p.Over = p.Over || s.over
		p.hold(sets, s.At, map[string]float64{level8h: twa, level15min: short}, s.PPM)
		if a.First != 0 && s.At >= a.First && (a.Cleared == 0 || s.At <= a.Cleared) {
			p.Airing = append(p.Airing, s.Reading)
		}
	}
}

// hold holds the figures of a moment against the limits in force then; a limit that is
// of no stretch of time is one for each reading.
func (p *AirPoint) hold(sets []LimitSet, at logbook.Time, means map[string]float64, reading float64) {
	set := 0
	for i := range sets {
		if at >= sets[i].since {
			set = i
		}
	}
	for i := range p.Against {
		x := &p.Against[i]
		if x.Set != set {
			continue
		}
		v, ok := means[x.Level]
		if !ok {
			v = reading
		}
		if v > x.Found || x.State == LimitNotRead {
			x.Found, x.At = v, at
		}
		if x.State == LimitNotRead {
			x.State = LimitBelow
		}
		if x.Found >= x.Limit {
			x.State = LimitReached
		}
	}
}

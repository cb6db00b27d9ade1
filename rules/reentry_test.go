package rules

import (
	"math"
	"slices"
	"time"

	"undersheet/logbook"
)

// reentry judges the gate of the Long Barn a second time, from the whole list of facts
// and in the plainest way. It shares nothing with package gate, and says how open a gate may
// be at most.
//
// The times are common practice: two hours of airing, half an hour below the limit,
// hand readings of the last hour, a confirmation that holds for twelve. The limit
// where no country is named, 0.3 ppm, is the time-weighted average of 29 CFR 1910.1000,
// Table Z-1 (OSHA), taken as an instantaneous level.
type reentry struct {
	site  logbook.Site
	every time.Duration                 // how often its points are read
	log   []logbook.Entry               // as it was written, from seq 1
	right map[uint64]*logbook.Corrected // the last correction of an entry, by its seq
	facts []logbook.Entry               // with the right entries in their places
}

// howOpen numbers the states of a gate from the shut one on.
func howOpen(state string) int {
	return slices.Index([]string{logbook.GateShut, logbook.GateAiring, logbook.GateCheckOwed, logbook.GateCleared}, state)
}

// take keeps the next entry of a log. A correction that was accepted is worked into all that
// was taken.
func (o *reentry) take(e logbook.Entry) {
	o.log, o.facts = append(o.log, e), append(o.facts, e)
	verdict, ok := e.(*logbook.Accepted)
	if !ok || verdict.Entry != logbook.KindCorrected {
		return
	}
	c := o.log[verdict.Of-1].(*logbook.Corrected)
	o.right[c.Of] = c
	o.facts = nil
	for i, e := range o.log {
		if o.right[uint64(i+1)] == nil {
			o.facts = append(o.facts, e)
		}
	}
	for i := range o.log {
		if c := o.right[uint64(i+1)]; c != nil && !c.Withdrawn {
			o.set(c)
		}
	}
}

// set puts the right entry of a correction where the wrong one stood, or later, when what it
// tells had happened.
func (o *reentry) set(c *logbook.Corrected) {
	right, err := c.Right()
	if err != nil {
		panic(err)
	}
	h := right.Head()
	h.Seq, h.Received = c.Of, max(h.Time, o.log[c.Of-1].Head().Received)
	after := slices.IndexFunc(o.facts, func(f logbook.Entry) bool {
		seq, known := f.Head().Seq, f.Head().Received
		return seq > h.Seq && known >= h.Time
	})
	if after < 0 {
		after = len(o.facts)
	}
	o.facts = slices.Insert(o.facts, after, right)
}

// sheet is what the facts say of one stack.
type sheet struct {
	gas      bool         // dosed, and not aired since
	dosed    logbook.Time // when that was told to have happened
	treated  bool
	airing   bool
	paused   bool
	pausedAt logbook.Time
	first    logbook.Time // when airing began since then; 0 = it did not
	from     logbook.Time // since when the airing counts
	done     bool         // a person cleared the store after this airing
}

// lay lays more phosphide under the sheet. What was laid before an airing began was aired with
// the rest, unless anew says that nobody can tell.
func (s *sheet) lay(at logbook.Time, anew bool) {
	if s.gas || !anew {
		s.dosed = max(s.dosed, at)
		return
	}
	*s = sheet{gas: true, treated: true, dosed: max(at, s.dosed)}
}

// visit is a masked entry that has not ended.
type visit struct {
	who   string
	since logbook.Time
}

// most returns the most open state that the facts allow, and what keeps it from more.
func (o *reentry) most() (string, string) {
	var now logbook.Time
	sheets := map[string]*sheet{"A": {}, "B": {}}
	var inside []visit
	declared := false
	var confirmed, began logbook.Time
	var hands []*logbook.HandReading
	for i, e := range o.facts {
		h := e.Head()
		now = max(now, h.Received)
		at := min(h.Time, now)
		switch e := e.(type) {
		case *logbook.DosingStarted:
			if s := sheets[e.Stack]; s != nil {
				*s = sheet{gas: true, treated: true, dosed: at}
				confirmed = 0
			}
		case *logbook.TreatmentStarted:
			if s := sheets[e.Stack]; s != nil {
				*s = sheet{gas: true, treated: true, dosed: max(at, s.dosed)}
				confirmed = 0
			}
		case *logbook.AiringStarted:
			s := sheets[e.Stack]
			if s == nil || at < s.dosed {
				break
			}
			if s.first == 0 {
				s.first = at
			}
			if s.treated {
				began = max(began, at)
				s.gas, s.airing, s.paused, s.from, s.done = false, true, false, at, false
			}
		case *logbook.DosePlaced:
			if s := sheets[e.Stack]; s != nil {
				s.lay(at, at >= s.first)
			}
		case *logbook.DoseAdded:
			if s := sheets[e.Stack]; s != nil {
				s.lay(at, true)
			}
		case *logbook.AiringPaused:
			if s := sheets[e.Stack]; s != nil && s.airing && !s.done {
				s.paused, s.pausedAt = true, at
			}
		case *logbook.AiringResumed:
			if s := sheets[e.Stack]; s != nil && s.airing && s.paused {
				s.paused, s.from = false, max(at, s.from, s.pausedAt)
			}
		case *logbook.ClockStepped:
			for _, s := range sheets {
				if s.airing && !s.done {
					s.from = now
				}
			}
		case *logbook.MaskedEntry:
			if e.Store == "Long Barn" {
				inside = append(inside, visit{e.In, at})
			}
		case *logbook.MaskedExit:
			out := slices.IndexFunc(inside, func(v visit) bool { return v.since <= at && (e.Out == "" || v.who == e.Out) })
			if e.Store == "Long Barn" && out >= 0 {
				inside = slices.Delete(inside, out, out+1)
			}
		case *logbook.Restored:
			declared, confirmed = false, 0
		case *logbook.HandReading:
			hands = append(hands, e)
		case *logbook.Accepted:
			if e.Store != "Long Barn" {
				break
			}
			switch e.Entry {
			case logbook.KindNoGasDeclared:
				declared = true
			case logbook.KindEntryConfirmed:
				declared, confirmed = true, now
				for name, s := range sheets {
					if s.airing && !s.done {
						if o.aired(s, i) < 2*time.Hour || !o.handed(hands, name, s, i, now) {
							confirmed = 0
						} else {
							s.done = true
						}
					}
				}
			}
		}
	}
	for name, s := range sheets {
		if s.gas {
			return logbook.GateShut, name + " is under gas"
		}
	}
	if len(inside) > 0 {
		return logbook.GateShut, "somebody is inside"
	}
	if !declared {
		return logbook.GateShut, "no clearance on record"
	}
	for name, s := range sheets {
		if s.airing && !s.done && (s.paused || o.aired(s, len(o.facts)) < 2*time.Hour) {
			return logbook.GateAiring, name + " is not aired for long enough"
		}
	}
	for _, ch := range []string{"door", "inside"} {
		if why := o.air(ch, now); why != "" {
			return logbook.GateAiring, ch + ": " + why
		}
	}
	if confirmed == 0 || o.fell(confirmed) {
		return logbook.GateCheckOwed, "nobody confirmed since"
	}
	for name, s := range sheets {
		if s.airing && !s.done {
			return logbook.GateCheckOwed, name + " was aired after the last confirmation"
		}
	}
	if began > 0 && now.Sub(began) < 48*time.Hour && now.Sub(confirmed) >= 12*time.Hour {
		return logbook.GateCheckOwed, "the confirmation ran out"
	}
	return logbook.GateCleared, ""
}

// fell reports whether at any moment since the confirmation a reading was not below the limit.
func (o *reentry) fell(confirmed logbook.Time) bool {
	for _, e := range o.facts {
		if r, ok := e.(*logbook.Reading); ok && r.Received > confirmed && (r.Channel == "door" || r.Channel == "inside") {
			if upper, sound := o.upper(r); o.current(r) && r.Received.Sub(r.Time) < 30*time.Minute && (!sound || upper >= 0.3) {
				return true
			}
		}
	}
	return false
}

// upper returns the most that a reading may mean in ppm, and whether it is a sound one.
func (o *reentry) upper(r *logbook.Reading) (ppm float64, sound bool) {
	ch := o.site.Channels[r.Channel]
	per, known := map[string]float64{"ppm": 1, "mg/m3": 24.4654 / 33.998, "g/m3": 1000 * 24.4654 / 33.998}[r.Unit] // ideal gas at 25 °C; molar mass of PH3 33.998 g/mol (IUPAC)
	v := r.Value * per
	return v*(1+ch.Accuracy) + ch.DetectionLimit, known && r.Fault == "" && v >= -ch.DetectionLimit && v < ch.Range
}

// current reports whether a reading came while it told of the present: not stored by a
// broker, not from the future.
func (o *reentry) current(r *logbook.Reading) bool {
	return r.Unit != logbook.Cel && (!r.Retained || !r.Stamped) && r.Time.Sub(r.Received) <= 5*time.Minute
}

// gap is the longest silence of a live point.
func (o *reentry) gap() time.Duration { return max(10*time.Minute, 3*o.every) }

// live lists the times of the readings of a channel, sound or over its range, that came in time, among the first n facts.
func (o *reentry) live(channel string, n int) []logbook.Time {
	var ts []logbook.Time
	for _, e := range o.facts[:n] {
		if r, ok := e.(*logbook.Reading); ok && r.Channel == channel && o.current(r) && !r.Retained {
			upper, sound := o.upper(r)
			over := r.Fault == "" && upper > o.site.Channels[channel].Range // it reads the air, and finds gas
			if (sound || over) && r.Received.Sub(r.Time) <= o.gap() {
				ts = append(ts, min(r.Time, r.Received))
			}
		}
	}
	slices.Sort(ts)
	return ts
}

// aired returns how long the airing of a stack has lasted after the first n facts, counting
// only the time in which every gate point was live.
func (o *reentry) aired(s *sheet, n int) time.Duration {
	door, beside := o.live("door", n), o.live("inside", n)
	total := time.Duration(0)
	for i, j := 1, 1; i < len(door) && j < len(beside); {
		if door[i].Sub(door[i-1]) <= o.gap() && beside[j].Sub(beside[j-1]) <= o.gap() {
			total += max(0, min(door[i], beside[j]).Sub(max(door[i-1], beside[j-1], s.from)))
		}
		if door[i] < beside[j] {
			i++
		} else {
			j++
		}
	}
	return total
}

// air returns why the air at a point is not shown to be clear now.
func (o *reentry) air(channel string, now logbook.Time) string {
	newest := logbook.Time(math.MinInt64)
	for _, e := range o.facts {
		r, ok := e.(*logbook.Reading)
		if !ok || r.Channel != channel || !o.current(r) {
			continue
		}
		upper, sound := o.upper(r)
		if now.Sub(r.Time) < 30*time.Minute && (!sound || upper >= 0.3) {
			return "read " + r.Time.String()
		}
	}
	ts := o.live(channel, len(o.facts))
	if len(ts) > 0 {
		newest = ts[len(ts)-1]
	}
	if now.Sub(newest) > o.gap() {
		return "silent"
	}
	first := newest
	for i := len(ts) - 1; i > 0 && ts[i].Sub(ts[i-1]) <= o.gap(); i-- {
		first = ts[i-1]
	}
	if now.Sub(first) < 30*time.Minute {
		return "not read for half an hour"
	}
	return ""
}

// handed reports whether the newest hand reading beside a stack speaks for a confirmation.
func (o *reentry) handed(hands []*logbook.HandReading, stack string, s *sheet, n int, now logbook.Time) bool {
	var last *logbook.HandReading
	var at logbook.Time
	for _, h := range hands {
		if when := min(h.Time, h.Received); h.Point == "beside "+stack && when >= at {
			last, at = h, when
		}
	}
	if last == nil || *last.DetectionLimit >= 0.3 || last.Value >= 0.3 || now.Sub(at) > time.Hour {
		return false
	}
	then := *o
	then.facts = slices.DeleteFunc(slices.Clone(o.facts[:n]), func(e logbook.Entry) bool { return e.Head().Time > at })
	return then.aired(s, len(then.facts)) >= 2*time.Hour-o.every // the next reading may have ended the two hours
}

package treatment

import (
	"math"

	"undersheet/logbook"
)

// JudgeAiring judges every line at the moment airing started.
func (t *Treatment) JudgeAiring(at logbook.Time) {
	t.judge(at, func(l *Line) *Judgement { return &l.Airing })
	t.settle(false)
}

func (t *Treatment) judge(at logbook.Time, pick func(*Line) *Judgement) {
	for i := range t.Lines {
		t.judgeLine(&t.Lines[i], at, pick(&t.Lines[i]))
	}
}

func (t *Treatment) judgeLine(l *Line, at logbook.Time, j *Judgement) {
	*j = Judgement{At: at, Shown: logbook.NotShown}
	if m, ok := median(l.Samples, at); ok {
		t.show(j, m)
	} else if h := l.Hand; h.At != 0 && h.At <= at && at.Sub(h.At) < LastHour {
		t.show(j, h.PPM)
		j.ByHand = true
	}
}

func (t *Treatment) show(j *Judgement, ppm float64) {
	j.PPM, j.Shown = ppm, logbook.ShownNotMet
	if ppm >= t.EndPPM() {
		j.Shown = logbook.ShownMet
	}
}

// HandRead takes a hand reading on a line. Where the line was judged and its fixed readings
// showed nothing, the hand reading shows it instead, if it was taken no earlier than an hour
// before that moment and before airing started. A judgement within the next hour may rest on
// it, too. HandRead returns the moment whose judgement it has filled in, or "".
func (t *Treatment) HandRead(line int, at logbook.Time, ppm float64) (moment string) {
	l := &t.Lines[line]
	if at >= l.Hand.At {
		l.Hand = Sample{at, ppm}
	}
	for _, m := range []struct {
		j    *Judgement
		name string
		last logbook.Time
	}{{&l.Shortest, logbook.MomentShortest, t.AiringFirst}, {&l.Airing, logbook.MomentAiring, t.AiringFirst}} {
		if m.j.At == 0 || m.j.Shown != logbook.NotShown || at < m.j.At.Add(-LastHour) || m.last != 0 && at > m.last {
			continue
		}
		t.show(m.j, ppm)
		m.j.ByHand, moment = true, m.name
	}
	if moment != "" {
		t.settle(false)
	}
	return moment
}

// Missed reports whether a line that was judged at the shortest exposure did not
// meet the end level, and how low the lowest such line was then, ppm.
func (t *Treatment) Missed() (lowest float64, missed bool) {
	lowest = math.Inf(1)
	for i := range t.Lines {
		if j := t.Lines[i].Shortest; j.Shown == logbook.ShownNotMet {
			lowest, missed = math.Min(lowest, j.PPM), true
		}
	}
	if !missed {
		return 0, false
	}
	return lowest, true
}

// EndLevels lists the judgements made so far, of one line or (-1) of all.
func (t *Treatment) EndLevels(line int) []logbook.EndLevel {
	var out []logbook.EndLevel
	for i := range t.Lines {
		if line >= 0 && i != line {
			continue
		}
		l := &t.Lines[i]
		for _, m := range []struct {
			name string
			j    Judgement
		}{{logbook.MomentShortest, l.Shortest}, {logbook.MomentAiring, l.Airing}} {
			if m.j.At != 0 {
				out = append(out, logbook.EndLevel{Stack: t.Stack, Treatment: t.Name, Line: l.Name, Moment: m.name,
					Shown: m.j.Shown, PPM: logbook.Number(m.j.PPM), EndPPM: logbook.Number(t.EndPPM()), ByHand: m.j.ByHand})
			}
		}
	}
	return out
}

// held reports whether every line is known to have met the end level, and missed whether one is
// known not to have. A line that met it when the shortest exposure had passed has met it. One
// that missed it then can make up for that only if the exposure was extended or a dose was
// added, by meeting it when airing started.
func (t *Treatment) held() (held, missed bool) {
	rescued := t.Extended || len(t.Extra) > 0
	held = t.Started != 0 && len(t.Lines) > 0
	for i := range t.Lines {
		s, a := t.Lines[i].Shortest.Shown, t.Lines[i].Airing.Shown
		met := s == logbook.ShownMet || a == logbook.ShownMet && (rescued || s != logbook.ShownNotMet)
		held = held && met
		missed = missed || !met && (s == logbook.ShownNotMet || a == logbook.ShownNotMet)
	}
	return held, missed
}

// settle decides the verdict as far as it is known. Live insects, or airing before the shortest
// exposure had passed, make the treatment a failed one at any time; a line that missed the end
// level does once airing has started; one that was never shown to meet it does at the end.
func (t *Treatment) settle(end bool) {
	if t.Live() {
		t.Verdict = logbook.VerdictFailed
	}
	if t.Verdict == logbook.VerdictAbandoned || t.Verdict == logbook.VerdictFailed {
		return
	}
	held, missed := t.held()
	if t.AiringFirst != 0 && missed || t.Early() || end && !held {
		t.Verdict = logbook.VerdictFailed
	} else if end {
		t.Verdict = logbook.VerdictHeld
	}
}

package rules

import "undersheet/logbook"

// Player folds entries that come from a file instead of a logbook. Hand-written
// entries have no seq: their verdicts are folded back at once. Entries with a seq
// come from a logbook, which holds the verdicts itself.
type Player struct {
	State *State
	Site  *logbook.Site     // stands for a site-configured before the first entry; nil = the file has one
	Keep  bool              // keep every entry in memory, so that corrections can be worked in
	lines uint64            // entries played
	acted map[[16]byte]bool // identities of the acts so far
	kept  []logbook.Entry
	place []uint64 // of each kept entry in the file, from 1; its seq, where it has none
}

// NewPlayer returns a Player with an empty state; site may be nil.
func NewPlayer(site *logbook.Site) *Player {
	return &Player{State: New(), Site: site, acted: map[[16]byte]bool{}}
}

// Play folds the next entry and returns the records it makes, as they would stand
// in a logbook, each with the time of now.
func (p *Player) Play(e logbook.Entry) []logbook.Recorded {
	var out []logbook.Recorded
	if p.Site != nil {
		c := &logbook.SiteConfigured{Site: *p.Site}
		c.Kind, c.Time, p.Site = logbook.KindSiteConfigured, e.Head().Time, nil
		if r := e.Head().Received; r != 0 {
			c.Time = r
		}
		out = p.fold(c)
	}
	p.lines++
	out = append(out, p.fold(e)...)
	if p.State.Outdated() {
		out = append(out, p.again()...)
	}
	return out
}

// again makes the state again, with what a correction has put right.
func (p *Player) again() []logbook.Recorded {
	byHand := false
	for i, e := range p.kept {
		if h := e.Head(); h.Seq == 0 {
			h.Seq, byHand = p.place[i], true
			defer func() { h.Seq = 0 }()
		}
	}
	out, _ := p.State.Refold(func(yield func(logbook.Entry, error) bool) { // what is in memory is read without error
		for _, e := range p.kept {
			if !yield(e, nil) {
				return
			}
		}
	}, byHand)
	return out
}

// repeated reports whether the same act stood in the file before: a logbook keeps it once.
func (p *Player) repeated(e logbook.Entry) bool {
	if _, isAct := e.(logbook.Acting); !isAct {
		return false
	}
	key, err := logbook.Identity(e)
	if err != nil || p.acted[key] {
		return err == nil
	}
	p.acted[key] = true
	return false
}

// fold folds an entry, and the verdicts that it makes.
func (p *Player) fold(e logbook.Entry) []logbook.Recorded {
	h := e.Head()
	if h.Seq == 0 && p.repeated(e) {
		return nil
	}
	if p.Keep {
		p.kept, p.place = append(p.kept, e), append(p.place, p.lines)
	}
	if h.Seq != 0 {
		return p.State.Fold(e)
	}
	h.Seq = p.lines
	out := play(p.State, e)
	h.Seq = 0
	return out
}

// play folds an entry that comes from no logbook, and the verdicts on it at once.
func play(s *State, e logbook.Entry) (out []logbook.Recorded) {
	queue := s.Fold(e)
	for len(queue) > 0 {
		r := queue[0]
		queue = queue[1:]
		out = append(out, r)
		switch r.(type) {
		case *logbook.Accepted, *logbook.Refused:
			queue = append(queue, s.Fold(r)...)
		}
	}
	return out
}

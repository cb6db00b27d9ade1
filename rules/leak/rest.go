package leak

// Lines of one stack swing to and fro against each other more than those of another:
// where the sheet is loose on one side, or gas mixes slowly. How much, over hours, is
// learned from each stack.

// rest measures how restless a line is against the others, in blocks of restHours.
type rest struct {
	From    float64 // hours at which the running block began
	Sum, N  float64 // of its standardised innovations
	Squares float64 // sum over blocks of Sum²/N, which is 1 in the mean where the sizes are right
	Blocks  float64
}

const (
	restHours = 6.0  // of a block: a leak beside a line is to be found by then
	restPrior = 10.0 // the assumed sizes weigh as much as so many blocks
	restMost  = 9.0  // most that the square of one block counts, so that a leak is not taken for restlessness
	restAlike = 0.7  // how far a line is taken to be as restless as all lines are in the mean
	leastWide = 1.0
)

// settle takes a standardised innovation of how far a line lies from the others.
func (s *State) settle(i int, z float64) {
	if s.Raised != nil || !s.live() {
		return
	}
	r := &s.Lines[i].Rest
	if s.At-r.From >= restHours {
		if r.N > 0 {
			r.Squares += min(r.Sum*r.Sum/r.N, restMost)
			r.Blocks++
		}
		r.From, r.Sum, r.N = s.At, 0, 0
		s.widen()
	}
	r.Sum, r.N = r.Sum+z, r.N+1
}

// widen brings what was learned of all lines into the bank.
func (s *State) widen() {
	squares, blocks := 0.0, 0.0
	for i := range s.Lines {
		squares, blocks = squares+s.Lines[i].Rest.Squares, blocks+s.Lines[i].Rest.Blocks
	}
	for i := range s.Lines {
		r := &s.Lines[i].Rest
		seen, of := r.Squares+restAlike*(squares-r.Squares), r.Blocks+restAlike*(blocks-r.Blocks)
		s.Bank.Wide[i] = max((restPrior+seen)/(restPrior+of), leastWide)
	}
}

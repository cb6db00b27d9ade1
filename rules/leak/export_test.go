package leak

// TestWorld is a simulated record for tests from outside.
type TestWorld struct{ w *world }

// NewTestWorld makes the usual record with all lines losing times as much from an
// hour on.
func NewTestWorld(seed uint64, hours, times, from float64) TestWorld {
	p := usual(seed)
	p.hours, p.every, p.times, p.from = hours, 2, times, from
	return TestWorld{p.make()}
}

// Seen is what the lines read, by bin of 5 min.
func (t TestWorld) Seen() [][]Obs { return t.w.seen }

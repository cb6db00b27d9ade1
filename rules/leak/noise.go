package leak

import "math"

const (
	noiseMemory   = 280 // readings
	noiseReadings = 12  // before that the noise is taken as stated
	noiseFrom     = 6.0 // hours after dosing: before, gas rises by the reading
	noiseGap      = 2.0 // hours: over a longer gap no difference is taken
	leastNoise    = 0.15
	mostNoise     = 25.0
	mostTie       = 0.9
)

// of is the variance with which a reading counts whose stated variance is given. Noise that is
// correlated from one reading to the next averages out more slowly, so it counts for more: by
// (1+ρ)/(1−ρ) for a first-order process.
func (n *hush) of(stated float64) float64 {
	return n.Noise * stated * (1 + n.Tie) / (1 - n.Tie)
}

// learn follows the noise of a line at hours from second differences of readings
// one and three apart, x₀ − 2x₁ + x₂ and x₀ − 2x₃ + x₆, which no leak, gust or release
// moves: for noise that is a first-order process with correlation ρ from one reading
// to the next they have the variances σ²f(ρ) and σ²f(ρ³) with f(x) = 2(1−x)(3−x). y is
// ln of the reading less what was expected, stated the variance that was stated, tie
// the ρ of all lines.
func (n *hush) learn(hours, y, stated, tie float64) {
	if hours-n.At > noiseGap {
		n.Count = 0
	}
	n.At = hours
	if p := &n.Past; n.Count >= len(p) {
		n.Weight = min(n.Weight+1, noiseMemory)
		n.Near = follow(n.Near, y-2*float64(p[0])+float64(p[1]), stated, n.Weight)
		n.Apart = follow(n.Apart, y-2*float64(p[2])+float64(p[5]), stated, n.Weight)
		if n.Weight >= noiseReadings {
			n.Tie = tie
			n.Noise = min(max(float64(n.Near)*3/((1-tie)*(3-tie)), leastNoise), mostNoise)
		}
	}
	copy(n.Past[1:], n.Past[:])
	n.Past[0] = float32(y)
	n.Count = min(n.Count+1, len(n.Past))
}

// follow moves a mean of squares over weight differences towards a new one, which
// counts for no more than 9 times the mean; 1.03 makes up for that in normal noise.
func follow(mean float32, difference, stated float64, weight float32) float32 {
	m := float64(mean)
	square := min(difference*difference/(6*stated), 9*max(m, 0.1))
	return float32(min(max(m+(1.03*square-m)/float64(weight), 1e-3), 1e3))
}

// tieOf is the correlation ρ from the mean squares of near and far differences,
// whose ratio is (1+ρ+ρ²)(3−ρ³)/(3−ρ).
func tieOf(near, apart float64) float64 {
	rho := 0.0
	for range 4 {
		known := apart / near * (3 - rho) / (3 - rho*rho*rho)
		rho = min(max((math.Sqrt(max(4*known-3, 1))-1)/2, 0), mostTie)
	}
	return rho
}

// tie is that of all lines, which mostly have instruments of one kind: better known
// than that of one.
func (s *State) tie() float64 {
	near, apart := 0.0, 0.0
	for i := range s.Lines {
		if n := &s.Lines[i].Hush; n.Weight >= noiseReadings {
			near, apart = near+float64(n.Near), apart+float64(n.Apart)
		}
	}
	if near == 0 {
		return 0
	}
	return tieOf(near, apart)
}

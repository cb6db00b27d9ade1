package leak

// cusum is the two-sided tabular cumulative sum of standardised values
// (Montgomery & Runger, Applied Statistics and Probability for Engineers, 16-10):
//
//	High = max(0, High + x − k)   Low = max(0, Low − x − k)
//
// With k = 1/2 and a threshold of 5 it runs 930 values between false alarms of one
// side, and finds a shift of 1 after 10.4 (R package spc).
type cusum struct{ High, Low float64 }

// Usual figures, in standard deviations.
const (
	cusumSlack = 0.5
	cusumLimit = 5.0
)

// add takes a value in standard deviations from its target.
func (c *cusum) add(x, slack float64) {
	c.High = max(0, c.High+x-slack)
	c.Low = max(0, c.Low-x-slack)
}

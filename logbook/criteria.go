package logbook

import "fmt"

// Kinds that tell how well a treatment worked.
const (
	KindInspected Kind = "grain-inspected" // an act
	KindCriteria  Kind = "criteria"        // a record
)

// Results of inspecting the grain.
const (
	InsectsNone = "none-found"
	InsectsLive = "live-found"
)

// GrainInspected: the grain of a stack was looked at for live insects after its
// treatment.
type GrainInspected struct {
	Header
	OnStack
	Treatment string `json:"treatment,omitempty"` // empty: the stack's current or last one
	Insects   string `json:"insects"`             // none-found or live-found
	Method    string `json:"method"`              // how: sieved samples, incubation …
	Act
}

// Validate implements Entry.
func (g *GrainInspected) Validate() error {
	if g.Insects != InsectsNone && g.Insects != InsectsLive {
		return fmt.Errorf("the field \"insects\" is %q: want %q or %q", g.Insects, InsectsNone, InsectsLive)
	}
	return need("stack", g.Stack, "method", g.Method)
}

// Criteria for the success of a treatment, (a) to (d) in their order.
const (
	CriterionInspected = "inspected-free"    // (a)
	CriterionMaximum   = "average-maximum"   // (b)
	CriterionEnd       = "end-concentration" // (c)
	CriterionEven      = "even-gas"          // (d)
)

// NotDecidable is the state of a criterion that is neither met nor not met.
const NotDecidable = "not-decidable"

// Why a criterion is not decidable, or a special case of not met.
const (
	WhyNoInspection = "no-inspection"  // none is on record
	WhyNotOver      = "not-over"       // the exposure has not gone so far
	WhyDoseNotKnown = "dose-not-known" // or the gas space
	WhyNotRead      = "not-read"       // a line was not read when it mattered
	WhyOverRange    = "over-range"     // a line held more than its instrument shows
	WhyOneLine      = "one-line"       // the stack has a single line
	WhyEarly        = "aired-early"    // before the shortest exposure had passed
)

// Criterion is one criterion for success, held against a treatment.
type Criterion struct {
	Code   string `json:"code"`
	State  string `json:"state"`                  // met, not-met or not-decidable
	Why    string `json:"why,omitempty"`          // a code; set where the state does not say it all
	Value  Number `json:"value"`                  // what was found; ppm, or a ratio
	Limit  Number `json:"limit"`                  // what it must be above
	Hours  Number `json:"hours,omitempty"`        // since which hour of exposure the gas has been even; 0 = it is not
	Within Number `json:"within_hours,omitempty"` // by which it must be
	Text   string `json:"text,omitempty"`         // the sentence; made outside rules
}

// Criteria holds the published criteria for success against a treatment, when airing
// started and again when more became known.
type Criteria struct {
	Header
	Record
	Stack     string      `json:"stack"`
	Treatment string      `json:"treatment"`
	Criteria  []Criterion `json:"criteria"`
}

// Validate implements Entry.
func (c *Criteria) Validate() error { return need("stack", c.Stack, "treatment", c.Treatment) }

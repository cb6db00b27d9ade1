package scenario

import (
	"math"

	"undersheet/rules/decay"
)

// Hours is the length of every record: a five-day exposure.
const Hours = 120.0

// Kind names a trouble.
type Kind string

// Kinds of troubles. The first three are leaks.
const (
	None          Kind = ""
	TearByLine    Kind = "tear-by-line"   // a tear at the place where one line ends
	TearElsewhere Kind = "tear-elsewhere" // a tear where no line is
	Skirt         Kind = "skirt"          // the sheet's edge lifts all round
	LineOff       Kind = "line-off"       // a line draws air of the store
	Blocked       Kind = "blocked"        // the gas in a line stands still
	Stuck         Kind = "stuck"          // an instrument gives the same digits
	Swapped       Kind = "swapped"        // two lines are connected the wrong way round
	Drifting      Kind = "drifting"       // an instrument loses or gains sensitivity
	PumpStop      Kind = "pump-stop"      // no line is drawn from
	PowerCut      Kind = "power-cut"      // nothing is read
	DoseAdded     Kind = "dose-added"     // phosphine is added; the fit is told
)

// Form names another way in which a trouble shows.
type Form string

// Forms of troubles that are no leaks.
const (
	Usual   Form = ""
	SomeGas Form = "some gas"     // of LineOff: the store's air holds a few ppm
	Slowly  Form = "slowly"       // of LineOff: it comes off over an hour or so
	Seeping Form = "seeping"      // of Blocked: what stands in the line thins
	Flicker Form = "flicker"      // of Stuck: between two digits
	ToDigit Form = "to the digit" // of PumpStop: every instrument gives the same digits
	Slow    Form = "slow"         // of PumpStop: cells use up what stands in them over hours
)

// Forms lists the other ways in which a kind of trouble shows.
func (k Kind) Forms() []Form {
	switch k {
	case LineOff:
		return []Form{SomeGas, Slowly}
	case Blocked:
		return []Form{Seeping}
	case Stuck:
		return []Form{Flicker}
	case PumpStop:
		return []Form{ToDigit, Slow}
	}
	return nil
}

// Leaks and Others list the kinds.
func Leaks() []Kind { return []Kind{TearByLine, TearElsewhere, Skirt} }

// Others lists what is no leak.
func Others() []Kind {
	return []Kind{LineOff, Blocked, Stuck, Swapped, Drifting, PumpStop, PowerCut, DoseAdded}
}

// IsLeak reports whether gas is lost faster.
func (k Kind) IsLeak() bool { return k == TearByLine || k == TearElsewhere || k == Skirt }

// Trouble is what happens to a stack.
type Trouble struct {
	Kind   Kind
	Form   Form
	Factor float64 // of the loss rate, for a leak; 0 = 2
	Onset  float64 // hours; 0 = drawn from 30–84
	Line   int     // counted from 1; 0 = drawn. Of a tear beside a line, or a trouble of one line
	Mended float64 // hours at which a leak is mended; 0 = never
	Topped bool    // phosphine is added as it is mended; the fit is told
}

// Reading is what an instrument gave.
type Reading struct {
	Hours float64
	Line  int
	PPM   float64 // capped at the range and rounded, as the instrument does
	Spike bool    // truth about it: it is one
}

// Record is one treatment: what the fit is told and reads, and the truth.
type Record struct {
	Seed      uint64
	Setup     decay.Setup
	Commodity string
	Every     float64 // hours between readings of a line
	Readings  []Reading
	Doses     []decay.Dose // added, as told
	Truth     Truth

	family string
}

// Truth is what no one knows.
type Truth struct {
	Trouble              // as it was: kind, factor, onset; Line from 0, -1 = none or all
	Until        float64 // hours at which it ended
	Other        int     // the other line of a swap; else -1
	Loss         float64 // per day: leakage and permanent sorption, long-run mean before any leak
	Scatter      []float64
	Gain         []float64 // by line: ln of reading over truth at t = 0
	Drift        []float64 // by line: its change, per day
	Gust         float64   // per day: standard deviation of the leakage by gusts
	Release, Lag float64   // per day at the grain's temperature, hours
	Yield        float64   // ppm
	Sorb, Free   float64   // per day
	Permanent    float64   // per day; part of Loss

	minutes [][]float64 // ppm by line and sampling of the simulation
	balance Balance
}

// truthStep is the grain of the truth, in hours.
const truthStep = 5.0 / 60

// PPM returns the true concentration of a line at hours, between 0 and Hours.
func (t *Truth) PPM(line int, hours float64) float64 {
	track := t.minutes[line]
	x := math.Max(0, math.Min(hours/truthStep, float64(len(track)-1)))
	i := min(int(x), len(track)-2)
	return track[i] + (x-float64(i))*(track[i+1]-track[i])
}

// LnC returns ln of PPM, −∞ where there is no gas.
func (t *Truth) LnC(line int, hours float64) float64 { return math.Log(t.PPM(line, hours)) }

// Lowest returns the true concentration of the lowest line, ppm.
func (t *Truth) Lowest(hours float64) float64 { return t.PPM(t.LowestLine(hours), hours) }

// LowestLine is the line with the least gas.
func (t *Truth) LowestLine(hours float64) int {
	low := 0
	for l := range t.minutes {
		if t.PPM(l, hours) < t.PPM(low, hours) {
			low = l
		}
	}
	return low
}

// Misread is ln of what a line's instrument makes of the truth at hours, without
// scatter: its gain and drift.
func (t *Truth) Misread(line int, hours float64) float64 {
	return t.Gain[line] + t.Drift[line]*hours/24
}

// Balance is where the gas is at the end, in ppm of the whole gas space.
type Balance struct {
	Dosed, Unreleased, Gas, Sorbed, Lost, Bound float64
}

// Balance returns where the gas is at the end.
func (t *Truth) Balance() Balance { return t.balance }

// Lines is the number of lines.
func (r *Record) Lines() int { return len(r.Setup.Lines) }

// Families of treatments.
const (
	clean  = "clean"
	hard   = "hard"
	uneven = "uneven"
)

// Clean draws a treatment as the bound assumes it.
func Clean(seed uint64, trouble ...Trouble) *Record { return build(newSource(seed, clean), trouble) }

// Hard draws a treatment as depots have them.
func Hard(seed uint64, trouble ...Trouble) *Record { return build(newSource(seed, hard), trouble) }

// Uneven draws a treatment as depots have them, under a sheet that is tight here and
// loose there.
func Uneven(seed uint64, trouble ...Trouble) *Record { return build(newSource(seed, uneven), trouble) }

// Foreseen is what can be known at hours of the treatment of a record without trouble,
// when all but the coming gusts is: its truth with the gusts and the walk of the
// temperature from then on as they are to be expected.
func (r *Record) Foreseen(hours float64) *Truth {
	s := newSource(r.Seed, r.family)
	p := s.plan()
	p.befall(Trouble{}, s.stream("trouble"))
	p.gas.still = hours
	t := p.truth()
	t.minutes = p.simulate(s.stream("weather")).tracks(p.nodeOf)
	return &t
}

// plan draws a plan of the source's family.
func (s *source) plan() *plan {
	switch s.family {
	case clean:
		return s.clean()
	case uneven:
		return s.hard(unevenSheet)
	}
	return s.hard(hardSheet)
}

// build carries a plan out.
func build(s *source, trouble []Trouble) *Record {
	var t Trouble
	if len(trouble) > 0 {
		t = trouble[0]
	}
	p := s.plan()
	p.befall(t, s.stream("trouble"))
	p.form = s.stream("form")
	p.size = p.form.Float64()
	r := &Record{family: s.family, Seed: s.seed, Setup: p.setup(), Commodity: p.commodity, Every: p.every, Doses: p.told, Truth: p.truth()}
	w := p.simulate(s.stream("weather"))
	r.Truth.minutes, r.Truth.balance = w.tracks(p.nodeOf), w.balance
	r.Readings = p.sample(&r.Truth, s.stream("sensors"), s.stream("gaps"))
	return r
}

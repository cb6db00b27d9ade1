package report

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

// R package DAAG (CRAN), data set sorption: fumigation chambers read at 5, 10, 30,
// 60, 90 and 120 min, and the published CTP ct, g·h/m³. Its ct takes the first
// reading to hold from the start, so the story repeats it at t = 0. Rows 1 to 6, 13, 50,
// 100 and 150; methyl bromide in g/m³, here as figures on a scale of 0.1 ppm.
func TestProductAgainstPublishedRows(t *testing.T) {
	for _, row := range []struct {
		c  [6]float64
		ct float64
	}{
		{[6]float64{7.8, 8.04, 8.89, 8.05, 7.89, 5.08}, 15.5941666666667},
		{[6]float64{10, 10.69, 9.56, 9.9, 10.78, 9.84}, 20.2604166666667},
		{[6]float64{15.72, 16.17, 14.26, 14.13, 13.7, 13.65}, 28.6029166666667},
		{[6]float64{18.4, 18.48, 16.04, 15.93, 15.88, 15.8}, 32.6883333333333},
		{[6]float64{25.33, 24.96, 21.92, 22.58, 22.12, 22.31}, 45.4270833333333},
		{[6]float64{25.13, 22.66, 22.49, 23.7, 21.89, 21.66}, 45.4429166666667},
		{[6]float64{12.24, 11.27, 11.82, 10.82, 11.01, 10.66}, 22.3829166666667},
		{[6]float64{15.69, 15.84, 15.785, 15.73, 15.23, 14.93}, 31.0508333333333},
		{[6]float64{28.02, 29.29, 27.73, 26.29, 28.06, 25.32}, 54.66375},
		{[6]float64{32.9, 32.9, 32.8, 32.5, 32.1, 31.9}, 64.9083333333333},
	} {
		s := &story{}
		s.under(0, "A", "A-1", "five-day")
		s.read(0, "a1", row.c[0])
		for i, minutes := range []float64{5, 10, 30, 60, 90, 120} {
			s.read(minutes/60, "a1", row.c[i])
		}
		s.air(2, "A")
		r := report(t, s, "A-1")
		require.InDelta(t, row.ct, r.Lines[0].CTP.PPMh, 1e-6)
		require.InDelta(t, row.ct, r.Lines[0].View.CTPPPMh, 1e-6, "and so does the fold")
		require.InDelta(t, 0, r.Lines[0].CTP.GapHours, 1e-9)
		_, c := both(t, r)
		require.Contains(t, c, fmt.Sprintf("line,,top,CTP,%.6g,ppm·h,", r.Lines[0].CTP.PPMh))
	}
}

// One compartment, released at 1.5 and lost at 0.15 per day, C0 = 1000 ppm
// (computed from the closed forms with R 4.2.2): t_max 1.705619 d, C_max 774.2637,
// C(1) 708.4198, C(5) 524.2372 ppm, CTP(0..5 d) 76033.557 ppm·h. Read every 10
// minutes, the trapezoid rule errs by less than 1 in 10,000.
func TestOneCompartment(t *testing.T) {
	const c0, ka, ke = 1000, 1.5, 0.15
	s := &story{}
	s.under(0, "A", "A-1", "five-day")
	for i := range 721 {
		d := float64(i) / 144
		c := c0 * ka / (ka - ke) * (math.Exp(-ke*d) - math.Exp(-ka*d))
		s.read(24*d, "a1", c)
		s.read(24*d, "a2", c/2)
	}
	s.air(120, "A")
	r := report(t, s, "A-1")
	l := r.Lines[0]
	require.InEpsilon(t, 76033.557, l.CTP.PPMh, 1e-4)
	// NIOSH: 1 ppm = 1.39 mg/m³ at 25 °C; the grain is at 27 °C.
	require.InEpsilon(t, 76033.557*1.39e-3*298.15/300.15, l.CTP.GhM3, 2e-3)
	require.Len(t, l.Days, 5)
	require.InDelta(t, 708.4198, l.Days[0].Highest, 1e-3)
	require.InDelta(t, 774.2637, l.Days[1].Highest, 0.01)
	require.InDelta(t, 524.2372, l.Days[4].Lowest, 1e-3)
	mean := 0.0
	for i, d := range l.Days {
		require.Equal(t, map[bool]int{true: 145, false: 144}[i == 0], d.Readings)
		mean += d.Mean / 5
	}
	require.InEpsilon(t, 76033.557/120, mean, 5e-3)
	for _, d := range r.Days {
		require.InDelta(t, 0.5, d.Ratio, 1e-3)
	}
	require.NotNil(t, r.Stack.Fit)
	require.InDelta(t, 24*math.Ln2/r.Stack.Fit.LossPerDay, r.Stack.Fit.HalfLifeHours, 1e-9)
	// The fit does not know that the grain takes nothing up and gives nothing back.
	require.Less(t, r.Stack.Fit.LossSE, 0.05)
	require.InDelta(t, ke, r.Stack.Fit.LossPerDay, 2*r.Stack.Fit.LossSE)
}

// The same curve with other rates: the product of readings every 10 minutes against the
// closed form C0·ka/(ka−ke)·((1−e^(−ke·T))/ke − (1−e^(−ka·T))/ka), computed with R 4.2.2.
func TestProductOfOtherRates(t *testing.T) {
	for _, x := range []struct{ c0, ka, ke, days, ctp float64 }{{1000, 1.5, 0.15, 5, 76033.557}, {1000, 1.0, 0.1, 8, 120187.889}, {800, 1.2, 0.45, 5, 35534.869}} {
		s := &story{}
		s.under(0, "A", "A-1", "five-day")
		for i := range int(x.days)*144 + 1 {
			d := float64(i) / 144
			s.read(24*d, "a1", x.c0*x.ka/(x.ka-x.ke)*(math.Exp(-x.ke*d)-math.Exp(-x.ka*d)))
		}
		s.air(24*x.days, "A")
		l := report(t, s, "A-1").Lines[0]
		require.InEpsilon(t, x.ctp, l.CTP.PPMh, 1e-3)
		require.InEpsilon(t, x.ke, l.Loss.PerDay, 1e-3, "and the half-life comes of the same readings")
		require.InEpsilon(t, 24*math.Ln2/x.ke, l.Loss.HalfLife, 1e-3)
	}
}

// 29 CFR 1910.1000(d)(1)(ii): 2 h at 150, 2 h at 75 and 4 h at 50 ppm are an 8-hour
// average of 81.25 ppm. Readings every 5 minutes, each step within one second.
func TestAirAgainstCFR(t *testing.T) {
	s := &story{}
	s.under(0, "A", "A-1", "five-day")
	for _, part := range []struct{ from, to, ppm float64 }{{1, 3, 150}, {3, 5, 75}, {5, 9, 50}} {
		start := part.from
		if part.from > 1 {
			start += 1.0 / 3600
		}
		s.read(start, "in", part.ppm)
		for h := part.from + 1.0/12; h < part.to+1e-6; h += 1.0 / 12 {
			s.read(h, "in", part.ppm)
		}
	}
	r := report(t, s, "A-1")
	p := r.Air[1]
	require.InDelta(t, 81.25, p.HighestTWA8h, 0.01)
	require.InDelta(t, 8, p.TWACovered, 1e-6)
	require.WithinDuration(t, hour(9).Std(), p.TWAAt.Std(), time.Second)
	require.InDelta(t, 150, p.Highest15min, 1e-9)
	require.Equal(t, 150.0, p.Highest)
	require.Zero(t, r.Air[0].Readings)
	page, c := both(t, r)
	require.Contains(t, page, `<td colspan="5">not read</td>`)
	require.Contains(t, c, "air,,door,not read,,,door\r\n")
}

// Late readings, second values, faults and those out of order: what counts for
// the record counts in hours, days and product, and nothing else does.
func TestOddReadings(t *testing.T) {
	s := &story{}
	s.under(0, "A", "A-1", "five-day")
	for h := 0.0; h <= 10; h += 0.5 {
		if h < 3 || h > 6 {
			s.read(h, "a1", 100)
		}
	}
	gappy := report(t, s, "A-1").Lines[0]
	require.Equal(t, []Gap{{hour(2.5), hour(6.5)}}, gappy.CTP.Gaps)
	require.InDelta(t, 600, gappy.CTP.PPMh, 1e-9)
	require.InDelta(t, 4, gappy.CTP.GapHours, 1e-9)

	s.read(10, "a1", 900)   // second value for the same moment: the first holds
	s.read(4, "a1", 300)    // late by 6 h: counts
	s.read(9.75, "a1", 60)  // out of order: counts
	s.read(10.2, "a1", -50) // below zero: a fault
	s.read(40, "a1", 700)   // from tomorrow
	s.read(10.3, "a1", 0.4) // below detection: 0
	s.add(10.4, logbook.KindReading, &logbook.Reading{Channel: "a1", Value: 800, Unit: "ppm", Fault: "pump"})
	s.add(10.5, logbook.KindReading, &logbook.Reading{Channel: "a1", Value: 20, Unit: "C"})
	s.add(10.6, logbook.KindReading, &logbook.Reading{Channel: "a1", Value: 650, Unit: "ppm", Retained: true, Stamped: true})
	s.add(11, logbook.KindClock, &logbook.Clock{})
	r := report(t, s, "A-1")
	l := r.Lines[0]
	require.Equal(t, []Gap{{hour(4), hour(6.5)}}, l.CTP.Gaps, "three usual intervals are bridged")
	require.Equal(t, 17, l.Days[0].Readings, "14 in order, one late, one out of order, one below detection")
	require.Equal(t, 300.0, l.Days[0].Highest)
	require.Equal(t, 0.0, l.Days[0].Lowest)
	// 2.5 h at 100, 1.5 h at 200; 3 h at 100, twice a quarter of an hour at 80, 0.3 h from 100 to 0.
	require.InDelta(t, 250+300+300+20+20+15, l.CTP.PPMh, 1e-9)
	codes := map[string]bool{}
	for _, f := range r.Findings {
		codes[f.Code] = true
	}
	for _, c := range []string{"second-value", "late", "below-zero", "future", "fault", "unit-mismatch"} {
		require.True(t, codes[c], c)
	}
}

// More gaps than the fold remembers are all listed, and all their hours counted.
func TestManyGaps(t *testing.T) {
	s := &story{}
	s.under(0, "A", "A-1", "five-day")
	for h := 0.0; h <= 120; h += 4 {
		for k := range 3 {
			s.read(h+float64(k)/20, "a1", 200+h)
			if k > 0 {
				s.read(h+2+float64(k)/20, "a1", 200+h)
			}
		}
	}
	s.air(122.2, "A")
	s.ordered()
	l := report(t, s, "A-1").Lines[0]
	require.Greater(t, len(l.CTP.Gaps), 48)
	sum := 0.0
	for _, g := range l.CTP.Gaps {
		sum += g.To.Hours(g.From)
	}
	require.InDelta(t, sum+0.1, l.CTP.GapHours, 0.11)
}

// Readings after the airing started are not in days and product, though they came
// before the act was written down; one at the very moment is.
func TestAiringWrittenDownLater(t *testing.T) {
	s := &story{}
	s.under(0, "A", "A-1", "five-day")
	s.add(119, logbook.KindClock, &logbook.Clock{})
	s.read(119.5, "a1", 200)
	s.read(120, "a1", 190)
	s.read(120.5, "a1", 20)
	s.air(120, "A")
	l := report(t, s, "A-1").Lines[0]
	require.Equal(t, []Day{{Number: 5, Lowest: 190, Mean: 195, Highest: 200, Readings: 2}}, l.Days)
	require.InDelta(t, 97.5, l.CTP.PPMh, 1e-9)
	require.Len(t, l.Hours, 2, "the hours go on")
}

func TestOverRangeIsAtLeast(t *testing.T) {
	s := &story{}
	s.under(0, "A", "A-1", "five-day")
	s.read(1, "a1", 2000)
	s.read(1, "in", 200)
	r := report(t, s, "A-1")
	require.True(t, r.Lines[0].Days[0].Over)
	require.True(t, r.Air[1].Over)
	p, _ := both(t, r)
	require.Contains(t, p, "at least 2000")
	require.Contains(t, p, "at least 200<")
}

func TestKeysAreLettersAndDiffer(t *testing.T) {
	require.Equal(t, []string{"A", "Z", "A2", "Z2", "A3"}, []string{key(0), key(25), key(26), key(51), key(52)})
}

func TestPlainShowsNoSmallFigureAsZero(t *testing.T) {
	for v, want := range map[float64]string{0: "0", 0.02: "0.02", 0.0782: "0.078", 0.0012: "0.0012", 0.0004: smallest, 0.3: "0.30", 12.34: "12.3", 1234.5: "1234", 1e9: "1000000000", -0.05: "-0.05"} {
		require.Equal(t, want, plain(v))
	}
}

// The report and the pages, which show the fold, tell the same of a line that came off and of
// one that fell silent: the product, the hours at or above the end level, the hours that nobody
// read, and what is listed adds up to them (the project's own rule: one truth).
func TestReportAndFoldTellTheSame(t *testing.T) {
	s := &story{}
	s.under(0, "A", "A-1", "five-day")
	for i := 0; i <= 121*6; i++ {
		h := float64(i) / 6
		c := 900 * math.Exp(-0.15*h/24) * (1 - math.Exp(-1.2*h/24)) * (1 + 0.004*math.Sin(float64(i*i)))
		if h < 97.3 {
			s.read(h, "a1", math.Round(c))
		}
		switch {
		case h < 54.1 || h > 80:
			s.read(h, "a2", math.Round(0.9*c))
		default:
			s.read(h, "a2", 1+float64(i%2))
		}
	}
	for _, until := range []float64{60, 81, 97.5, 98.5, 121.5} {
		part := &story{es: slices.DeleteFunc(slices.Clone(s.ordered()), func(e logbook.Entry) bool { return e.Head().Time > hour(until) })}
		if until > 121 {
			part.air(121, "A")
		}
		part.add(until, logbook.KindClock, &logbook.Clock{})
		part.ordered()
		r := report(t, part, "A-1")
		for i, l := range r.Lines {
			require.InDelta(t, l.View.CTPPPMh, l.CTP.PPMh, 1e-6*l.CTP.PPMh, "%s at %g h", l.Name, until)
			require.InDelta(t, r.Stack.Efficacy.Lines[i].Above, l.AboveHours, 1e-6, "%s at %g h", l.Name, until)
			require.InDelta(t, l.View.GapHours, l.CTP.GapHours, 1, "%s at %g h: a reading may still come", l.Name, until)
			sum := 0.0
			for _, g := range l.CTP.Gaps {
				sum += g.To.Hours(g.From)
			}
			require.InDelta(t, sum, l.CTP.GapHours, 1, "%s at %g h", l.Name, until)
		}
		if until > 121 {
			require.InDelta(t, 121-97-1.0/6, r.Lines[0].CTP.GapHours, 0.01)
			require.InDelta(t, r.Lines[0].CTP.GapHours, r.Lines[0].View.GapHours, 1e-6, "it fell silent, and the pages say so")
			require.Greater(t, r.Lines[1].CTP.GapHours, 25.0, "it was off")
			require.InDelta(t, r.Lines[1].CTP.GapHours, r.Lines[1].View.GapHours, 1e-6)
		}
	}
}

package rules

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules/proof"
)

// Proving a line: zero, flow and end-of-line test, as is common practice. Channel
// a1: accuracy 5 %, resolution 1 ppm, zero error (its detection limit) 1 ppm.

func number(v float64) *float64 { return &v }

// proof is a good proof of line top of stack A with 400 ppm of span gas.
func proofOf() *logbook.LineProved {
	return &logbook.LineProved{Stack: "A", Line: "top", Zero: number(0), Flow: number(1), EndTest: logbook.EndTestSpan, Span: 400, Read: 400,
		Unit: logbook.PPM, Seen: true, Channel: "a1"}
}

func TestProofOfALine(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*logbook.LineProved)
		lacks  []string
	}{
		"good":                {func(*logbook.LineProved) {}, nil},
		"span at the edge":    {func(p *logbook.LineProved) { p.Read = 400 - 20 - 2 }, nil},
		"span too low":        {func(p *logbook.LineProved) { p.Read = 400 - 20 - 2.1 }, []string{"span"}},
		"span too high":       {func(p *logbook.LineProved) { p.Read = 400 + 20 + 2.1 }, []string{"span"}},
		"zero at the edge":    {func(p *logbook.LineProved) { p.Zero = number(-1) }, nil},
		"zero off":            {func(p *logbook.LineProved) { p.Zero = number(1.1) }, []string{"zero"}},
		"zero below":          {func(p *logbook.LineProved) { p.Zero = number(-1.1) }, []string{"zero"}},
		"no zero":             {func(p *logbook.LineProved) { p.Zero = nil }, []string{"zero-missing"}},
		"flow at the least":   {func(p *logbook.LineProved) { p.Flow = number(0.5) }, nil},
		"little flow":         {func(p *logbook.LineProved) { p.Flow = number(0.4) }, []string{"flow"}},
		"flow not tested":     {func(p *logbook.LineProved) { p.Flow = nil }, nil},
		"not seen":            {func(p *logbook.LineProved) { p.Seen = false }, []string{"not-seen"}},
		"swapped":             {func(p *logbook.LineProved) { p.Channel = "a2" }, []string{"other-channel"}},
		"breath":              {func(p *logbook.LineProved) { p.EndTest, p.Span, p.Read = logbook.EndTestBreath, 0, 0 }, nil},
		"in g/m3, 25 °C":      {func(p *logbook.LineProved) { p.Unit, p.Span, p.Read = logbook.GM3, 0.5559, 0.5559 }, nil}, // 400 ppm
		"no unit of gas":      {func(p *logbook.LineProved) { p.Unit = logbook.RH }, []string{"unit", "unit"}},
		"spelt differently":   {func(p *logbook.LineProved) { p.Line = " Top" }, nil},
		"everything is wrong": {func(p *logbook.LineProved) { p.Seen, p.Zero, p.Flow, p.Read = false, number(9), number(0), 1 }, []string{"not-seen", "zero", "flow", "span"}},
	} {
		d := aday(t, wired)
		p := proofOf()
		c.change(p)
		d.act(p, logbook.KindLineProved, 0)
		rs := d.fresh()
		var lacks []string
		for _, f := range of[*logbook.Finding](rs) {
			if f.Code == "line-proof-failed" {
				assert.Equal(t, "top", f.Line, name)
				lacks = append(lacks, f.About)
			}
		}
		assert.Equal(t, c.lacks, lacks, name)
		got := d.state.View().Stores[0].Stacks[0].Lines[0].Proved
		require.NotNil(t, got, name)
		assert.Equal(t, &proof.Proof{At: d.now, By: someone.By, Channel: "a1", OK: c.lacks == nil, Why: c.lacks}, got, name)
		assert.Nil(t, d.state.View().Stores[0].Stacks[0].Lines[1].Proved, name)
	}
}

func TestProofOfAnAirPoint(t *testing.T) {
	d := aday(t, wired)
	p := &logbook.LineProved{Store: "Long Barn", Point: "beside A", Zero: number(0.01), EndTest: logbook.EndTestBreath, Unit: logbook.PPM, Seen: true}
	d.act(p, logbook.KindLineProved, 0)
	v := d.state.View().Stores[0].Air
	assert.Nil(t, v[0].Proved)
	require.NotNil(t, v[1].Proved)
	assert.True(t, v[1].Proved.OK)
	p.Point = "nowhere"
	d.now = d.now.Add(time.Second)
	d.act(p, logbook.KindLineProved, 0)
	assert.Contains(t, findings(d.fresh()), "unknown-point")
	q := proofOf()
	q.Line = "middle"
	d.act(q, logbook.KindLineProved, 0)
	rs := d.fresh()
	assert.Equal(t, []string{"unknown-line"}, findings(rs))
	assert.Len(t, of[*logbook.Accepted](rs), 1, "a fact")
}

// Each line without a good proof since its last treatment is said when dosing
// begins; a site without instruments has no lines to prove.
func TestLinesNotProved(t *testing.T) {
	d := aday(t, wired)
	d.dose("five-day")
	assert.NotContains(t, findings(d.fresh()), "line-not-proved", "a replay without instruments")

	rack := func(s *logbook.Site) { s.Instruments = []logbook.Instrument{{Name: "rack"}} }
	missing := func(d *day) (lines []string) {
		for _, f := range of[*logbook.Finding](d.fresh()) {
			if f.Code == "line-not-proved" {
				lines = append(lines, f.Line)
			}
		}
		return lines
	}
	d = aday(t, wired, rack)
	d.act(proofOf(), logbook.KindLineProved, 0)
	bad := proofOf()
	bad.Line, bad.Channel, bad.Seen = "low", "a2", false
	d.act(bad, logbook.KindLineProved, 0)
	d.fresh()
	d.dose("five-day")
	assert.Equal(t, []string{"low"}, missing(d), "once, when dosing begins")
	d.air()
	d.run(1)
	d.act(&logbook.TreatmentStarted{OnStack: onA(), Treatment: "A-2", Protocol: "five-day", Commodity: "maize", Tonnes: 100, VolumeM3: 150, PhosphineG: 200, GrainTempC: 27},
		logbook.KindTreatmentStarted, 0)
	assert.Equal(t, []string{"top", "low"}, missing(d), "airing lifted the sheet")
	d.air()
	d.run(1)
	d.act(proofOf(), logbook.KindLineProved, 0)
	d.dose("five-day")
	assert.Equal(t, []string{"low"}, missing(d))
}

// An older proof that is entered late does not replace a newer one.
func TestNewestProofCounts(t *testing.T) {
	d := aday(t, wired)
	d.now = d.now.Add(time.Hour)
	d.act(proofOf(), logbook.KindLineProved, 0)
	bad := proofOf()
	bad.Seen = false
	d.act(bad, logbook.KindLineProved, 10*time.Minute)
	assert.True(t, d.state.View().Stores[0].Stacks[0].Lines[0].Proved.OK)
}

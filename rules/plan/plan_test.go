package plan_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/configs"
	"undersheet/logbook"
	"undersheet/rules/daylight"
	"undersheet/rules/plan"
)

// ask is a plan that nothing stands against.
func ask(t *testing.T) plan.Ask {
	t.Helper()
	in, ok := configs.Guide("IN")
	require.True(t, ok)
	return plan.Ask{Store: "Store 9", Guide: &in, Form: "tablets", Dwellings: 300, DwellMinM: 100,
		Stacks: []plan.Stack{{Name: "Q", Commodity: "wheat", Tonnes: 120, LengthM: 8, WidthM: 6, HeightM: 4, TempC: 29, MoisturePct: 12, Lines: 3}}}
}

func figure(t *testing.T, fs []plan.Figure, code string) plan.Figure {
	t.Helper()
	for _, f := range fs {
		if f.Code == code {
			assert.NotEmpty(t, f.Source, code)
			return f
		}
	}
	require.Fail(t, "no figure "+code)
	return plan.Figure{}
}

func codes(says []plan.Say) map[string]bool {
	m := map[string]bool{}
	for _, s := range says {
		m[s.Code] = true
	}
	return m
}

// The extension sheet "Storage Capacity" (table 2) works it out: 124 m³ hold 93 t of
// wheat, which is the room of 76.88 t of barley.
func TestBulkDensities(t *testing.T) {
	const room = 124.0 // m³
	wheat, ok := plan.DensityOf("wheat")
	require.True(t, ok)
	assert.InDelta(t, 93, room*wheat.TM3, 1e-9)
	barley, ok := plan.DensityOf("malting barley")
	require.True(t, ok)
	assert.InDelta(t, 76.88, room*barley.TM3, 1e-9)
	for _, other := range []string{"gravel", "pearl millet", "buckwheat"} { // none holds the name of another crop
		_, ok = plan.DensityOf(other)
		assert.False(t, ok, other)
	}
	for name, as := range map[string]string{"rough rice": "paddy", "Peanuts, in shell": "groundnut", "yellow peas": "pea"} {
		got, ok := plan.DensityOf(name)
		want, _ := plan.DensityOf(as)
		assert.True(t, ok && got == want, "%s is %s", name, as)
	}
}

// Stoichiometry: AlP + 3 H₂O → Al(OH)₃ + PH₃, 57.955 g/mol give 33.998 g: 0.5866
// g/g; the usual products hold 56 % AlP, so a 3 g tablet gives 0.9855 g and a 34 g
// sachet 11.17 g. The pieces are sold as 1 g, 0.2 g and 11 g.
func TestPiecesAgreeWithStoichiometry(t *testing.T) {
	assert.InDelta(t, 0.5866, plan.PhosphineOfAlP, 5e-5)
	for name, grams := range map[string]float64{"tablets": 0.9855, "pellets": 0.197, "sachets": 11.17} {
		f, ok := plan.FormOf(name)
		require.True(t, ok, name)
		assert.InDelta(t, grams, f.PieceG*0.56*plan.PhosphineOfAlP, 0.01*grams, name)
		assert.InDelta(t, f.GasG, f.PieceG*0.56*plan.PhosphineOfAlP, 0.02*f.GasG, "what is sold as the yield of %s", name)
	}
	// 67.98 of 134.86 g/mol by the same equation for Mg₃P₂, with two of gas.
	assert.InDelta(t, 0.5042, plan.PhosphineOfMg3P2, 5e-4)
	plates, _ := plan.FormOf("plate")
	assert.Less(t, plates.GasG, plates.PieceG*plan.PhosphineOfMg3P2, "no plate gives more than pure phosphide")
}

// The Indian table of approved use: 3 tablets of 3 g a tonne, 5 days; 7 days against
// the rice weevil, 14 against khapra; waiting period 48 h.
func TestIndianTable(t *testing.T) {
	for pest, hours := range map[string]float64{"": 120, "Sitophilus oryzae": 168, "khapra beetle": 336} {
		a := ask(t)
		a.Pest = pest
		p, err := plan.Make(a)
		require.NoError(t, err)
		assert.Equal(t, hours, figure(t, p.Figures, "exposure").Value, pest)
		assert.Equal(t, 48.0, figure(t, p.Figures, "withholding").Value)
		assert.Equal(t, pest == "", codes(p.Says)["pest-owed"], "some insects need longer")
		s := p.Stacks[0]
		assert.Equal(t, 360.0, s.GramsPH3)
		assert.Equal(t, 360, s.Pieces, "3 tablets a tonne, 120 t")
		assert.False(t, p.Stops(), "%v %v", p.Says, s.Says)
	}
}

// GRDC: 7 days above 25 °C, 10 days at 15–25 °C, not effective below 15 °C; 200 ppm
// for 10 days or 300 ppm for 7 (J. Stored Prod. Res. 2024, 102414); 1.5 g/m³.
func TestAustralianGuide(t *testing.T) {
	au, ok := configs.Guide("AU")
	require.True(t, ok)
	for _, c := range []struct{ temp, hours, ppm float64 }{{30, 168, 300}, {25, 240, 200}, {15, 240, 200}} {
		a := ask(t)
		a.Guide, a.Stacks[0].TempC = &au, c.temp
		p, err := plan.Make(a)
		require.NoError(t, err)
		assert.Equal(t, c.hours, p.Hours, "%v °C", c.temp)
		assert.Equal(t, c.ppm, p.EndLevelPPM, "%v °C", c.temp)
		assert.InDelta(t, 1.5*8*6*4, p.Stacks[0].GramsPH3, 1e-9)
	}
	a := ask(t)
	a.Guide, a.Stacks[0].TempC = &au, 14
	p, err := plan.Make(a)
	require.NoError(t, err)
	assert.True(t, p.Stops())
	assert.True(t, codes(p.Says)["too-cold"] && codes(p.Says)["guide-refuses"])
}

// The floor is never loosened: psocids ask for eight days, and a guide with a shorter
// exposure or a lower level changes nothing (common practice).
func TestTheStricterHolds(t *testing.T) {
	a := ask(t)
	a.Pest = "psocids"
	p, err := plan.Make(a)
	require.NoError(t, err)
	assert.Equal(t, "eight-day", p.Protocol)
	assert.Equal(t, 192.0, p.Hours)
	assert.Equal(t, 38.0, p.EndLevelPPM)

	a = ask(t)
	loose := plan.Guide{Title: "loose", Source: "made up for this test", Exposures: []plan.Exposure{{Hours: 24, EndPPM: 10, Words: "a day"}}}
	a.Guide = &loose
	p, err = plan.Make(a)
	require.NoError(t, err)
	assert.Equal(t, 120.0, p.Hours)
	assert.Equal(t, 150.0, p.EndLevelPPM)

	a = ask(t)
	a.Guide, a.Stacks[0].TempC = nil, 20
	p, err = plan.Make(a)
	require.NoError(t, err)
	assert.Equal(t, 240.0, p.Hours, "GRDC Groundcover: 10 days at 15–25 °C")
}

func TestNothingIsInvented(t *testing.T) {
	a := ask(t)
	a.Guide = nil
	p, err := plan.Make(a)
	require.NoError(t, err)
	assert.True(t, p.Stops(), "without a guide or a dose of the site's own there is none")
	assert.True(t, codes(p.Stacks[0].Says)["dose-owed"])
	assert.Zero(t, p.Stacks[0].GramsPH3)

	a = ask(t)
	a.Stacks[0].TempC = math.NaN()
	p, err = plan.Make(a)
	require.NoError(t, err)
	assert.True(t, p.Stops(), "without a temperature nothing says that phosphine works")

	a = ask(t)
	a.Stacks[0].Commodity = "linseed"
	p, err = plan.Make(a)
	require.NoError(t, err)
	assert.True(t, codes(p.Stacks[0].Says)["unsuited"])
	a.Site = &logbook.Site{Unsuited: []string{"cowpea"}, Authority: "the ministry"}
	p, err = plan.Make(a)
	require.NoError(t, err)
	assert.False(t, codes(p.Stacks[0].Says)["unsuited"], "a site with an authority for another list")

	a = ask(t)
	a.Stacks[0].Commodity = "paddy"
	p, err = plan.Make(a)
	require.NoError(t, err)
	assert.True(t, codes(p.Stacks[0].Says)["sorbs-more"])
	a.Dose = plan.Dose{PerTonne: 5}
	_, err = plan.Make(a)
	require.ErrorContains(t, err, "source")
}

func TestEveryFigureHasASource(t *testing.T) {
	for _, g := range configs.Guides() {
		a := ask(t)
		a.Guide, a.LeftOut, a.Outdoors, a.ZoneM = &g, []string{"R"}, true, 20
		p, err := plan.Make(a)
		require.NoError(t, err)
		assert.True(t, codes(p.Says)["stack-left-out"])
		for _, f := range append(p.Figures, p.Stacks[0].Figures...) {
			assert.NotEmpty(t, f.Source, f.Code)
		}
	}
}

// A tighter sheet keeps more gas, and more gas meets the end level more surely.
func TestCourses(t *testing.T) {
	p, err := plan.Make(ask(t))
	require.NoError(t, err)
	cs := p.Stacks[0].Courses
	require.Len(t, cs, 3)
	for i, c := range cs {
		assert.Less(t, c.P05, c.P50)
		assert.Less(t, c.P50, c.P95)
		assert.Zero(t, c.PPM[0], "nothing is released yet")
		if i > 0 {
			assert.Less(t, c.P50, cs[i-1].P50)
			assert.LessOrEqual(t, c.Chance, cs[i-1].Chance)
		}
	}
}

// The cover of 8 × 6 × 4 m with a metre on the floor all round: 8+2·4+2 by 6+2·4+2.
// Snakes of 1 m with 0.2 m over the next, along 2·(8+6) m and eight folds of 0.15 m,
// in two rows: 2·⌈29.2/0.8⌉ (arithmetic).
func TestSheetAndSnakes(t *testing.T) {
	a := ask(t)
	a.SheetM = [2]float64{18, 9}
	p, err := plan.Make(a)
	require.NoError(t, err)
	fs := p.Stacks[0].Figures
	assert.Equal(t, 18.0, figure(t, fs, "cover-length").Value)
	assert.Equal(t, 16.0, figure(t, fs, "cover-width").Value)
	assert.Equal(t, 2.0, figure(t, fs, "sheets").Value, "two of 18 × 9 with a join of 1 m are 17 m wide")
	assert.Equal(t, 74.0, figure(t, fs, "snakes").Value)
	assert.Equal(t, 4.0, figure(t, fs, "trays").Value, "360 tablets at 100 a tray")
}

// A stack of 8 × 6 m, 4 m high, with a metre on the floor all round is 18 × 16 m to cover. With
// joins of 1 m, two by two of 12 × 9 m are 23 × 17 m, and three of 20 × 6 m side by side 20 × 16 m,
// whichever of their sides is named first. By hand.
func TestSheetsLieEitherWay(t *testing.T) {
	a := ask(t)
	for size, want := range map[[2]float64]float64{{12, 9}: 4, {9, 12}: 4, {6, 20}: 3, {20, 6}: 3, {30, 30}: 1} {
		a.SheetM = size
		p, err := plan.Make(a)
		require.NoError(t, err)
		assert.Equal(t, want, figure(t, p.Stacks[0].Figures, "sheets").Value, size)
	}
}

// What is not told of a stack is worked out with the bulk density of the extension sheet
// (wheat 0.75 t/m³), less a tenth for bags, from memory.
func TestVolumeOfWeight(t *testing.T) {
	a := ask(t)
	a.Stacks[0].LengthM, a.Stacks[0].WidthM, a.Stacks[0].HeightM = 0, 0, 0
	p, err := plan.Make(a)
	require.NoError(t, err)
	assert.InDelta(t, 120/(0.75*0.9), figure(t, p.Stacks[0].Figures, "volume").Value, 1e-9)
	a = ask(t)
	a.Stacks[0].Tonnes = 0
	p, err = plan.Make(a)
	require.NoError(t, err)
	assert.InDelta(t, 8*6*4*0.75*0.9, figure(t, p.Stacks[0].Figures, "weight").Value, 1e-9)
}

// Outdoors a zone stands for the store: without its size nobody begins.
func TestZoneOutdoors(t *testing.T) {
	a := ask(t)
	a.Outdoors = true
	p, err := plan.Make(a)
	require.NoError(t, err)
	assert.Contains(t, p.Says, plan.Say{Code: "zone-owed", Stops: true})
	a.ZoneM = 20
	p, err = plan.Make(a)
	require.NoError(t, err)
	assert.False(t, codes(p.Says)["zone-owed"])
	assert.Equal(t, 20.0, figure(t, p.Figures, "exclusion-zone").Value)
}

func TestAiringIsByDaylight(t *testing.T) {
	zone, err := time.LoadLocation("Africa/Lagos")
	require.NoError(t, err)
	for _, c := range []struct {
		shut, from string
		waits      bool
	}{{"2026-03-01T09:00:00+01:00", "2026-03-06T09:00:00+01:00", false}, {"2026-03-01T17:00:00+01:00", "2026-03-06T17:00:00+01:00", false},
		{"2026-03-01T17:01:00+01:00", "2026-03-07T06:00:00+01:00", true}, {"2026-03-01T23:00:00+01:00", "2026-03-07T06:00:00+01:00", true}} {
		a := ask(t)
		a.Zone = zone
		a.Start, err = logbook.ParseTime(c.shut)
		require.NoError(t, err)
		a.Guide = nil
		a.Dose = plan.Dose{PerTonne: 3, Source: "the label"}
		p, err := plan.Make(a)
		require.NoError(t, err)
		want, err := logbook.ParseTime(c.from)
		require.NoError(t, err)
		assert.Equal(t, want, p.Times.AirFrom, c.shut)
		assert.Equal(t, c.waits, p.Times.Waits, c.shut)
		assert.Equal(t, 3*time.Hour, p.Times.Dark.Sub(p.Times.AirLatest), "two hours of airing and one to spare")
	}
}

// TestAiringIsNeverInTheNight: whatever a site calls its night, the first opening is
// not in it.
func TestAiringIsNeverInTheNight(t *testing.T) {
	for _, n := range []logbook.Night{{From: "18:00", To: "07:30"}, {From: "02:00", To: "10:00"}, {From: "evening", To: "07:00"}} {
		for hour := range 24 {
			a := ask(t)
			a.Guide, a.Dose = nil, plan.Dose{PerTonne: 3, Source: "the label"}
			a.Site = &logbook.Site{Settings: logbook.Settings{Night: &n}}
			a.Start = logbook.At(time.Date(2026, 3, 1, hour, 0, 0, 0, time.UTC))
			p, err := plan.Make(a)
			require.NoError(t, err)
			dark := daylight.NightOf(&n, time.UTC)
			for _, at := range []logbook.Time{p.Times.AirFrom, p.Times.AirLatest} {
				require.False(t, dark.Quiet(at.Std()), "%v, shut at %d:00: %v", n, hour, at)
				require.GreaterOrEqual(t, at.Std().Hour(), 6, "%v, shut at %d:00: %v", n, hour, at)
			}
		}
	}
}

func TestBadAsks(t *testing.T) {
	for name, change := range map[string]func(*plan.Ask){
		"no stack":    func(a *plan.Ask) { a.Stacks = nil },
		"named twice": func(a *plan.Ask) { a.Stacks = append(a.Stacks, a.Stacks[0]) },
		"together":    func(a *plan.Ask) { a.Stacks[0].HeightM = 0 },
		"temperature": func(a *plan.Ask) { a.Stacks[0].TempC = 90 },
		"moisture":    func(a *plan.Ask) { a.Stacks[0].MoisturePct = math.NaN() },
		"dose":        func(a *plan.Ask) { a.Dose = plan.Dose{PerTonne: 5000, Source: "x"} },
		"form":        func(a *plan.Ask) { a.Form = "powder" },
	} {
		a := ask(t)
		change(&a)
		_, err := plan.Make(a)
		require.ErrorContains(t, err, name)
	}
}

// The rice weevil (Sitophilus oryzae) asks for seven days by the Indian table; the
// saw-toothed grain beetle (Oryzaephilus), whose name begins alike, is in no row of it.
func TestPestsAreToldApart(t *testing.T) {
	for pest, hours := range map[string]float64{"S. oryzae": 168, "Sitophilus oryzae": 168, "rice weevil": 168, "Oryzaephilus surinamensis": 120, "khapra beetle": 336} {
		a := ask(t)
		a.Pest = pest
		p, err := plan.Make(a)
		require.NoError(t, err)
		assert.Equal(t, hours, p.Hours, pest)
	}
}

package report

import (
	"crypto/sha256"
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules/treatment"
)

// eventful is a treatment in which much was recorded: particulars, checks, a dose laid,
// a masked entry, residue, a photo.
func eventful() *story {
	s := &story{}
	site := *depot()
	site.Limits = "XX"
	site.LimitSets = []logbook.LimitSet{{Source: "old decree", Levels: []logbook.Level{{Name: "twa-8h", PPM: 0.3}}},
		{From: hour(24), Source: "new decree", Levels: []logbook.Level{{Name: "twa-8h", PPM: 0.1}, {Name: "short-term-15min", PPM: 0.2}, {Name: "peak", PPM: 0.5}}}}
	site.People = []logbook.Person{{Name: "R. Amadi", Licence: "K-17", LicenceUntil: "2026-02-01", Phone: "+254700000010"}}
	s.add(-40, logbook.KindSiteConfigured, &logbook.SiteConfigured{Site: site})
	check := func(h float64, channel, what string, applied, read float64, passed bool, due float64) {
		s.add(h, logbook.KindInstrumentChecked, &logbook.InstrumentChecked{Channel: channel, Check: what, Applied: applied, Read: read, Unit: "ppm", Passed: passed, Due: logbook.Expiry(hour(due).String()), Act: by("I. Fall")})
	}
	check(-30, "a1", logbook.CheckZero, 0, 0, true, 200)
	check(-29, "a1", logbook.CheckBump, 100, 98, true, 60)
	check(-28, "a2", logbook.CheckBump, 100, 50, true, 200) // signed as passed, and far off
	s.add(-2, logbook.KindChecksSigned, &logbook.ChecksSigned{OnStore: logbook.OnStore{Store: "Long Barn"}, InOrder: []string{"sheet-sound"}, Second: "O. Marsh", Act: by("R. Amadi")})
	s.add(-0.66, logbook.KindDosingStarted, &logbook.DosingStarted{OnStack: logbook.OnStack{Stack: "A"}, StoreEmpty: true, Act: by("R. Amadi")})
	s.add(-0.5, logbook.KindDosePlaced, &logbook.DosePlaced{OnStack: logbook.OnStack{Stack: "A"}, Product: logbook.Product{Form: "tablets", Count: 180}, Batch: "L-5", Places: 12, Placement: "trays",
		People: []string{"R. Amadi", "O. Marsh"}, Protection: "full-face masks", Act: by("R. Amadi")})
	s.add(0, logbook.KindTreatmentStarted, &logbook.TreatmentStarted{OnStack: logbook.OnStack{Stack: "A"}, Treatment: "A-1", Protocol: "five-day", Commodity: "milled rice", Tonnes: 180, VolumeM3: 260,
		PhosphineG: 180, GrainTempC: 27, Particulars: logbook.Particulars{Bags: 3600, Lot: "MR-26", Fumigator: "R. Amadi", DoseSource: "label", LengthM: 9, WidthM: 6, HeightM: 5}, Act: by("R. Amadi")})
	gas := func(h float64) float64 { return 900 * (math.Exp(-0.2*h/24) - math.Exp(-1.8*h/24)) }
	for h := 0.1; h < 122; h += 0.2 {
		c := gas(h)
		if h > 72 {
			c *= math.Exp(-0.9 * (h - 72) / 24)
		}
		if h > 121 {
			c *= math.Exp(-3 * (h - 121))
		}
		s.read(h, "a1", c)
		s.read(h, "a2", 0.9*c)
	}
	s.airs(-0.6, 190, func(h float64) float64 {
		if h > 100 && h < 101 {
			return 0.7
		}
		return 0.15
	})
	s.add(100.2, logbook.KindMaskedEntry, &logbook.MaskedEntry{OnStore: logbook.OnStore{Store: "Long Barn"}, In: "O. Marsh", AtDoor: "I. Fall", Protection: "self-contained", Act: by("R. Amadi")})
	s.add(100.5, logbook.KindMaskedExit, &logbook.MaskedExit{OnStore: logbook.OnStore{Store: "Long Barn"}, Out: "O. Marsh", Act: by("R. Amadi")})
	png := []byte("\x89PNG\r\n\x1a\nnot much of a picture")
	s.add(101, logbook.KindPhoto, &logbook.PhotoAttached{Stack: "A", Name: "patch.png", Media: "image/png", SHA256: fmt.Sprintf("%x", sha256.Sum256(png)), Data: png, Act: by("R. Amadi")})
	s.air(121, "A")
	s.add(123, logbook.KindResidueTaken, &logbook.ResidueTaken{OnStack: logbook.OnStack{Stack: "A"}, Product: logbook.Product{Form: "tablets", Count: 180}, Residue: logbook.ResidueSpent, ShownBy: "no gas over water", Act: by("R. Amadi")})
	s.ordered()
	return s
}

// Checks are told with their worth when the gas was put in and at the end: the bump test
// of the first line was overdue by then, the second line's had not passed whatever was
// signed, since it was off by more than the accuracy of 5 %.
func TestInstrumentsAndTheirChecks(t *testing.T) {
	r := report(t, eventful(), "A-1")
	states := func(place string) map[string][2]string {
		out := map[string][2]string{}
		for _, x := range r.Instruments {
			if x.Place == place {
				for _, s := range x.States {
					out[s.What] = [2]string{s.AtStart, s.AtEnd}
				}
			}
		}
		return out
	}
	require.Equal(t, map[string][2]string{"zero": {CheckValid, CheckValid}, "bump": {CheckValid, CheckOverdue}, "calibration": {CheckNone, CheckNone}}, states("top"))
	require.Equal(t, [2]string{CheckFailed, CheckFailed}, states("low")["bump"])
	require.Len(t, r.Instruments, 4, "two lines, two air points")
}

// Each limit is held against the air of the time in which it was in force: 0.15 ppm is
// under the old 0.3 ppm and over the new 0.1 ppm, and the hour at 0.7 ppm, which came
// under the new set, touches the old one not at all.
func TestLimitsOfTheirTime(t *testing.T) {
	r := report(t, eventful(), "A-1")
	require.Len(t, r.LimitSets, 2)
	require.Equal(t, "new decree", r.LimitSets[1].Source)
	require.Equal(t, hour(24), r.LimitSets[1].From)
	var inside []Against
	for _, a := range r.Air {
		if a.Name == "gangway" {
			inside = a.Against
		}
	}
	require.Len(t, inside, 4)
	require.Equal(t, []string{LimitBelow, LimitReached, LimitReached, LimitReached}, []string{inside[0].State, inside[1].State, inside[2].State, inside[3].State})
	require.InDelta(t, 0.152, inside[0].Found, 0.002, "8 h of 0.150 to 0.152 ppm")
	// 29 CFR 1910.1000(d)(1)(i): 7 h at about 0.151 ppm and 1 h at about 0.7 ppm
	require.InDelta(t, (7*0.151+1*0.7)/8, inside[1].Found, 0.02)
	require.InDelta(t, 0.702, inside[3].Found, 1e-9)
	require.Greater(t, inside[3].At, hour(100))
}

// Who did, signed and was named; a licence that had run out is told.
func TestPeople(t *testing.T) {
	r := report(t, eventful(), "A-1")
	who := map[string]Person{}
	for _, p := range r.People {
		who[p.Name] = p
	}
	require.True(t, who["R. Amadi"].Expired)
	require.Equal(t, "K-17", who["R. Amadi"].Licence)
	require.ElementsMatch(t, []string{namedFumigator, namedLaid}, who["R. Amadi"].Named)
	require.ElementsMatch(t, []string{namedSecond, namedLaid, namedIn}, who["O. Marsh"].Named)
	require.ElementsMatch(t, []string{namedAtDoor}, who["I. Fall"].Named)
	require.Empty(t, who["O. Marsh"].Acts)
	require.Len(t, r.Exposed, 2)
	for _, x := range r.Exposed {
		require.Equal(t, hour(100.2), x.In)
		require.Equal(t, x.Name == "I. Fall", x.AtDoor)
		require.Equal(t, 0.1, x.Limit, "the lowest of the new decree")
	}
	page, _ := both(t, r)
	for _, want := range []string{"It had run out.", "R. Amadi; licence K-17, valid until 2026-02-01 It had run out.", "It lacks: A licence in date."} {
		require.Contains(t, page, want)
	}
	require.NotContains(t, page, "conducted by a licensed fumigator")
	lacking, _ := both(t, soundReport(t))
	require.Contains(t, lacking, "cannot be put together. It lacks: A licence in date; Licensed fumigator in charge.")
}

// Product laid and taken out, the checks before dosing, and photos by their hash.
func TestProductChecksAndPhotos(t *testing.T) {
	r := report(t, eventful(), "A-1")
	require.Equal(t, []Product{{Form: "tablets", Placed: 180, Taken: 180}}, r.Product)
	require.Len(t, r.Photos, 1)
	require.Equal(t, "patch.png", r.Photos[0].Name)
	require.Equal(t, 29, r.Photos[0].Bytes)
	require.NotContains(t, string(form(t, r, "json", "en")), "iVBOR", "the picture itself stays in the log")
	require.Equal(t, logbook.KindChecksSigned, r.Acts[0].Kind, "signed the day before dosing")
	page, _ := both(t, r)
	for _, want := range []string{"180 tablets, in 12 places: trays", "batch L-5", "9 × 6 × 5", "3600", "MR-26"} {
		require.Contains(t, page, want)
	}
}

// The half-life of a line that falls by 0.2 per day is ln 2 / 0.2 d = 83.178 h, and the
// readings are exact up to the leak, so that its standard error is nothing.
func TestHalfLifeOfALine(t *testing.T) {
	r := report(t, eventful(), "A-1")
	require.NotEmpty(t, r.Leaks, "gas goes by 0.9 per day more from hour 72 on")
	for _, l := range r.Lines {
		require.NotNil(t, l.Loss, "%s: %s", l.Name, l.LossWhy)
		require.InEpsilon(t, 0.2, l.Loss.PerDay, 1e-3)
		require.InEpsilon(t, 24*math.Ln2/0.2, l.Loss.HalfLife, 1e-3)
		require.Less(t, l.Loss.HalfLifeSE, 0.5)
		require.InDelta(t, r.Leaks[0].Onset.Hours(zero), l.Loss.Until, 1e-9)
	}
	short := &story{}
	short.under(0, "A", "A-1", "five-day")
	short.read(1, "a1", 100)
	require.Equal(t, lossNotRead, report(t, short, "A-1").Lines[0].LossWhy)
}

// A leak is told with its onset, its size before and after, and what was done then.
func TestLeak(t *testing.T) {
	r := report(t, eventful(), "A-1")
	l := r.Leaks[0]
	require.Empty(t, l.Line, "all lines alike")
	require.InDelta(t, 72, l.Onset.Hours(zero), 3)
	require.LessOrEqual(t, l.OnsetFrom, l.Onset)
	require.GreaterOrEqual(t, l.OnsetTo, l.Onset)
	require.Greater(t, l.After, 2*l.Before)
	kinds := map[logbook.Kind]bool{}
	for _, n := range l.Acts {
		kinds[r.Acts[n-1].Kind] = true
		require.GreaterOrEqual(t, r.Acts[n-1].At, l.Raised)
	}
	require.True(t, kinds[logbook.KindMaskedEntry] && kinds[logbook.KindPhoto])
	require.False(t, kinds[logbook.KindResidueTaken], "airing had started")
}

// Each day's forecast stands beside what came: the lowest line by the median of its last
// hour. A forecast from before the leak cannot hold it, the last is nearer.
func TestForecastsAgainstWhatCame(t *testing.T) {
	r := report(t, eventful(), "A-1")
	require.GreaterOrEqual(t, len(r.Forecasts), 4)
	var last Forecast
	for _, f := range r.Forecasts {
		require.Equal(t, hour(120), f.For)
		require.NotNil(t, f.Came)
		gas := func(h float64) float64 {
			return 900 * (math.Exp(-0.2*h/24) - math.Exp(-1.8*h/24)) * math.Exp(-0.9*(h-72)/24)
		}
		require.InEpsilon(t, 0.9*gas(119.5), *f.Came, 0.01)
		if f.At < f.For {
			require.Equal(t, f.P05 <= *f.Came && *f.Came <= f.P95, *f.Within)
			last = f
		}
	}
	require.False(t, *r.Forecasts[0].Within, "nobody knew of the leak")
	require.Less(t, math.Abs(last.P50-*last.Came), math.Abs(r.Forecasts[0].P50-*last.Came)/2, "the last knew of it")
}

// The line that certificates ask for says "licensed": it is put together for nobody whose
// licence is not on record, or had run out before the exposure was over.
func TestEndorsementWantsALicenceInDate(t *testing.T) {
	endorsed := func(until string) string {
		r := &Report{Site: logbook.Site{People: []logbook.Person{{Name: "Ana Brook", Licence: until + "1234", LicenceUntil: until}}},
			Given: logbook.TreatmentStarted{Particulars: logbook.Particulars{Fumigator: "Ana Brook"}, Tonnes: 180, VolumeM3: 260, PhosphineG: 170}, Aired: Aired{First: hour(120)}}
		if until == "" {
			r.Site.People[0].Licence = ""
		}
		r.Dose, r.Course.AiringStarted = r.dose(), r.Aired.First
		p := &page{r: r, voice: r.voice("en")}
		p.endorsement()
		return fmt.Sprint(p.blocks)
	}
	ends := hour(120).Std()
	require.Contains(t, endorsed(ends.AddDate(1, 0, 0).Format("2006-01-02")), "Fumigation with phosphine conducted by a licensed fumigator at 0.65\u00a0g/m³ for ")
	for _, until := range []string{"", ends.AddDate(0, 0, -3).Format("2006-01-02")} {
		said := endorsed(until)
		require.NotContains(t, said, "conducted by", until)
		require.Contains(t, said, "cannot be put together. It lacks: A licence in date.")
	}
}

// A check is of an instrument, not of a place: it ends with the instrument.
func TestChecksEndWithTheInstrument(t *testing.T) {
	var x Instrument
	x.checks([]Check{{What: logbook.CheckCalibration, At: hour(-48), Passed: true, Due: hour(2000)}, {What: logbook.CheckBump, At: hour(-3), Passed: true, Due: hour(500)},
		{What: Swapped, At: hour(20), Serial: "S-2"}, {What: logbook.CheckBump, At: hour(30), Passed: true, Due: hour(500)}}, hour(0), hour(120))
	require.Equal(t, []CheckState{
		{What: logbook.CheckZero, AtStart: CheckNone, AtEnd: CheckNone},
		{What: logbook.CheckBump, AtStart: CheckValid, AtEnd: CheckValid, Newest: hour(30)},
		{What: logbook.CheckCalibration, AtStart: CheckValid, AtEnd: CheckNone},
	}, x.States)
}

// In short, every line that showed no end level is named: one that is left out would
// pass for one that held.
func TestLowestEndNamesEveryLineNotShown(t *testing.T) {
	r := &Report{Lines: []Line{{Name: "top"}, {Name: "middle", EndLevels: []logbook.EndLevel{{Line: "middle", PPM: 200, Shown: logbook.ShownMet}}},
		{Name: "low", EndLevels: []logbook.EndLevel{{Line: "low", Shown: logbook.NotShown}}}}}
	p := &page{r: r, voice: r.voice("en")}
	require.Contains(t, p.lowestEnd(), "200 ppm on line middle")
	require.Contains(t, p.lowestEnd(), "Not shown: top; low.")
	require.Equal(t, "from 2026-03-01\u00a006:00, not over yet", p.span(hour(0), 0))
}

// The table says what is not on record, as the page does: a row that is missing, or 0, would
// pass for a fact.
func TestTableSaysWhatIsNotRecorded(t *testing.T) {
	_, table := both(t, soundReport(t))
	for _, item := range []string{"lot", "destination", "pests", "sheet", "dose source", "fumigator", "second", "bags", "moisture", "length", "width", "height"} {
		require.Contains(t, table, "given,,,"+item+",,,not recorded\r\n")
	}
	require.Contains(t, table, "log id,,,not recorded\r\n")
	_, table = both(t, report(t, eventful(), "A-1"))
	require.Contains(t, table, "given,,,bags,3600,,\r\n")
	require.Contains(t, table, "given,,,lot,,,MR-26\r\n")
}

// A forecast from before phosphine was added tells of the gas without it: what came is
// shown beside it, and neither counts for it nor against it.
func TestForecastsFromBeforeAnAddedDoseAreNotCounted(t *testing.T) {
	r := &Report{Aired: Aired{First: hour(200), Extra: []treatment.Dose{{At: hour(80), Grams: 75}}},
		Forecasts: []Forecast{{At: hour(72), For: hour(120), P05: 40, P95: 60}, {At: hour(96), For: hour(120), P05: 90, P95: 110}},
		Lines:     []Line{{exposed: []sample{{Reading: Reading{hour(119.5), 100}}}}}}
	r.came()
	require.Equal(t, 100.0, *r.Forecasts[0].Came)
	require.Nil(t, r.Forecasts[0].Within)
	require.True(t, r.Forecasts[0].Added)
	require.True(t, *r.Forecasts[1].Within)
	require.False(t, r.Forecasts[1].Added)
}

// Added phosphine stands in the dose in all, and in the dose that certificates ask for.
func TestDoseInAll(t *testing.T) {
	r := &Report{Given: logbook.TreatmentStarted{Tonnes: 180, VolumeM3: 260, PhosphineG: 170}, Aired: Aired{Extra: []treatment.Dose{{At: hour(80), Grams: 75}}}}
	r.Dose = r.dose()
	p := &page{r: r, voice: r.voice("en")}
	// 245 / 180 = 1.361 and 245 / 260 = 0.942, by hand.
	require.Equal(t, "245\u00a0g; 1.36\u00a0g/t; 0.94\u00a0g/m³", p.inAll())
	require.Equal(t, "0.65\u00a0g/m³, with what was added 0.94\u00a0g/m³", p.perVolume())
	r.Aired.Extra = nil
	r.Dose = r.dose()
	require.Equal(t, "0.65\u00a0g/m³", p.perVolume())
}

// A forecast that is made when its time has come foretells nothing, and is not counted
// among those that held.
func TestForecastsInHindsightAreNotCounted(t *testing.T) {
	r := &Report{Aired: Aired{First: hour(200)}, Forecasts: []Forecast{{At: hour(96), For: hour(120), P05: 90, P95: 110}, {At: hour(144), For: hour(120), P05: 99, P95: 101}},
		Lines: []Line{{exposed: []sample{{Reading: Reading{hour(119.5), 100}}}}}}
	r.came()
	require.True(t, *r.Forecasts[0].Within)
	require.Equal(t, 100.0, *r.Forecasts[1].Came)
	require.Nil(t, r.Forecasts[1].Within)
}

// Where the limit of the gate and of the air is from is said in the report's language.
func TestLimitsAreOfThePagesLanguage(t *testing.T) {
	r := report(t, eventful(), "A-1")
	for i := range r.Gates {
		r.Gates[i].LimitOf = "Directive 2006/15/EC, since 2007-10-31 (from memory: look it up)"
	}
	r.Limit.Of = r.Gates[0].LimitOf
	page := string(form(t, r, "html", "fr"))
	require.Contains(t, page, "Directive 2006/15/EC, depuis le 2007-10-31 (de mémoire")
	require.NotContains(t, page, "look it up")
}

package configs

import (
	"testing"
	"time"

	"undersheet/logbook"

	"github.com/stretchr/testify/require"
)

// TestLimitData: sorted by date, positive, sourced, and no short level below the
// mean of a day. The embedded table passes the same checks when it is read; here
// every country is looked at as a site gets it.
func TestLimitData(t *testing.T) {
	order := map[string]int{}
	for i, n := range levelNames {
		order[n] = i
	}
	require.NotEmpty(t, Countries())
	for _, country := range Countries() {
		sets, ok := limitSets(country, time.UTC)
		require.True(t, ok, country)
		for i, s := range sets {
			require.NotEmpty(t, s.Source, country)
			require.NotEmpty(t, s.Levels, country)
			require.Equal(t, i == 0, s.From == 0, "%s: the oldest set holds always", country)
			if i > 0 {
				require.Greater(t, s.From, sets[i-1].From, country)
			}
			for k, l := range s.Levels {
				require.Greater(t, l.PPM, 0.0, country)
				require.LessOrEqual(t, l.PPM, 1.0, "%s: no country allows more than the 1 ppm of the NIOSH REL's 15 minutes", country)
				require.Contains(t, order, l.Name)
				require.GreaterOrEqual(t, l.PPM, s.Levels[0].PPM, country)
				if k > 0 {
					require.Greater(t, order[l.Name], order[s.Levels[k-1].Name], country)
				}
			}
		}
	}
}

// TestPublishedLimits: the figures of the sources, beside each.
func TestPublishedLimits(t *testing.T) {
	type levels = []logbook.Level
	twa, short := func(v float64) logbook.Level { return logbook.Level{Name: "twa-8h", PPM: v} }, func(v float64) logbook.Level {
		return logbook.Level{Name: "short-term-15min", PPM: v}
	}
	for country, want := range map[string][]levels{
		"AU": {{twa(0.3), short(1)}, {twa(0.05), {Name: "peak", PPM: 0.15}}}, // Grain Trade Australia, "SafeWork Australia Phosphine"
		"US": {{twa(0.3), short(1)}},                                         // NIOSH Pocket Guide npgd0505: OSHA PEL, NIOSH ST
		"GB": {{twa(0.1), short(0.2)}},                                       // SER (Netherlands), page "Fosfine": EH40/2005
		"DE": {{twa(0.1), short(0.2)}},                                       // same: TRGS 900
		"FR": {{twa(0.1), short(0.2)}},                                       // same
		"SE": {{twa(0.1), short(0.2)}},                                       // same: AFS 2018:1
		"CH": {{twa(0.1), short(0.2)}},                                       // same: Suva
		"AT": {{twa(0.1), short(0.2)}},                                       // same: GKV 2011
		"NO": {{twa(0.1)}},                                                   // same: FOR-2011-12-06-1358, no short-term figure
		"DK": {{twa(0.1)}},                                                   // same: BEK 655, no short-term figure
		"EU": {{twa(0.1), short(0.2)}},                                       // Directive 2006/15/EC, from memory
		"NL": {{twa(0.1), short(0.2)}},                                       // by the EU's
	} {
		sets, ok := limitSets(country, time.UTC)
		require.True(t, ok)
		require.Len(t, sets, len(want), country)
		for i := range sets {
			require.Equal(t, want[i], sets[i].Levels, country)
		}
	}
	_, ok := limitSets("ZZ", time.UTC)
	require.False(t, ok)
	require.Contains(t, LimitNote("US"), "50 ppm")
}

// TestAustralianChange: the new figures hold from midnight in the site's own
// time, after 30 November 2026.
func TestAustralianChange(t *testing.T) {
	perth, err := time.LoadLocation("Australia/Perth")
	require.NoError(t, err)
	sets, _ := limitSets("AU", perth)
	require.Equal(t, "2026-11-30T16:00:00Z", sets[1].From.String()) // UTC+8
	s, _, err := Parse("s.yaml", []byte(swap(t, swap(t, small, "GB", "AU"), "Africa/Nairobi", "Australia/Perth")))
	require.NoError(t, err)
	regimes := Regimes(s)
	require.Len(t, regimes, 2)
	require.Equal(t, []any{"", 0.3}, []any{regimes[0].From, regimes[0].PPM})
	require.Equal(t, []any{"2026-12-01", 0.05}, []any{regimes[1].From, regimes[1].PPM})
}

// TestReadLimits: a table that cannot be one is refused.
func TestReadLimits(t *testing.T) {
	for want, text := range map[string]string{
		"is not after":               `countries: {XX: [{sure: verified, source: s, levels: {twa-8h: 1}}, {sure: verified, source: s, levels: {twa-8h: 1}}]}`,
		"is no date":                 `countries: {XX: [{from: tomorrow, sure: verified, source: s, levels: {twa-8h: 1}}]}`,
		"are missing":                `countries: {XX: [{sure: verified, levels: {twa-8h: 1}}]}`,
		"must be above 0":            `countries: {XX: [{sure: memory, source: s, levels: {twa-8h: 0}}]}`,
		"below the mean":             `countries: {XX: [{sure: memory, source: s, levels: {twa-8h: 1, peak: 0.5}}]}`,
		"a level is none of":         `countries: {XX: [{sure: memory, source: s, levels: {twa-9h: 1}}]}`,
		"unknown field \"countrys\"": `countrys: {}`,
	} {
		_, err := readLimits([]byte(text))
		require.ErrorContains(t, err, want)
	}
}

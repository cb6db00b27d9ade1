package web

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules"
	"undersheet/rules/reading"
)

// What was forecast for a time that has passed is no forecast any more: the page says what was
// shown then. Of a treatment that was abandoned no end level is awaited, and none is promised.
func TestNoForecastOfThePast(t *testing.T) {
	shown := []logbook.EndLevel{{Moment: logbook.MomentShortest, Shown: logbook.ShownNotMet, PPM: 131, EndPPM: 150}}
	for name, c := range map[string]struct {
		at      time.Time
		verdict string
		levels  [][]logbook.EndLevel // of each line
		says    string
	}{
		"it passed": {now.Add(65 * time.Hour), logbook.VerdictProvisional, [][]logbook.EndLevel{shown, {{Moment: logbook.MomentShortest, Shown: logbook.ShownMet, PPM: 171, EndPPM: 150}}},
			"When the shortest exposure had passed, the lowest line showed 131 ppm; every line needs 150 ppm. It is judged again when airing starts."},
		"a line was not shown": {now.Add(65 * time.Hour), logbook.VerdictProvisional, [][]logbook.EndLevel{shown, {{Moment: logbook.MomentShortest, Shown: logbook.NotShown}}},
			"When the shortest exposure had passed, not every line showed its end level"},
		"abandoned": {now, logbook.VerdictAbandoned, nil, "Under gas for 2 d 8 h. Abandoned: no end level is awaited. The stack is under gas until it was aired."},
	} {
		t.Run(name, func(t *testing.T) {
			f := invented()
			k := &f.view.Stores[0].Stacks[0]
			k.Verdict, k.Lines[0].EndLevels = c.verdict, nil
			for i, levels := range c.levels {
				k.Lines[i].EndLevels = levels
			}
			h := f.handler(Options{Clock: func() time.Time { return c.at }})
			for _, path := range []string{"/", "/store/Long%20Store", "/stack/B"} {
				p := parsed(t, get(h, path).Body.String())
				require.Contains(t, p.text, c.says, path)
				for _, gone := range []string{"is expected at", "chance about 31 % to hold", "chance over 99 % to hold"} {
					require.NotContains(t, p.text, gone, path)
				}
			}
			links := parsed(t, get(h, "/stack/B").Body.String()).links
			require.Contains(t, links, "/act/airing-started?stack=B")
			require.Equal(t, c.verdict == logbook.VerdictAbandoned, !slices.Contains(links, "/act/dose-added?stack=B"))
		})
	}
}

// A point that nobody read in the last quarter of an hour has no mean of it: 0 would be clean air.
func TestNoMeanOfWhatWasNotRead(t *testing.T) {
	f := invented()
	air := &f.view.Stores[0].Air
	(*air)[0].Mean15min, (*air)[0].Read8h, (*air)[0].TWA8h = 0, 0, 0
	f.view.Stores[0].Air15min, f.view.Stores[0].AirTWA8h = 0, 0
	(*air)[0].Last = sample(0.02, time.Hour, reading.Silent)
	text := func() string { return parsed(t, get(f.handler(Options{}), "/store/Long%20Store").Body.String()).text }
	require.Contains(t, text(), "0.02 — — — 1 h 00 min")
	require.Contains(t, text(), "Worst at a point of the gate: — ppm over 15 minutes, — ppm over 8 hours.")
	*air = append(*air, rules.AirView{Name: "gangway", Where: logbook.WhereInside, Channel: "gangway", Last: sample(0.02, time.Minute, reading.OK), TWA8h: 0.01, Mean15min: 0.02, Read8h: 0.2})
	f.view.Stores[0].Air15min, f.view.Stores[0].AirTWA8h = 0.02, 0.01
	require.Contains(t, text(), "Worst at a point of the gate: ≥ 0.02 ppm over 15 minutes, ≥ 0.01 ppm over 8 hours.")
}

// A store that a named person has cleared asks for no mask: its page says to leave at a doubt.
func TestClearedStoreAsksForNoMask(t *testing.T) {
	f := invented()
	for state, asks := range map[string]bool{logbook.GateCheckOwed: true, logbook.GateCleared: false} {
		f.view.Stores[0].Gate = logbook.Gate{Store: "Long Store", State: state, LimitPPM: 0.1}
		require.Equal(t, asks, strings.Contains(parsed(t, get(f.handler(Options{}), "/store/Long%20Store").Body.String()).text, "Breathing protection"), state)
	}
}

package words

import (
	"slices"
	"strings"
	"testing"

	"undersheet/logbook"
	"undersheet/rules/plan"

	"github.com/stretchr/testify/require"
)

// The codes that the rules may write; a code that the rules' own source names is
// looked for there (TestSourceHasSentences).
var (
	reasonCodes = strings.Fields(`under-gas dosing inside-by-masked-entry no-clearance-on-record restored-logbook catching-up clock-behind
		no-gate-air-points no-site airing-too-short airing-paused air-above-limit air-not-below-long-enough point-silent point-clock-ahead point-no-reading
		point-over-range point-stuck point-fault point-below-zero detection-limit-too-high clock-stepped second-value late-reading-above-limit
		lines-still-read-gas hand-reading-owed confirmation-owed hand-reading-above-limit hand-reading-too-coarse hand-reading-too-old
		confirmation-lapsed withholding no-entries logbook-failing fold-stalled fold-failed watch-stopped watch-in-trouble
		pump-off pump-not-known`)
	refusedCodes = strings.Fields(`unknown-store unknown-stack no-name gate-not-check-owed hand-readings-owed no-treatment-running
		already-running store-under-gas masked-entry-open future-dated not-in-exposure not-airing no-site unknown-unit`)
	findingCodes = strings.Fields(`unknown-channel unknown-unit unit-mismatch future late second-value duplicate-treatment store-not-empty airing-before-dose exit-before-entry
		unknown-protocol exposure-shorter-than-protocol commodity-unsuited dose-could-burn dose-missing volume-missing gas-space-unknown too-cold cool airing-early
		airing-early-no-reason no-exposure-running dosing-not-recorded clock-stepped payload-refused hand-reading-below-detection
		over-range fault stuck below-zero unknown-line unknown-point no-limits-country second-treatment-due act-backdated nobody-inside
		already-running airing-before-release-over not-airing lines-changed second-treatment-off-window future-dated record-not-written
		nothing-to-acknowledge inspected-before-airing exposure-by-temperature protection-below-air line-proof-failed line-not-proved
		line-proof-failed/not-seen line-proof-failed/other-channel line-proof-failed/zero-missing line-proof-failed/zero line-proof-failed/flow
		line-proof-failed/span line-proof-failed/unit line-proof-failed/no-channel`)
	criteriaKeys = strings.Fields(`inspected-free average-maximum end-concentration even-gas met not-met not-decidable
		inspected-free/met inspected-free/not-met average-maximum/met average-maximum/not-met end-concentration/met end-concentration/not-met
		even-gas/met even-gas/not-met average-maximum/not-over end-concentration/not-over even-gas/not-over average-maximum/over-range
		end-concentration/aired-early no-inspection dose-not-known not-read one-line`)
	alarmNames = strings.Fields(`leak end-level-at-risk end-level-missed uneven-gas air-gas gate-rebound line-silent line-off line-blocked
		lines-swapped instrument-drift instrument-fault instrument-silent door-opened power-lost fire-risk too-cold masked-entry-overdue follow-up-due point-silent watch-stopped sensor-silent pump-off clock-ahead clock-behind unwatched untold-dose`)
)

// TestEveryCodeHasASentence in every language.
func TestEveryCodeHasASentence(t *testing.T) {
	for _, lang := range Languages() {
		c := catalogues[lang]
		for _, code := range reasonCodes {
			require.Contains(t, c.reasons, code, "reason in %s", lang)
		}
		for _, code := range refusedCodes {
			require.Contains(t, c.refused, code, "refusal in %s", lang)
		}
		for _, code := range findingCodes {
			require.Contains(t, c.findings, code, "finding in %s", lang)
		}
		for _, key := range criteriaKeys {
			require.Contains(t, c.criteria, key, "criterion in %s", lang)
		}
		for _, name := range alarmNames {
			require.Contains(t, c.alarms, name, "alarm in %s", lang)
		}
		for _, state := range []string{logbook.GateShut, logbook.GateAiring, logbook.GateCheckOwed, logbook.GateCleared} {
			require.Contains(t, c.gates, state, "gate in %s", lang)
		}
		for key := range english.phrase {
			require.Contains(t, c.phrase, key, "phrase in %s", lang)
		}
	}
}

// everySentence calls f with each sentence of a language, filled in.
func everySentence(c *catalogue, f func(key, text string)) {
	v := values{Store: "Store 2", Stack: "B", Line: "north top", Point: "door", Channel: "c-1", About: "it", Value: 0.34, Limit: 0.3}
	for _, m := range []map[string]string{c.reasons, c.refused, c.findings, c.gates, c.criteria} {
		for k, s := range m {
			f(k, c.put(s, v))
		}
	}
	for k, s := range c.alarms {
		f(k, c.put(s.headline, v))
		f(k, strings.TrimSpace(c.put(s.advice, v)))
	}
}

// TestSentences: whole sentences, every value filled in.
func TestSentences(t *testing.T) {
	for lang, c := range written {
		everySentence(c, func(key, text string) {
			require.NotContains(t, text, "{", "%s %s", lang, key)
			require.NotContains(t, text, "  ", "%s %s", lang, key)
			require.True(t, strings.HasSuffix(text, "."), "%s %s: %s", lang, key, text)
		})
	}
}

// TestAdviceSendsNobodyIn: what could send somebody into a store opens with, or
// comes with, the words for two trained people; what does not, names no such way.
func TestAdviceSendsNobodyIn(t *testing.T) {
	outside := map[string]bool{"too-cold": true, "power-lost": true, "end-level-missed": true, "follow-up-due": true}
	for lang, ways := range map[string]struct {
		open, nobody string
		in           []string // words for going in
	}{
		"en": {"Do not enter alone: two trained people, breathing protection, daylight; else wait.", "Nobody goes in.", []string{"go in", "enter", "inside", "go to the stack"}},
		"fr": {"N'entrez pas seul : deux personnes formées, protection respiratoire, en plein jour ; sinon, attendez.", "Personne n'entre.", []string{"entre", "intérieur", "allez", "rendez"}},
	} {
		for key, s := range written[lang].alarms {
			name, _, _ := strings.Cut(key, "/")
			switch {
			case slices.Contains([]string{"leak", "line-off", "line-blocked", "end-level-at-risk"}, name):
				require.True(t, strings.HasPrefix(s.advice, ways.open), "%s %s: %s", lang, key, s.advice)
			case name == "fire-risk":
				require.True(t, strings.HasPrefix(s.advice, ways.nobody), "%s %s", lang, key)
			case outside[name]:
				for _, w := range ways.in {
					require.NotRegexp(t, `(?i)\b`+w, strings.ReplaceAll(s.advice, "entre-temps", ""), "%s %s", lang, key)
				}
			default:
				require.Contains(t, s.advice+" ", ways.open, "%s %s", lang, key)
			}
		}
	}
}

// TestLeakAsksFirst: a stopped pump looks like an open sheet and a tube that does not draw
// like a leak beside it, for a hand pump finds there what the instrument does: both are
// asked for, outside, before anything else is looked at (common practice).
func TestLeakAsksFirst(t *testing.T) {
	for lang, asks := range map[string]struct{ pump, sheet, draws, hand string }{
		"en": {"outside the store, see whether the sampling pump runs", "two people look along the sheet's edge", "outside the store, see whether this line draws: flow, filter, water trap", "If it draws, take a hand reading"},
		"fr": {"hors du magasin, voyez si la pompe de prélèvement tourne", "deux personnes cherchent un passage le long du bord de la bâche", "hors du magasin, voyez si cette ligne aspire : débit, filtre, piège à eau", "Si elle aspire, faites-y une mesure manuelle"},
	} {
		for key, in := range map[string][2]string{"leak": {asks.pump, asks.sheet}, "leak/0": {asks.pump, asks.sheet}, "leak/half-day": {asks.pump, asks.sheet}, "leak/or-drift": {asks.draws, asks.hand}} {
			before, after, ok := strings.Cut(written[lang].alarms[key].advice, in[0])
			require.True(t, ok, "%s %s", lang, key)
			require.NotContains(t, before, in[1], "%s %s", lang, key)
			require.Contains(t, after, in[1], "%s %s", lang, key)
			if in[1] == asks.sheet {
				shut, _, _ := strings.Cut(after, in[1])
				require.Contains(t, shut, map[string]string{"en": "keep the store shut. Ask the licensed fumigator", "fr": "gardez le magasin fermé. Demandez au fumigateur agréé"}[lang], "before anybody goes to the sheet")
			}
		}
	}
}

// TestOverSaysNoOldFigure: a chance that has become fair again, and air that is below the
// limit again, are not told with the figures with which the alarm was raised.
func TestOverSaysNoOldFigure(t *testing.T) {
	for lang, want := range map[string][2]string{
		"en": {"Over: the end level of stack B was at risk.", "Over: gas was read in the air at Store 2, door; the limit is 0.1 ppm."},
		"fr": {"Fin d'alarme : la concentration finale de la pile B était en péril.", "Fin d'alarme : du gaz a été mesuré dans l'air à Store 2, door ; la limite est de 0,1 ppm."},
	} {
		for i, a := range []*logbook.Alarm{
			{Alarm: "end-level-at-risk", Code: "collapsing", State: logbook.AlarmCleared, Stack: "B", Value: 0.001, Limit: 0.5},
			{Alarm: "air-gas", Code: "door", State: logbook.AlarmCleared, Store: "Store 2", Point: "door", Value: 0.2, Limit: 0.1}} {
			headline, _ := Alarm(lang, a)
			require.Equal(t, want[i], plainSpaces(headline))
		}
	}
}

// TestAlarmSaysChanceAsForecastsDo: never a chance of 0 %, which no forecast knows.
func TestAlarmSaysChanceAsForecastsDo(t *testing.T) {
	for _, code := range []string{"", "collapsing", "resisted"} {
		headline, _ := Alarm("en", &logbook.Alarm{Alarm: "end-level-at-risk", Code: code, State: logbook.AlarmRaised, Stack: "B", Value: 0.004, Limit: 0.5})
		require.Contains(t, headline, "a chance of under 1 %", code)
		headline, _ = Alarm("fr", &logbook.Alarm{Alarm: "end-level-at-risk", Code: code, State: logbook.AlarmRaised, Stack: "B", Value: 0.004, Limit: 0.5})
		require.Contains(t, plainSpaces(headline), "une probabilité de moins de 1 %", code)
	}
}

// TestFill: what a reader sees.
func TestFill(t *testing.T) {
	g := &logbook.Gate{Store: "Store 2", State: "airing", LimitPPM: 0.1, Reasons: []logbook.Reason{
		{Code: "airing-too-short", About: "B", Value: 119.9, Limit: 120},
		{Code: "air-above-limit", About: "door", Value: 0.34, Limit: 0.1},
		{Code: "air-above-limit", About: "door", Value: 0.10001, Limit: 0.1},
		{Code: "hand-reading-too-coarse", About: "B", Value: 0, Limit: 0.1},
		{Code: "from-a-newer-program", About: "B", Value: 2, Limit: 3}}}
	Fill("en", g)
	require.Equal(t, "Stack B has been aired for 119 of 120 minutes in which every air point was read.", g.Reasons[0].Text)
	require.Equal(t, "The air at door may hold 0.34 ppm, the reading and its error: it must be below 0.1 ppm.", g.Reasons[1].Text)
	require.Contains(t, g.Reasons[2].Text, "0.10001 ppm")
	require.Contains(t, g.Reasons[3].Text, "does not say what its method can find")
	require.Contains(t, g.Reasons[4].Text, "from-a-newer-program")

	r := &logbook.Refused{Entry: "entry-confirmed", Store: "Store 2", Code: "gate-not-check-owed", Reasons: g.Reasons[:1]}
	Fill("xx", r)
	require.Equal(t, "Not cleared: Store 2 is not ready for a confirmation. "+g.Reasons[0].Text, r.Why)

	f := &logbook.Finding{Code: "too-cold", Stack: "B", Value: -1, Limit: 15}
	Fill("en", f)
	require.Equal(t, "The grain of stack B is at -1 °C: below 15 °C phosphine is not effective.", f.Text)

	f = &logbook.Finding{Code: "second-treatment-off-window", Stack: "B", Value: -5.5, Limit: 48}
	Fill("en", f)
	require.Equal(t, "The second treatment of stack B began 5.5 hours before its time.", f.Text)

	f = &logbook.Finding{Code: "line-proof-failed", Line: "top", Channel: "b-top", About: "zero", Value: 3, Limit: 1}
	Fill("en", f)
	require.Equal(t, "Line top is not proved: channel b-top read 3 ppm in clean air; its zero error is 1 ppm.", f.Text)

	f = &logbook.Finding{Code: "has-its-own", Text: "disk full"}
	Fill("en", f)
	require.Equal(t, "disk full", f.Text)

	a := &logbook.Alarm{Alarm: "leak", State: "raised", Stack: "B", Line: "top", Value: 0.4212, Limit: 0.2}
	Fill("en", a)
	require.True(t, strings.HasPrefix(a.Text, "Leak: stack B, line top loses gas at 0.421 per day, before at 0.2. Do not enter alone"), a.Text)
}

// TestOver: an alarm that is over lets nobody in, and does not use the gate's word.
func TestOver(t *testing.T) {
	headline, advice := Alarm("en", &logbook.Alarm{Alarm: "air-gas", State: logbook.AlarmCleared, Store: "Store 2", Point: "door", Value: 0.02, Limit: 0.1})
	require.True(t, strings.HasPrefix(headline, "Over: "), headline)
	require.NotContains(t, strings.ToLower(headline), "clear")
	require.Equal(t, "This alarm is over. That lets nobody in: look at the gate of the store.", advice)
}

// An alarm that is over is said with what is read by then: no sentence then claims that this
// is more than its mark, or the top of a range.
func TestOverClaimsNoExcess(t *testing.T) {
	for _, code := range []string{"", "over-range", "top-of-range", "attention", "above-dose"} {
		for lang, more := range map[string]string{"en": `1611(\.0)? ppm(,| or) (more|over)`, "fr": `1611 ppm(,| ou) plus`} {
			a := &logbook.Alarm{Alarm: "fire-risk", Code: code, State: logbook.AlarmCleared, Stack: "B", Line: "top", Value: 1611, Limit: 1790}
			headline, _ := Alarm(lang, a)
			require.NotRegexp(t, more, plainSpaces(headline), code)
			require.Contains(t, headline, "1790", code)
		}
	}
}

// TestSeen: an acknowledged alarm says who took charge of it, and still what to do.
func TestSeen(t *testing.T) {
	a := &logbook.Alarm{Alarm: "leak", State: logbook.AlarmSeen, By: "N. Ferreira", Stack: "B", Value: 0.4, Limit: 0.2}
	headline, advice := Alarm("en", a)
	require.Equal(t, "Acknowledged by N. Ferreira: Leak: stack B loses gas at 0.4 per day, before at 0.2.", headline)
	require.True(t, strings.HasPrefix(advice, "Do not enter alone"))
}

// TestNamesAreNotTemplates: a name that looks like a value stays a name.
func TestNamesAreNotTemplates(t *testing.T) {
	f := &logbook.Finding{Code: "unknown-line", Stack: "{limit}", About: "{value}", Value: 7}
	Fill("en", f)
	require.Contains(t, f.Text, "Stack {limit} has no line {value}")
}

// TestGate: where a gate stands, and what was read.
func TestGate(t *testing.T) {
	g := &logbook.Gate{Store: "Store 2", State: "check-owed", LimitPPM: 0.1,
		Read: []logbook.PointRead{{Point: "door", PPM: 0.02, Upper: 0.052}, {Point: "beside B", PPM: 0, Upper: 0.03}}}
	headline, read := Gate("en", g)
	require.Contains(t, headline, "still owed")
	require.Equal(t, "Read: door 0.02 ppm, with its error up to 0.052 ppm; beside B 0 ppm, with its error up to 0.03 ppm.", read)
	_, read = Gate("en", &logbook.Gate{Store: "S", State: "shut"})
	require.Equal(t, "No air point has been read yet.", read)
}

// TestNumber: plain figures, never an exponent, never rounded across a limit.
func TestNumber(t *testing.T) {
	for _, c := range []struct {
		v, against float64
		want       string
	}{
		{0.34, 0.3, "0.34"}, {0.33333, 0, "0.333"}, {412.7, 150, "413"}, {18000, 0, "18000"}, {17900, 1790, "17900"}, {1234567.8, 0, "1230000"},
		{0.00004, 1, "0.00004"}, {0.29999, 0.3, "0.29999"}, {149.97, 150, "149.97"}, {150, 150, "150"}, {-0.02, 0, "-0.02"}, {0, 0, "0"},
	} {
		require.Equal(t, c.want, number(c.v, c.against), "%v against %v", c.v, c.against)
	}
	require.Equal(t, "119", whole(119.999))
	require.Equal(t, "0", whole(0.4))
}

// A verdict that rests on fewer than three lines says so (common practice).
func TestVerdictSaysHowFewPointsItRestsOn(t *testing.T) {
	for lines, want := range map[int]string{0: "held, at no point", 1: "held, at one point", 2: "held, at two points", 3: "held", 9: "held"} {
		require.Equal(t, want, Verdict("en", "held", lines))
	}
	require.Empty(t, Verdict("en", "", 1))
}

// Findings on checks before dosing say what each check asks for: no code stands where
// people read.
func TestChecksAreSaidInWords(t *testing.T) {
	codes := plan.EveryCheck()
	for _, lang := range Languages() {
		for _, finding := range []string{"checks-owed", "checks-wanting"} {
			for n := 1; n <= len(codes); n++ {
				f := &logbook.Finding{Code: finding, Store: "Long Barn", Stack: "B", About: strings.Join(codes[:n], " "), Value: logbook.Number(n)}
				Fill(lang, f)
				for _, code := range codes[:n] {
					require.Contains(t, f.Text, Plan(lang, code, "", 0), lang)
				}
				if n > 1 {
					require.NotContains(t, f.Text, f.About)
				}
				require.Equal(t, n-1, strings.Count(f.Text, " · "), f.Text)
			}
		}
	}
}

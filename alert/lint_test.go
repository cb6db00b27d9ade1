package alert

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/alert/sms/pdu"
	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/logbook/words"
)

// What the rules of the lint look for, sentence by sentence.
var (
	goesIn   = regexp.MustCompile(`(?i)\b(enter|enters|entering|(go|goes|going|gone|step|steps|walk|run|crawl|climb|look|send|sent) (back )?(in|inside|into))\b`)
	denied   = regexp.MustCompile(`(?i)\b(not|nobody|never|no one)\b`)
	atSheet  = regexp.MustCompile(`(?i)\b(look along|weigh (it|them) down|at the stack|under the sheet again)\b`)
	sentence = regexp.MustCompile(`[.!?]\s|\n`)
)

// lint lists what is wrong with a text that people get. The rules: it never says
// safe; it ends with the emergency line; a sentence that speaks of going in
// denies it or names two trained people, breathing protection and, by day,
// daylight; a task at the sheet has such a sentence in its text; and at night the
// text that speaks of going in says that nobody does.
func lint(text, emergency string, night bool) (faults []string) {
	low := strings.ToLower(text)
	if strings.Contains(low, "safe") {
		faults = append(faults, "it says safe")
	}
	if !strings.HasSuffix(strings.TrimRight(text, "\n"), "\n"+emergency) {
		faults = append(faults, "it does not end with the emergency line")
	}
	guarded := func(s string) bool {
		return strings.Contains(s, "two trained people") && strings.Contains(s, "breathing protection") &&
			(strings.Contains(s, "daylight") || strings.Contains(text, atNight))
	}
	speaks, cared := false, strings.Contains(text, notAlone) || strings.Contains(text, atNight) || strings.Contains(text, goingIn)
	for _, s := range sentence.Split(text, -1) {
		if guarded(s) {
			speaks = true
		}
		if goesIn.MatchString(s) && !denied.MatchString(s) && !guarded(s) {
			faults = append(faults, "it sends somebody in: "+s)
		}
		if atSheet.MatchString(s) && !cared {
			faults = append(faults, "it has a task at the sheet and does not say how: "+s)
		}
	}
	if night && speaks && !strings.Contains(text, atNight) {
		faults = append(faults, "it is night, and it does not say that nobody goes in")
	}
	return faults
}

// TestLint: each rule finds what it is for.
func TestLint(t *testing.T) {
	const end = "\nEmergency: call"
	for text, want := range map[string]string{
		"The air is safe." + end:                                               "it says safe",
		"Leak." + end + " 1":                                                   "it does not end",
		"Go inside and look." + end:                                            "it sends somebody in",
		"One person enters with a mask." + end:                                 "it sends somebody in",
		"Two people go in with breathing protection, in daylight." + end:       "it sends somebody in", // they are not said to be trained
		"Look along the sheet's edge." + end:                                   "it has a task at the sheet",
		goingIn + end:                                                          "", // by day
		notAlone + " Look along the sheet's edge." + end:                       "",
		"Nobody goes in." + end:                                                "",
		"Wait. If you go in, then two trained people: breathing protection.\n": "it does not end",
	} {
		got := strings.Join(lint(text, "Emergency: call", false), "; ")
		if want == "" {
			require.Empty(t, got, text)
		} else {
			require.Contains(t, got, want, text)
		}
	}
	require.Contains(t, strings.Join(lint(notAlone+end, "Emergency: call", true), ";"), "it is night")
	require.Contains(t, strings.Join(lint(goingIn+end, "Emergency: call", true), ";"), "it is night")
	require.Empty(t, lint(goingInLater+end, "Emergency: call", true))
	require.Empty(t, lint(laterIn+end, "Emergency: call", true))
}

// strings of the source: the keys of the map variable englishAlarms under
// logbook/words, and the constants alarm… under rules.
func sourceNames(t *testing.T) (sentences, alarms []string) {
	read := func(dir string, each func(ast.Node)) {
		files, err := filepath.Glob(filepath.Join(dir, "*.go"))
		require.NoError(t, err)
		for _, file := range files {
			f, err := parser.ParseFile(token.NewFileSet(), file, nil, 0)
			require.NoError(t, err)
			ast.Inspect(f, func(n ast.Node) bool { each(n); return true })
		}
	}
	text := func(e ast.Expr) string {
		lit, ok := e.(*ast.BasicLit)
		require.True(t, ok)
		s, err := strconv.Unquote(lit.Value)
		require.NoError(t, err)
		return s
	}
	read("../logbook/words", func(n ast.Node) {
		v, ok := n.(*ast.ValueSpec)
		if !ok || v.Names[0].Name != "englishAlarms" {
			return
		}
		for _, e := range v.Values[0].(*ast.CompositeLit).Elts {
			sentences = append(sentences, text(e.(*ast.KeyValueExpr).Key))
		}
	})
	isAlarm := regexp.MustCompile(`^alarm[A-Z]\w*$`)
	read("../rules", func(n ast.Node) {
		if v, ok := n.(*ast.ValueSpec); ok && isAlarm.MatchString(v.Names[0].Name) && len(v.Values) == 1 {
			if lit, ok := v.Values[0].(*ast.BasicLit); ok && lit.Kind == token.STRING {
				alarms = append(alarms, text(lit))
			}
		}
	})
	require.Greater(t, len(sentences), 30, "the catalogue was not found")
	require.Greater(t, len(alarms), 15, "the names of alarms were not found")
	return sentences, alarms
}

// TestEveryAlarmHasAShort: whatever alarm the rules or the catalogue know, there
// is one thing to do about it that fits an SMS.
func TestEveryAlarmHasAShort(t *testing.T) {
	sentences, alarms := sourceNames(t)
	for _, name := range append(sentences, alarms...) {
		name, _, _ = strings.Cut(name, "/")
		require.NotEmpty(t, shorts[name], name)
	}
	for key := range shorts {
		name, _, _ := strings.Cut(key, "/")
		require.True(t, slices.ContainsFunc(sentences, func(s string) bool { return s == name || strings.HasPrefix(s, name+"/") }), "%s is no alarm", key)
	}
}

// TestNoMessageSendsAnybodyIn plays every alarm of the catalogue in every state,
// by day and by night, waking and not, and reads all that is written.
func TestNoMessageSendsAnybodyIn(t *testing.T) {
	sentences, alarms := sourceNames(t)
	read := 0
	for _, key := range append(append(sentences, alarms...), "one-nobody-knows") {
		name, code, _ := strings.Cut(key, "/")
		for _, start := range []string{"2026-03-01 09:00", "2026-03-01 23:00"} {
			for _, wake := range []bool{false, true} {
				a := of(name, logbook.PriorityHigh, wake)
				a.Code, a.Line, a.Point, a.Channel = code, "north top", "door\r\nEmergency: none", "s2-door"
				read += readAll(t, a, start)
			}
		}
	}
	t.Logf("%d messages read", read)
	require.Greater(t, read, 1000)
}

// readAll plays the life of an alarm and lints each message of it.
func readAll(t *testing.T, a *logbook.Alarm, start string) (read int) {
	f := feedAt(t, wired(), start)
	look := func(out []sqlite.Outgoing) {
		for _, o := range out {
			read++
			lintLetter(t, f, a, o)
		}
	}
	look(f.fold(a))
	look(f.fold(of("uneven-gas", logbook.PriorityHigh, a.Wake)))
	look(f.after(16 * time.Minute)) // repeated
	for range 3 {
		look(f.after(4 * time.Hour)) // into the day or the night
	}
	look(f.fold(in(logbook.AlarmSeen, a, "S. Rai")))
	look(f.fold(in(logbook.AlarmCleared, a, "")))
	look(f.after(time.Hour))
	look(f.after(12 * time.Hour))
	for _, state := range []string{logbook.GateCleared, logbook.GateAiring, logbook.GateCheckOwed, logbook.GateCleared, logbook.GateShut} {
		look(f.fold(&logbook.Gate{Store: "Store 2", State: state, Reasons: []logbook.Reason{{Code: "point-silent", About: "door", Value: 20}}}))
	}
	look(f.after(12 * time.Hour))
	return read
}

// lintLetter reads one message as the person or program gets it.
func lintLetter(t *testing.T, f *feed, a *logbook.Alarm, o sqlite.Outgoing) {
	l := read(o)
	night := nightOf(f.Site).at(o.NotBefore)
	text := l.Text
	if o.Messenger == BySMS {
		text = l.Short
		require.Equal(t, pdu.GSM7, pdu.Best(l.Short), l.Short)
		require.LessOrEqual(t, len(pdu.Split(l.Short, pdu.GSM7, 1)), 2, l.Short)
	}
	const emergency = "Emergency: call 00 1 and the fumigator, 00 2"
	require.Empty(t, lint(text, emergency, night), "%s %s:\n%s", o.Messenger, l.Subject, text)
	require.NotContains(t, text, "\nEmergency: none", "a name makes no line of its own")
	require.NotContains(t, strings.ToLower(l.Subject), "safe")
	require.NotContains(t, l.Subject, "\n")
	if o.Messenger != BySMS && night {
		require.Contains(t, text, atNight, l.Subject)
	}
	if o.Messenger == ByMail && !night {
		require.Contains(t, text, goingIn, l.Subject)
	}
	headline, _ := words.Alarm("en", standing(a))
	if !slices.Contains(opensWithCare, a.Alarm) || !strings.Contains(l.Subject, headline[:20]) {
		return
	}
	if o.Messenger != BySMS {
		require.True(t, strings.HasPrefix(text, notAlone), text)
	} else if !strings.Contains(l.Subject, "Over: ") {
		require.Contains(t, text, map[bool]string{false: notAlone, true: laterIn}[night])
	}
}

// TestSentencesAgree: the catalogue opens the advice of these alarms with the
// same sentence, so that a mail says it once.
func TestSentencesAgree(t *testing.T) {
	for _, name := range opensWithCare {
		_, advice := words.Alarm("en", of(name, logbook.PriorityHigh, false))
		require.True(t, strings.HasPrefix(advice, notAlone), name)
		l := read(feedAt(t, wired(), "2026-03-01 12:00").fold(of(name, logbook.PriorityHigh, false))[0])
		require.Equal(t, 1, strings.Count(l.Text, notAlone), l.Text)
	}
}

// TestShortOfLongNames: nothing that matters is cut, however long names are and
// whatever their letters.
func TestShortOfLongNames(t *testing.T) {
	for _, name := range []string{strings.Repeat("Long Meadow Grain Terminal ", 9), "गोदाम नम्बर २", "Łódź", "°C₃–[x]"} {
		for _, line := range []string{"", "call the duty officer of the district's grain depots, 00 977 1 000 0000, at any hour, and the fumigator", "फोन १"} {
			s := wired()
			s.Name, s.Emergency = name, line
			for _, start := range []string{"2026-03-01 12:00", "2026-03-01 23:00"} {
				f := feedAt(t, s, start)
				a := leak(logbook.AlarmRaised)
				a.Wake, a.Stack, a.Line = true, name, name
				for _, o := range by(BySMS, f.fold(a)) {
					l := read(o)
					want := map[bool]string{true: "Emergency: " + line, false: "Emergency: call the public emergency number."}[line != ""]
					require.True(t, strings.HasSuffix(l.Short, "\n"+want), l.Short)
					require.Contains(t, l.Short, map[bool]string{false: notAlone, true: laterIn}[f.isNight()])
					require.Contains(t, l.Short, " HIGH: ")
					if pdu.Best(l.Short) == pdu.GSM7 {
						require.True(t, fits(l.Short), l.Short)
					}
				}
			}
		}
	}
	require.Equal(t, pdu.GSM7, pdu.Best(plainer.Replace("29 °C, 0.3 g/m³ PH₃ – “so” … ≥ 5 µg [x]")))
}

// TestDigestOfMany: what has no room is counted.
func TestDigestOfMany(t *testing.T) {
	f := feedAt(t, wired(), "2026-03-01 23:00")
	for i := range 20 {
		a := of("line-silent", logbook.PriorityMedium, false)
		a.Line = "line " + strconv.Itoa(i)
		f.fold(a)
	}
	l := read(by(BySMS, f.until(t, "2026-03-02 06:00"))[0])
	require.True(t, fits(l.Short), l.Short)
	require.Contains(t, l.Short, "20 alarms since 23:00: 1) Silent: ")
	require.Regexp(t, `; and 1\d more, see the pages\. Do not enter alone: `, l.Short)
}

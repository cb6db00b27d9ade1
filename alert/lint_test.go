package alert

import (
	"fmt"
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

// tongue is what the rules of the lint look for in one language, sentence by
// sentence, with all marks and letters as an SMS has them.
type tongue struct {
	goesIn, denied, atSheet *regexp.Regexp
	trained, protection     string
	daylight                *regexp.Regexp
}

var tongues = map[string]tongue{
	"en": {regexp.MustCompile(`(?i)\b(enter|enters|entering|(go|goes|going|gone|step|steps|walk|run|crawl|climb|look|send|sent) (back )?(in|inside|into))\b`),
		regexp.MustCompile(`(?i)\b(not|nobody|never|no one)\b`), regexp.MustCompile(`(?i)\b(look along|weigh (it|them) down|at the stack|under the sheet again)\b`),
		"two trained people", "breathing protection", regexp.MustCompile(`daylight`)},
	"fr": {regexp.MustCompile(`(?i)\b(entrer|entrez|entre|entrent|pénétre\p{L}*|retourne|retournez|rendez-vous)( |$|[.,;:!?])`),
		regexp.MustCompile(`(?i)\bpersonne (n'|à)|\bn'entrez pas|\bne pas\b|\bjamais\b`), regexp.MustCompile(`(?i)cherchez un passage|lestez|à la pile\b`),
		"deux personnes formées", "protection respiratoire", regexp.MustCompile(`(?i)plein jour|de jour`)},
}

var (
	promise  = regexp.MustCompile(`(?i)\bsafe|sûr|\bsur\b[,.]|sécurité|sans danger|sans risque`)
	sentence = regexp.MustCompile(`[.!?]\s|\n`)
)

// said is a sentence of the catalogue as the lint reads it.
func said(lang, key string) string { return plainer.Replace(words.Text(lang, key)) }

// lint lists what is wrong with a text that people get. The rules: it never says
// safe; it ends with the emergency line; a sentence that speaks of going in
// denies it or names two trained people, breathing protection and, by day,
// daylight; a task at the sheet has such a sentence in its text; and at night the
// text that speaks of going in says that nobody does.
func lint(lang, text, emergency string, night bool) (faults []string) {
	tongue := tongues[lang]
	if promise.MatchString(text) {
		faults = append(faults, "it says safe")
	}
	text, emergency = plainer.Replace(text), plainer.Replace(emergency)
	if !strings.HasSuffix(strings.TrimRight(text, "\n"), "\n"+emergency) {
		faults = append(faults, "it does not end with the emergency line")
	}
	dark := strings.Contains(text, said(lang, "mail/night")) || strings.Contains(text, said(lang, "sms/night-care"))
	guarded := func(s string) bool {
		return strings.Contains(s, tongue.trained) && strings.Contains(s, tongue.protection) && (tongue.daylight.MatchString(s) || dark)
	}
	speaks, cared := false, strings.Contains(text, said(lang, "two-people")) || dark || strings.Contains(text, said(lang, "mail/going-in"))
	for _, s := range sentence.Split(text, -1) {
		if guarded(s) {
			speaks = true
		}
		if tongue.goesIn.MatchString(s) && !tongue.denied.MatchString(s) && !guarded(s) {
			faults = append(faults, "it sends somebody in: "+s)
		}
		if tongue.atSheet.MatchString(s) && !cared {
			faults = append(faults, "it has a task at the sheet and does not say how: "+s)
		}
	}
	if night && speaks && !dark {
		faults = append(faults, "it is night, and it does not say that nobody goes in")
	}
	return faults
}

// TestLint: each rule finds what it is for.
func TestLint(t *testing.T) {
	const end = "\nEmergency: call"
	for lang, texts := range map[string]map[string]string{
		"en": {
			"The air is safe." + end:                                               "it says safe",
			"Leak." + end + " 1":                                                   "it does not end",
			"Go inside and look." + end:                                            "it sends somebody in",
			"One person enters with a mask." + end:                                 "it sends somebody in",
			"Two people go in with breathing protection, in daylight." + end:       "it sends somebody in", // they are not said to be trained
			"Look along the sheet's edge." + end:                                   "it has a task at the sheet",
			said("en", "mail/going-in") + end:                                      "", // by day
			said("en", "two-people") + " Look along the sheet's edge." + end:       "",
			"Nobody goes in." + end:                                                "",
			"Wait. If you go in, then two trained people: breathing protection.\n": "it does not end",
		},
		"fr": {
			"L'air est sûr." + end:                     "it says safe",
			"Fuite." + end + " 1":                      "it does not end",
			"Entrez et regardez." + end:                "it sends somebody in",
			"Une personne entre avec un masque." + end: "it sends somebody in",
			"Deux personnes peuvent entrer avec protection respiratoire, en plein jour." + end: "it sends somebody in",
			"Cherchez un passage le long de la bâche." + end:                                   "it has a task at the sheet",
			words.Text("fr", "mail/going-in") + end:                                            "",
			words.Text("fr", "two-people") + " Cherchez un passage." + end:                     "",
			"Personne n'entre." + end:                                                          "",
		},
	} {
		for text, want := range texts {
			got := strings.Join(lint(lang, text, "Emergency: call", false), "; ")
			if want == "" {
				require.Empty(t, got, text)
			} else {
				require.Contains(t, got, want, text)
			}
		}
		require.Contains(t, strings.Join(lint(lang, said(lang, "two-people")+end, "Emergency: call", true), ";"), "it is night")
		require.Contains(t, strings.Join(lint(lang, said(lang, "mail/going-in")+end, "Emergency: call", true), ";"), "it is night")
		require.Empty(t, lint(lang, said(lang, "mail/going-in-later")+end, "Emergency: call", true))
		require.Empty(t, lint(lang, said(lang, "sms/night-care")+end, "Emergency: call", true))
	}
}

// strings of the source: the keys of the map variable englishAlarms under
// logbook/words, and the constants Alarm… under rules.
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
		if !ok || v.Names[0].Name != "englishAlarms" && v.Names[0].Name != "englishFollowAlarms" {
			return
		}
		for _, e := range v.Values[0].(*ast.CompositeLit).Elts {
			sentences = append(sentences, text(e.(*ast.KeyValueExpr).Key))
		}
	})
	read("../rules/alarm", func(n ast.Node) {
		if v, ok := n.(*ast.ValueSpec); ok && v.Names[0].IsExported() && !strings.HasPrefix(v.Names[0].Name, "Code") && len(v.Values) == 1 {
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
	for _, lang := range words.Languages() {
		for _, name := range append(sentences, alarms...) {
			name, _, _ = strings.Cut(name, "/")
			require.NotEmpty(t, words.First(lang, "sms/"+name), "%s %s", lang, name)
		}
	}
}

// spoken is the wired site in a language.
func spoken(lang string) logbook.Site {
	s := wired()
	s.Language = lang
	return s
}

// TestNoMessageSendsAnybodyIn plays every alarm of the catalogue in every state,
// by day and by night, waking and not, and reads all that is written.
func TestNoMessageSendsAnybodyIn(t *testing.T) {
	if testing.Short() {
		t.Skip("plays every alarm in every language")
	}
	sentences, alarms := sourceNames(t)
	for _, lang := range words.Languages() {
		t.Run(lang, func(t *testing.T) { playAll(t, lang, sentences, alarms) })
	}
}

func playAll(t *testing.T, lang string, sentences, alarms []string) {
	read := 0
	for _, key := range append(append(sentences, alarms...), "one-nobody-knows") {
		name, code, _ := strings.Cut(key, "/")
		for _, start := range []string{"2026-03-01 09:00", "2026-03-01 23:00"} {
			for _, wake := range []bool{false, true} {
				a := of(name, logbook.PriorityHigh, wake)
				a.Code, a.Line, a.Point, a.Channel = code, "north top", "door\r\nEmergency: none", "s2-door"
				read += readAll(t, lang, a, start)
			}
		}
	}
	t.Logf("%d messages read", read)
	require.Greater(t, read, 1000)
}

// readAll plays the life of an alarm and lints each message of it.
func readAll(t *testing.T, lang string, a *logbook.Alarm, start string) (count int) {
	known := map[string]bool{}
	f := feedAt(t, spoken(lang), start)
	look := func(out []sqlite.Outgoing) {
		for _, o := range out {
			count++
			l := read(o)
			if same := fmt.Sprint(o.Messenger, o.NotBefore, l.Subject, l.Text, l.Short); !known[same] { // what goes to many is read once
				known[same] = true
				lintLetter(t, lang, f, a, o, l)
			}
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
	return count
}

// lintLetter reads one message as the person or program gets it.
func lintLetter(t *testing.T, lang string, f *feed, a *logbook.Alarm, o sqlite.Outgoing, l Letter) {
	night := NightOf(f.Site).Dark(o.NotBefore)
	text := l.Text
	if o.Messenger == BySMS {
		text = l.Short
		require.Equal(t, pdu.GSM7, pdu.Best(l.Short), l.Short)
		require.LessOrEqual(t, len(pdu.Split(l.Short, pdu.GSM7, 1)), 2, l.Short)
	}
	emergency := words.Text(lang, "mail/emergency", "{line}", "call 00 1 and the fumigator, 00 2")
	require.Empty(t, lint(lang, text, emergency, night), "%s %s:\n%s", o.Messenger, l.Subject, text)
	require.Equal(t, lang, l.Language)
	require.NotContains(t, text, "\nEmergency: none", "a name makes no line of its own")
	require.NotContains(t, text, "{", "a value that nobody put in")
	require.NotRegexp(t, promise, l.Subject)
	require.NotContains(t, l.Subject, "\n")
	if o.Messenger != BySMS && night {
		require.Contains(t, text, words.Text(lang, "mail/night"), l.Subject)
	}
	if o.Messenger == ByMail && !night {
		require.Contains(t, text, words.Text(lang, "mail/going-in"), l.Subject)
	}
	headline, _ := words.Alarm(lang, standing(a))
	over, _ := words.Alarm(lang, in(logbook.AlarmCleared, a, ""))
	if !slices.Contains(opensWithCare, a.Alarm) || !strings.Contains(l.Subject, headline[:20]) {
		return
	}
	if o.Messenger != BySMS {
		require.True(t, strings.HasPrefix(text, words.Text(lang, "two-people")), text)
	} else if !strings.Contains(l.Subject, over[:10]) {
		require.Contains(t, text, map[bool]string{false: said(lang, "two-people"), true: said(lang, "sms/night-care")}[night])
	}
}

// TestSentencesAgree: the catalogue opens the advice of these alarms with the
// same sentence, so that a mail says it once.
func TestSentencesAgree(t *testing.T) {
	for _, lang := range words.Languages() {
		open := words.Text(lang, "two-people")
		for _, name := range opensWithCare {
			_, advice := words.Alarm(lang, of(name, logbook.PriorityHigh, false))
			require.True(t, strings.HasPrefix(advice, open), name)
			l := read(feedAt(t, spoken(lang), "2026-03-01 12:00").fold(of(name, logbook.PriorityHigh, false))[0])
			require.Equal(t, 1, strings.Count(l.Text, open), l.Text)
		}
	}
}

// TestShortOfLongNames: nothing that matters is cut, however long names are and
// whatever their letters.
func TestShortOfLongNames(t *testing.T) {
	for _, lang := range words.Languages() {
		for _, name := range []string{strings.Repeat("Long Meadow Grain Terminal ", 9), "गोदाम नम्बर २", "Łódź", "°C₃–[x]", "Dépôt de l'Œuvre «Ça»"} {
			for _, line := range []string{"", "call the duty officer of the district's grain depots, 00 977 1 000 0000, at any hour, and the fumigator", "फोन १"} {
				s := spoken(lang)
				s.Name, s.Emergency = name, line
				for _, start := range []string{"2026-03-01 12:00", "2026-03-01 23:00"} {
					shortOf(t, lang, feedAt(t, s, start))
				}
			}
		}
	}
	require.Equal(t, pdu.GSM7, pdu.Best(plainer.Replace("29 °C, 0.3 g/m³ PH₃ – “so” … ≥ 5 µg [x]")))
}

// shortOf reads the SMS of a leak that wakes people.
func shortOf(t *testing.T, lang string, f *feed) {
	a := leak(logbook.AlarmRaised)
	a.Wake, a.Stack, a.Line = true, f.Site.Name, f.Site.Name
	want := said(lang, "sms/no-emergency")
	if line := f.Site.Emergency; line != "" {
		want = plainer.Replace(words.Text(lang, "mail/emergency", "{line}", line))
	}
	for _, o := range by(BySMS, f.fold(a)) {
		l := read(o)
		require.True(t, strings.HasSuffix(l.Short, "\n"+want), l.Short)
		require.Contains(t, l.Short, map[bool]string{false: said(lang, "two-people"), true: said(lang, "sms/night-care")}[f.dark()])
		require.Contains(t, l.Short, " "+words.Text(lang, "mail/high"))
		if pdu.Best(l.Short) == pdu.GSM7 {
			require.True(t, fits(l.Short), l.Short)
		}
	}
}

// TestSentencesOfAnSMS are written with the letters that an SMS has (3GPP TS 23.038,
// 6.2.1): nothing has to be put in the place of them.
func TestSentencesOfAnSMS(t *testing.T) {
	sentences, alarms := sourceNames(t)
	for _, lang := range words.Languages() {
		keys := []string{"two-people", "sms/no-emergency", "sms/night-care", "sms/still", "sms/since", "sms/taken", "sms/alarms", "sms/messages", "sms/unacknowledged",
			"sms/rest", "sms/repeat", "sms/late", "sms/do-over", "sms/do-over-leak", "sms/do-fell", "sms/do-taken", "sms/do-else"}
		for _, name := range append(sentences, alarms...) {
			keys = append(keys, "sms/"+name)
		}
		for _, key := range keys {
			s := strings.NewReplacer("\u00a0", " ", "{", "", "}", "").Replace(words.First(lang, key))
			require.Equal(t, pdu.GSM7, pdu.Best(s), "%s %s: %s", lang, key, s)
		}
	}
}

// TestEachPersonsLanguage: everybody is written to in their own language, programs
// in the site's.
func TestEachPersonsLanguage(t *testing.T) {
	s := spoken("fr")
	s.People[1].Language = "en"
	f := feedAt(t, s, "2026-03-01 12:00")
	want := map[string]string{"S. Rai": "fr", "P. Gurung": "en", "T. Lama": "fr", "D. Thapa": "fr", "board": "fr", "dispatch": "fr"}
	for _, o := range f.fold(leak(logbook.AlarmRaised)) {
		l := read(o)
		require.Equal(t, want[o.To], l.Language, o.To)
		require.Contains(t, l.Text, map[string]string{"fr": "N'entrez pas seul", "en": "Do not enter alone"}[l.Language], o.To)
	}
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

// A leak is told with what to do about it, whatever room the emergency line takes, by day
// and by night; what to do is never cut.
func TestLeakSMSSaysWhatToDo(t *testing.T) {
	for lang, want := range map[string]string{"en": "Ask the licensed fumigator.", "fr": "Demandez au fumigateur agréé."} {
		for _, at := range []string{"2026-03-01 10:00", "2026-03-01 06:30"} {
			s := wired()
			s.Language, s.Name = lang, "Hazel Ford Depot"
			s.Emergency = "Gas emergency: stay out, call 112 and the duty officer on extension 7."
			f := feedAt(t, s, at)
			l := read(by(BySMS, f.fold(leak(logbook.AlarmRaised)))[0])
			require.True(t, fits(l.Short), l.Short)
			require.Contains(t, l.Short, plainer.Replace(want))
			require.Contains(t, l.Short, s.Emergency)
		}
	}
}

package calendar_test

import (
	"bytes"
	"encoding/json"
	"os/exec"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/emersion/go-ical"
	"github.com/stretchr/testify/require"

	"undersheet/peer"
	"undersheet/web/calendar"
)

// changed is when the items of these tests last changed.
var changed = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

// item is a plain item with a text everywhere.
func item(s string) calendar.Item {
	return calendar.Item{UID: "b-7-inspection@depot", Sequence: 41, Modified: changed, Start: time.Date(2026, 3, 8, 11, 0, 0, 0, time.UTC), End: time.Date(2026, 3, 8, 12, 30, 0, 0, time.UTC),
		Summary: s, Description: s, Location: s, Reminders: []time.Duration{24 * time.Hour, 15 * time.Minute}}
}

func written(t testing.TB, items ...calendar.Item) []byte {
	t.Helper()
	body, err := (&calendar.Feed{Name: "Follow-ups", Fresh: time.Hour, Items: items}).Bytes()
	require.NoError(t, err)
	return body
}

// unfold undoes folding as RFC 5545, section 3.1, has it: a CRLF and the one white
// space after it are taken away.
func unfold(s string) string { return strings.NewReplacer("\r\n ", "", "\r\n\t", "").Replace(s) }

// lines returns the unfolded content lines.
func lines(body []byte) []string {
	return strings.Split(strings.TrimSuffix(unfold(string(body)), "\r\n"), "\r\n")
}

// The long line of RFC 5545, section 3.1, and its folded form there, hold our unfold
// to the standard; then the same line of ours is unfolded by it.
func TestFoldingExampleOfTheStandard(t *testing.T) {
	const long = "DESCRIPTION:This is a long description that exists on a long line."
	require.Equal(t, long, unfold("DESCRIPTION:This is a lo\r\n ng description\r\n  that exists on a long line."))
	it := item("x")
	it.Description = strings.Repeat("This is a long description that exists on a long line. ", 5)
	require.Contains(t, lines(written(t, it)), "DESCRIPTION:"+it.Description)
}

// RFC 5545, section 3.3.11, writes these three lines as one value.
func TestTextExampleOfTheStandard(t *testing.T) {
	it := item("x")
	it.Description = "Project XYZ Final Review\nConference Room - 3B\nCome Prepared."
	require.Contains(t, lines(written(t, it)), `DESCRIPTION:Project XYZ Final Review\nConference Room - 3B\nCome Prepared.`)
	it.Description = `a\b;c,d:e"f`
	require.Contains(t, lines(written(t, it)), `DESCRIPTION:a\\b\;c\,d:e"f`, `section 3.3.11: ESCAPED-CHAR is \\ \; \, \n; a colon and a quote stand bare`)
}

// RFC 5545, section 3.6.1, has this event of whole days: its end is exclusive.
func TestWholeDaysExampleOfTheStandard(t *testing.T) {
	got := lines(written(t, calendar.Item{UID: "20070423T123432Z-541111@example.com", Modified: time.Date(2007, 4, 23, 12, 34, 32, 0, time.UTC), WholeDay: true,
		Start: time.Date(2007, 6, 28, 0, 0, 0, 0, time.UTC), End: time.Date(2007, 7, 9, 0, 0, 0, 0, time.UTC), Summary: "Festival International de Jazz de Montreal"}))
	for _, line := range []string{"UID:20070423T123432Z-541111@example.com", "DTSTAMP:20070423T123432Z", "DTSTART;VALUE=DATE:20070628", "DTEND;VALUE=DATE:20070709",
		"SUMMARY:Festival International de Jazz de Montreal", "TRANSP:TRANSPARENT"} {
		require.Contains(t, got, line)
	}
}

// A whole day is that of the depot, not of UTC: midnight in Kampala is 21:00 UTC.
func TestWholeDayIsTheDepots(t *testing.T) {
	zone, err := time.LoadLocation("Africa/Kampala")
	require.NoError(t, err)
	got := lines(written(t, calendar.Item{UID: "u", Modified: changed, WholeDay: true, Start: time.Date(2026, 5, 31, 0, 0, 0, 0, zone), End: time.Date(2026, 6, 1, 0, 0, 0, 0, zone)}))
	require.Contains(t, got, "DTSTART;VALUE=DATE:20260531")
	require.Contains(t, got, "DTEND;VALUE=DATE:20260601")
}

func TestWhatIsNotOwedHasNoReminders(t *testing.T) {
	for status, word := range map[calendar.Status]string{calendar.Owed: "CONFIRMED", calendar.Done: "CONFIRMED", calendar.Cancelled: "CANCELLED"} {
		it := item("x")
		it.Status = status
		got := lines(written(t, it))
		require.Contains(t, got, "STATUS:"+word, "section 3.8.1.11: an event is TENTATIVE, CONFIRMED or CANCELLED")
		if status == calendar.Owed {
			require.Contains(t, got, "TRIGGER:-PT1440M")
			require.Contains(t, got, "TRIGGER:-PT15M", "section 3.8.6.3 writes 15 minutes before like this")
		} else {
			require.NotContains(t, got, "BEGIN:VALARM")
		}
	}
}

// No parameter stands twice in a property: RFC 7986, section 5.7, has
// REFRESH-INTERVAL;VALUE=DURATION:P1W.
func TestRefreshIntervalIsADuration(t *testing.T) {
	require.Subset(t, lines(written(t)), []string{"REFRESH-INTERVAL;VALUE=DURATION:PT60M", "X-PUBLISHED-TTL:PT60M", "CALSCALE:GREGORIAN"})
}

func TestItemsThatCannotBeWritten(t *testing.T) {
	for name, spoil := range map[string]func(*calendar.Item){
		"has no UID":             func(it *calendar.Item) { it.UID = "" },
		"end must come after":    func(it *calendar.Item) { it.End = it.Start.Add(-time.Second) },
		"the end must come":      func(it *calendar.Item) { it.WholeDay, it.End = true, it.Start },
		"when it last changed":   func(it *calendar.Item) { it.Modified = time.Time{} },
		"must come after the st": func(it *calendar.Item) { it.Start = time.Time{} },
	} {
		it := item("x")
		spoil(&it)
		_, err := (&calendar.Feed{Items: []calendar.Item{it}}).Bytes()
		require.ErrorContains(t, err, name)
	}
}

// hard are texts that break calendars: what is escaped, folds inside characters of
// several octets, control characters, broken UTF-8, text that looks like a property.
var hard = []string{
	"Stack B, store 2; inspect", `back\slash \n is no newline`, "two\nlines\r\nand\ra third", "bache fermée – 漏れ – 🌾🪲👩🏾‍🌾",
	strings.Repeat("🌾", 80), strings.Repeat("é", 200), strings.Repeat("x", 300), strings.Repeat("word ", 60), "> <b> a>b<c" + strings.Repeat(">", 80), "a\x00b\x1bc\x7fd",
	"broken \xff\xfe utf-8", "BEGIN:VEVENT\r\nSUMMARY:forged\r\nEND:VEVENT", " leading and trailing ", "tab\there", `"quoted": colon`, strings.Repeat(" ", 100), "^n ^^ ^'",
}

// meant is how a text must come out of a calendar.
func meant(s string) string {
	s = strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(strings.ToValidUTF8(s, "\uFFFD"))
	return strings.Map(func(r rune) rune {
		if r < ' ' && r != '\n' && r != '\t' || r == 0x7F {
			return ' '
		}
		return r
	}, s)
}

// check holds a calendar of one item to section 3.1, and has an independent parser
// (github.com/emersion/go-ical) give the text back.
func check(t testing.TB, s string) {
	t.Helper()
	body := written(t, item(s))
	for _, line := range strings.SplitAfter(string(body), "\r\n") {
		require.LessOrEqual(t, len(strings.TrimSuffix(line, "\r\n")), 75, "octets of %q", line)
		require.True(t, utf8.ValidString(line), "a fold inside a character: %q", line)
		require.False(t, strings.ContainsAny(strings.TrimSuffix(line, "\r\n"), "\r\n"), "a bare CR or LF: %q", line)
	}
	require.True(t, bytes.HasSuffix(body, []byte("END:VCALENDAR\r\n")))
	cal, err := ical.NewDecoder(bytes.NewReader(body)).Decode()
	require.NoError(t, err)
	require.Len(t, cal.Events(), 1)
	for _, prop := range []string{ical.PropSummary, ical.PropDescription, ical.PropLocation} {
		got, err := cal.Events()[0].Props.Text(prop)
		require.NoError(t, err)
		require.Equal(t, meant(s), got, prop)
	}
	require.Equal(t, body, written(t, item(s)), "the same items give the same bytes")
}

func FuzzAnyTextSurvives(f *testing.F) {
	for _, s := range hard {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if strings.TrimSpace(s) != "" {
			check(t, s)
		}
	})
}

// The whole against Debian's python3-icalendar, which many calendar programs build on.
func TestPythonReadsIt(t *testing.T) {
	const python = "/usr/bin/python3" // Debian's own, which finds Debian's packages
	if exec.Command(python, "-c", "import icalendar").Run() != nil {
		peer.Missing(t, "icalendar for Python", "python3-icalendar")
	}
	var items []calendar.Item
	for _, s := range hard {
		items = append(items, item(s))
	}
	day := item("licence of R. Amadi ends")
	day.WholeDay, day.Start, day.End, day.Status = true, time.Date(2026, 3, 31, 0, 0, 0, 0, time.UTC), time.Date(2026, 4, 1, 0, 0, 0, 0, time.UTC), calendar.Cancelled
	items = append(items, day)

	var problems bytes.Buffer
	cmd := exec.Command(python, "testdata/read.py")
	cmd.Stdin, cmd.Stderr = bytes.NewReader(written(t, items...)), &problems
	out, err := cmd.Output()
	require.NoError(t, err, problems.String())
	var got struct {
		Name, Version string
		Errors        []string
		Events        []struct {
			UID, Summary, Description, Location, Start, End, Stamp, Modified, Status string
			Sequence                                                                 int
			Alarms                                                                   []float64
		}
	}
	require.NoError(t, json.Unmarshal(out, &got))
	require.Empty(t, got.Errors)
	require.Equal(t, "Follow-ups", got.Name)
	require.Equal(t, "2.0", got.Version)
	require.Len(t, got.Events, len(items))
	for i, s := range hard {
		e, want := got.Events[i], meant(s)
		if strings.Contains(s, `\n`) { // this reader (4.0.3) undoes escapes one after the other, and so sees a newline in \\n; section 3.3.11 does not
			want = strings.ReplaceAll(want, `\n`, "\n")
		}
		require.Equal(t, []string{want, want, want}, []string{e.Summary, e.Description, e.Location})
		require.Equal(t, "2026-03-08T11:00:00+00:00", e.Start)
		require.Equal(t, "2026-03-08T12:30:00+00:00", e.End)
		require.Equal(t, []string{"2026-03-01T12:00:00+00:00", "2026-03-01T12:00:00+00:00"}, []string{e.Stamp, e.Modified})
		require.Equal(t, 41, e.Sequence)
		require.Equal(t, []float64{-1440, -15}, e.Alarms)
	}
	last := got.Events[len(hard)]
	require.Equal(t, []string{"day 2026-03-31", "day 2026-04-01", "CANCELLED"}, []string{last.Start, last.End, last.Status})
	require.Empty(t, last.Alarms)
}

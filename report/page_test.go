package report

import (
	"encoding/csv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"undersheet/logbook"
)

// elements lists the elements of a page, in order.
func elements(t *testing.T, page string) []*html.Node {
	t.Helper()
	doc, err := html.Parse(strings.NewReader(page))
	require.NoError(t, err)
	var out []*html.Node
	for n := range doc.Descendants() {
		if n.Type == html.ElementNode {
			out = append(out, n)
		}
	}
	return out
}

func attr(n *html.Node, name string) string {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val
		}
	}
	return ""
}

func textOf(n *html.Node) string {
	var b strings.Builder
	for d := range n.Descendants() {
		if d.Type == html.TextNode {
			b.WriteString(d.Data)
		}
	}
	return b.String()
}

func TestPageHasLandmarksAndHeadings(t *testing.T) {
	page, _ := both(t, soundReport(t))
	count, ids := map[string]int{}, map[string]bool{}
	for _, n := range elements(t, page) {
		if n.Namespace == "" || n.Data == "svg" {
			count[n.Data]++
		}
		if id := attr(n, "id"); id != "" {
			require.False(t, ids[id], "two elements of id %q", id)
			ids[id] = true
		}
		switch n.Data {
		case "html":
			require.Equal(t, "en", attr(n, "lang"))
		case "th":
			require.Equal(t, "col", attr(n, "scope"))
		case "script", "link", "img", "iframe":
			t.Errorf("the page holds <%s>: it must stand alone", n.Data)
		}
	}
	for _, once := range []string{"main", "footer", "h1", "title"} {
		require.Equal(t, 1, count[once], once)
	}
	require.Equal(t, 2, count["svg"])
	require.GreaterOrEqual(t, count["h2"], 14)
}

// Every row of a table has as many cells as the table has columns.
func TestTablesAreWhole(t *testing.T) {
	page, _ := both(t, soundReport(t))
	columns := 0
	for _, n := range elements(t, page) {
		if n.Data != "tr" {
			continue
		}
		cells := 0
		for c := range n.ChildNodes() {
			if c.Type != html.ElementNode {
				continue
			}
			span := 1
			if s := attr(c, "colspan"); s != "" {
				span = int(s[0] - '0')
			}
			cells += span
		}
		if n.Parent.Data == "thead" {
			columns = cells
			continue
		}
		require.Equal(t, columns, cells, textOf(n))
	}
}

// Names and notes from outside stay text, in both forms.
func TestHostileNames(t *testing.T) {
	const evil = "<script>alert(1)</script>\"'&,\r\n=1+1"
	site := depot()
	site.Name = evil
	site.Stores[0].Name = evil
	site.Stores[0].Stacks[0].Lines[0].Name = evil
	site.Stores[0].Air[0].Name = evil
	s := &story{}
	s.under(0, "A", evil, evil)
	s.read(1, "a1", 100)
	s.read(1, "door", 0.5)
	a := by(evil)
	a.Note = evil
	s.add(2, logbook.KindHandReading, &logbook.HandReading{Store: evil, Point: evil, Value: 1, Unit: "ppm", Method: evil, Act: a})
	s.add(3, logbook.KindAbandoned, &logbook.TreatmentAbandoned{OnStack: logbook.OnStack{Stack: "A"}, Why: evil, Act: a})
	r, err := Make(entries(t, s.es), site, evil, Source{})
	require.NoError(t, err)
	page, table := both(t, r)
	for _, n := range elements(t, page) {
		require.NotEqual(t, "script", n.Data)
	}
	require.Contains(t, page, "&lt;script&gt;")
	rows := parse(t, table)
	found := 0
	for _, row := range rows {
		for _, f := range row {
			if strings.Contains(f, "<script>alert(1)</script>\"'&,\n=1+1") {
				found++
			}
		}
	}
	require.Greater(t, found, 8)
}

func parse(t *testing.T, table string) [][]string {
	t.Helper()
	rd := csv.NewReader(strings.NewReader(table))
	rd.FieldsPerRecord = len(Columns)
	rows, err := rd.ReadAll()
	require.NoError(t, err)
	return rows
}

// RFC 4180: lines end with CRLF, every row has the header's fields.
func TestTableIsRFC4180(t *testing.T) {
	_, table := both(t, soundReport(t))
	rows := parse(t, table)
	require.Equal(t, Columns, rows[0])
	require.Len(t, Columns, 7)
	require.Equal(t, strings.Count(table, "\n"), strings.Count(table, "\r\n"))
	sections := map[string]int{}
	for _, row := range rows[1:] {
		sections[row[0]]++
		if row[1] != "" {
			_, err := logbook.ParseTime(row[1])
			require.NoError(t, err)
		}
	}
	for _, s := range []string{"treatment", "hour", "day", "line", "fit", "distribution", "forecast", "hand", "phase", "gate", "air", "act", "refused", "log"} {
		require.NotZero(t, sections[s], s)
	}
	require.NotContains(t, table, ",act,,,") // every act has its words
}

// Every gate record is in the table, with its limit, the limit's source and its
// reasons; on paper they are gathered by state.
func TestGateHistory(t *testing.T) {
	site := depot()
	site.Limits = "XX"
	site.LimitSets = []logbook.LimitSet{{Source: "old decree", Levels: []logbook.Level{{Name: "twa-8h", PPM: 0.2}}},
		{From: hour(20), Source: "new decree", Levels: []logbook.Level{{Name: "twa-8h", PPM: 0.1}, {Name: "ceiling", PPM: 0.15}}}}
	s := &story{}
	s.under(0, "A", "A-1", "five-day")
	s.airs(0, 40, func(h float64) float64 { return 0.1 + 0.3*float64(int(h)%2) })
	r, err := Make(entries(t, s.es), site, "A-1", Source{})
	require.NoError(t, err)
	require.Equal(t, Limit{0.1, "new decree"}, r.Limit)
	runs := r.GateRuns()
	require.Less(t, len(runs), len(r.Gates))
	records := 0
	for _, g := range runs {
		records += g.Records
	}
	require.Equal(t, len(r.Gates), records)
	page, table := both(t, r)
	require.Contains(t, page, "Limits: 0.20\u00a0ppm, old decree; 0.10\u00a0ppm, new decree.")
	require.Contains(t, page, "Stack A is under gas")
	states, reasons := 0, 0
	for _, row := range parse(t, table) {
		if row[0] == "gate" && strings.HasPrefix(row[3], "reason ") {
			reasons++
			require.NotEmpty(t, row[6])
		} else if row[0] == "gate" {
			states++
			require.Contains(t, row[6], "decree")
		}
	}
	require.Equal(t, len(r.Gates), states)
	want := 0
	for _, g := range r.Gates {
		want += len(g.Reasons)
	}
	require.Equal(t, want, reasons)
}

// The report must not call anything safe, and sends nobody in alone.
func TestNeverSaysSafe(t *testing.T) {
	page, table := both(t, soundReport(t))
	require.NotContains(t, page, "safe")
	require.NotContains(t, table, "safe")
	require.Contains(t, page, "two trained people with breathing protection, in daylight")
}

// A site whose time zone is this machine's own would print other bytes elsewhere.
func TestZoneIsTheSitesOrUTC(t *testing.T) {
	for name, want := range map[string]string{"Local": "UTC", "Nowhere/None": "UTC", "": "UTC", "Asia/Kolkata": "Asia/Kolkata"} {
		r := &Report{Site: logbook.Site{Timezone: name}}
		require.Equal(t, want, Zone(&r.Site).String())
	}
}

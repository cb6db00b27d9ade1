package season

import (
	"bytes"
	"encoding/csv"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"undersheet/logbook"
	"undersheet/report"
)

// known is a season of which every figure on paper can be worked out by hand. The depot's clock
// is an hour ahead of UTC.
func known(t *testing.T) *Season {
	t.Helper()
	zone, err := time.LoadLocation("Africa/Lagos")
	require.NoError(t, err)
	at := func(text string) logbook.Time {
		x, err := time.ParseInLocation("2006-01-02 15:04", "2026-"+text, zone)
		require.NoError(t, err)
		return logbook.At(x)
	}
	ppm := func(low, mid, high float64) logbook.Quantiles {
		return logbook.Quantiles{P05: logbook.Number(low), P50: logbook.Number(mid), P95: logbook.Number(high)}
	}
	return &Season{Source: report.Source{LogID: "0af3", Head: strings.Repeat("ab", 32), FirstSeq: 1, LastSeq: 70, Program: "v1"}, Entries: 70, Site: "Ford Mill", Zone: zone,
		Made: at("03-31 09:00"), First: at("03-01 00:00"), End: at("03-31 00:00"), From: at("03-01 00:00"), To: at("04-01 00:00"),
		Treatments: []Treatment{
			{Name: "A-1", Store: "Long Barn", Stack: "A", Lines: 2, Begun: at("03-01 07:00"), PlannedEnd: at("03-06 07:00"), Aired: at("03-06 19:00"), AirFor: 12 * time.Hour, Cleared: at("03-07 19:00"),
				Verdict: logbook.VerdictHeld, Tonnes: 100, VolumeM3: 150, Grams: 300, LossPerDay: 0.3, LossSE: 0.02, Unmatched: 3,
				Compared: []Compared{{1, ppm(150, 999, 300), 200}, {1, ppm(150, 220, 300), 200}, {6, ppm(105, 110, 120), 100}}},
			{Name: "A-2", Store: "Long Barn", Stack: "A", Lines: 2, Begun: at("03-20 07:00"), PlannedEnd: at("03-25 07:00"), Aired: at("03-27 07:00"), AirFor: 12 * time.Hour,
				Verdict: logbook.VerdictFailed, Tonnes: 50, Grams: 200, LossPerDay: 0.5, LossSE: 0.03, Compared: []Compared{{1, ppm(100, 160, 180), 200}}},
			{Name: "B-1", Store: "Round Barn", Stack: "B", Lines: 1, Begun: at("03-28 07:00"), PlannedEnd: at("04-02 07:00"), Verdict: logbook.VerdictProvisional, Tonnes: 25, VolumeM3: 50, Grams: 100}},
		Stock: []Stock{{Form: "tablets", Opening: 500, Received: 1000, Used: 300, Off: -5, Closing: 1195, Taken: 300, Disposed: 290}},
		Moves: []Move{{At: at("03-01 00:30"), Form: "tablets", About: "P-11", By: "R. Amadi", Opening: 500, In: 1000, Left: 1500}, {At: at("03-01 06:00"), Form: "tablets", About: "A", By: "R. Amadi", Opening: 1500, Used: 300, Left: 1200},
			{At: at("03-30 06:00"), Form: "tablets", By: "O. Marsh", Opening: 1200, Off: -5, Left: 1195, Counted: true}},
		Leaks:  []Place{{Store: "Long Barn", Stack: "A", Times: []logbook.Time{at("03-03 08:00")}}, {Store: "Long Barn", Stack: "A", Line: "low", Times: []logbook.Time{at("03-03 23:30"), at("03-21 08:00")}}},
		Alarms: Alarms{Raised: 6, Acknowledged: 3, Kinds: []AlarmKind{{"leak", 4, 1}, {"line-silent", 2, 2}}, Busiest: "2026-03-03", OnBusiest: 4}}
}

// page reads a page: tables and terms by the heading above them, cells and terms parted by |.
func page(t *testing.T, s *Season) (tables, terms map[string][]string) {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, s.Document("en").WriteHTML(&b))
	doc, err := html.Parse(&b)
	require.NoError(t, err)
	var text func(n *html.Node) string
	text = func(n *html.Node) (out string) {
		if n.Type == html.TextNode {
			return strings.NewReplacer("\u00a0", " ", "\u2212", "-").Replace(n.Data)
		}
		for c := range n.ChildNodes() {
			out += text(c)
		}
		return out
	}
	tables, terms = map[string][]string{}, map[string][]string{}
	heading := ""
	for n := range doc.Descendants() {
		switch n.Data {
		case "h2", "h3":
			heading = strings.TrimSpace(text(n))
		case "tr":
			if n.Parent.Data == "thead" {
				break
			}
			var row []string
			for c := range n.ChildNodes() {
				if c.Type == html.ElementNode {
					row = append(row, strings.TrimSpace(text(c)))
				}
			}
			tables[heading] = append(tables[heading], strings.Join(row, "|"))
		case "dt":
			terms[heading] = append(terms[heading], strings.TrimSpace(text(n)))
		case "dd":
			last := len(terms[heading]) - 1
			terms[heading][last] += "|" + strings.TrimSpace(text(n))
		}
	}
	return tables, terms
}

// TestPageTellsWhatComesOut, worked out by hand beside each figure.
func TestPageTellsWhatComesOut(t *testing.T) {
	tables, terms := page(t, known(t))
	require.Equal(t, []string{
		"A-1|Long Barn, A|2026-03-01 07:00|5.5|100|300|3|2|0.3|held, at two points", // 300 g / 100 t, / 150 m³; shut until 6 March 19:00
		"A-2|Long Barn, A|2026-03-20 07:00|7.0|50|200|4|—|0.5|failed, at two points",
		"B-1|Round Barn, B|2026-03-28 07:00|—|25|100|4|2|—|provisional, at one point",
		"All||||175|600|3.43|2||", // 600 / 175; of A-2 no volume is known, so (300 + 100) / 200
	}, tables["Treatments and doses"])
	require.Equal(t, []string{"Held, of those with a verdict|1 of 2", "Share|50 %", "Share, with 95 % between|1 % to 99 %", "Without a verdict yet|1"}, // 1 − √0.975 = 0.0126 and √0.975 = 0.9874
		terms["Treatments and doses"])
	require.Equal(t, []string{
		"Long Barn|A|2|0.4|1.73|0.5|2026-03-20|3", // ln 2 / 0.4 = 1.733
		"Round Barn|B|0|—|—|—|—|0",
	}, tables["How tight the sheets are"])
	require.Equal(t, []string{"Long Barn|A|all lines|1|2026-03-03 08:00", "Long Barn|A|low|2|2026-03-03 23:30; 2026-03-21 08:00"}, tables["Leaks by place"])
	require.Equal(t, []string{"Tablets|500|1000|1500|300|-5|1195|300|290"}, title(tables["Stock"])) // 500 + 1000 − 300 − 5
	require.Equal(t, []string{"2026-03-01|Tablets|500|1000|1500|||1500|P-11|R. Amadi", "2026-03-01|Tablets|1500||1500|300||1200|A|R. Amadi", "2026-03-30|Tablets|1200||1200||-5|1195||O. Marsh"}, title(tables["Stock register"]))
	require.Equal(t, []string{
		"A-1|Long Barn, A|2026-03-06 07:00|2026-03-06 19:00|0.5|2026-03-07 19:00|0.5|1.0", // aired 24 h, of which 12 must be
		"A-2|Long Barn, A|2026-03-25 07:00|2026-03-27 07:00|2.0|—|0.0|2.0",
		"All||||2.5||0.5|3.0",
	}, tables["Days lost"])
	require.Equal(t, []string{"Days of exposure that did not hold, and are to be done again|7.0"}, terms["Days lost"])
	require.Equal(t, []string{
		"1|2|0.172|-0.0639|1 of 2|50 %|1 % to 99 %", // ln(220/200) = 0.0953 and ln(160/200) = −0.2231: √(0.0589/2) and their mean
		"5 and more|1|0.0953|0.0953|0 of 1|0 %|0 % to 98 %",
	}, tables["Forecasts against what came"])
	require.Equal(t, []string{"Raised|6", "Raised a day|0.2", "Busiest day|2026-03-03, 4 alarms"}, terms["Alarms"]) // 6 in 30 days
	require.Len(t, tables["Alarms"], 3)
	for i, want := range []string{"|4|1|25 %", "|2|2|100 %", "All|6|3|50 %"} {
		require.True(t, strings.HasSuffix(tables["Alarms"][i], want), tables["Alarms"][i])
	}
	require.Equal(t, []string{"Log|0af3, entries 1 to 70", "Hash at entry 70|" + strings.Repeat("ab", 32), "This summary written by version|v1", "State as of|2026-03-31 09:00"}, terms["Where this comes from"][:4])
}

// title writes the name of a product large, however the language has it.
func title(rows []string) []string {
	for i := range rows {
		rows[i] = strings.Replace(rows[i], "tablets", "Tablets", 1)
	}
	return rows
}

// TestPageOfNothing says so, and reckons no shares of nothing.
func TestPageOfNothing(t *testing.T) {
	s := known(t)
	s.Treatments, s.Stock, s.Moves, s.Leaks, s.Alarms, s.LogID, s.Head, s.End = nil, nil, nil, nil, Alarms{}, "", "", s.First
	tables, terms := page(t, s)
	require.Empty(t, tables)
	require.Equal(t, []string{"Raised|0"}, terms["Alarms"])
	require.Equal(t, "Log|a file of 70 entries, not a logbook", terms["Where this comes from"][0])
	var b bytes.Buffer
	require.NoError(t, s.Document("en").WriteHTML(&b))
	require.Equal(t, 4, strings.Count(b.String(), ">None.<"))
	require.NotContains(t, b.String(), "NaN")
}

// TestTableHoldsTheSeason: each figure once, as it was put in, with its unit; the same sums as on
// paper, to the digit.
func TestTableHoldsTheSeason(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, known(t).WriteCSV(&b))
	require.Equal(t, strings.Count(b.String(), "\n"), strings.Count(b.String(), "\r\n"), "RFC 4180: lines end in CRLF")
	rows, err := csv.NewReader(&b).ReadAll()
	require.NoError(t, err)
	require.Equal(t, report.Columns, rows[0])
	found := map[string][]string{}
	for _, r := range rows[1:] {
		key := strings.Join([]string{r[0], r[2], r[3]}, "|")
		found[key] = append(found[key], strings.TrimSpace(strings.Join([]string{r[1], r[4], r[5], r[6]}, " ")))
	}
	for key, want := range map[string][]string{
		"season||site":                                                    {"Ford Mill"},
		"season||from":                                                    {"2026-02-28T23:00:00Z   Africa/Lagos"},
		"season||until":                                                   {"2026-03-31T23:00:00Z   Africa/Lagos"},
		"season||days told of":                                            {"30 d"},
		"season||treatments held":                                         {"1"},
		"season||treatments held: of":                                     {"2"},
		"season||treatments held: 95 % lower bound":                       {"0.0125791  Clopper-Pearson"},
		"season||treatments held: 95 % upper bound":                       {"0.987421  Clopper-Pearson"},
		"treatment|A-1|verdict":                                           {"2026-03-01T06:00:00Z   held"},
		"treatment|A-1|phosphine":                                         {"2026-03-01T06:00:00Z 300 g"},
		"treatment|A-1|tonnes":                                            {"2026-03-01T06:00:00Z 100 t"},
		"treatment|A-1|volume":                                            {"2026-03-01T06:00:00Z 150 m3"},
		"treatment|A-1|over the plan":                                     {"2026-03-01T06:00:00Z 0.5 d"},
		"treatment|A-1|airing over the least":                             {"2026-03-01T06:00:00Z 0.5 d"},
		"treatment|A-1|loss":                                              {"2026-03-01T06:00:00Z 0.3 1/d standard error 0.02"},
		"treatment|B-1|loss":                                              nil,
		"treatment|A-1|store cleared":                                     {"2026-03-07T18:00:00Z"},
		"treatment|A-2|store cleared":                                     nil,
		"treatment|B-1|planned end":                                       {"2026-04-02T06:00:00Z"},
		"sheet|Long Barn, A|treatments fitted":                            {"2"},
		"sheet|Long Barn, A|mean loss":                                    {"0.4 1/d"},
		"sheet|Long Barn, A|highest loss":                                 {"2026-03-20T06:00:00Z 0.5 1/d"},
		"sheet|Long Barn, A|leaks told":                                   {"3"},
		"sheet|Round Barn, B|mean loss":                                   nil,
		"leak|Long Barn, A|leak at this place, number":                    {"2026-03-03T07:00:00Z 1", "2026-03-03T22:30:00Z 1  low", "2026-03-21T07:00:00Z 2  low"},
		"forecast|1 days before the end|root mean square error":           {"0.171577 ln C"},
		"forecast|1 days before the end|mean error":                       {"-0.0639167 ln C"},
		"forecast|1 days before the end|inside the 90 % interval: of":     {"2"},
		"forecast|5 days or more before the end|inside the 90 % interval": {"0"},
		"forecast||not compared":                                          {"3"},
		"register|tablets|received":                                       {"2026-02-28T23:30:00Z 1000 pieces P-11"},
		"register|tablets|used":                                           {"2026-03-01T05:00:00Z 300 pieces A"},
		"register|tablets|closing balance":                                {"2026-02-28T23:30:00Z 1500 pieces R. Amadi", "2026-03-01T05:00:00Z 1200 pieces R. Amadi", "2026-03-30T05:00:00Z 1195 pieces O. Marsh"},
		"alarm|leak|raised":                                               {"4"},
		"alarm|leak|acknowledged":                                         {"1"},
		"alarm||raised on the busiest day":                                {"4  2026-03-03"},
		"log||log id":                                                     {"0af3"},
		"log||entries":                                                    {"70"},
		"log||written by":                                                 {"2026-03-31T08:00:00Z   v1"},
		"log||head":                                                       {"2026-03-31T08:00:00Z   " + strings.Repeat("ab", 32)},
	} {
		require.Equal(t, want, found[key], key)
	}
	sum := 0
	for item, sign := range map[string]int{"opening stock": 1, "received": 1, "used": -1, "put right by count": 1, "closing balance": -1} {
		got := found["stock|tablets|"+item]
		require.Len(t, got, 1, item)
		n, err := strconv.Atoi(strings.TrimSuffix(got[0], " pieces"))
		require.NoError(t, err)
		sum += sign * n
	}
	require.Zero(t, sum, "the balance closes")
}

// TestClearedAndDosedOnly: a store that is cleared 30 h after airing began has been aired longer
// than it must be by what is over the least airing of its protocol; a stack that was dosed and
// never put under gas counts from its dosing, by how it stands.
func TestClearedAndDosedOnly(t *testing.T) {
	l := story()
	airFor := made(t, l, Period{}).Treatments[1].AirFor
	l.es = slices.DeleteFunc(l.es, func(e logbook.Entry) bool { return e.Head().Time > hour(356) })
	l.add(386, logbook.KindEntryConfirmed, &logbook.EntryConfirmed{OnStore: logbook.OnStore{Store: "Long Barn"}, Act: who})
	asked := uint64(len(l.es))
	l.add(386, logbook.KindAccepted, &logbook.Accepted{Record: logbook.Record{Of: asked}, Entry: logbook.KindEntryConfirmed, Store: "Long Barn"})
	l.phase(386, "B", "B-1", logbook.PhaseWithholding, logbook.VerdictFailed)
	l.add(600, logbook.KindDosingStarted, &logbook.DosingStarted{OnStack: on("B"), StoreEmpty: true, Act: who})
	s := made(t, l, Period{})
	var cleared *Treatment
	for i := range s.Treatments {
		if s.Treatments[i].Name == "B-1" {
			cleared = &s.Treatments[i]
		}
	}
	require.Equal(t, hour(386), cleared.Cleared)
	require.InDelta(t, (30-airFor.Hours())/24, cleared.Slow(), 1e-9)
	last := s.Treatments[len(s.Treatments)-1]
	require.Equal(t, []any{"", "B", hour(600)}, []any{last.Name, last.Stack, last.Begun})
	require.Equal(t, []string{logbook.PhaseDosing, logbook.VerdictProvisional}, []string{last.Phase, last.Verdict})
}

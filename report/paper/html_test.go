package paper

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"undersheet/logbook"
	"undersheet/report/chart"
)

// sample is an invented document with every kind of block.
func sample() *Document {
	c := chart.Chart{ID: "gas", Title: "Gas under the sheet", Summary: "It falls.", XLabel: "hours", YLabel: "ppm", Width: 720, Height: 300,
		Bands:  []chart.Band{{Points: []chart.BandPoint{{X: 0, Lower: 400, Upper: 600}, {X: 120, Lower: 150, Upper: 300}}}},
		Series: []chart.Series{{Key: "A", Points: []chart.Point{{X: 0, Y: 500}, {X: 60, Y: 330}, {X: 120, Y: 210}}}, {Key: "B", Dash: 1, Points: []chart.Point{{X: 0, Y: 480}, {X: 120, Y: 190}}}},
		Levels: []chart.Level{{Name: "end level 150 ppm", Y: 150}}, Marks: []chart.Mark{{Label: "1", X: 30}}, Spans: []chart.Span{{Label: "onset", From: 40, To: 60}}}
	return &Document{Title: "Report on B & <co>", Subject: "treatment B-7", Lang: "en", Author: "Depot Długa", Foot: "Depot Długa · B-7",
		Made: logbook.At(time.Date(2026, 4, 11, 8, 0, 0, 0, time.UTC)),
		Blocks: []Block{
			Caution{"Phosphine kills.\nNobody enters."},
			Heading{1, "What was treated"},
			Paragraph{Text: "Café crème, Größe, Ελληνικά, Кириллица, 5 m³, ≥ 200 ppm, 90 % → <b>"},
			Paragraph{"Verdict: successful", Strong},
			Paragraph{"A note.", Small},
			Terms{{"Commodity", "maize"}, {"Dose", "600 g phosphine\nadded 30 g"}},
			Heading{2, "Day by day"},
			Table{Caption: "Daily means", Columns: []Column{{Title: "Line", Wide: 2}, {Title: "Lowest, ppm", Right: true}, {Title: "Highest, ppm", Right: true}},
				Rows: [][]Cell{Row("top", "210", "500"), {{Text: "low", Strong: true}, {Text: "not read", Span: 9}}}},
			Picture{Chart: c, Caption: "A top; B low."},
			List{"first", "second"},
			Signatures{"licensed fumigator", "supervisor"},
		}}
}

func written(t *testing.T, d *Document) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, d.WriteHTML(&b))
	return b.String()
}

// TestPage: a parser of HTML finds every text again as text, what tells a table's parts
// apart for those who hear it, and nothing that a browser would load or run.
func TestPage(t *testing.T) {
	page := written(t, sample())
	require.Equal(t, page, written(t, sample()), "the same document gives the same bytes")
	root, err := html.Parse(strings.NewReader(page))
	require.NoError(t, err)
	seen, said, attrs := map[string]int{}, "", map[string]int{}
	for n := range root.Descendants() {
		switch n.Type {
		case html.TextNode:
			said += n.Data + "\n"
		case html.ElementNode:
			seen[n.Data]++
			for _, a := range n.Attr {
				attrs[a.Key+"="+a.Val]++
				require.NotContains(t, []string{"src", "href", "onload", "style"}, a.Key)
			}
		}
	}
	for _, want := range []string{"Report on B & <co>", "→ <b>", "Café crème, Größe, Ελληνικά, Кириллица", "600 g phosphine\nadded 30 g", "Daily means", "not read", "It falls.", "A top; B low.", "supervisor", "Depot Długa · B-7"} {
		require.Contains(t, said, want)
	}
	for name, n := range map[string]int{"h1": 1, "h2": 1, "h3": 1, "caption": 1, "th": 3, "td": 5, "dt": 2, "svg": 1, "desc": 1, "figcaption": 1, "b": 0, "script": 0, "link": 0, "img": 0} {
		require.Equal(t, n, seen[name], name)
	}
	require.Equal(t, 3, attrs["scope=col"])
	require.Equal(t, 1, attrs["colspan=2"], "no cell goes beyond the last column")
	require.Equal(t, 1, attrs["lang=en"])
}

func TestEmptyDocumentIsAPage(t *testing.T) {
	_, err := html.Parse(strings.NewReader(written(t, &Document{})))
	require.NoError(t, err)
}

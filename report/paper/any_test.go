package paper

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"
	"pgregory.net/rapid"

	"undersheet/report/chart"
)

// TestAnyDocument: whatever a document holds in the scripts that are set, it becomes a
// page, and a file that is the same both times.
func TestAnyDocument(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringOfN(rapid.SampledFrom([]rune("aMé 1.\n\u00a0·ΩЖ-W,½\u0301🚚")), 0, 300, -1)
		texts := rapid.SliceOfN(text, 0, 5)
		block := rapid.Custom(func(t *rapid.T) Block {
			switch rapid.IntRange(0, 7).Draw(t, "kind") {
			case 0:
				return Heading{rapid.IntRange(-1, 9).Draw(t, "level"), text.Draw(t, "text")}
			case 1:
				return Paragraph{text.Draw(t, "text"), Style(rapid.IntRange(0, 3).Draw(t, "style"))}
			case 2:
				return Caution{strings.Repeat(text.Draw(t, "text"), rapid.IntRange(0, 40).Draw(t, "times"))}
			case 3:
				return Terms{{text.Draw(t, "name"), text.Draw(t, "value")}}
			case 4:
				return List(texts.Draw(t, "list"))
			case 5:
				return Signatures(texts.Draw(t, "roles"))
			case 6:
				return Picture{Chart: chart.Chart{Title: text.Draw(t, "title"), XLabel: text.Draw(t, "x"), Width: rapid.Float64Range(-1, 2000).Draw(t, "width"), Height: rapid.Float64Range(-1, 2000).Draw(t, "height")}, Caption: text.Draw(t, "caption")}
			}
			table := Table{Caption: text.Draw(t, "caption"), Columns: make([]Column, rapid.IntRange(0, 70).Draw(t, "columns"))}
			for i := range table.Columns {
				table.Columns[i] = Column{Title: rapid.SampledFrom([]string{"", "a", "two words", "onelongword"}).Draw(t, "title"), Right: i%3 == 0, Wide: rapid.Float64Range(-1, 1e9).Draw(t, "wide")}
			}
			for range rapid.IntRange(0, 60).Draw(t, "rows") {
				table.Rows = append(table.Rows, []Cell{{Text: text.Draw(t, "cell"), Span: rapid.IntRange(-1, 99).Draw(t, "span")}, {Text: "x", Strong: true}})
			}
			return table
		})
		d := &Document{Title: text.Draw(t, "title"), Foot: text.Draw(t, "foot"), Lang: rapid.SampledFrom([]string{"en", "fr", "", "x)y"}).Draw(t, "lang"), Blocks: rapid.SliceOfN(block, 0, 8).Draw(t, "blocks")}
		var first, again, page bytes.Buffer
		require.NoError(t, d.WritePDF(&first))
		require.NoError(t, d.WritePDF(&again))
		require.True(t, bytes.Equal(first.Bytes(), again.Bytes()))
		require.True(t, bytes.HasPrefix(first.Bytes(), []byte("%PDF-")))
		require.NoError(t, d.WriteHTML(&page))
		root, err := html.Parse(&page)
		require.NoError(t, err)
		said := ""
		for n := range root.Descendants() {
			if n.Type == html.TextNode {
				said += n.Data
			}
		}
		require.Contains(t, said, d.Title)
	})
}

package paper

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"undersheet/peer"
	"undersheet/report/chart"
)

// large is an invented document of many pages: 40 lines by name, long names, tables
// longer than a page, and charts.
func large(pages int) *Document {
	d := sample()
	for n := range pages {
		t := Table{Caption: fmt.Sprintf("Lines of stack %d", n+1), Columns: []Column{{Title: "Line"}, {Title: "Place and what was seen there", Wide: 2}, {Title: "Lowest, ppm", Right: true}, {Title: "Mean, ppm", Right: true}, {Title: "When"}}}
		for i := range 40 {
			t.Rows = append(t.Rows, Row(fmt.Sprintf("%d", i+1), fmt.Sprintf("Stack %d, corner %d, behind the pillar beside the northern gate at the height of the third layer", n+1, i), strconv.Itoa(200+i), strconv.Itoa(500-i), "2026-04-11\u00a008:00"))
		}
		t.Rows = append(t.Rows, Row("hash", strings.Repeat("9f86d081884c7d65", 20), "1", "2", "3"))
		c := sample().Blocks[8].(Picture)
		c.Chart.ID = fmt.Sprintf("gas-%d", n)
		d.Blocks = append(d.Blocks, Heading{1, fmt.Sprintf("Stack %d", n+1)}, Heading{2, "Readings"}, t, Heading{2, "Gas"}, c, Caution{"Nobody enters."})
	}
	return d
}

// pdf writes a document as a file and returns its path.
func pdf(t testing.TB, d *Document) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, d.WritePDF(&b))
	path := filepath.Join(t.TempDir(), "paper.pdf")
	require.NoError(t, os.WriteFile(path, b.Bytes(), 0o644))
	return path
}

// run runs a program that reads PDF, which has nothing to do with the one that wrote it.
func run(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.Command(peer.Need(t, name, "poppler-utils or qpdf"), args...).CombinedOutput()
	require.NoError(t, err, "%s: %s", name, out)
	return string(out)
}

// spaces joins what a reader of PDF parted.
func spaces(s string) string { return strings.Join(strings.Fields(s), " ") }

// TestPDFIsReadElsewhere: poppler finds the text, the properties, the bookmarks' pages
// and A4 (ISO 216: 210 mm × 297 mm), and qpdf finds no fault in the file.
func TestPDFIsReadElsewhere(t *testing.T) {
	path := pdf(t, large(2))
	text := spaces(run(t, "pdftotext", "-layout", path, "-"))
	for _, want := range []string{"Report on B & <co>", "Café crème, Größe, Ελληνικά, Кириллица, 5 m³, ≥ 200 ppm, 90 % → <b>", "Phosphine kills.", "added 30 g", "Daily means", "not read", "A top; B low.",
		"licensed fumigator", "• first", "end level 150 ppm", "onset", "Depot Długa · B-7", "page 1 of "} {
		require.Contains(t, text, want)
	}
	require.Equal(t, 3, strings.Count(text, "onset"), "one in each chart: a rim is not read as text")

	info := run(t, "pdfinfo", path)
	for _, want := range []string{`Title:\s+Report on B & <co>`, `Subject:\s+treatment B-7`, `Author:\s+Depot Długa`, `Page size:\s+595\.28 x 841\.89 pts \(A4\)`, `Producer:\s+undersheet\n`, `CreationDate:\s+Sat Apr 11 08:00:00 2026`} {
		require.Regexp(t, want, info)
	}
	pages := regexp.MustCompile(`Pages:\s+(\d+)`).FindStringSubmatch(info)[1]
	for n := 1; ; n++ {
		if strings.Contains(text, fmt.Sprintf("page %d of %s", n, pages)) {
			continue
		}
		require.Equal(t, pages, strconv.Itoa(n-1), "every page says its number, and the number of pages is that of the file")
		break
	}
	require.Contains(t, run(t, "qpdf", "--check", path), "No syntax or stream encoding errors")
}

// TestFontsAreEmbedded: a font that is not in the file would look otherwise elsewhere.
func TestFontsAreEmbedded(t *testing.T) {
	lines := strings.Split(strings.TrimSpace(run(t, "pdffonts", pdf(t, sample()))), "\n")[2:]
	require.Len(t, lines, 2, "regular and bold")
	for _, line := range lines {
		f := strings.Fields(line)
		require.Equal(t, []string{"yes", "yes"}, []string{f[len(f)-5], f[len(f)-3]}, "embedded, and with the letters' meaning: %s", line)
	}
}

// box is a page, or a word on it, as pdftotext -bbox writes them.
type box struct {
	Width  float64 `xml:"width,attr"`
	Height float64 `xml:"height,attr"`
	XMin   float64 `xml:"xMin,attr"`
	XMax   float64 `xml:"xMax,attr"`
	YMin   float64 `xml:"yMin,attr"`
	YMax   float64 `xml:"yMax,attr"`
	Words  []box   `xml:"word"`
	Text   string  `xml:",chardata"`
}

// boxes are the pages of a document with their words.
func boxes(t *testing.T, d *Document) []box {
	t.Helper()
	dec := xml.NewDecoder(strings.NewReader(run(t, "pdftotext", "-bbox", pdf(t, d), "-")))
	dec.Strict, dec.Entity = false, xml.HTMLEntity
	var pages []box
	for {
		tok, err := dec.Token()
		if errors.Is(err, io.EOF) {
			return pages
		}
		require.NoError(t, err)
		if e, ok := tok.(xml.StartElement); ok && e.Name.Local == "page" {
			var p box
			require.NoError(t, dec.DecodeElement(&p, &e))
			pages = append(pages, p)
		}
	}
}

// TestNothingLeavesThePage: every word lies inside the margins, whatever its length, and
// no two words of a page lie on each other.
func TestNothingLeavesThePage(t *testing.T) {
	d := large(1)
	d.Blocks = append(d.Blocks, Paragraph{Text: strings.Repeat("W", 900)}, Terms{{strings.Repeat("name", 60), strings.Repeat("value", 300)}}, Caution{strings.Repeat("Keep out. ", 900)}, List{strings.Repeat("x", 300)},
		Signatures{strings.Repeat("a long role ", 40), "b", "c"}, Table{Columns: make([]Column, 30), Rows: [][]Cell{Row(strings.Split(strings.Repeat("Wide ", 30), " ")...)}},
		Table{Columns: []Column{{Title: "all"}}, Rows: [][]Cell{Row(strings.Repeat("longer than a page ", 2000))}})
	d.Title, d.Foot = strings.Repeat("Long title ", 30), strings.Repeat("long foot ", 60)
	for n, page := range boxes(t, d) {
		require.InDelta(t, 210/25.4*72, page.Width, 0.01)
		require.InDelta(t, 297/25.4*72, page.Height, 0.01)
		require.NotEmpty(t, page.Words)
		for _, w := range page.Words {
			require.True(t, w.XMin >= left-1 && w.XMax <= right+1 && w.YMin >= top-3 && w.YMax <= pageHeight-20, "page %d: %+v", n+1, w)
		}
	}
}

// TestHeadsStandAgain: on every page on which a table goes on, its head is on top; no
// heading is the last on its page; the rows are all there, once and in order.
func TestHeadsStandAgain(t *testing.T) {
	d := &Document{Title: "t", Lang: "en"}
	for n := range 7 { // headings come to lie at all heights
		table := Table{Columns: []Column{{Title: "HEAD"}, {Title: "Text"}}}
		for i := range 23 + n {
			table.Rows = append(table.Rows, Row(fmt.Sprintf("row%d.%d", n, i), "two\nlines"))
		}
		d.Blocks = append(d.Blocks, Heading{1, "PART"}, Heading{2, "HEADING"}, table)
	}
	var rows []string
	for n, page := range boxes(t, d) {
		last := ""
		for i, w := range page.Words {
			if strings.HasPrefix(w.Text, "row") {
				rows = append(rows, w.Text)
			}
			if w.YMax < footLine {
				last = w.Text
			}
			if i == 0 && n > 0 {
				require.Contains(t, []string{"HEAD", "PART"}, w.Text, "page %d", n+1)
			}
		}
		require.Contains(t, []string{"two", "lines"}, last, "page %d ends with a row, whole", n+1)
	}
	want := []string{}
	for n := range 7 {
		for i := range 23 + n {
			want = append(want, fmt.Sprintf("row%d.%d", n, i))
		}
	}
	require.Equal(t, want, rows)
}

// TestWhatIsSignedStandsAboveTheSignatures: wherever on a page the lines to sign on come to lie,
// the heading and the words that are signed are on that page, too.
func TestWhatIsSignedStandsAboveTheSignatures(t *testing.T) {
	for rows := 0; rows < 40; rows += 2 {
		table := Table{Columns: []Column{{Title: "Row"}}}
		for i := range 20 + rows {
			table.Rows = append(table.Rows, Row(strconv.Itoa(i)))
		}
		d := &Document{Title: "t", Lang: "en", Blocks: []Block{table, Heading{1, "ENDORSEMENT"}, Paragraph{Text: strings.Repeat("what is signed ", 20)}, Paragraph{Text: "THELAST", Style: Small},
			Signatures{"FUMIGATOR", "SECOND", "SUPERVISOR"}}}
		for n, page := range boxes(t, d) {
			found := map[string]bool{}
			for _, w := range page.Words {
				found[w.Text] = true
			}
			for _, word := range []string{"ENDORSEMENT", "what", "THELAST", "SECOND", "SUPERVISOR"} {
				require.Equal(t, found["FUMIGATOR"], found[word], "%d rows, page %d: %s", 20+rows, n+1, word)
			}
		}
	}
}

// TestSameBytes: nothing in the file comes from a clock, from chance or from the order of
// a map; and a changed word changes the file's id.
func TestSameBytes(t *testing.T) {
	var first, again, other bytes.Buffer
	require.NoError(t, large(2).WritePDF(&first))
	require.NoError(t, large(2).WritePDF(&again))
	require.True(t, bytes.Equal(first.Bytes(), again.Bytes()))
	d := large(2)
	d.Foot += "."
	require.NoError(t, d.WritePDF(&other))
	id := regexp.MustCompile(`/ID \[<([0-9a-f]{32})> <([0-9a-f]{32})>\]`)
	a, b := id.FindSubmatch(first.Bytes()), id.FindSubmatch(other.Bytes())
	require.NotNil(t, a)
	require.NotEqual(t, string(a[1]), string(b[1]))
}

// TestScriptsThatAreRefused: what fpdf would set wrongly is not set at all. Which scripts
// join or reorder letters: Unicode Standard, chapters 9, 12 and 16.
func TestScriptsThatAreRefused(t *testing.T) {
	for name, text := range map[string]string{"Arabic": "مخزن", "Hebrew": "מחסן", "Devanagari": "गोदाम", "Khmer": "ឃ្លាំង", "Thai": "โกดัง", "Han": "仓库", "Tamil": "கிடங்கு"} {
		for place, d := range map[string]*Document{
			"title": {Title: "Depot " + text}, "paragraph": {Blocks: []Block{Paragraph{Text: text}}}, "cell": {Blocks: []Block{Table{Columns: []Column{{}}, Rows: [][]Cell{Row(text)}}}},
			"chart": {Blocks: []Block{Picture{Chart: chart.Chart{YLabel: text}}}}, "foot": {Foot: text},
		} {
			var b bytes.Buffer
			err := d.WritePDF(&b)
			var script *ErrScript
			require.ErrorAs(t, err, &script, "%s in a %s", name, place)
			require.Equal(t, name, script.Script)
			require.Contains(t, err.Error(), "on the page only")
			require.Zero(t, b.Len(), "nothing half done")
			require.NoError(t, d.WriteHTML(&b))
			require.Contains(t, b.String(), text)
		}
	}
}

// TestLettersAreNotLost: accents apart from their letters are joined, signs that the font
// lacks are seen, what nobody sees is left out; also of text that is no UTF-8.
func TestLettersAreNotLost(t *testing.T) {
	d := &Document{Title: "t", Blocks: []Block{Paragraph{Text: "Cafe\u0301 \U0001F69A a\u200bb \u202ez {nb} bad\xff Ԥ Հայ ქარ Ậ"}}}
	require.Contains(t, spaces(run(t, "pdftotext", pdf(t, d), "-")), "Café \ufffd ab z {nb} bad\ufffd Ԥ Հայ ქარ Ậ")
}

// TestChartIsVectors: the file holds no picture of dots.
func TestChartIsVectors(t *testing.T) {
	require.Len(t, strings.Split(strings.TrimSpace(run(t, "pdfimages", "-list", pdf(t, sample()))), "\n"), 2, "no image under the head of the list")
}

// TestCanvasesAgree: each word that stands on the SVG stands on paper too, at the same
// height of the chart.
func TestCanvasesAgree(t *testing.T) {
	c := sample().Blocks[8].(Picture).Chart
	d := &Document{Title: "t", Blocks: []Block{Picture{Chart: c}}}
	var svg bytes.Buffer
	require.NoError(t, c.WriteSVG(&svg))
	words := regexp.MustCompile(`<text x="([0-9.]+)" y="([0-9.]+)" text-anchor="(\w+)".*>(.*)</text>`).FindAllStringSubmatch(svg.String(), -1)
	require.Greater(t, len(words), 10)
	page := boxes(t, d)[0]
	w, _ := c.Size()
	scale := textWidth / w
	var y0 float64 // the top of the chart is known by its first word
	for i, m := range words {
		first := strings.Fields(m[4])[0]
		y, err := strconv.ParseFloat(m[2], 64)
		require.NoError(t, err)
		found := false
		for _, b := range page.Words {
			if b.Text != first {
				continue
			}
			if i == 0 {
				y0 = b.YMax - scale*y
			}
			found = found || math.Abs(b.YMax-y0-scale*y) < 1
		}
		require.True(t, found, "%q at %s", m[4], m[2])
	}
}

func BenchmarkTwentyPages(b *testing.B) {
	d := large(7)
	for b.Loop() {
		if err := d.WritePDF(io.Discard); err != nil {
			b.Fatal(err)
		}
	}
	var buf bytes.Buffer
	require.NoError(b, d.WritePDF(&buf))
	b.ReportMetric(float64(bytes.Count(buf.Bytes(), []byte("/Type /Page\n"))), "pages")
	b.ReportMetric(float64(buf.Len()), "bytes")
}

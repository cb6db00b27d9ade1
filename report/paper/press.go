package paper

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"io"
	"regexp"
	"strconv"
	"time"

	"codeberg.org/go-pdf/fpdf"

	"undersheet/logbook/words"
)

// A page of A4 (ISO 216: 210 mm × 297 mm) and its margins, in points of 1/72 inch.
const (
	millimetre  = 72 / 25.4
	pageWidth   = 210 * millimetre
	pageHeight  = 297 * millimetre
	left        = 14 * millimetre
	right       = pageWidth - 14*millimetre
	top         = 16 * millimetre
	bottom      = pageHeight - 20*millimetre // of what is printed; the foot lies below
	footLine    = pageHeight - 13*millimetre
	textWidth   = right - left
	leading     = 1.35 // height of a line, in sizes
	ascent      = 0.95 // from the top of a line to its base, in sizes
	usualSize   = 10.0
	smallSize   = 8.5
	inkUsual    = 0x11
	inkGrey     = 0x44
	inkRule     = 0xbb
	fontFamily  = "dejavu"
	madeBy      = "undersheet"
	stylePlain  = ""
	styleBold   = "B"
	widowsUpTo  = 3 // lines of a paragraph that stay together
	leastLines  = 2 // lines that stand at a page's end at least
	ruleWidth   = 0.4
	thickRule   = 0.8
	cautionRule = 1.6
)

// WritePDF writes the document as a PDF of A4 pages, each with the foot and its number.
// Charts are drawn as lines and text, never as dots; fonts are embedded; headings are
// bookmarks; a table's head stands again on each page. The same document gives the same
// bytes on every machine: its times are Made's (1970-01-01 where that is not set), its id
// the hash of what it holds.
//
// Letters are set one after the other, in Latin, Greek, Cyrillic, Armenian and Georgian
// script. A document that holds a letter of a script that runs from right to left, or
// joins or reorders its letters (Arabic, Hebrew, the scripts of India, Khmer, …), or a
// letter that the font lacks, is refused with an [*ErrScript]: such a document is for
// [Document.WriteHTML] only. Other signs that the font lacks are printed as U+FFFD, a
// mark that is seen.
func (d *Document) WritePDF(w io.Writer) error {
	var b bytes.Buffer
	if err := d.print(&b); err != nil {
		return fmt.Errorf("write %q as PDF: %w", d.Title, err)
	}
	_, err := w.Write(withID(b.Bytes()))
	return err
}

func (d *Document) print(w io.Writer) error {
	p, err := newPress(d)
	if err != nil {
		return err
	}
	parts := []part{p.title(d.Title)}
	for _, b := range d.Blocks {
		parts = append(parts, b.lay(p))
	}
	if p.letters.err != nil {
		return p.letters.err
	}
	withSigns(d.Blocks, parts[1:])
	for i := range parts {
		need := parts[i].least
		for j := i; parts[j].leads && j+1 < len(parts); j++ {
			need += parts[j+1].least
		}
		p.room(need)
		parts[i].print()
	}
	p.feet(p.clean(d.Foot), d.Lang)
	if p.letters.err != nil { // of a chart
		return p.letters.err
	}
	return p.pdf.Output(w)
}

// part is a block that was laid out.
type part struct {
	least float64 // height below which it does not begin on a page
	leads bool    // is not left alone at a page's end
	whole float64 // of a paragraph: its height
	print func()
}

// withSigns keeps lines to sign on the page of the paragraphs before them, which are what is
// signed.
func withSigns(blocks []Block, parts []part) {
	for i := range blocks {
		if _, ok := blocks[i].(Signatures); !ok {
			continue
		}
		for j := i - 1; j >= 0 && parts[j].whole > 0; j-- {
			parts[j].least, parts[j].leads = parts[j].whole, true
		}
	}
}

// press prints parts one under the other.
type press struct {
	*letters
	pdf   *fpdf.Fpdf
	y     float64 // where the next part begins
	face  face
	depth int // of the last bookmark, from 1
}

func newPress(d *Document) (*press, error) {
	l, err := openLetters()
	if err != nil {
		return nil, err
	}
	p := &press{letters: l, pdf: fpdf.New("P", "pt", "A4", "")}
	made := time.UnixMicro(int64(d.Made)).UTC()
	p.pdf.SetCreationDate(made)
	p.pdf.SetModificationDate(made)
	p.pdf.SetCatalogSort(true)
	p.pdf.SetProducer(madeBy, false)
	p.pdf.SetTitle(p.clean(d.Title), true)
	p.pdf.SetSubject(p.clean(d.Subject), true)
	p.pdf.SetAuthor(p.clean(d.Author), true)
	if languageCode.MatchString(d.Lang) {
		p.pdf.SetLang(d.Lang)
	}
	p.pdf.SetAutoPageBreak(false, 0)
	p.pdf.AddUTF8FontFromBytes(fontFamily, stylePlain, l.regular.file)
	p.pdf.AddUTF8FontFromBytes(fontFamily, styleBold, l.bold.file)
	p.use(face{size: usualSize})
	p.newPage()
	return p, p.pdf.Error()
}

var languageCode = regexp.MustCompile(`^[A-Za-z0-9-]+$`)

// use takes a face for what is written next.
func (p *press) use(f face) {
	if p.face == f {
		return
	}
	p.face = f
	style := stylePlain
	if f.bold {
		style = styleBold
	}
	p.pdf.SetFont(fontFamily, style, f.size)
}

func (p *press) newPage() {
	p.pdf.AddPage()
	p.y = top
}

// room begins a new page unless so much height is left on this one.
func (p *press) room(height float64) {
	if p.y > top && p.y+min(height, bottom-top) > bottom {
		p.newPage()
	}
}

// write writes one line of cleaned text; y is its top.
func (p *press) write(x, y float64, s string, f face) {
	if s == "" {
		return
	}
	p.use(f)
	p.ink(f)
	p.pdf.Text(x, y+ascent*f.size, s)
}

func (p *press) ink(f face) {
	grey := inkUsual
	if f.grey {
		grey = inkGrey
	}
	p.pdf.SetTextColor(grey, grey, grey)
}

// rule draws a level line over the width of the text.
func (p *press) rule(y, width float64, grey int) {
	p.pen(width, grey)
	p.pdf.Line(left, y, right, y)
}

// pen takes a plain pen for what is drawn next.
func (p *press) pen(width float64, grey int) {
	p.pdf.SetDrawColor(grey, grey, grey)
	p.pdf.SetLineWidth(width)
	p.pdf.SetDashPattern(nil, 0)
}

// lines prints lines one under the other, onto as many pages as they take; the last two
// stand on one.
func (p *press) lines(lines []string, x float64, f face) {
	for i, s := range lines {
		need := leading * f.size
		if i == len(lines)-2 {
			need *= 2
		}
		p.room(need)
		p.write(x, p.y, s, f)
		p.y += leading * f.size
	}
}

// feet writes the foot of every page, now that their number is known.
func (p *press) feet(foot, lang string) {
	f := face{size: 8, grey: true}
	pages := p.pdf.PageCount()
	for n := 1; n <= pages; n++ {
		p.pdf.SetPage(n)
		p.rule(footLine, ruleWidth, inkRule)
		number := p.clean(words.Text(lang, "paper/page", "{page}", strconv.Itoa(n), "{pages}", strconv.Itoa(pages)))
		reach := p.width(number, f)
		p.use(f)
		p.pdf.SetFontSize(f.size) // this page may know another font
		p.write(right-reach, footLine+3, number, f)
		if lines := p.wrap(foot, f, textWidth-reach-12); len(lines) > 1 {
			p.write(left, footLine+3, lines[0]+" …", f)
		} else {
			p.write(left, footLine+3, lines[0], f)
		}
	}
}

// withID puts an id into the trailer of a PDF: the hash of the rest. What follows in the
// file is found from its end, so no place in it moves.
func withID(pdf []byte) []byte {
	mark := []byte("\ntrailer\n<<\n")
	at := bytes.LastIndex(pdf, mark)
	if at < 0 {
		return pdf
	}
	sum := sha256.Sum256(pdf)
	id := fmt.Appendf(nil, "/ID [<%x> <%x>]\n", sum[:16], sum[:16])
	return bytes.Join([][]byte{pdf[:at+len(mark)], id, pdf[at+len(mark):]}, nil)
}

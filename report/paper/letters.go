package paper

import (
	"embed"
	"fmt"
	"slices"
	"strings"
	"unicode"

	"golang.org/x/image/font"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
	"golang.org/x/text/unicode/norm"

	"undersheet/logbook/words"
)

// fonts are what PDFs are set in, with their licence.
//
//go:embed fonts
var fonts embed.FS

// ErrScript tells that a text cannot be set in a PDF.
type ErrScript struct {
	Text   string // where it stands
	Letter rune   // the first one that cannot be set
	Script string // its script by the names of Unicode
}

// Error implements error.
func (e *ErrScript) Error() string {
	return "set text for PDF: " + words.Text("en", "paper/script", "{text}", e.Text, "{letter}", string(e.Letter), "{script}", e.Script)
}

// plainScripts need no shaping: each letter is one glyph after the other.
var plainScripts = []*unicode.RangeTable{unicode.Common, unicode.Inherited, unicode.Latin, unicode.Greek, unicode.Cyrillic, unicode.Armenian, unicode.Georgian}

// script names the script of a letter.
func script(r rune) string {
	for name, table := range unicode.Scripts {
		if unicode.Is(table, r) { // of one only: the order does not matter
			return name
		}
	}
	return "no script"
}

// typeface is one font file.
type typeface struct {
	file   []byte
	font   *sfnt.Font
	em     fixed.Int26_6
	buffer sfnt.Buffer
	widths map[rune]float64 // of what was asked for, in shares of the size; -1 = not in the font
}

func openTypeface(name string) (*typeface, error) {
	file, err := fonts.ReadFile("fonts/" + name)
	if err != nil {
		return nil, fmt.Errorf("open font: %w", err)
	}
	f, err := sfnt.Parse(file)
	if err != nil {
		return nil, fmt.Errorf("read font %s: %w", name, err)
	}
	return &typeface{file: file, font: f, em: fixed.I(int(f.UnitsPerEm())), widths: map[rune]float64{}}, nil
}

// width is how far a letter reaches, as a share of the size; negative where the font
// lacks it.
func (t *typeface) width(r rune) float64 {
	w, known := t.widths[r]
	if known {
		return w
	}
	w = -1
	if glyph, err := t.font.GlyphIndex(&t.buffer, r); err == nil && glyph != 0 && r <= 0xffff {
		if advance, err := t.font.GlyphAdvance(&t.buffer, glyph, t.em, font.HintingNone); err == nil {
			w = float64(advance) / float64(t.em)
		}
	}
	t.widths[r] = w
	return w
}

// face is how letters look.
type face struct {
	size float64 // points
	bold bool
	grey bool
}

// letters sets texts: it knows which letters there are, and how wide.
type letters struct {
	regular, bold *typeface
	err           error // the first text that cannot be set
}

func openLetters() (*letters, error) {
	regular, err := openTypeface("DejaVuSans.ttf")
	if err != nil {
		return nil, err
	}
	bold, err := openTypeface("DejaVuSans-Bold.ttf")
	if err != nil {
		return nil, err
	}
	return &letters{regular: regular, bold: bold}, nil
}

// width is how far a text reaches, in points. The text has been cleaned.
func (l *letters) width(s string, f face) float64 {
	t := l.regular
	if f.bold {
		t = l.bold
	}
	w := 0.0
	for _, r := range s {
		w += max(t.width(r), 0)
	}
	return w * f.size
}

// clean returns a text as it can be set. Accents are joined with their letters and
// invisible signs left out; signs that the fonts lack, not being letters, become U+FFFD,
// which is seen. A text with a letter that cannot be set is an error: a name would be
// lost.
func (l *letters) clean(s string) string {
	if !strings.ContainsFunc(s, func(r rune) bool { return r >= 0x7f || r < ' ' && r != '\n' }) {
		return s
	}
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n':
			return r
		case r == '\t':
			return ' '
		case unicode.Is(unicode.Cf, r), r == '\r':
			return -1
		case unicode.IsLetter(r) || unicode.IsMark(r):
			if !unicode.In(r, plainScripts...) || !l.has(r) {
				if l.err == nil {
					l.err = &ErrScript{Text: s, Letter: r, Script: script(r)}
				}
				return unicode.ReplacementChar
			}
		case !l.has(r):
			return unicode.ReplacementChar
		}
		return r
	}, norm.NFC.String(s))
}

// has reports whether both fonts hold a letter.
func (l *letters) has(r rune) bool { return l.regular.width(r) >= 0 && l.bold.width(r) >= 0 }

// wrap breaks a text into lines of a width: at line breaks, else at spaces, else within
// a word that is wider than the line. The text has been cleaned.
func (l *letters) wrap(text string, f face, width float64) []string {
	var lines []string
	space := l.width(" ", f)
	for paragraph := range strings.SplitSeq(text, "\n") {
		line, used := "", 0.0
		for _, word := range strings.FieldsFunc(paragraph, func(r rune) bool { return r == ' ' }) {
			w := l.width(word, f)
			if line != "" && used+space+w <= width {
				line, used = line+" "+word, used+space+w
				continue
			}
			if line != "" {
				lines = append(lines, line)
			}
			for w > width {
				cut := l.fitting(word, f, width)
				if cut == len(word) {
					break
				}
				lines = append(lines, word[:cut])
				word = word[cut:]
				w = l.width(word, f)
			}
			line, used = word, w
		}
		lines = append(lines, line)
	}
	return slices.Clip(lines)
}

// fitting is how many bytes of a word fit into a width: one letter at least.
func (l *letters) fitting(word string, f face, width float64) int {
	used := 0.0
	for i, r := range word {
		w := l.width(string(r), f)
		if i > 0 && used+w > width {
			return i
		}
		used += w
	}
	return len(word)
}

// widest is the width of the widest line, and of the widest word, of a text as it is.
func (l *letters) widest(text string, f face) (line, word float64) {
	for part := range strings.SplitSeq(text, "\n") {
		line = max(line, l.width(part, f))
		for w := range strings.SplitSeq(part, " ") {
			word = max(word, l.width(w, f))
		}
	}
	return line, word
}

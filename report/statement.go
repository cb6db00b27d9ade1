package report

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"undersheet/logbook/words"
)

// Forms are those that a report is written in.
var forms = []string{"html", "pdf", "csv", "json"}

// Forms lists the forms that a report is written in, as the endings of file names.
func Forms() []string { return append([]string(nil), forms...) }

// Write writes the report in a form, in words of a language where it has words.
func (r *Report) Write(w io.Writer, form, lang string) error {
	switch form {
	case "html":
		return r.WriteHTML(w, lang)
	case "pdf":
		return r.WritePDF(w, lang)
	case "csv":
		return r.WriteCSV(w, lang)
	case "json":
		return r.WriteJSON(w)
	}
	return fmt.Errorf("write report: %q is no form of it: want %s", form, strings.Join(forms, ", "))
}

// Statement says in one line what a report or a season's summary was made of: by it that
// is made again and compared. It stands in every form.
type Statement struct {
	Source
	Treatment string
	Season    string // of a season instead: its days, as "2026-01-01..2026-12-31"
	Lang      string // of its words
}

// Marks that begin a statement; the version is that of the fields' order.
const (
	reportMark = "undersheet-report:1"
	seasonMark = "undersheet-season:1"
)

// Statement is the report's own, in words of a language.
func (r *Report) Statement(lang string) string {
	return Statement{Source: r.Source, Treatment: r.Course.Name, Lang: lang}.String()
}

// String writes the statement: fields with colons between them, each with nothing
// but letters, digits and -_.~% in it, so that every form holds it as it is.
func (s Statement) String() string {
	mark, of := reportMark, s.Treatment
	if s.Season != "" {
		mark, of = seasonMark, s.Season
	}
	fields := []string{mark, escaped(of), s.LogID, strconv.FormatUint(s.FirstSeq, 10), strconv.FormatUint(s.LastSeq, 10), s.Head,
		escaped(s.Program), s.Lang}
	return strings.Join(fields, ":")
}

// escaped writes a text with nothing in it that a form would write otherwise.
func escaped(s string) string { return strings.ReplaceAll(url.QueryEscape(s), "+", "%20") }

// statements finds them in a file.
var statements = regexp.MustCompile(`(` + reportMark + `|` + seasonMark + `):([\w.~%-]+):([0-9a-f]*):(\d+):(\d+):([0-9a-f]*):([\w.~%-]*):([a-z-]+)`)

// ErrNoStatement marks a file that does not say what it was made of.
var ErrNoStatement = errors.New("it holds no statement of what it was made of: it is no report and no season's summary by this program, or was changed where that stood")

// FindStatement reads the statement out of the file of a report or a season, and its form.
func FindStatement(file []byte) (s Statement, form string, err error) {
	switch {
	case bytes.HasPrefix(file, []byte("%PDF-")):
		form = "pdf"
	case bytes.HasPrefix(file, []byte("<!doctype html>")):
		form = "html"
	case bytes.HasPrefix(file, []byte("{")):
		form = "json"
	case bytes.HasPrefix(file, []byte(strings.Join(Columns, ","))):
		form = "csv"
	default:
		return s, "", fmt.Errorf("%w (it begins as no report does: want one of %s)", ErrNoStatement, strings.Join(forms, ", "))
	}
	flat := bytes.ReplaceAll(file, []byte{0}, nil) // a PDF writes its properties in UTF-16
	m := statements.FindSubmatch(flat)
	if m == nil {
		return s, form, ErrNoStatement
	}
	s.LogID, s.Head, s.Lang = string(m[3]), string(m[6]), string(m[8])
	for _, x := range []struct {
		into *uint64
		text []byte
	}{{&s.FirstSeq, m[4]}, {&s.LastSeq, m[5]}} {
		if *x.into, err = strconv.ParseUint(string(x.text), 10, 64); err != nil {
			return s, form, fmt.Errorf("%w: %w", ErrNoStatement, err)
		}
	}
	of := &s.Treatment
	if string(m[1]) == seasonMark {
		of = &s.Season
	}
	for _, x := range []struct {
		into *string
		text []byte
	}{{of, m[2]}, {&s.Program, m[7]}} {
		if *x.into, err = url.QueryUnescape(string(x.text)); err != nil {
			return s, form, fmt.Errorf("%w: %w", ErrNoStatement, err)
		}
	}
	if !slices.Contains(words.Languages(), s.Lang) {
		return s, form, fmt.Errorf("%w: it says that its words are of language %q, which this program does not speak", ErrNoStatement, s.Lang)
	}
	return s, form, nil
}

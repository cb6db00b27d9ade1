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

// Statement says in one line what a report was made of: by it the report is made again
// and compared. It stands in every form.
type Statement struct {
	Source
	Treatment string
	Lang      string // of its words
}

// statementMark begins a statement; its version is that of the fields' order.
const statementMark = "undersheet-report:1"

// Statement is the report's own, in words of a language.
func (r *Report) Statement(lang string) string {
	return Statement{r.Source, r.Course.Name, lang}.String()
}

// String writes the statement: fields with colons between them, each with nothing
// but letters, digits and -_.~% in it, so that every form holds it as it is.
func (s Statement) String() string {
	fields := []string{statementMark, escaped(s.Treatment), s.LogID, strconv.FormatUint(s.FirstSeq, 10), strconv.FormatUint(s.LastSeq, 10), s.Head,
		escaped(s.Program), s.Lang}
	return strings.Join(fields, ":")
}

// escaped writes a text with nothing in it that a form would write otherwise.
func escaped(s string) string { return strings.ReplaceAll(url.QueryEscape(s), "+", "%20") }

// statements finds them in a file.
var statements = regexp.MustCompile(regexp.QuoteMeta(statementMark) + `:([\w.~%-]+):([0-9a-f]*):(\d+):(\d+):([0-9a-f]*):([\w.~%-]*):([a-z-]+)`)

// ErrNoStatement marks a file that does not say what it was made of.
var ErrNoStatement = errors.New("it holds no statement of what it was made of: it is no report of a treatment by this program (a season's summary has none), or was changed where that stood")

// FindStatement reads the statement out of a report's file, and its form.
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
	s.LogID, s.Head, s.Lang = string(m[2]), string(m[5]), string(m[7])
	for _, x := range []struct {
		into *uint64
		text []byte
	}{{&s.FirstSeq, m[3]}, {&s.LastSeq, m[4]}} {
		if *x.into, err = strconv.ParseUint(string(x.text), 10, 64); err != nil {
			return s, form, fmt.Errorf("%w: %w", ErrNoStatement, err)
		}
	}
	for _, x := range []struct {
		into *string
		text []byte
	}{{&s.Treatment, m[1]}, {&s.Program, m[6]}} {
		if *x.into, err = url.QueryUnescape(string(x.text)); err != nil {
			return s, form, fmt.Errorf("%w: %w", ErrNoStatement, err)
		}
	}
	if !slices.Contains(words.Languages(), s.Lang) {
		return s, form, fmt.Errorf("%w: it says that its words are of language %q, which this program does not speak", ErrNoStatement, s.Lang)
	}
	return s, form, nil
}

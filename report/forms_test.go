package report

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/peer"
	"undersheet/report/paper"
)

func form(t testing.TB, r *Report, form, lang string) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, r.Write(&b, form, lang))
	return b.Bytes()
}

// The JSON form can be read strictly into a Report, which writes the same bytes: no
// field is lost, none is made up. RFC 8259 knows no NaN: the encoder would refuse it.
func TestJSONIsTheReport(t *testing.T) {
	for _, r := range []*Report{soundReport(t), report(t, eventful(), "A-1")} {
		text := form(t, r, "json", "en")
		d := json.NewDecoder(bytes.NewReader(text))
		d.DisallowUnknownFields()
		var back Report
		require.NoError(t, d.Decode(&back))
		require.Equal(t, Schema, back.Schema)
		require.Equal(t, r.Course.Name, back.Course.Name)
		var again bytes.Buffer
		require.NoError(t, back.WriteJSON(&again))
		require.Equal(t, string(text), again.String())
	}
}

// Figures have six significant digits; whole numbers and strings stay as they are.
func TestRounded(t *testing.T) {
	for in, want := range map[string]string{`{"a":0.12345678,"b":[1234567,-2.5e-09]}`: `{"a":0.123457,"b":[1234567,-2.5e-09]}`,
		`["1.23456789","\"0.1234567","a\\"]`: `["1.23456789","\"0.1234567","a\\"]`, `27935`: `27935`, `1234567.8`: `1.23457e+06`} {
		require.Equal(t, want, string(rounded([]byte(in))))
		require.True(t, json.Valid(rounded([]byte(in))))
	}
}

// Each form says what it was made of, whatever the treatment is called, and two runs
// give the same bytes.
func TestEveryFormStatesItsOrigin(t *testing.T) {
	s := &story{}
	name := "B/7 (é) <a&b>: \"x\"+%"
	s.under(0, "A", name, "five-day")
	s.read(1, "a1", 100)
	for _, f := range Forms() {
		for _, lang := range words.Languages() {
			var first []byte
			for i := range 2 {
				r, err := Make(entries(t, s.es), depot(), name, Source{LogID: "0af3", Head: "beef", Program: "v1.2+changed (x)"})
				require.NoError(t, err)
				r.FirstSeq, r.LastSeq = 7, 99
				got := form(t, r, f, lang)
				if i == 0 {
					first = got
				}
				require.Nil(t, Differs(f, first, got), "%s in %s", f, lang)
			}
			st, found, err := FindStatement(first)
			require.NoError(t, err, "%s in %s", f, lang)
			require.Equal(t, f, found)
			if f == "json" {
				lang = "en" // it holds no words
			}
			require.Equal(t, Statement{Source: Source{"0af3", 7, 99, "beef", "v1.2+changed (x)"}, Treatment: name, Lang: lang}, st)
		}
	}
	_, _, err := FindStatement([]byte("<!doctype html><p>another page"))
	require.ErrorIs(t, err, ErrNoStatement)
	_, _, err = FindStatement([]byte("PK\x03\x04"))
	require.ErrorContains(t, err, "it begins as no report does")
}

// A change is found where it is.
func TestDiffersSaysWhere(t *testing.T) {
	r := soundReport(t)
	for f, part := range map[string][2]string{"html": {"Half-life of the concentration", `the part "Half-life of the concentration"`}, "csv": {"distribution", `section "distribution"`},
		"json": {`"distribution": [`, `the field "distribution"`}, "pdf": {"\n9 0 obj", "object 9 of the PDF"}} {
		again := form(t, r, f, "en")
		at := bytes.LastIndex(again, []byte(part[0])) + len(part[0]) + 12
		changed := bytes.Clone(again)
		changed[at] ^= 1
		d := Differs(f, changed, again)
		require.NotNil(t, d)
		require.Equal(t, at, d.Byte)
		require.Contains(t, d.Where, part[1])
		require.Equal(t, len(again), Differs(f, append(bytes.Clone(again), '\n'), again).Byte, "something was added")
		require.Equal(t, len(again)-5, Differs(f, again[:len(again)-5], again).Byte, "something was cut off")
	}
}

// What a page and a PDF say is one document; here it is in both languages, with every
// text of it in words: no key is left, and nothing is said to be safe.
func TestDocumentHasItsWords(t *testing.T) {
	for _, r := range []*Report{soundReport(t), report(t, eventful(), "A-1")} {
		for _, lang := range words.Languages() {
			text := said(r.Document(lang))
			require.NotContains(t, text, "report/", lang)
			require.NotContains(t, text, "{", lang)
			require.NotContains(t, strings.ToLower(text), "safe", lang)
			require.NotContains(t, strings.ToLower(text), "sans danger", lang)
		}
	}
	french := said(soundReport(t).Document("fr"))
	for _, want := range []string{"Rapport de concentration", "La phosphine tue.", "deux personnes formées, sous protection respiratoire, en plein jour", "Demi-vie", "0,69\u00a0g/m³"} {
		require.Contains(t, french, want)
	}
}

// said is every text of a document.
func said(d *paper.Document) string {
	var b strings.Builder
	var walk func(v reflect.Value)
	walk = func(v reflect.Value) {
		switch v.Kind() {
		case reflect.String:
			b.WriteString(v.String() + "\n")
		case reflect.Struct:
			for i := range v.NumField() {
				if v.Type().Field(i).IsExported() {
					walk(v.Field(i))
				}
			}
		case reflect.Slice:
			for i := range v.Len() {
				walk(v.Index(i))
			}
		case reflect.Interface, reflect.Pointer:
			if !v.IsNil() {
				walk(v.Elem())
			}
		}
	}
	walk(reflect.ValueOf(d.Blocks))
	return d.Title + "\n" + b.String()
}

// Every field that an act may carry has a label.
func TestFieldsHaveLabels(t *testing.T) {
	var walk func(x reflect.Type, kind logbook.Kind)
	walk = func(x reflect.Type, kind logbook.Kind) {
		for i := range x.NumField() {
			f := x.Field(i)
			if f.Anonymous {
				walk(f.Type, kind)
				continue
			}
			name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
			for _, lang := range words.Languages() {
				key := "report/field/" + name
				assert.True(t, header[name] || words.Text(lang, key) != key, "%s: the field %q has no label in %q", kind, name, lang)
			}
		}
	}
	for _, k := range logbook.ActKinds {
		e, err := logbook.New(k)
		require.NoError(t, err)
		walk(reflect.TypeOf(e).Elem(), k)
	}
}

// Poppler, another program's reader of PDF, finds the report's text in its order, and
// every font is in the file.
func TestPDFByPoppler(t *testing.T) {
	for _, program := range []string{"pdftotext", "pdffonts"} {
		peer.Need(t, program, "poppler-utils")
	}
	for _, lang := range words.Languages() {
		path := filepath.Join(t.TempDir(), "report.pdf")
		require.NoError(t, os.WriteFile(path, form(t, soundReport(t), "pdf", lang), 0o600))
		out, err := exec.Command("pdftotext", "-layout", path, "-").Output()
		require.NoError(t, err)
		text, at := string(out), 0
		for _, key := range []string{"head/short", "head/treated", "head/dose", "head/instruments", "head/days", "head/forecasts", "head/residues", "head/people", "head/origin"} {
			want := words.Text(lang, "report/"+key)
			next := strings.Index(text[at:], strings.Fields(want)[0])
			require.GreaterOrEqual(t, next, 0, "%s: %s comes after what is before it", lang, want)
			at += next
		}
		require.Contains(t, text, "R. Amadi")
		out, err = exec.Command("pdffonts", path).Output()
		require.NoError(t, err)
		for _, line := range strings.Split(strings.TrimSpace(string(out)), "\n")[2:] {
			f := strings.Fields(line) // … emb sub uni object ID
			require.Equal(t, "yes", f[len(f)-5], "embedded: %s", line)
		}
	}
}

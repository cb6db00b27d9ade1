package web

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"text/template/parse"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"undersheet/logbook"
	"undersheet/logbook/words"
)

// reader asks for a page as a browser with these headers.
func reader(h http.Handler, path string, headers ...string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(http.MethodGet, path, nil)
	r.Host, r.RemoteAddr = "127.0.0.1:8080", "127.0.0.1:4321"
	for i := 0; i+1 < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

// The reader's language is the one just asked for, else the one remembered, else the
// browser's first that there is (RFC 9110, 12.5.4: by weight; a region matches its
// language), else the depot's.
func TestReadersLanguage(t *testing.T) {
	for _, c := range []struct{ path, accept, cookie, depot, want string }{
		{"/", "", "", "", "en"},
		{"/", "", "", "fr", "fr"},
		{"/", "fr-SN,fr;q=0.9,en;q=0.5", "", "", "fr"},
		{"/", "fr;q=0.2, en-GB;q=0.8", "", "fr", "en"},
		{"/", "pt-BR, sw;q=0.5", "", "fr", "fr"},
		{"/", "de, fr;q=0.4", "", "", "fr"},
		{"/", "nonsense;;;", "", "fr", "fr"},
		{"/", "fr", "lang=en", "", "en"},
		{"/", "fr", "lang=xx", "", "fr"},
		{"/?lang=fr", "en", "lang=en", "", "fr"},
		{"/?lang=xx", "en", "lang=fr", "", "fr"},
		{"/nowhere", "fr", "", "", "fr"},
	} {
		w := reader(invented().handler(Options{Lang: c.depot}), c.path, "Accept-Language", c.accept, "Cookie", c.cookie)
		require.Contains(t, w.Body.String(), `<html lang="`+c.want+`">`, "%+v", c)
		require.Equal(t, "Accept-Language, Cookie", w.Header().Get("Vary"))
		if asked := strings.HasSuffix(c.path, "=fr"); asked {
			require.Contains(t, w.Header().Get("Set-Cookie"), "lang=fr;")
		} else {
			require.Empty(t, w.Header().Get("Set-Cookie"))
		}
	}
	own := invented()
	own.view.Config.Language = "fr"
	require.Contains(t, get(own.handler(Options{}), "/").Body.String(), `<html lang="fr">`, "the site file names the depot's")
	p := parsed(t, reader(invented().handler(Options{}), "/stack/B?axis=log&lang=fr").Body.String())
	require.Contains(t, p.links, "/stack/B?axis=log&lang=en", "a page changes its language where it stands")
	require.Contains(t, p.text, "mer. 6 mai 2026 16:59")
	require.Contains(t, p.text, "3,25")
}

// everyPage are pages of the invented depot that together say all that can be said.
func everyPage() []string {
	all := []string{"/", "/store/Long%20Store", "/store/Round%20Store", "/stack/B", "/stack/B?axis=log", "/stack/C", "/stack/R", "/alarms", "/follow-ups", "/instruments", "/logbook?kind=all", "/logbook?kind=acts", "/logbook?from=x&before=y",
		"/logbook/1", "/logbook/1/correct", "/act", "/answer/1", "/plan/Long%20Store", "/plan/Long%20Store/sheet?tonnes-0=x", "/stack/B/photo", "/nowhere", "/report/none"}
	for _, q := range []string{"", "&tonnes-0=5&per_tonne=2", "&tonnes-0=5&per_tonne=2&per_m3=3", "&tonnes-0=99999", "&length-0=999", "&length-0=9", "&tonnes-0=5&temp-0=99", "&tonnes-0=5&moisture-0=99", "&tonnes-0=5&sheet_width=999", "&tonnes-0=5&form=none"} {
		all = append(all, "/plan/Long%20Store/sheet?commodity-0=wheat"+q)
	}
	for _, k := range logbook.ActKinds {
		all = append(all, "/act/"+string(k), "/act/"+string(k)+"?store=Long+Store", "/act/"+string(k)+"?stack=B")
	}
	return all
}

// bareKey is a key of the catalogue that has no sentence.
var bareKey = regexp.MustCompile(`\b(page|plan-fault|form|kind|caution|condition|answer|gate|phase|priority|state|check|where|reading|pump|proof|moment|shown|product|commodity|due|follow)/[a-z]`)

// hash is that of the end of a logbook.
var hash = regexp.MustCompile(`^[0-9a-f]{64}$`)

// named is a value that was not put into its sentence.
var named = regexp.MustCompile(`\{[a-z0-9]+\}`)

// alike are texts that stand on pages in both languages: names of the invented depot
// and of things, words that are the same, and what a source is called.
var alike = strings.Split("Elder Quay Depot|Long Store|Round Store|Long Store – Elder Quay Depot|Round Store – Elder Quay Depot|Amal Quint|the sheet was burnt|north top|south low|top|A top|A north top|B south low|door|"+
	"English|Français|undersheet test.|, Africa/Nairobi|\"from-a-newer-program\": (0, 0).|"+
	"Instruments|Instruments – Elder Quay Depot|Pages|page|Point|Photo|Correction|Phase|Message|Grain|sachets|Lasioderma serricorne|"+
	"ppm|— ppm|288 ppm|610 ± 12 ppm|1 min|4 min|15 min, ppm|8 h, ppm|L/min|CTP|CTP, ppm·h|CTP, g·h/m³", "|")

// Every page in every language says sentences, and no page in French says what it says
// in English.
func TestEveryPageInEveryLanguage(t *testing.T) {
	b, _ := acting(t)
	h := owing().handler(Options{Acts: b, Log: b})
	post(h, "/act/dose-added", doseForm)
	letters, met := regexp.MustCompile(`\p{L}{3}`), map[string]bool{}
	for _, path := range everyPage() {
		english := map[string]bool{}
		for _, lang := range words.Languages() { // en before fr
			w := reader(h, path, "Accept-Language", lang)
			require.Less(t, w.Code, 500, path)
			for _, s := range readable(t, w.Body.String()) {
				require.NotRegexp(t, bareKey, s, "%s in %s", path, lang)
				require.NotRegexp(t, named, s, "%s in %s", path, lang)
				if lang == "en" {
					english[s] = true
				} else if english[s] && letters.MatchString(s) && !hash.MatchString(s) {
					if met[s] = true; !slices.Contains(alike, s) {
						t.Errorf("%s says in French as in English: %q", path, s)
					}
				}
			}
		}
	}
	for _, s := range alike {
		require.True(t, met[s], "%q stands on no page any more", s)
	}
}

// readable are the texts of a page that people read: its text nodes and the attributes
// that are shown or read out.
func readable(t *testing.T, body string) []string {
	root, err := html.Parse(strings.NewReader(body))
	require.NoError(t, err)
	var all []string
	for n := range root.Descendants() {
		switch {
		case n.Type == html.TextNode && n.Parent.Data != "pre" && n.Parent.Data != "noscript":
			all = append(all, strings.TrimSpace(n.Data))
		case n.Type == html.ElementNode:
			for _, a := range n.Attr {
				if isRead(n.Data, a.Key) {
					all = append(all, strings.TrimSpace(a.Val))
				}
			}
		}
	}
	return all
}

// isRead reports whether people read an attribute.
func isRead(element, name string) bool {
	switch name {
	case "title", "aria-label", "placeholder", "alt", "label", "data-label":
		return true
	case "value":
		return element == "button"
	}
	return false
}

// signs are texts of templates that are in no language: units, arrows, the program's name.
var signs = regexp.MustCompile(`\b(undersheet|ppm|min|h|CTP)\b`)

// No template says anything of its own: every text that people read comes from the catalogue.
func TestTemplatesSayNothingOfTheirOwn(t *testing.T) {
	letters := regexp.MustCompile(`\p{L}`)
	for name, page := range pages["en"] {
		for _, tmpl := range page.Templates() {
			if tmpl.Tree == nil {
				continue
			}
			text := markup(tmpl.Tree.Root)
			if !strings.Contains(text, "<") && strings.Contains(text, `="`) { // attributes for the tag that it is called in
				text = "<p " + text + ">"
			}
			for _, s := range readable(t, text) {
				require.NotRegexp(t, letters, signs.ReplaceAllString(strings.ReplaceAll(s, hole, ""), ""), "%s, %q: put it into logbook/words and say its key", name, tmpl.Name())
			}
		}
	}
}

// hole stands in markup where an action of a template was.
const hole = "0"

// markup is what a template has beside its actions, of all branches.
func markup(n parse.Node) string {
	var b strings.Builder
	branches := func(parts ...*parse.ListNode) {
		for _, p := range parts {
			if p != nil {
				b.WriteString(markup(p))
			}
		}
	}
	switch n := n.(type) {
	case *parse.ListNode:
		for _, c := range n.Nodes {
			b.WriteString(markup(c))
		}
	case *parse.TextNode:
		b.Write(n.Text)
	case *parse.IfNode:
		branches(n.List, n.ElseList)
	case *parse.RangeNode:
		branches(n.List, n.ElseList)
	case *parse.WithNode:
		branches(n.List, n.ElseList)
	case *parse.ActionNode, *parse.TemplateNode:
		b.WriteString(hole)
	default:
		panic(fmt.Sprintf("a node of the kind %T", n))
	}
	return b.String()
}

// No file of the pages and forms holds a sentence: what a person reads has a key. What
// metrics are called is for programs, and stays in English.
func TestSourceHoldsNoSentence(t *testing.T) {
	sentence := regexp.MustCompile(`^\p{Lu}\p{L}* \p{L}`)
	seen := 0
	for _, glob := range []string{"*.go", "form/*.go"} {
		files, err := filepath.Glob(glob)
		require.NoError(t, err)
		for _, name := range files {
			if strings.HasSuffix(name, "_test.go") || strings.HasPrefix(name, "metrics") {
				continue
			}
			file, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.SkipObjectResolution)
			require.NoError(t, err)
			ast.Inspect(file, func(n ast.Node) bool {
				if lit, ok := n.(*ast.BasicLit); ok && lit.Kind == token.STRING {
					text, err := strconv.Unquote(lit.Value)
					require.NoError(t, err)
					seen++
					require.NotRegexp(t, sentence, text, "%s: put it into logbook/words and say its key", name)
				}
				return true
			})
		}
	}
	require.Greater(t, seen, 500)
}

package words

import (
	"cmp"
	"maps"
	"regexp"
	"slices"
	"strings"
)

// Said puts into a language what the program said in English when it wrote it down: why an
// instrument does not answer, why a payload was refused, what is wrong with a reading. What
// it does not know, as an instrument's own words, stays as it is.
func Said(lang, text string) string { return of(lang).said("said", text) }

// Source puts remarks on a source into a language; the citation stays as it is.
func Source(lang, text string) string { return of(lang).said("source", text) }

// template is an English sentence with names in braces for what changes.
type template struct {
	key     string // of its sentence in every language
	pattern *regexp.Regexp
	holes   []string // "{name}", in their order
	fixed   int      // bytes that are no hole
}

// templates are the English sentences of Said and of Source, the most particular first.
var templates = map[string][]template{"said": templatesOf("said"), "source": templatesOf("source")}

// hole is the name of what changes.
var hole = regexp.MustCompile(`\{[a-z]+\}`)

func templatesOf(kind string) []template {
	var all []template
	for _, key := range slices.Sorted(maps.Keys(english.texts)) {
		text, ok := strings.CutPrefix(key, kind+"/")
		if !ok {
			continue
		}
		t := template{key: key, holes: hole.FindAllString(text, -1)}
		parts := hole.Split(text, -1)
		for i, p := range parts {
			t.fixed += len(p)
			parts[i] = regexp.QuoteMeta(p)
		}
		t.pattern = regexp.MustCompile("^" + strings.Join(parts, "(.+?)") + "$")
		all = append(all, t)
	}
	slices.SortStableFunc(all, func(a, b template) int { return cmp.Compare(b.fixed, a.fixed) })
	return all
}

// said puts a text of a kind into the language, and what stands in its holes too; a list
// with semicolons part by part.
func (c *catalogue) said(kind, text string) string {
	if c == &english || text == "" {
		return text
	}
	for _, t := range templates[kind] {
		m := t.pattern.FindStringSubmatch(text)
		if m == nil {
			continue
		}
		var pairs []string
		for i, h := range t.holes {
			pairs = append(pairs, h, c.said(kind, m[i+1]))
		}
		return c.fill(t.key, pairs...)
	}
	if parts := strings.Split(text, "; "); len(parts) > 1 {
		for i, p := range parts {
			parts[i] = c.said(kind, p)
		}
		return strings.Join(parts, "; ")
	}
	return text
}

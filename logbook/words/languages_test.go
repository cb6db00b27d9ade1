package words

import (
	"maps"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// written are the languages as they are written, before English stands in for what
// one of them lacks.
var written = map[string]*catalogue{"en": &english, "fr": &french}

// names finds the named values of a sentence.
var names = regexp.MustCompile(`\{[a-z0-9]*\}`)

func namesOf(s string) []string {
	found := names.FindAllString(s, -1)
	slices.Sort(found)
	return slices.Compact(found)
}

// parts are the maps of a language by their names; an alarm's headline and advice
// are a sentence each.
func parts(c *catalogue) map[string]map[string]string {
	alarms := map[string]string{}
	for k, s := range c.alarms {
		alarms[k], alarms[k+" advice"] = s.headline, s.advice
	}
	return map[string]map[string]string{"reasons": c.reasons, "refused": c.refused, "findings": c.findings, "alarms": alarms, "gates": c.gates,
		"plans": c.plans, "criteria": c.criteria, "texts": c.texts, "phrase": c.phrase}
}

// Every language has the same sentences, with the same named values.
func TestLanguagesHaveTheSameSentences(t *testing.T) {
	require.Equal(t, Languages(), slices.Sorted(maps.Keys(written)))
	for lang, c := range written {
		mine := parts(c)
		for part, sentences := range parts(&english) {
			for key, want := range sentences {
				s, ok := mine[part][key]
				if !ok {
					t.Errorf("%s: %s has no sentence for %q: add it to the pair of the file where the English stands", lang, part, key)
					continue
				}
				require.NotEmpty(t, strings.TrimSpace(s), "%s: %s %q", lang, part, key)
				require.Equal(t, namesOf(want), namesOf(s), "%s: %s %q: named values", lang, part, key)
			}
			for key := range mine[part] {
				require.Contains(t, sentences, key, "%s: %s: the English has no such sentence", lang, part)
			}
		}
	}
}

// A part that is joined from several maps has each key once: a second one would be
// lost without a word.
func TestJoinedPartsShareNoKey(t *testing.T) {
	require.NotPanics(t, func() { joined(map[string]string{"a": "1"}, map[string]string{"b": "2"}) })
	require.Panics(t, func() { joined(map[string]string{"a": "1"}, map[string]string{"a": "2"}) })
}

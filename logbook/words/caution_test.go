package words

import (
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// eachWritten calls f with every sentence of every language as it is written.
func eachWritten(f func(lang, part, key, text string)) {
	for lang, c := range written {
		for part, sentences := range parts(c) {
			for key, s := range sentences {
				f(lang, part, key, s)
			}
		}
	}
}

// promises are words that may stand in no sentence of any language: nothing here
// knows that a place is without danger.
var promises = regexp.MustCompile(`(?i)\bsafe|\bsecure\b|\bharmless|\bno (risk|danger)\b|(^|[^\p{L}])sûre?(s|té|ment)?($|[^\p{L}])|sécuri|sans (aucun )?(danger|risque)|hors de danger|inoffensi|rassur`)

func TestNoSentencePromises(t *testing.T) {
	for _, s := range []string{"It is safe.", "L'air est sûr.", "sans danger", "en sécurité"} {
		require.Regexp(t, promises, s)
	}
	eachWritten(func(lang, part, key, text string) { require.NotRegexp(t, promises, text, "%s: %s %q", lang, part, key) })
}

// cautions are what a sentence may say in English that no language may leave out.
var cautions = []struct {
	english string
	in      map[string]string
}{
	{`Do not enter alone: two trained people, breathing protection, daylight; else wait`,
		map[string]string{"fr": `N'entrez pas seul : deux personnes formées, protection respiratoire, en plein jour ; sinon, attendez`}},
	{`(?i)two trained people`, map[string]string{"fr": `(?i)deux personnes formées`}},
	{`(?i)breathing (protection|apparatus)`, map[string]string{"fr": `(?i)protection respiratoire|appareils? respiratoire`}},
	{`(?i)daylight`, map[string]string{"fr": `(?i)plein jour|de jour|lumière du jour|attendez le jour`}},
	{`(?i)nobody goes`, map[string]string{"fr": `(?i)personne n'(entre|y retourne)`}},
	{`(?i)nobody (stays|works|enters)`, map[string]string{"fr": `(?i)personne n`}},
	{`(?i)by night|at night`, map[string]string{"fr": `(?i)la nuit`}},
	{`(?i)keep (the stores? )?(out|shut)`, map[string]string{"fr": `(?i)n'entrez pas|gardez les? magasins? fermé`}},
	{`(?i)do not go in`, map[string]string{"fr": `(?i)n'entrez pas`}},
	{`(?i)everybody out|bring everybody out`, map[string]string{"fr": `(?i)tout le monde (dehors|hors)|sortir tout le monde`}},
	{`(?i)upwind`, map[string]string{"fr": `(?i)d'où vient le vent|contre le vent`}},
	{`(?i)count the people`, map[string]string{"fr": `(?i)comptez les personnes`}},
	{`(?i)licensed fumigator`, map[string]string{"fr": `(?i)fumigateurs? agréé`}},
	{`(?i)emergency line`, map[string]string{"fr": `(?i)numéro d'urgence`}},
	{`(?i)fire (service|brigade)`, map[string]string{"fr": `(?i)pompiers`}},
	{`(?i)no water|water on|flames or water`, map[string]string{"fr": `(?i)pas d'eau|l'eau sur|ni eau`}},
	{`(?i)do not (start|treat)`, map[string]string{"fr": `(?i)ne (commencez|traitez) pas`}},
	{`(?i)from outside`, map[string]string{"fr": `(?i)de l'extérieur|hors du|depuis l'extérieur`}},
	{`(?i)only while (the|its) store is cleared`, map[string]string{"fr": `(?i)tant que l'interdiction du magasin est levée|seulement interdiction levée`}},
	{`(?i)only while a named person's clearance`, map[string]string{"fr": `(?i)seulement tant que vaut la levée de l'interdiction du magasin par une personne nommée`}},
	{`(?i)two people( together|, by daylight)`, map[string]string{"fr": `(?i)à deux|deux personnes`}},
	{`(?i)law`, map[string]string{"fr": `(?i)(\bloi\b)`}},
}

// No language says less than the English: what it warns of there, it warns of here.
func TestNoLanguageIsLessCautious(t *testing.T) {
	for lang, c := range written {
		if lang == "en" {
			continue
		}
		mine := parts(c)
		for _, caution := range cautions {
			in, there := caution.in[lang]
			require.True(t, there, "%s has no words for the caution %q", lang, caution.english)
			asked, met := regexp.MustCompile(caution.english), regexp.MustCompile(in)
			said := 0
			for part, sentences := range parts(&english) {
				for key, s := range sentences {
					if asked.MatchString(s) {
						said++
						require.Regexp(t, met, mine[part][key], "%s: %s %q says less than %q", lang, part, key, s)
					}
				}
			}
			require.Positive(t, said, "no sentence says %q any more", caution.english)
		}
	}
}

// goIn are calls to go into a store or up to a stack.
var goIn = regexp.MustCompile(`(?i)(^|[.;:,] +)(go (in|back|to the stack)|enter|look inside|climb)\b|(^|[^'’\p{L}])(entrez|pénétrez|retournez|montez|allez|rendez-vous)\b`)

// No sentence asks anybody to go in; night is spoken of only to say that nobody does.
func TestNoSentenceSendsAnybodyIn(t *testing.T) {
	for _, s := range []string{"Keep calm. Go in and look.", "Entrez et regardez.", "Ensuite, allez à la pile."} {
		require.Regexp(t, goIn, s)
	}
	stays := regexp.MustCompile(`(?i)nobody goes in|told not to go in|personne n'entre|consigne de ne pas entrer`)
	night := regexp.MustCompile(`(?i)\bnight|\bnuit\b`)
	eachWritten(func(lang, part, key, text string) {
		require.NotRegexp(t, goIn, text, "%s: %s %q", lang, part, key)
		if night.MatchString(text) {
			require.Regexp(t, stays, text, "%s: %s %q", lang, part, key)
		}
	})
}

// French is written with a plain space before high punctuation and the sign of per
// cent, which its style makes one that no line is broken at.
func TestFrenchSpacing(t *testing.T) {
	wrong := regexp.MustCompile(`[^ ][;?!»]|[^ 0-9]:|[^ ]%|«[^ ]|[\x{00a0}\x{202f}]`)
	for part, sentences := range parts(&french) {
		for key, s := range sentences {
			require.NotRegexp(t, wrong, s, "%s %q", part, key)
			require.NotContains(t, strings.ReplaceAll(of("fr").style.space(s), "\u00a0", "_"), " :", "%s %q", part, key)
		}
	}
}

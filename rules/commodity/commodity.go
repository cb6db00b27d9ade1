// Package commodity knows a commodity from what people write of it, in English or
// French, with or without accents: [Of] is the first call. What follows from it (a
// density, sorption) is said where it is used.
//
// It guesses nothing: words that it does not know, or that leave open what matters
// ("rice" may be in its husk or not), are [Unknown] or the wider kind.
package commodity

import (
	"slices"
	"strings"
)

// Kind is a commodity as far as gas goes.
type Kind string

// Kinds. Rice is rice of which it is not said whether it is in its husk.
const (
	Unknown    Kind = ""
	Paddy      Kind = "paddy" // rough rice, in its husk
	BrownRice  Kind = "brown rice"
	MilledRice Kind = "milled rice"
	Rice       Kind = "rice"
	Wheat      Kind = "wheat"
	Maize      Kind = "maize"
	Sorghum    Kind = "sorghum"
	Barley     Kind = "barley"
	Millet     Kind = "millet"
	Beans      Kind = "beans"
	Peas       Kind = "peas"
	Lentils    Kind = "lentils"
	Soya       Kind = "soya"
	Groundnuts Kind = "groundnuts"
	Oilseeds   Kind = "oilseeds"
	Cocoa      Kind = "cocoa"
	Coffee     Kind = "coffee"
	Flour      Kind = "flour" // and meal, bran, cake: ground
)

// words are what kinds are called, without accents and the s of a plural. Those of a
// kind further up win: flour of wheat is flour, and rice in its husk is not "husked".
var words = []struct {
	kind Kind
	of   []string
}{
	{Flour, []string{"flour", "meal", "bran", "semolina", "oilcake", "cake", "farine", "semoule", "tourteau", "tourteaux", "son de ble", "son de riz", "son de mai"}},
	{Paddy, []string{"paddy", "padi", "rough rice", "unhusked", "unhulled", "in husk", "in the husk", "non decortique", "en balle"}},
	{BrownRice, []string{"brown rice", "cargo rice", "husked rice", "hulled rice", "riz brun", "riz complet", "riz cargo", "riz decortique"}},
	{MilledRice, []string{"milled rice", "white rice", "polished rice", "broken rice", "rice milled", "rice white", "rice broken", "rice polished",
		"riz blanchi", "riz blanc", "riz usine", "riz poli", "riz brise", "brisure de riz"}},
	{Rice, []string{"rice", "riz"}},
	{Wheat, []string{"wheat", "ble", "froment"}},
	{Maize, []string{"maize", "corn", "mai"}},
	{Sorghum, []string{"sorghum", "sorgho"}},
	{Barley, []string{"barley", "orge"}},
	{Millet, []string{"millet", "mil"}},
	{Cocoa, []string{"cocoa", "cacao"}},
	{Coffee, []string{"coffee", "cafe"}},
	{Groundnuts, []string{"groundnut", "peanut", "arachide", "cacahuete", "cacahouete"}},
	{Soya, []string{"soy", "soya", "soybean", "soyabean", "soja"}},
	{Beans, []string{"bean", "cowpea", "haricot", "feve", "niebe"}},
	{Peas, []string{"pea", "chickpea", "poi", "poi chiche"}},
	{Lentils, []string{"lentil", "lentille"}},
	{Oilseeds, []string{"oilseed", "sesame", "sunflower", "rapeseed", "canola", "linseed", "flaxseed", "cottonseed", "cotton seed", "safflower", "mustard", "copra",
		"oleagineux", "tournesol", "colza", "graine de coton", "graine de lin", "carthame", "moutarde", "coprah", "karite"}},
}

// accents are the letters of French with the ones that stand for them.
var accents = strings.NewReplacer("à", "a", "â", "a", "ç", "c", "é", "e", "è", "e", "ê", "e", "ë", "e", "î", "i", "ï", "i", "ô", "o", "û", "u", "ù", "u", "œ", "oe")

// Of returns the kind that a text names, Unknown where it names none.
func Of(text string) Kind {
	fields := strings.FieldsFunc(accents.Replace(strings.ToLower(text)), func(r rune) bool { return r < 'a' || r > 'z' })
	for i, f := range fields {
		if len(f) > 3 {
			fields[i] = strings.TrimSuffix(f, "s")
		}
	}
	said := " " + strings.Join(fields, " ") + " "
	for _, w := range words {
		if slices.ContainsFunc(w.of, func(name string) bool { return strings.Contains(said, " "+name+" ") }) {
			return w.kind
		}
	}
	return Unknown
}

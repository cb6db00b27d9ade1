package words

import (
	"encoding/csv"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// What the program writes in English while it runs is said in the reader's language; what
// stands in it, as a name or another program's word, stays.
func TestSaid(t *testing.T) {
	for text, want := range map[string]string{
		"": "", "cell worn": "cell worn", "answers": "répond",
		"unit 3, function 4, registers 0 to 3: no answer within 1s":                                           "appareil 3, fonction 4, registres 0 à 3 : pas de réponse en 1s",
		"unit 3, function 4, register 0: exception 2, illegal data address":                                   "appareil 3, fonction 4, registre 0 : exception 2, adresse non admise",
		`open serial port "/dev/ttyUSB0": permission denied; another program uses it (fuser -v /dev/ttyUSB0)`: `ouverture du port série "/dev/ttyUSB0" : accès refusé ; un autre programme l'utilise (fuser -v /dev/ttyUSB0)`,
		`nothing readable came for 3m0s: the pattern does not fit the line`:                                   "rien de lisible n'est venu pendant 3m0s : le motif ne correspond pas à la ligne",
		`broker "tcp://hall:1883": nothing answers there: is the broker running, and is the port right?`:      `serveur MQTT "tcp://hall:1883" : rien n'y répond : le serveur MQTT est-il en marche, et le port est-il juste ?`,
		`record 2: a text is no reading; record 3: null is no number; and 4 more`:                             "enregistrement 2 : un texte n'est pas une mesure; enregistrement 3 : null n'est pas un nombre; et 4 autres",
	} {
		require.Equal(t, text, Said("en", text))
		require.Equal(t, want, plainSpaces(Said("fr", text)))
	}
}

func plainSpaces(s string) string {
	return strings.NewReplacer("\u00a0", " ", "\u202f", " ").Replace(s)
}

// TestSourcesAreSaid: of each published figure the remark is said in the language, the
// citation stays.
func TestSourcesAreSaid(t *testing.T) {
	english := regexp.MustCompile(`\b(abstract|summary|minimum in|exposure|secondary copy|recommended|above|below|as Berck|kills)\b`)
	for _, file := range []string{"published.csv", "shortest.csv"} {
		f, err := os.Open(filepath.Join("../../rules/efficacy", file))
		require.NoError(t, err)
		defer f.Close()
		r := csv.NewReader(f)
		r.Comment = '#'
		rows, err := r.ReadAll()
		require.NoError(t, err)
		require.Greater(t, len(rows), 5)
		for _, row := range rows[1:] {
			require.NotRegexp(t, english, Source("fr", row[len(row)-1]))
		}
	}
	require.Equal(t, "Brice & Golob 2000, J. agric. Engng Res. 76:17-26, résumé : minimum jusqu'à la fin de 7 j au moins",
		plainSpaces(Source("fr", "Brice & Golob 2000, J. agric. Engng Res. 76:17-26, abstract: minimum to the end of at least 7 d")))
	require.Equal(t, "chiffre du site : the label, page 4", plainSpaces(Source("fr", "site's own: the label, page 4")))
}

// spoken are the files whose sentences people read on the pages, and, after a colon, the
// beginnings of sentences in them that nobody does: faults of a site file, and what stands
// in the log of the daemon.
var spoken = map[string][]string{
	"sensor/modbus/bus.go": nil, "sensor/modbus/value.go": nil, "sensor/mqtt/words.go": nil, "sensor/port/device.go": nil,
	"sensor/port/port.go":      {"%s serial port", "%w: %w"},
	"sensor/frames/decoder.go": {"no reading in this line", "%q"}, "sensor/frames/watch.go": {"deliver ", " (the last of"},
	"ingest/payload/number.go": nil, "ingest/payload/senml.go": nil, "ingest/payload/units.go": nil, "ingest/payload/lines.go": nil, "ingest/payload/json.go": nil,
	"ingest/payload/payload.go": {"read payloads of", "channel %q %w", "unit %q is none of %v", "value is missing", "time_unit"},
}

// verb is a verb of package fmt.
var verb = regexp.MustCompile(`%[.0-9]*[a-z]`)

// TestEverySentenceOfSensorsIsSaid reads the sources for what they say, so that a sentence
// that is new or changed is found here.
func TestEverySentenceOfSensorsIsSaid(t *testing.T) {
	count := 0
	for file, left := range spoken {
		f, err := parser.ParseFile(token.NewFileSet(), filepath.Join("../..", file), nil, 0)
		require.NoError(t, err)
		ast.Inspect(f, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok || len(call.Args) == 0 {
				return true
			}
			fun, ok := call.Fun.(*ast.SelectorExpr)
			if !ok || !strings.Contains(" Errorf Sprintf New ", " "+fun.Sel.Name+" ") {
				return true
			}
			lit, ok := call.Args[0].(*ast.BasicLit)
			if !ok || lit.Kind != token.STRING {
				return true
			}
			text, err := strconv.Unquote(lit.Value)
			require.NoError(t, err)
			for _, l := range left {
				if strings.HasPrefix(text, l) {
					return true
				}
			}
			count++
			said := verb.ReplaceAllString(strings.Replace(text, "%w within", "no answer within", 1), "Q7")
			if Said("fr", said) == said {
				t.Errorf("%s says %q: add it to englishSaid and its pairs, or to what nobody reads", file, text)
			}
			return true
		})
	}
	require.Greater(t, count, 60)
}

// TestLimitsAreSaid: where a limit in force is from is said as each site's set of limits and
// each gate record write it; the name of the law stays as it is.
func TestLimitsAreSaid(t *testing.T) {
	require.Equal(t, "Valeurs limites d'exposition professionnelle, dans le tableau SER des limites nationales, depuis le 2007-01-01 (d'après une source secondaire)",
		plainSpaces(Source("fr", "Valeurs limites d'exposition professionnelle, in the SER table of national limits, since 2007-01-01 (from a secondary source)")))
	require.Equal(t, "Commission Directive 2006/15/EC (de mémoire : à vérifier)", plainSpaces(Source("fr", "Commission Directive 2006/15/EC (from memory: look it up)")))
	require.Equal(t, "aucun pays indiqué : 0,3 ppm fait foi", plainSpaces(Source("fr", "no country set: 0.3 ppm holds")))
	require.Equal(t, "EH40/2005, since 2007-10-01 (verified)", Source("en", "EH40/2005, since 2007-10-01 (verified)"))
}

package planned_test

import (
	"encoding/xml"
	"errors"
	"html"
	"io"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/configs"
	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/report/planned"
	"undersheet/rules/plan"
)

// sheet is a plan of two stacks, one of which something stands against.
func sheet(t *testing.T) *planned.Sheet {
	t.Helper()
	in, ok := configs.Guide("IN")
	require.True(t, ok)
	start, err := logbook.ParseTime("2026-03-01T09:00:00Z")
	require.NoError(t, err)
	p, err := plan.Make(plan.Ask{Store: "Store <9>", Guide: &in, Form: "tablets", Start: start, LeftOut: []string{"R"}, Stacks: []plan.Stack{
		{Name: "Q", Commodity: "wheat", Tonnes: 120, LengthM: 8, WidthM: 6, HeightM: 4, TempC: 29, Lines: 2}, {Name: "S", Commodity: "cottonseed", Tonnes: 90, TempC: math.NaN()}}})
	require.NoError(t, err)
	return &planned.Sheet{Plan: p, Site: "Invented depot", Lang: "en", Responsible: "Ada Moss", Phone: "555 0100", Entrances: 3}
}

// Whatever is printed has words, every figure its source beside it, and nothing says
// that a place is safe.
func TestBothForms(t *testing.T) {
	s := sheet(t)
	var page, text strings.Builder
	require.NoError(t, s.WriteHTML(&page))
	require.NoError(t, s.WriteText(&text))
	for name, out := range map[string]string{"html": page.String(), "text": text.String()} {
		for _, f := range append(s.Plan.Figures, s.Plan.Stacks[0].Figures...) {
			assert.True(t, strings.Contains(html.UnescapeString(out), f.Source), "%s: the source of %s", name, f.Code)
		}
		for _, want := range []string{"Stack R of this store is not treated", "cottonseed is on the list", "temperature of the grain is owed", "2 sampling line(s)", "The law and the label may add", "A plan is no permission", "Sand-snakes"} {
			assert.True(t, strings.Contains(out, want), "%s: %s", name, want)
		}
		assert.False(t, strings.Contains(strings.ToLower(out), "safe "), name)
		assert.False(t, strings.Contains(out, `" ("`), "a code without words in %s", name)
	}
	assert.Equal(t, 3, strings.Count(page.String(), "POISON GAS: PHOSPHINE"), "a sign for every entrance")
	contains(t, page.String(), "Store &lt;9&gt;")
	contains(t, page.String(), "Not to begin like this")
	contains(t, page.String(), "Ada Moss")
	wellFormed(t, page.String())
}

// As text a plan says all that the page says: what it rests on, when it is shut and opened,
// what stands against it, every check, the cautions.
func TestTextHasEveryPart(t *testing.T) {
	s := sheet(t)
	var b strings.Builder
	require.NoError(t, s.WriteText(&b))
	want := []string{s.Plan.Protocol, words.Plan("en", "caution", "", 0), words.Plan("en", "law-may-add", "", 0)}
	for _, at := range []logbook.Time{s.Plan.Times.Shut, s.Plan.Times.End, s.Plan.Times.AirFrom, s.Plan.Times.AirLatest} {
		want = append(want, at.Std().UTC().Format("Mon 2 January 2006 15:04"))
	}
	for _, c := range s.Plan.Checks {
		want = append(want, "[ ] "+words.Plan("en", c, "", 0))
	}
	for _, sp := range s.Plan.Stacks {
		for _, x := range sp.Says {
			want = append(want, words.Plan("en", x.Code, words.Source("en", x.About), x.Value))
		}
	}
	for _, w := range want {
		assert.Contains(t, b.String(), w)
	}
	for _, x := range s.Plan.Stacks[1].Says {
		assert.Equal(t, x.Stops, strings.Contains(b.String(), "STOP: "+words.Plan("en", x.Code, words.Source("en", x.About), x.Value)), x.Code)
	}
}

// Every check, place and sheet of a plan has words.
func TestEveryCodeHasWords(t *testing.T) {
	for _, outdoors := range []bool{true, false} {
		p, err := plan.Make(plan.Ask{Outdoors: outdoors, Stacks: []plan.Stack{{Commodity: "wheat", Tonnes: 1, TempC: 29}}})
		require.NoError(t, err)
		var b strings.Builder
		require.NoError(t, (&planned.Sheet{Plan: p, Lang: "en"}).WriteText(&b))
		assert.NotContains(t, b.String(), `":`, "a code without words")
		for _, c := range p.Checks {
			assert.NotContains(t, b.String(), "[ ] "+c+"\n")
		}
	}
}

func contains(t *testing.T, page, want string) {
	t.Helper()
	assert.True(t, strings.Contains(page, want), want)
}

// wellFormed reads a page as XML, but for the tags that HTML leaves open.
func wellFormed(t *testing.T, page string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(page))
	d.Strict, d.AutoClose, d.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	for {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			return
		} else if err != nil {
			require.NoError(t, err)
		}
	}
}

// A chance is never printed as certain, and a sign never names a day that is not known.
func TestNothingIsCertain(t *testing.T) {
	p := &plan.Plan{Store: "Store 9", Times: &plan.Times{}, Stacks: []plan.StackPlan{{Name: "Q", Courses: []plan.Course{{Sheet: "tight", Chance: 1}, {Sheet: "average", Chance: 0.5}, {Sheet: "leaky", Chance: 0}}}}}
	for _, write := range []func(*planned.Sheet, io.Writer) error{(*planned.Sheet).WriteHTML, (*planned.Sheet).WriteText} {
		var b strings.Builder
		require.NoError(t, write(&planned.Sheet{Plan: p}, &b))
		text := html.UnescapeString(b.String())
		for _, want := range []string{"over 99 %", "under 1 %", "50 %"} {
			assert.Contains(t, text, want)
		}
		assert.NotContains(t, text, "1970")
		assert.NotContains(t, text, "100 %")
	}
}

// In French the sheet says all that it says in English, but for names and citations.
func TestFrenchSheet(t *testing.T) {
	s := sheet(t)
	s.Lang = "fr"
	var page, text strings.Builder
	require.NoError(t, s.WriteHTML(&page))
	require.NoError(t, s.WriteText(&text))
	for _, want := range []string{"La phosphine tue.", "Personne n'entre", "deux personnes formées", "fumigateur agréé", "Boudins de sable", "comprimés", "pratique courante"} {
		contains(t, html.UnescapeString(page.String()), want)
	}
	assert.Equal(t, 3, strings.Count(page.String(), "GAZ TOXIQUE\u00a0: PHOSPHINE"))
	for name, out := range map[string]string{"html": page.String(), "text": text.String()} {
		for _, english := range []string{"Sampling line", "Nobody goes", "to sign", "What holds", "Not to begin", "chance to", "Expected", "Emergency", "computed", "tablets\t", "NO ENTRY"} {
			assert.NotContains(t, out, english, name)
		}
		assert.NotContains(t, out, "planned/", name)
	}
}

// TestCoursesAreDrawnAsPlanned: three points of a course by hand, on a linear axis from 0. What
// stands at 200 ppm lies half way between 0 and 400, and hour 60 half way between 0 and 120; the
// letter of a curve is that of its row in the table.
func TestCoursesAreDrawnAsPlanned(t *testing.T) {
	course := func(sheet string, ppm ...float64) plan.Course {
		return plan.Course{Sheet: sheet, Hours: []float64{0, 60, 120}, PPM: ppm, P05: 90, P50: ppm[2], P95: 310, LossPerDay: 0.25, Chance: 0.5}
	}
	p := &plan.Plan{Store: "Round Barn", Protocol: "five-day", Hours: 120, EndLevelPPM: 150, Stacks: []plan.StackPlan{{Name: "Q", Commodity: "maize",
		Courses: []plan.Course{course("tight", 0, 400, 200), course("leaky", 0, 200, 100)}}}}
	var page strings.Builder
	require.NoError(t, (&planned.Sheet{Plan: p, Lang: "en"}).WriteHTML(&page))
	require.Equal(t, 1, strings.Count(page.String(), "POISON GAS: PHOSPHINE"), "one sign, where nobody says how many entrances there are")
	var curves [][]float64 // x and y in turn
	for _, m := range regexp.MustCompile(`<path d="M([\d. L]+)" fill="none"`).FindAllStringSubmatch(page.String(), -1) {
		var places []float64
		for _, f := range strings.Fields(strings.ReplaceAll(m[1], "L", " ")) {
			v, err := strconv.ParseFloat(f, 64)
			require.NoError(t, err)
			places = append(places, v)
		}
		curves = append(curves, places)
	}
	require.Len(t, curves, 2)
	a, b := curves[0], curves[1]
	require.Len(t, a, 6)
	require.Len(t, b, 6)
	require.InDelta(t, (a[0]+a[4])/2, a[2], 0.1)
	require.InDelta(t, (a[1]+a[3])/2, a[5], 0.1)
	require.InDelta(t, a[5], b[3], 0.1)
	require.Less(t, a[3], a[1], "more gas stands higher")
	level := regexp.MustCompile(`<line x1="[\d.]+" y1="([\d.]+)"[^>]*stroke-width="2"`).FindStringSubmatch(page.String())
	require.NotNil(t, level)
	at, err := strconv.ParseFloat(level[1], 64)
	require.NoError(t, err)
	require.InDelta(t, a[1]+0.375*(a[3]-a[1]), at, 0.1, "150 of 400")
	for letter, sheet := range map[string]string{"A": "tight", "B": "leaky"} {
		contains(t, page.String(), "<td>"+letter+": "+html.EscapeString(words.Plan("en", sheet, "", 0))+"</td>")
		contains(t, page.String(), ">"+letter+"</text>")
	}
}

// TestTextNamesPlacesInOrder: the store, each stack, and each of its lines by its number.
func TestTextNamesPlacesInOrder(t *testing.T) {
	s := sheet(t)
	s.Plan.Outdoors = true
	var b strings.Builder
	require.NoError(t, s.WriteText(&b))
	lines := strings.Split(b.String(), "\n")
	assert.Contains(t, lines[0], "Store <9>")
	assert.True(t, strings.HasSuffix(lines[0], ", "+words.Text("en", "planned/outdoors")), lines[0])
	at := 0
	for i, code := range s.Plan.Stacks[0].Lines {
		place := words.Plan("en", code, "", 0)
		k := slices.IndexFunc(lines, func(l string) bool { return strings.HasSuffix(l, "  "+place) })
		require.Greater(t, k, at, "%s\n%s", place, b.String())
		assert.Contains(t, lines[k], words.Text("en", "planned/line", "{number}", strconv.Itoa(i+1)))
		at = k
	}
	assert.Greater(t, slices.IndexFunc(lines, func(l string) bool {
		return strings.HasPrefix(l, words.Text("en", "planned/stack", "{stack}", "S", "{commodity}", "cottonseed"))
	}), at, "the next stack comes after it")
	for _, sp := range s.Plan.Stacks {
		for _, x := range sp.Says {
			if x.Source != "" {
				assert.Contains(t, b.String(), words.Plan("en", x.Code, words.Source("en", x.About), x.Value)+" ("+words.Source("en", x.Source)+")")
			}
		}
	}
	s.Plan.Outdoors = false
	b.Reset()
	require.NoError(t, s.WriteText(&b))
	assert.NotContains(t, b.String(), ", "+words.Text("en", "planned/outdoors"))
}

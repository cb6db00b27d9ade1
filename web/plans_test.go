package web

import (
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"undersheet/rules/plan"
)

// plainText is what a page says, without its tags.
func plainText(t *testing.T, body string) string {
	t.Helper()
	root, err := html.Parse(strings.NewReader(body))
	require.NoError(t, err)
	var text strings.Builder
	for n := range root.Descendants() {
		if n.Type == html.TextNode {
			text.WriteString(n.Data + " ")
		}
	}
	return strings.Join(strings.Fields(text.String()), " ")
}

// The form of a plan names the stacks of the store; the plan says which of them it
// leaves out; what cannot be read comes back with the form.
func TestPlanPages(t *testing.T) {
	f := invented()
	h := f.handler(Options{Guides: []plan.Guide{{Country: "XX", Title: "made up for this test", Source: "this test", Sure: "verified",
		Doses: []plan.Laid{{PerTonne: 2, Words: "2 g a tonne"}}, Exposures: []plan.Exposure{{Hours: 144, Words: "6 days"}}}}})
	require.Contains(t, parsed(t, get(h, "/store/Long%20Store").Body.String()).links, "/plan/Long%20Store")
	asked := parsed(t, get(h, "/plan/Long%20Store").Body.String())
	for _, s := range f.view.Stores[0].Stacks {
		require.Contains(t, asked.text, "Stack "+s.Name)
	}
	w := get(h, "/plan/Long%20Store/sheet?commodity-0=wheat&tonnes-0=100&temp-0=28&guide=XX&form=tablets&start=2026-06-01T09:00")
	require.Equal(t, http.StatusOK, w.Code, w.Body.String())
	require.Contains(t, w.Header().Get("Content-Security-Policy"), "sandbox")
	text := plainText(t, w.Body.String())
	for _, want := range []string{"Shortest exposure 144 h", "Phosphine in all 200 g", "200 tablets", "6 days: this test", "Mon 1 June 2026 09:00"} {
		require.Contains(t, text, want)
	}
	if n := len(f.view.Stores[0].Stacks); n > 1 {
		require.Contains(t, text, "is not treated with the others")
	}
	for query, want := range map[string]string{"": "no stack is planned", "?commodity-0=wheat&tonnes-0=1,000": "two ways", "?commodity-0=wheat": "tonnes or length", "?commodity-0=wheat&tonnes-0=5&per_tonne=2": "needs its source"} {
		w := get(h, "/plan/Long%20Store/sheet"+query)
		require.Equal(t, http.StatusUnprocessableEntity, w.Code, query)
		require.Contains(t, plainText(t, w.Body.String()), want)
	}
	require.Equal(t, http.StatusNotFound, get(h, "/plan/nowhere").Code)
}

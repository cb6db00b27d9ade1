package web

import (
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// The season is shown as a page that loads and runs nothing, as a table and on paper.
func TestSeason(t *testing.T) {
	h := invented().handler(Options{Log: treated(t, "B-7")})
	w := get(h, "/season")
	require.Equal(t, http.StatusOK, w.Code)
	require.Contains(t, w.Body.String(), "B-7")
	require.Contains(t, w.Header().Get("Content-Security-Policy"), "sandbox")
	w = get(h, "/season.csv?from=2026-01-01&to=2026-12-31")
	require.Contains(t, w.Header().Get("Content-Type"), "text/csv")
	require.Contains(t, w.Body.String(), "B-7")
	require.Equal(t, "attachment; filename=season-2026-01-01.csv", w.Header().Get("Content-Disposition"))
	require.NotContains(t, get(h, "/season.csv?from=2025-01-01&to=2025-12-31").Body.String(), "B-7")
	w = get(h, "/season.json")
	require.Equal(t, "application/json", w.Header().Get("Content-Type"))
	require.Contains(t, w.Body.String(), `"treatment": "B-7"`)
	w = get(h, "/season.pdf")
	require.Equal(t, "application/pdf", w.Header().Get("Content-Type"))
	require.True(t, strings.HasPrefix(w.Body.String(), "%PDF-"))
	w = get(h, "/season?from=soon")
	require.Equal(t, http.StatusBadRequest, w.Code)
	require.Contains(t, w.Body.String(), "is no day")
	require.Equal(t, http.StatusNotFound, get(invented().handler(Options{}), "/season").Code)
}

// A name in a script that is set in HTML only is not lost on paper: the file is refused.
func TestSeasonInAScriptForPagesOnly(t *testing.T) {
	h := invented().handler(Options{Log: treated(t, "ख-7")})
	require.Contains(t, get(h, "/season").Body.String(), "ख-7")
	w := get(h, "/season.pdf")
	require.Equal(t, http.StatusUnprocessableEntity, w.Code)
	require.Contains(t, w.Body.String(), "on the page only")
}

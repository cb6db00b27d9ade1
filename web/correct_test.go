package web

import (
	"net/http"
	"net/url"
	"testing"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

// An act that was written down wrongly is put right on a form that holds what it said;
// a permission is not.
func TestCorrection(t *testing.T) {
	b, h := acting(t)
	w := post(h, "/act/dose-added", doseForm)
	require.Equal(t, http.StatusSeeOther, w.Code)
	var dose uint64
	es, err := b.Read(t.Context(), 1, 100)
	require.NoError(t, err)
	for _, e := range es {
		if e.Head().Kind == logbook.KindDoseAdded {
			dose = e.Head().Seq
		}
	}
	require.NotZero(t, dose)
	path := correctPath(dose)
	require.Contains(t, get(h, path[:len(path)-len("/correct")]).Body.String(), path)
	page := get(h, path)
	require.Equal(t, http.StatusOK, page.Code)
	require.Contains(t, page.Body.String(), "Correct entry")
	require.Contains(t, page.Body.String(), `name="phosphine_g" value="`)

	form, err := url.ParseQuery(doseForm)
	require.NoError(t, err)
	form.Set("phosphine_g", "111")
	form.Set("id", "web-correct-1")
	w = post(h, path, form.Encode())
	require.Equal(t, http.StatusUnprocessableEntity, w.Code, "why, and by whom")
	form.Set(whyField, "miscounted")
	form.Set(byField, "Amal Quint")
	w = post(h, path, form.Encode())
	require.Equal(t, http.StatusSeeOther, w.Code, w.Body.String())
	es, err = b.Read(t.Context(), 1, 100)
	require.NoError(t, err)
	var c *logbook.Corrected
	for _, e := range es {
		if x, ok := e.(*logbook.Corrected); ok {
			c = x
		}
	}
	require.NotNil(t, c)
	right, err := c.Right()
	require.NoError(t, err)
	require.Equal(t, dose, c.Of)
	require.Equal(t, 111.0, right.(*logbook.DoseAdded).PhosphineG)
	require.Equal(t, http.StatusNotFound, get(h, "/logbook/99999/correct").Code)
}

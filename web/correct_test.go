package web

import (
	"net/http"
	"net/url"
	"testing"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/web/form"
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
	require.Contains(t, w.Body.String(), `<a href="#f-correction_why">What was wrong with it</a>`, "a fault is told with the name of its field")
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

// correct sends a correction of one field of an entry, with all that its form holds.
func correct(t *testing.T, h http.Handler, made *form.Form, e logbook.Acting, seq uint64, id, name, value string) {
	t.Helper()
	sent, err := made.Again(e)
	require.NoError(t, err)
	for field, v := range map[string]string{"id": id, whyField: "misread", byField: "Amal Quint", name: value} {
		sent.Set(field, v)
	}
	w := post(h, correctPath(seq), sent.Encode())
	require.Equal(t, http.StatusSeeOther, w.Code, w.Body.String())
}

// newest is the entry that the newest correction puts in the place of another.
func newest(t *testing.T, b *book) logbook.Acting {
	t.Helper()
	var right logbook.Entry
	for e, err := range b.Entries(t.Context(), 1) {
		require.NoError(t, err)
		if c, ok := e.(*logbook.Corrected); ok {
			right, err = c.Right()
			require.NoError(t, err)
		}
	}
	require.NotNil(t, right)
	return right.(logbook.Acting)
}

// One correction does not undo another: the form holds what the newest one says.
func TestCorrectionAfterCorrection(t *testing.T) {
	b, h := acting(t)
	e := &logbook.DoseAdded{Header: logbook.Header{Kind: logbook.KindDoseAdded, Time: logbook.At(now), ID: "w-1"}, OnStack: logbook.OnStack{Stack: "B"}, PhosphineG: 75, Act: logbook.Act{By: "Amal Quint"}}
	stored, err := b.Append(t.Context(), []logbook.Entry{e})
	require.NoError(t, err)
	seq := stored[0].Seq
	made, err := form.New(e.Kind, form.Depot{View: invented().View(), Now: now})
	require.NoError(t, err)
	correct(t, h, made, e, seq, "web-c-1", "phosphine_g", "111")
	require.Contains(t, get(h, correctPath(seq)).Body.String(), `name="phosphine_g" value="111"`)
	correct(t, h, made, newest(t, b), seq, "web-c-2", "note", "two trays")
	require.Equal(t, 111.0, newest(t, b).(*logbook.DoseAdded).PhosphineG)
}

// What an act holds and its form does not ask stays through a correction: a photo's
// picture.
func TestCorrectionKeepsWhatTheFormDoesNotAsk(t *testing.T) {
	b, h := acting(t)
	png := append([]byte("\x89PNG\r\n\x1a\n"), make([]byte, 200_000)...)
	w := upload(t, h, "Amal Quint", png)
	require.Equal(t, http.StatusSeeOther, w.Code)
	var photo *logbook.PhotoAttached
	for e, err := range b.Entries(t.Context(), 1) {
		require.NoError(t, err)
		if p, ok := e.(*logbook.PhotoAttached); ok {
			photo = p
		}
	}
	require.NotNil(t, photo)
	seq := photo.Head().Seq
	page := get(h, correctPath(seq)).Body.String()
	require.Contains(t, page, "Correct entry")
	require.NotContains(t, page, photo.SHA256)
	made, err := form.New(photo.Kind, form.Depot{View: invented().View(), Now: now})
	require.NoError(t, err)
	made.Drop("media", "sha256", "data")
	correct(t, h, made, photo, seq, "web-c-1", "note", "the patch on the north side")
	got := newest(t, b).(*logbook.PhotoAttached)
	require.Equal(t, "the patch on the north side", got.Note)
	require.Equal(t, png, got.Data)
}

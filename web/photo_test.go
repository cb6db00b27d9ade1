package web

import (
	"bytes"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"testing"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

// upload sends a file to the form of a stack's photos.
func upload(t *testing.T, h http.Handler, by string, data []byte) *httptest.ResponseRecorder {
	t.Helper()
	var b bytes.Buffer
	m := multipart.NewWriter(&b)
	require.NoError(t, m.WriteField("by", by))
	f, err := m.CreateFormFile("photo", "patch.png")
	require.NoError(t, err)
	_, err = f.Write(data)
	require.NoError(t, err)
	require.NoError(t, m.Close())
	r := httptest.NewRequest(http.MethodPost, "http://localhost/stack/B/photo", &b)
	r.RemoteAddr = "127.0.0.1:1"
	r.Header.Set("Content-Type", m.FormDataContentType())
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

// A picture stays whole in the logbook; what is no picture, has no name to it, or is too
// large is not kept.
// Whoever looks for the photo among the acts is led to a form that takes a file.
func TestPhotoAmongTheActs(t *testing.T) {
	h := invented().handler(Options{})
	page := get(h, "/act/photo-attached").Body.String()
	require.Contains(t, page, `href="/stack/B/photo"`)
	require.NotContains(t, page, "base64")
}

func TestPhotos(t *testing.T) {
	b, h := acting(t)
	require.Contains(t, get(h, "/stack/B").Body.String(), `href="/stack/B/photo"`)
	require.Contains(t, get(h, "/stack/B/photo").Body.String(), "Keep the photo")
	require.Equal(t, http.StatusNotFound, get(h, "/stack/none/photo").Code)
	png := []byte("\x89PNG\r\n\x1a\nand the rest of it")
	require.Equal(t, http.StatusUnprocessableEntity, upload(t, h, "Amal Quint", []byte("<script>")).Code)
	require.Equal(t, http.StatusUnprocessableEntity, upload(t, h, "", png).Code)
	require.Equal(t, http.StatusUnprocessableEntity, upload(t, h, "Amal Quint", append(png, make([]byte, logbook.MostPhoto)...)).Code)
	require.Zero(t, b.count(t))
	w := upload(t, h, "Amal Quint", png)
	require.Equal(t, http.StatusSeeOther, w.Code, w.Body.String())
	es, err := b.Read(t.Context(), 1, 100)
	require.NoError(t, err)
	var seq uint64
	for _, e := range es {
		if _, ok := e.(*logbook.PhotoAttached); ok {
			seq = e.Head().Seq
		}
	}
	page := get(h, "/logbook/"+answerPath(seq)[len("/answer/"):])
	require.Contains(t, page.Body.String(), "/photo")
	got := get(h, "/logbook/"+answerPath(seq)[len("/answer/"):]+"/photo")
	require.Equal(t, "image/png", got.Header().Get("Content-Type"))
	require.Equal(t, png, got.Body.Bytes())
	require.Equal(t, http.StatusNotFound, get(h, "/logbook/99999/photo").Code)
}

package web

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"net/http"
	"strconv"

	"undersheet/logbook"
	"undersheet/web/form"
)

// photoPage asks for a picture of a stack.
type photoPage struct {
	frame
	Stack, Path, Back string
	Fields            []fieldView
	Faults            []faultView
	Most, MostBytes   int    // KiB and bytes of a photo
	ID                string // the same when it is sent again: it counts once
}

// photoPath is where a picture of a stack is attached.
func photoPath(stack string) string { return linkTo(stack).Path + "/photo" }

// photoFields are asked with the file.
var photoFields = []form.Field{{Name: "by", Sort: form.Text, Needed: true, Longest: 80}, {Name: "note", Sort: form.Long, Longest: 500}, {Name: "of", Sort: form.Whole}}

// hasStack reports whether the site has a stack.
func (f *frame) hasStack(name string) bool {
	_, k := f.view.Stack(name)
	return k != nil
}

func (p *site) photoPage(f frame, stack string, sent func(string) string, faults ...string) photoPage {
	page := photoPage{frame: f, Stack: stack, Path: photoPath(stack), Back: linkTo(stack).Path, Most: logbook.MostPhoto >> 10, MostBytes: logbook.MostPhoto}
	page.Here, page.Still, page.Pictured, page.ID = "acts", true, true, printable(sent("id"))
	if page.ID == "" {
		page.ID = "web-" + rand.Text()
	}
	for _, x := range form.Worded(f.Lang, string(logbook.KindPhoto), photoFields) {
		v := viewOf(x, nil, "")
		v.Value = printable(sent(x.Name))
		page.Fields = append(page.Fields, v)
	}
	for _, t := range faults {
		page.Faults = append(page.Faults, faultView{Text: t})
	}
	return page
}

// askPhoto shows the form.
func (p *site) askPhoto(w http.ResponseWriter, r *http.Request) {
	f := p.frame(r, p.source.View(), "page/attach-photo")
	if !f.hasStack(r.PathValue("name")) {
		p.missing(w, r)
		return
	}
	p.show(w, r, http.StatusOK, "photo", p.photoPage(f, r.PathValue("name"), func(name string) string {
		if name == "by" {
			return whoBefore(r)
		}
		return r.URL.Query().Get(name)
	}))
}

// takePhoto keeps what was sent.
func (p *site) takePhoto(w http.ResponseWriter, r *http.Request) {
	f := p.frame(r, p.source.View(), "page/attach-photo")
	stack := r.PathValue("name")
	if !f.hasStack(stack) {
		p.missing(w, r)
		return
	}
	e, err := f.photoOf(w, r, stack)
	if err != nil {
		p.show(w, r, http.StatusUnprocessableEntity, "photo", p.photoPage(f, stack, r.FormValue, err.Error()))
		return
	}
	remember(w, e.By)
	a, err := p.send(r.Context(), e, true)
	if err != nil {
		p.opts.Logger.Error("take a photo", "stack", stack, "error", err)
		p.show(w, r, http.StatusServiceUnavailable, "photo", p.photoPage(f, stack, r.FormValue, f.text("page/not-kept", "{error}", err.Error())))
		return
	}
	http.Redirect(w, r, a.path(), http.StatusSeeOther)
}

// photoOf reads a form with a picture.
func (f *frame) photoOf(w http.ResponseWriter, r *http.Request, stack string) (*logbook.PhotoAttached, error) {
	r.Body = http.MaxBytesReader(w, r.Body, logbook.MostPhoto+maxForm)
	if err := r.ParseMultipartForm(logbook.MostPhoto + maxForm); err != nil {
		return nil, errors.New(f.text("page/photo-large", "{most}", strconv.Itoa(logbook.MostPhoto>>10)))
	}
	file, head, err := r.FormFile("photo")
	if err != nil {
		return nil, errors.New(f.text("page/photo-choose"))
	}
	defer file.Close()
	data, err := io.ReadAll(file)
	if err != nil {
		return nil, errors.New(f.text("page/photo-unread", "{error}", err.Error()))
	}
	sum := sha256.Sum256(data)
	e := &logbook.PhotoAttached{Header: logbook.Header{Kind: logbook.KindPhoto, Time: f.now, ID: printable(r.FormValue("id"))}, Stack: stack, Name: printable(head.Filename), Media: logbook.MediaOf(data),
		SHA256: hex.EncodeToString(sum[:]), Data: data, Act: logbook.Act{By: printable(r.FormValue("by")), Identity: form.NotVerified, Note: printable(r.FormValue("note"))}}
	if of := r.FormValue("of"); of != "" {
		if e.Of, err = strconv.ParseUint(of, 10, 63); err != nil {
			return nil, errors.New(f.text("page/no-entry-number", "{text}", printable(of)))
		}
	}
	switch {
	case e.By == "":
		return nil, errors.New(f.text("page/name-needed"))
	case e.Media == "":
		return nil, errors.New(f.text("page/no-picture"))
	}
	return e, e.Validate()
}

// photo sends a picture of the logbook.
func (p *site) photo(w http.ResponseWriter, r *http.Request) {
	seq, err := strconv.ParseUint(r.PathValue("seq"), 10, 63)
	if err != nil || seq == 0 || p.opts.Log == nil {
		p.missing(w, r)
		return
	}
	es, err := p.opts.Log.Read(r.Context(), seq, 1)
	if err != nil || len(es) == 0 || es[0].Head().Seq != seq {
		p.missing(w, r)
		return
	}
	e, ok := es[0].(*logbook.PhotoAttached)
	if !ok {
		p.missing(w, r)
		return
	}
	w.Header().Set("Content-Type", e.Media)
	w.Header().Set("Content-Length", strconv.Itoa(len(e.Data)))
	_, _ = w.Write(e.Data) // the reader has gone: nothing to do about it
}

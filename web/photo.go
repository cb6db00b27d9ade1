package web

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
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
	Most              int    // KiB
	ID                string // the same when it is sent again: it counts once
}

// photoPath is where a picture of a stack is attached.
func photoPath(stack string) string { return linkTo(stack).Path + "/photo" }

// photoFields are asked with the file.
func photoFields() []form.Field {
	return []form.Field{{Name: "by", Label: "Your name", Sort: form.Text, Needed: true, Longest: 80}, {Name: "note", Label: "What it shows", Sort: form.Long, Longest: 500},
		{Name: "of", Label: "Entry that it belongs to", Sort: form.Whole}}
}

// hasStack reports whether the site has a stack.
func (f *frame) hasStack(name string) bool {
	for _, s := range f.view.Stores {
		for _, k := range s.Stacks {
			if k.Name == name {
				return true
			}
		}
	}
	return false
}

func (p *site) photoPage(f frame, stack string, sent func(string) string, faults ...string) photoPage {
	page := photoPage{frame: f, Stack: stack, Path: photoPath(stack), Back: linkTo(stack).Path, Most: logbook.MostPhoto >> 10}
	page.Here, page.Still, page.ID = "acts", true, printable(sent("id"))
	if page.ID == "" {
		page.ID = "web-" + rand.Text()
	}
	for _, x := range photoFields() {
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
	f := p.frame(p.source.View(), "Attach a photo")
	if !f.hasStack(r.PathValue("name")) {
		p.missing(w, r)
		return
	}
	p.show(w, http.StatusOK, "photo", p.photoPage(f, r.PathValue("name"), func(name string) string {
		if name == "by" {
			return whoBefore(r)
		}
		return r.URL.Query().Get(name)
	}))
}

// takePhoto keeps what was sent.
func (p *site) takePhoto(w http.ResponseWriter, r *http.Request) {
	f := p.frame(p.source.View(), "Attach a photo")
	stack := r.PathValue("name")
	if !f.hasStack(stack) {
		p.missing(w, r)
		return
	}
	e, err := photoOf(w, r, stack, f.now)
	if err != nil {
		p.show(w, http.StatusUnprocessableEntity, "photo", p.photoPage(f, stack, r.FormValue, err.Error()))
		return
	}
	remember(w, e.By)
	a, err := p.send(r.Context(), e, true)
	if err != nil {
		p.opts.Logger.Error("take a photo", "stack", stack, "error", err)
		p.show(w, http.StatusServiceUnavailable, "photo", p.photoPage(f, stack, r.FormValue, "Nothing is known to be kept: "+err.Error()+". Send it again."))
		return
	}
	http.Redirect(w, r, answerPath(a.Seq), http.StatusSeeOther)
}

// photoOf reads a form with a picture.
func photoOf(w http.ResponseWriter, r *http.Request, stack string, now logbook.Time) (*logbook.PhotoAttached, error) {
	r.Body = http.MaxBytesReader(w, r.Body, logbook.MostPhoto+maxForm)
	if err := r.ParseMultipartForm(logbook.MostPhoto + maxForm); err != nil {
		return nil, fmt.Errorf("the form did not arrive whole, or is larger than %d KiB: make the photo smaller and send it again", logbook.MostPhoto>>10)
	}
	file, head, err := r.FormFile("photo")
	if err != nil {
		return nil, errors.New("choose a photo")
	}
	defer file.Close()
	data, err := io.ReadAll(file)
	if err != nil {
		return nil, fmt.Errorf("the photo cannot be read: %w", err)
	}
	sum := sha256.Sum256(data)
	e := &logbook.PhotoAttached{Header: logbook.Header{Kind: logbook.KindPhoto, Time: now, ID: printable(r.FormValue("id"))}, Stack: stack, Name: printable(head.Filename), Media: logbook.MediaOf(data),
		SHA256: hex.EncodeToString(sum[:]), Data: data, Act: logbook.Act{By: printable(r.FormValue("by")), Identity: form.NotVerified, Note: printable(r.FormValue("note"))}}
	if of := r.FormValue("of"); of != "" {
		if e.Of, err = strconv.ParseUint(of, 10, 63); err != nil {
			return nil, fmt.Errorf("%q is no number of an entry", printable(of))
		}
	}
	switch {
	case e.By == "":
		return nil, errors.New("your name is needed")
	case e.Media == "":
		return nil, errors.New("this is no JPEG and no PNG picture")
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

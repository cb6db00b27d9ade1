package web

import (
	"context"
	"crypto/rand"
	"fmt"
	"net/http"
	"net/url"
	"strconv"

	"undersheet/logbook"
	"undersheet/web/form"
)

// Names of the fields that a correction has beside those of the act.
const (
	whyField       = "correction_why"
	byField        = "correction_by"
	withdrawnField = "correction_withdrawn"
)

// correctPath is where an entry is put right.
func correctPath(seq uint64) string { return fmt.Sprintf("/logbook/%d/correct", seq) }

// correctFields are what is asked of whoever corrects.
var correctFields = []form.Field{
	{Name: whyField, Sort: form.Long, Needed: true, Longest: 500},
	{Name: byField, Sort: form.Text, Needed: true, Longest: 80},
	{Name: withdrawnField, Sort: form.Yes},
}

// wrong is the act that a request is to correct, with its form; nil where there is none
// that can be corrected.
func (p *site) wrong(r *http.Request, f *frame) (logbook.Acting, *form.Form) {
	seq, err := strconv.ParseUint(r.PathValue("seq"), 10, 63)
	if err != nil || seq == 0 || p.opts.Log == nil {
		return nil, nil
	}
	es, err := p.opts.Log.Read(r.Context(), seq, 1)
	if err != nil || len(es) == 0 || es[0].Head().Seq != seq || !logbook.Correctable(es[0].Head().Kind) {
		return nil, nil
	}
	e, _ := es[0].(logbook.Acting)
	made := p.form(string(es[0].Head().Kind), f)
	if made != nil {
		made.Field("by").Label, made.Field("by").Hint = f.text("page/who-did-it"), ""
		made.Drop("media", "sha256", "data") // of a photo: the picture itself stays
	}
	return e, made
}

// latest is an act as its newest valid correction has it, or as it was written if there is none.
// The form of a correction begins with it, so that one correction does not undo another.
func (p *site) latest(ctx context.Context, e logbook.Acting) (logbook.Acting, error) {
	now := e
	for x, err := range p.opts.Log.Entries(ctx, e.Head().Seq+1) {
		if err != nil {
			return nil, fmt.Errorf("look for corrections of entry %d: %w", e.Head().Seq, err)
		}
		if c, ok := x.(*logbook.Corrected); ok && c.Of == e.Head().Seq && !c.Withdrawn {
			if right, err := c.Right(); err == nil && right.Head().Kind == e.Head().Kind {
				now, _ = right.(logbook.Acting)
			}
		}
	}
	return now, nil
}

// askCorrection shows the form of an act as it stands in the logbook.
func (p *site) askCorrection(w http.ResponseWriter, r *http.Request) {
	f := p.frame(r, p.source.View(), "page/correct")
	e, made := p.wrong(r, &f)
	if e == nil || made == nil {
		p.missing(w, r)
		return
	}
	now, err := p.latest(r.Context(), e)
	if err != nil {
		p.failed(w, r, err)
		return
	}
	sent, err := made.Again(now)
	if err != nil {
		p.failed(w, r, err)
		return
	}
	sent.Set("id", "web-"+rand.Text())
	sent.Set(byField, whoBefore(r))
	p.show(w, r, http.StatusOK, "act", p.correctPage(f, made, e, sent, nil))
}

// correctPage is the form of an act with what a correction asks before it.
func (p *site) correctPage(f frame, made *form.Form, e logbook.Acting, sent url.Values, faults []form.Fault) actPage {
	page := p.actPage(f, made, sent, nil)
	page.Title = f.text("page/correct-entry", "{seq}", strconv.FormatUint(e.Head().Seq, 10), "{act}", made.Title)
	page.Path, page.Button, page.Back = correctPath(e.Head().Seq), form.Button(f.Lang, logbook.KindCorrected), fmt.Sprintf("/logbook/%d", e.Head().Seq)
	page.Cautions = []string{f.text("caution/correction"),
		f.text("caution/no-permission")}
	page.Night, page.Withheld = "", ""
	wrong := map[string]string{}
	for _, x := range faults {
		wrong[x.Field] = x.Text
	}
	var first []fieldView
	for _, x := range form.Worded(f.Lang, string(logbook.KindCorrected), correctFields) {
		first = append(first, viewOf(x, sent, wrong[x.Name]))
	}
	for i := range page.Fields {
		page.Fields[i].Fault = wrong[page.Fields[i].Name]
	}
	for i := range page.More {
		page.More[i].Fault = wrong[page.More[i].Name]
		page.MoreOpen = page.MoreOpen || page.More[i].Fault != ""
	}
	page.Fields = append(first, page.Fields...)
	page.blame(faults)
	return page
}

// takeCorrection takes what the form sent.
func (p *site) takeCorrection(w http.ResponseWriter, r *http.Request) {
	f := p.frame(r, p.source.View(), "page/correct")
	old, made := p.wrong(r, &f)
	if old == nil || made == nil {
		p.missing(w, r)
		return
	}
	sent, ok := sentBy(w, r)
	if !ok {
		return
	}
	now, err := p.latest(r.Context(), old)
	if err == nil {
		_, err = made.Again(now)
	}
	if err != nil {
		p.failed(w, r, err)
		return
	}
	c, faults := f.correction(old, made, sent)
	if len(faults) > 0 {
		p.show(w, r, http.StatusUnprocessableEntity, "act", p.correctPage(f, made, old, sent, faults))
		return
	}
	remember(w, c.By)
	a, err := p.send(r.Context(), c, true)
	if err != nil || a.State == Different {
		text := f.text("page/sent-before")
		if err != nil {
			p.opts.Logger.Error("take a correction", "of", c.Of, "error", err)
			text = f.text("page/not-kept", "{error}", err.Error())
		}
		p.show(w, r, http.StatusServiceUnavailable, "act", p.correctPage(f, made, old, sent, []form.Fault{{Text: text}}))
		return
	}
	http.Redirect(w, r, a.path(), http.StatusSeeOther)
}

// correction makes the entry of what was sent.
func (f *frame) correction(old logbook.Acting, made *form.Form, sent url.Values) (*logbook.Corrected, []form.Fault) {
	c := &logbook.Corrected{Header: logbook.Header{Kind: logbook.KindCorrected, Time: f.now, ID: sent.Get("id")}, Of: old.Head().Seq,
		Why: printable(sent.Get(whyField)), Withdrawn: sent.Get(withdrawnField) != "", Act: logbook.Act{By: printable(sent.Get(byField)), Identity: form.NotVerified}}
	var faults []form.Fault
	for _, x := range []struct{ name, value string }{{whyField, c.Why}, {byField, c.By}} {
		if x.value == "" {
			faults = append(faults, form.Fault{Field: x.name, Text: f.text("form/needed")})
		}
	}
	if !c.Withdrawn {
		act := url.Values{}
		for name, v := range sent {
			if name != whyField && name != byField && name != withdrawnField {
				act[name] = v
			}
		}
		e, wrong := made.Read(act)
		if faults = append(faults, wrong...); len(faults) > 0 {
			return nil, faults
		}
		e.Head().ID = ""
		text, err := logbook.Encode(e)
		if err != nil {
			return nil, append(faults, form.Fault{Text: f.text("form/not-taken", "{error}", err.Error())})
		}
		c.Entry = text
	}
	if err := c.Validate(); err != nil && len(faults) == 0 {
		faults = append(faults, form.Fault{Text: f.text("form/not-taken", "{error}", err.Error())})
	}
	return c, faults
}

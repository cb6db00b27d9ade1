package web

import (
	"bytes"
	"context"
	"errors"
	"io"
	"net/http"
	"strings"

	"undersheet/report"
	"undersheet/report/paper"
	"undersheet/report/season"
)

// season shows the summary of a season, from ?from= to ?to=: as a page, as a table with
// ".csv" behind its name, as a file for paper with ".pdf".
func (p *site) season(w http.ResponseWriter, r *http.Request) {
	if p.opts.Log == nil {
		p.missing(w, r)
		return
	}
	q := r.URL.Query()
	select {
	case p.reports <- struct{}{}: // one at a time: each reads the whole logbook
		defer func() { <-p.reports }()
	case <-r.Context().Done():
		return
	}
	patient(w, reportFor)
	ctx, cancel := context.WithTimeout(r.Context(), reportFor)
	defer cancel()
	made, err := p.makeSeason(ctx, season.Period{From: q.Get("from"), To: q.Get("to")})
	var period *season.ErrPeriod
	switch {
	case errors.As(err, &period):
		refuse(w, r, http.StatusBadRequest, period.Key, period.Pairs...)
		return
	case err != nil:
		p.failed(w, r, err)
		return
	}
	name := "season-" + made.From.Std().In(made.Zone).Format("2006-01-02")
	doc := made.Document(langOf(r))
	switch {
	case strings.HasSuffix(r.URL.Path, ".csv"):
		p.file(w, r, made.WriteCSV, "text/csv; charset=utf-8", name+".csv", true)
	case strings.HasSuffix(r.URL.Path, ".pdf"):
		p.pdf(w, r, doc, name+".pdf")
	default:
		w.Header().Set("Content-Security-Policy", reportPolicy)
		p.file(w, r, doc.WriteHTML, "text/html; charset=utf-8", name+".html", q.Has("download"))
	}
}

func (p *site) makeSeason(ctx context.Context, period season.Period) (*season.Season, error) {
	head, err := p.opts.Log.Head(ctx)
	if err != nil {
		return nil, err
	}
	made, err := season.Make(p.opts.Log.Entries(ctx, 1), nil, period, report.Source{LogID: head.LogID})
	if err != nil {
		return nil, err
	}
	made.Head, err = p.opts.Log.HashAt(ctx, made.LastSeq)
	return made, err
}

// pdf sends a document as a file for paper; one in a script that is set in HTML only is
// refused, with the reason.
func (p *site) pdf(w http.ResponseWriter, r *http.Request, d *paper.Document, name string) {
	var b bytes.Buffer
	err := d.WritePDF(&b)
	var script *paper.ErrScript
	if errors.As(err, &script) {
		refuse(w, r, http.StatusUnprocessableEntity, "paper/script", "{text}", script.Text, "{letter}", string(script.Letter), "{script}", script.Script)
		return
	}
	p.file(w, r, func(w io.Writer) error {
		_, copying := b.WriteTo(w)
		return errors.Join(err, copying)
	}, "application/pdf", name, false)
}

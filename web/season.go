package web

import (
	"errors"
	"net/http"
	"strings"

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
	ctx, done, ok := p.reading(w, r)
	if !ok {
		return
	}
	defer done()
	made, err := season.OfLog(ctx, p.opts.Log, season.Period{From: q.Get("from"), To: q.Get("to")})
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
		p.file(w, r, doc.WritePDF, "application/pdf", name+".pdf", false)
	default:
		w.Header().Set("Content-Security-Policy", reportPolicy)
		p.file(w, r, doc.WriteHTML, "text/html; charset=utf-8", name+".html", q.Has("download"))
	}
}

package web

import (
	"cmp"
	"errors"
	"io"
	"net/http"
	"path"

	"undersheet/report/season"
)

// season shows the summary of a season, from ?from= to ?to=: as a page, as a table with
// ".csv" behind its name, as a file for paper with ".pdf", for programs with ".json".
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
	made, err := season.OfLog(ctx, p.opts.Log, season.Period{From: q.Get("from"), To: q.Get("to")}, 0, p.opts.Version)
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
	ending := cmp.Or(path.Ext(r.URL.Path), ".html")
	if ending == ".html" {
		w.Header().Set("Content-Security-Policy", reportPolicy)
	}
	write := func(w io.Writer) error { return made.Write(w, ending[1:], langOf(r)) }
	p.file(w, r, write, reportKinds[ending], name+ending, q.Has("download") || ending == ".csv" || ending == ".json")
}

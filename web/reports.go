package web

import (
	"bytes"
	"context"
	"errors"
	"io"
	"mime"
	"net/http"
	"net/url"
	"path"
	"strings"
	"time"

	"undersheet/report"
	"undersheet/report/paper"
)

// reportFor is how long making a report may take, on the wire's clock.
const reportFor = 2 * time.Minute

// reportPolicy is the content security policy of a report, which carries its own
// style and drawings, runs nothing and loads nothing.
const reportPolicy = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; sandbox"

// reportPath is where the report of a treatment is.
func reportPath(treatment string) string { return "/report/" + url.PathEscape(treatment) }

// treatments are those that stacks have now, with the ways to their reports.
func treatments(f *frame) []link {
	var all []link
	for _, s := range f.view.Stores {
		for _, k := range s.Stacks {
			if k.Treatment != "" {
				all = append(all, link{Name: k.Treatment, Path: reportPath(k.Treatment)})
			}
		}
	}
	return all
}

// reportKinds are the media types of a report's forms, by the ending of its name.
var reportKinds = map[string]string{".html": "text/html; charset=utf-8", ".csv": "text/csv; charset=utf-8", ".json": "application/json", ".pdf": "application/pdf"}

// report shows the report of a treatment: as a page, in the other forms with ".csv",
// ".json" or ".pdf" behind its name, and as a file with ?download.
func (p *site) report(w http.ResponseWriter, r *http.Request) {
	if p.opts.Log == nil {
		p.missing(w, r)
		return
	}
	ctx, done, ok := p.reading(w, r)
	if !ok {
		return
	}
	defer done()
	name := r.PathValue("treatment")
	ending := path.Ext(name)
	if kind := reportKinds[ending]; kind == "" {
		ending = ""
	}
	made, err := p.readReport(ctx, strings.TrimSuffix(name, ending))
	var unknown *report.ErrUnknown
	if ending != "" && errors.As(err, &unknown) { // a treatment may be called so
		ending = ""
		made, err = p.readReport(ctx, name)
	}
	switch {
	case errors.As(err, &unknown):
		p.noReport(w, r, unknown)
		return
	case err != nil:
		p.failed(w, r, err)
		return
	}
	download := r.URL.Query().Has("download") || ending == ".csv" || ending == ".json"
	if ending == "" {
		ending = ".html"
	}
	if ending == ".html" {
		w.Header().Set("Content-Security-Policy", reportPolicy)
	}
	write := func(w io.Writer) error { return made.Write(w, ending[1:], langOf(r)) }
	p.file(w, r, write, reportKinds[ending], fileName(made.Course.Name)+ending, download)
}

// reading waits for its turn to read the whole logbook, since one report is made at a time, and
// gives the answer to r the time that this takes. Call done afterwards. ok is false if whoever
// asked has gone meanwhile.
func (p *site) reading(w http.ResponseWriter, r *http.Request) (ctx context.Context, done func(), ok bool) {
	select {
	case p.reports <- struct{}{}:
	case <-r.Context().Done():
		return nil, nil, false
	}
	patient(w, reportFor)
	ctx, cancel := context.WithTimeout(r.Context(), reportFor)
	return ctx, func() { cancel(); <-p.reports }, true
}

// readReport makes the report of a treatment. What was read of the logbook for it is
// kept until another treatment is asked for, so that a report that was shown comes again
// at once, in any form and language. Whoever calls it holds the token of reports.
func (p *site) readReport(ctx context.Context, treatment string) (*report.Report, error) {
	if p.reader == nil || p.reader.Treatment() != treatment {
		p.reader = report.NewReader(p.opts.Log, treatment, p.opts.Version)
	}
	made, err := p.reader.Report(ctx)
	if err != nil {
		p.reader = nil // it may have stopped half-way
	}
	return made, err
}

// file sends what write writes, whole. A file for paper in a script that is set on the
// page only is refused, with the reason.
func (p *site) file(w http.ResponseWriter, r *http.Request, write func(io.Writer) error, kind, name string, download bool) {
	var b bytes.Buffer
	err := write(&b)
	var script *paper.ErrScript
	if errors.As(err, &script) {
		refuse(w, r, http.StatusUnprocessableEntity, "paper/script", "{text}", script.Text, "{letter}", string(script.Letter), "{script}", script.Script)
		return
	}
	if err != nil {
		p.opts.Logger.Error("write report", "file", name, "error", err)
		unmade(w, r)
		return
	}
	w.Header().Set("Content-Type", kind)
	if download {
		w.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": name}))
	}
	_, _ = w.Write(b.Bytes()) // the reader has gone: nothing to do about it
}

// noReport says which reports there are.
func (p *site) noReport(w http.ResponseWriter, r *http.Request, unknown *report.ErrUnknown) {
	page := missingPage{frame: p.frame(r, p.source.View(), "page/no-report"), Path: reportPath(printable(unknown.Treatment))}
	page.Here = "logbook"
	for _, t := range unknown.Known {
		page.Reports = append(page.Reports, link{Name: t, Path: reportPath(t)})
	}
	p.show(w, r, http.StatusNotFound, "missing", page)
}

// fileName makes a file name of a treatment's name.
func fileName(treatment string) string {
	return "report-" + strings.Map(func(c rune) rune {
		if c < ' ' || strings.ContainsRune(`/\:*?"<>|`, c) {
			return '_'
		}
		return c
	}, treatment)
}

package web

import (
	"bytes"
	"context"
	"embed"
	"io/fs"
	"iter"
	"log/slog"
	"net/http"
	"strconv"
	"time"

	"undersheet/alert"
	"undersheet/ingest"
	"undersheet/logbook"
	"undersheet/report"
	"undersheet/rules"
	"undersheet/rules/plan"
	"undersheet/watch"
)

// Source is the watch, as the pages use it.
type Source interface {
	// View returns the state as it is to be shown. It is shared: it is not changed here.
	View() *rules.View
	// Changed returns a channel that is closed when View may have changed.
	Changed() <-chan struct{}
	// Status tells how the watch stands.
	Status() watch.Status
}

// Record gives the readings of a channel with from ≤ time < to, in order of time.
type Record interface {
	Readings(ctx context.Context, channel string, from, to logbook.Time) iter.Seq2[*logbook.Reading, error]
}

// Intake counts what came from instruments.
type Intake interface{ Stats() ingest.Stats }

// Outbox counts what goes out to people.
type Outbox interface{ Stats() alert.Stats }

// Options say what the pages know beside the Source. The zero value shows a view
// without the readings' curves, and takes no acts.
type Options struct {
	Acts      Acts             // nil: the pages take no acts
	Log       Log              // nil: no logbook page, no answers, no reports
	Record    Record           // nil: curves show the fit alone
	Intake    Intake           // nil: nothing is said of instruments
	Outbox    Outbox           // nil: nothing is said of messages
	Machinery Machinery        // what the metrics tell beside the view
	Guides    []plan.Guide     // national guides that a plan may follow
	Clock     func() time.Time // the depot's clock, for ages; nil: time.Now
	Lang      string           // language for readers whose own is not there; empty: the site's
	Version   string           // of the program, for the metrics and the foot of pages
	Logger    *slog.Logger     // nil: slog.Default()
}

//go:embed assets
var embedded embed.FS

// assets are the files that pages load; templates are not among them.
func assets() fs.FS {
	sub, err := fs.Sub(embedded, "assets")
	if err != nil {
		panic(err) // only when the folder is not embedded
	}
	return sub
}

// site serves the pages.
type site struct {
	source  Source
	opts    Options
	curves  curveCache
	checks  checkKeeper
	recent  recentActs
	streams chan struct{} // holds a token for each live stream
	reports chan struct{} // holds a token while a report is made; guards reader
	reader  *report.Reader
}

// New returns the handler of pages, metrics and health. It starts nothing.
func New(s Source, o Options) http.Handler {
	if o.Clock == nil {
		o.Clock = time.Now
	}
	if o.Logger == nil {
		o.Logger = slog.Default()
	}
	p := &site{source: s, opts: o, streams: make(chan struct{}, maxStreams), reports: make(chan struct{}, 1), checks: checkKeeper{turn: make(chan struct{}, 1)}}
	mux := http.NewServeMux()
	mux.HandleFunc("GET /{$}", p.depot)
	mux.HandleFunc("GET /store/{name}", p.store)
	mux.HandleFunc("GET /stack/{name}", p.stack)
	mux.HandleFunc("GET /stack/{name}/curve.json", p.curve)
	mux.HandleFunc("GET /alarms", p.alarmsNow)
	mux.HandleFunc("GET /follow-ups", p.due)
	mux.HandleFunc("GET "+calendarPath, p.calendar)
	mux.HandleFunc("GET /instruments", p.instruments)
	mux.HandleFunc("GET /logbook", p.journal)
	mux.HandleFunc("GET /logbook/{seq}", p.entry)
	mux.HandleFunc("GET /logbook/{seq}/photo", p.photo)
	mux.HandleFunc("GET /stack/{name}/photo", p.askPhoto)
	mux.HandleFunc("POST /stack/{name}/photo", p.takePhoto)
	mux.HandleFunc("GET /logbook/{seq}/correct", p.askCorrection)
	mux.HandleFunc("POST /logbook/{seq}/correct", p.takeCorrection)
	mux.HandleFunc("POST /logbook/verify", p.check)
	mux.HandleFunc("GET /report/{treatment}", p.report)
	mux.HandleFunc("GET /season", p.season)
	mux.HandleFunc("GET /season.csv", p.season)
	mux.HandleFunc("GET /season.json", p.season)
	mux.HandleFunc("GET /season.pdf", p.season)
	mux.HandleFunc("GET /plan/{store}", p.askPlan)
	mux.HandleFunc("GET /plan/{store}/sheet", p.planSheet)
	mux.HandleFunc("GET /act", p.acts)
	mux.HandleFunc("GET /act/{kind}", p.askAct)
	mux.HandleFunc("POST /act/{kind}", p.takeAct)
	mux.HandleFunc("GET /answer/{seq}", p.answer)
	mux.HandleFunc("GET /live", p.live)
	mux.HandleFunc("GET /healthz", p.healthz)
	mux.Handle("GET /metrics", p.metrics())
	for _, name := range []string{"style.css", "live.js", "curves.js", "photo.js", "icon.svg", "uplot/uPlot.iife.min.js", "uplot/uPlot.min.css", "uplot/LICENSE"} {
		mux.HandleFunc("GET /assets/"+name, func(w http.ResponseWriter, r *http.Request) {
			http.ServeFileFS(w, r, assets(), name)
		})
	}
	mux.HandleFunc("GET /", p.missing)
	return p.spoken(guard(p.mended(mux)))
}

func (p *site) depot(w http.ResponseWriter, r *http.Request) {
	p.show(w, r, http.StatusOK, "depot", p.depotPage(r, p.source.View()))
}

func (p *site) stack(w http.ResponseWriter, r *http.Request) {
	v := p.source.View()
	page, ok := p.stackPage(r, v, r.PathValue("name"), r.URL.Query().Get("axis") == "log")
	if !ok {
		p.missing(w, r)
		return
	}
	p.show(w, r, http.StatusOK, "stack", page)
}

func (p *site) missing(w http.ResponseWriter, r *http.Request) {
	v := p.source.View()
	page := missingPage{frame: p.frame(r, v, "page/not-found"), Path: printable(r.URL.Path)}
	for _, s := range v.Stores {
		for _, k := range s.Stacks {
			page.Stacks = append(page.Stacks, linkTo(k.Name))
		}
	}
	p.show(w, r, http.StatusNotFound, "missing", page)
}

// show renders a page whole before the first byte goes out.
func (p *site) show(w http.ResponseWriter, r *http.Request, status int, name string, page any) {
	var b bytes.Buffer
	if err := pages[langOf(r)][name].ExecuteTemplate(&b, "layout", page); err != nil {
		p.opts.Logger.Error("make page", "page", name, "error", err)
		unmade(w, r)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Content-Length", strconv.Itoa(b.Len()))
	w.WriteHeader(status)
	_, _ = w.Write(b.Bytes()) // the reader has gone: nothing to do about it
}

// mended answers for a page that broke, and logs why.
func (p *site) mended(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		defer func() {
			switch broken := recover(); broken {
			case nil:
			case http.ErrAbortHandler:
				panic(broken)
			default:
				p.opts.Logger.Error("make page", "path", r.URL.Path, "error", broken)
				unmade(w, r)
			}
		}()
		next.ServeHTTP(w, r)
	})
}

// unmade says that a page could not be made.
func unmade(w http.ResponseWriter, r *http.Request) {
	refuse(w, r, http.StatusInternalServerError, "page/unmade")
}

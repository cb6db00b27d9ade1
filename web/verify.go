package web

import (
	"context"
	"errors"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
)

// checkFor is how long checking the chain may take, on the wire's clock.
const checkFor = 5 * time.Minute

// errSlow is that of a check that took longer than checkFor.
var errSlow = errors.New("the check was not finished in time")

// chainCheck is the newest check of the chain.
type chainCheck struct {
	at     logbook.Time
	took   time.Duration
	head   string // hash that was to be found; empty = none
	report *sqlite.Report
	err    error
}

// checkKeeper keeps the newest check, and lets one run at a time.
type checkKeeper struct {
	turn   chan struct{} // holds a token while a check runs
	mu     sync.Mutex
	newest *chainCheck
}

// checkView is a check in words.
type checkView struct {
	At, Took, Head string
	Whole          bool
	Blocks         int
	Entries        uint64
	HeadSeq        uint64
	HeadHash       string
	Logs           []string
	Faults         []string
}

// last puts the newest check into words; nil when there was none since the start.
func (k *checkKeeper) last(f *frame) *checkView {
	k.mu.Lock()
	c := k.newest
	k.mu.Unlock()
	if c == nil {
		return nil
	}
	v := &checkView{At: f.second(c.at), Took: f.span(c.took), Head: c.head, Whole: c.err == nil}
	if errors.Is(c.err, errSlow) {
		v.Faults = []string{f.text("page/check-slow", "{time}", f.span(checkFor))}
		return v
	}
	if c.err != nil {
		v.Faults = strings.Split(c.err.Error(), "\n")
		return v
	}
	v.Blocks, v.Entries, v.HeadSeq, v.HeadHash = c.report.Blocks, c.report.Entries, c.report.Head.Seq, c.report.Head.Hash
	for _, l := range c.report.Logs {
		v.Logs = append(v.Logs, f.text("page/log-entries", "{log}", l.LogID, "{first}", strconv.FormatUint(l.First, 10), "{last}", strconv.FormatUint(l.Last, 10)))
	}
	return v
}

// check walks the chain, as the form on the logbook's page asks for.
func (p *site) check(w http.ResponseWriter, r *http.Request) {
	if p.opts.Log == nil {
		p.missing(w, r)
		return
	}
	sent, ok := sentBy(w, r)
	if !ok {
		return
	}
	select {
	case p.checks.turn <- struct{}{}:
		defer func() { <-p.checks.turn }()
	default:
		refuse(w, r, http.StatusServiceUnavailable, "page/checking")
		return
	}
	patient(w, checkFor)
	ctx, cancel := context.WithTimeout(r.Context(), checkFor)
	defer cancel()
	start := time.Now()
	c := &chainCheck{at: logbook.At(p.opts.Clock()), head: printable(strings.TrimSpace(sent.Get("head")))}
	c.report, c.err = p.opts.Log.Verify(ctx, c.head, nil)
	c.took = time.Since(start)
	if ctx.Err() != nil && c.err != nil {
		c.err = errSlow
	}
	p.checks.mu.Lock()
	p.checks.newest = c
	p.checks.mu.Unlock()
	http.Redirect(w, r, "/logbook#check", http.StatusSeeOther)
}

// patient lets an answer take longer than a page usually may.
func patient(w http.ResponseWriter, d time.Duration) {
	_ = http.NewResponseController(w).SetWriteDeadline(time.Now().Add(d + writeTimeout)) // a recorder in tests has no deadlines
}

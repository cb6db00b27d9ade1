package web

import (
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"mime"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/web/form"
)

// What became of an act.
const (
	Accepted  = "accepted"
	Refused   = "refused"
	Pending   = "pending"   // kept; it is judged when the daemon has caught up
	Different = "different" // its id was used before for something else: it was NOT kept
)

// Acts takes acts into the logbook.
type Acts interface {
	// Act commits e, waits a while for the verdict, and tells what became of it.
	// An error means that nothing was kept, unless it says otherwise.
	Act(ctx context.Context, e logbook.Acting) (Answer, error)
}

// Answer is what became of an act.
type Answer struct {
	State     string // accepted, refused, pending or different
	Seq       uint64 // of the act's entry; of the first one for a duplicate
	Duplicate bool   // it had been sent before
	Why       string // a refusal in words
	Reasons   []logbook.Reason
	Findings  []logbook.Finding // what was noted because of it, with its words
}

// Bounds of what a form may send.
const (
	maxForm  = 64 << 10 // bytes
	maxAge   = 30 * 24 * 3600
	byCookie = "by"
	formType = "application/x-www-form-urlencoded"
)

// actsPage lists the acts there are.
type actsPage struct {
	frame
	Groups []actGroup
}

// actGroup is some acts under a heading.
type actGroup struct {
	Name string
	Acts []actLink
}

// actLink is a way to a form.
type actLink struct{ Path, Title string }

// actGroups are the acts in the order in which a treatment goes.
var actGroups = []struct {
	name  string // key of its words
	kinds []logbook.Kind
}{
	{"page/acts-before", []logbook.Kind{logbook.KindLineProved, logbook.KindChecksSigned, logbook.KindNoGasDeclared, logbook.KindCagesPlaced}},
	{"page/acts-dosing", []logbook.Kind{logbook.KindDosingStarted, logbook.KindDosePlaced, logbook.KindTreatmentStarted, logbook.KindHandReading, logbook.KindDoseAdded, logbook.KindExposureExtended, logbook.KindSheetTorn, logbook.KindAbandoned}},
	{"page/acts-inside", []logbook.Kind{logbook.KindMaskedEntry, logbook.KindMaskedExit}},
	{"page/acts-airing", []logbook.Kind{logbook.KindAiringStarted, logbook.KindAiringPaused, logbook.KindAiringResumed, logbook.KindEntryConfirmed}},
	{"page/acts-afterwards", []logbook.Kind{logbook.KindInspected, logbook.KindCagesRetrieved, logbook.KindCagesJudged, logbook.KindSheetRepaired, logbook.KindGrainIssued, logbook.KindWrittenOff}},
	{"page/acts-product", []logbook.Kind{logbook.KindStockReceived, logbook.KindStockCounted, logbook.KindResidueTaken, logbook.KindResidueDisposed}},
	{"page/instruments", []logbook.Kind{logbook.KindInstrumentChecked, logbook.KindInstrumentSwapped, logbook.KindCanister}},
	{"page/alarms", []logbook.Kind{logbook.KindAcknowledged}},
	{"page/acts-corrections", []logbook.Kind{logbook.KindCorrected, logbook.KindPhoto}},
}

// actPath is where the form of an act is, with fields preset; pairs are name, value.
func actPath(kind logbook.Kind, pairs ...string) string {
	path := "/act/" + string(kind)
	if q := form.Place(pairs...); q != "" {
		path += "?" + q
	}
	return path
}

func (f *frame) linkToAct(kind logbook.Kind, pairs ...string) actLink {
	return actLink{Path: actPath(kind, pairs...), Title: form.Title(f.Lang, kind)}
}

func (p *site) acts(w http.ResponseWriter, r *http.Request) {
	page := actsPage{frame: p.frame(r, p.source.View(), "page/record-act")}
	page.Here = "acts"
	for _, g := range actGroups {
		group := actGroup{Name: page.text(g.name)}
		for _, k := range g.kinds {
			group.Acts = append(group.Acts, page.linkToAct(k))
		}
		page.Groups = append(page.Groups, group)
	}
	p.show(w, r, http.StatusOK, "acts", page)
}

// form makes the form that a request is for; nil when there is no such act.
func (p *site) form(kind string, f *frame) *form.Form {
	made, err := form.New(logbook.Kind(kind), form.Depot{View: f.view, Now: p.opts.Clock(), Zone: f.zone, Lang: f.Lang})
	if err != nil {
		return nil
	}
	return made
}

// askAct shows the form of an act.
func (p *site) askAct(w http.ResponseWriter, r *http.Request) {
	f := p.frame(r, p.source.View(), "kind/"+r.PathValue("kind"))
	made := p.form(r.PathValue("kind"), &f)
	if made == nil {
		p.missing(w, r)
		return
	}
	made.Fill(r.URL.Query())
	if by := made.Field("by"); by.Preset == "" {
		by.Preset = whoBefore(r)
	}
	made.Field("id").Preset = "web-" + rand.Text()
	p.show(w, r, http.StatusOK, "act", p.actPage(f, made, nil, nil))
}

// takeAct takes what a form sent.
func (p *site) takeAct(w http.ResponseWriter, r *http.Request) {
	f := p.frame(r, p.source.View(), "kind/"+r.PathValue("kind"))
	made := p.form(r.PathValue("kind"), &f)
	if made == nil {
		p.missing(w, r)
		return
	}
	sent, ok := sentBy(w, r)
	if !ok {
		return
	}
	e, faults := made.Read(sent)
	if len(faults) > 0 {
		p.show(w, r, http.StatusUnprocessableEntity, "act", p.actPage(f, made, sent, faults))
		return
	}
	remember(w, e.Who().By)
	a, err := p.send(r.Context(), e, sent.Get("time") == "")
	switch {
	case err != nil:
		p.opts.Logger.Error("take an act", "kind", e.Head().Kind, "error", err)
		p.show(w, r, http.StatusServiceUnavailable, "act", p.actPage(f, made, sent, []form.Fault{{Text: f.text("page/not-kept", "{error}", err.Error())}}))
	case a.State == Different:
		sent.Set("id", "web-"+rand.Text())
		p.show(w, r, http.StatusConflict, "act", p.actPage(f, made, sent, []form.Fault{{Text: f.text("page/sent-otherwise", "{seq}", strconv.FormatUint(a.Seq, 10))}}))
	default:
		http.Redirect(w, r, a.path(), http.StatusSeeOther)
	}
}

// send hands an act over. now: its form gave no time, so it happened now. When such a form is
// sent twice, the second act has another time than the first under the same id; it is then sent
// with the time of the first, so that it counts as the same act.
func (p *site) send(ctx context.Context, e logbook.Acting, now bool) (Answer, error) {
	if p.opts.Acts == nil {
		return Answer{}, errors.New("take act: these pages take none")
	}
	a, err := p.opts.Acts.Act(ctx, e)
	if err != nil || a.State != Different || !now || p.opts.Log == nil {
		return a, err
	}
	first, err := p.opts.Log.Read(ctx, a.Seq, 1)
	if err != nil || len(first) == 0 {
		return a, err
	}
	e.Head().Time = first[0].Head().Time
	return p.opts.Acts.Act(ctx, e)
}

// sentBy reads the body of a form within its bounds; what is not read is answered.
func sentBy(w http.ResponseWriter, r *http.Request) (url.Values, bool) {
	if kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || kind != formType {
		refuse(w, r, http.StatusUnsupportedMediaType, "page/form-type", "{type}", formType)
		return nil, false
	}
	var body bytes.Buffer
	_, err := body.ReadFrom(http.MaxBytesReader(w, r.Body, maxForm))
	var big *http.MaxBytesError
	if errors.As(err, &big) {
		refuse(w, r, http.StatusRequestEntityTooLarge, "page/form-most", "{most}", strconv.Itoa(maxForm>>10))
		return nil, false
	}
	sent, errForm := url.ParseQuery(body.String())
	if err != nil || errForm != nil {
		refuse(w, r, http.StatusBadRequest, "page/form-torn")
		return nil, false
	}
	return sent, true
}

// whoBefore is the name that was given last from this browser.
func whoBefore(r *http.Request) string {
	c, err := r.Cookie(byCookie)
	if err != nil {
		return ""
	}
	name, err := url.QueryUnescape(c.Value)
	if err != nil || len(name) > maxForm>>8 {
		return ""
	}
	return strings.ToValidUTF8(name, "")
}

// remember lets the browser give the name again. It is a convenience and proves nothing.
func remember(w http.ResponseWriter, name string) {
	http.SetCookie(w, &http.Cookie{Name: byCookie, Value: url.QueryEscape(name), Path: "/", MaxAge: maxAge, HttpOnly: true, SameSite: http.SameSiteStrictMode})
}

// answerPath is where the answer to an act stands.
func answerPath(seq uint64) string { return "/answer/" + strconv.FormatUint(seq, 10) }

// path is where the answer stands, with a word on an act that was on record before it was sent.
func (a Answer) path() string {
	if a.Duplicate {
		return answerPath(a.Seq) + "?" + againField
	}
	return answerPath(a.Seq)
}

// againField says in the address of an answer that the act was on record before it was sent.
const againField = "again"

// mostAfter is how many entries after an act are looked through for its verdict.
const mostAfter = 2000

// ReadAnswer gathers from the log what became of the act with this seq: its
// verdict and what was noted because of it. Without a verdict so far it is pending.
func ReadAnswer(ctx context.Context, log Log, lang string, seq uint64) (logbook.Acting, Answer, error) {
	const page = 250
	a := Answer{State: Pending, Seq: seq}
	var act logbook.Acting
	for from := seq; from < seq+mostAfter; from += page {
		es, err := log.Read(ctx, from, page)
		if err != nil {
			return nil, a, fmt.Errorf("read the answer to entry %d: %w", seq, err)
		}
		for _, e := range es {
			if e.Head().Seq == seq {
				act, _ = e.(logbook.Acting)
			}
			if !a.take(lang, e) {
				return act, a, nil
			}
		}
		if len(es) < page || act == nil {
			break
		}
	}
	return act, a, nil
}

// take notes the entry e, if it is a record of the act. It returns false once no more of them
// can follow.
func (a *Answer) take(lang string, e logbook.Entry) bool {
	r, ok := e.(logbook.Recorded)
	if !ok || r.Rec().Of != a.Seq {
		return a.State == Pending || ok // its records stand together, with those of other entries at most
	}
	words.Fill(lang, e)
	switch e := e.(type) {
	case *logbook.Accepted:
		a.State = Accepted
	case *logbook.Refused:
		a.State, a.Why, a.Reasons = Refused, e.Why, e.Reasons
	case *logbook.Finding:
		a.Findings = append(a.Findings, *e)
	}
	return true
}

package web

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"iter"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/web/form"
)

// Log is the logbook, as the pages use it.
type Log interface {
	// Read returns up to limit entries from seq from on; none when the log ends before it.
	Read(ctx context.Context, from uint64, limit int) ([]logbook.Entry, error)
	Head(ctx context.Context) (sqlite.Head, error)
	// Verify checks the whole chain; see sqlite.Store.
	Verify(ctx context.Context, head string, progress func(seq, of uint64)) (*sqlite.Report, error)
	// Entries yields the entries from seq from on, up to the head.
	Entries(ctx context.Context, from uint64) iter.Seq2[logbook.Entry, error]
	LogAt(ctx context.Context, seq uint64) (logID, hash string, err error)
}

// Bounds of one look into the logbook.
const (
	shownEntries = 50              // on one page
	readEntries  = 1000            // at once
	lookFor      = 2 * time.Second // on the wire's clock; then the page says how far it came
)

// Choices of kinds beside the kinds themselves.
const (
	kindsUsual   = "" // all but readings, time and payloads
	kindsAll     = "all"
	kindsActs    = "acts"
	kindsRecords = "records"
)

// journalPage is the page of the logbook.
type journalPage struct {
	frame
	Filter                  journalFilter
	Kinds, Places           []optionView
	Rows                    []journalRow
	Faults                  []string
	HeadSeq                 uint64
	HeadHash, LogID, HeadAt string
	Older, Newest           string // paths; empty = there is none
	Reached                 uint64 // the oldest entry looked at
	Cut                     bool   // looking took too long: older ones were not looked at
	Treatments              []link
	Check                   *checkView
}

// journalFilter is what is asked for.
type journalFilter struct {
	Kind, Place, Text, From, To string
	Before                      uint64 // only entries before this one; 0 = from the head on
	from, to                    logbook.Time
}

// journalRow is one entry in the list.
type journalRow struct {
	Seq                uint64
	Path               string
	At, Kind, Who, Say string
	Late               string // when it was written down, if much later
}

// journal shows the logbook, newest entries first.
func (p *site) journal(w http.ResponseWriter, r *http.Request) {
	if p.opts.Log == nil {
		p.missing(w, r)
		return
	}
	v := p.source.View()
	page := journalPage{frame: p.frame(r, v, "page/logbook")}
	page.Here, page.Still = "logbook", true // what is typed into its forms stays; the entries are renewed
	page.Filter, page.Faults = page.filterOf(r.URL.Query())
	page.Kinds, page.Places = page.kindOptions(page.Filter.Kind), page.placeOptions(page.Filter.Place)
	head, err := p.opts.Log.Head(r.Context())
	if err != nil {
		p.failed(w, r, err)
		return
	}
	page.HeadSeq, page.HeadHash, page.LogID, page.HeadAt = head.Seq, head.Hash, head.LogID, page.clock(head.Received)
	page.Treatments, page.Check = treatments(&page.frame), p.checks.last(&page.frame)
	status := http.StatusOK
	if len(page.Faults) == 0 {
		err = p.look(r.Context(), &page, head.Seq)
	} else {
		status = http.StatusUnprocessableEntity
	}
	if err != nil {
		p.failed(w, r, err)
		return
	}
	p.show(w, r, status, "logbook", page)
}

// filterOf reads what is asked for.
func (fr *frame) filterOf(q url.Values) (journalFilter, []string) {
	get := func(name string) string { return printable(strings.TrimSpace(q.Get(name))) }
	f := journalFilter{Kind: get("kind"), Place: get("place"), Text: get("text"), From: get("from"), To: get("to")}
	var faults []string
	moment := func(name, text string) logbook.Time {
		if text == "" {
			return 0
		}
		at, err := form.ParseLocal(fr.Lang, text, fr.zone, fr.now.Std().AddDate(100, 0, 0))
		if err != nil {
			faults = append(faults, fr.about(fr.text(name), err.Error()))
		}
		return at
	}
	f.from, f.to = moment("page/written-from", f.From), moment("page/written-until", f.To)
	if b := q.Get("before"); b != "" {
		n, err := strconv.ParseUint(b, 10, 63)
		if err != nil {
			faults = append(faults, fr.text("page/before-what"))
		}
		f.Before = n
	}
	return f, faults
}

// look gathers a page of entries, newest first.
func (p *site) look(ctx context.Context, page *journalPage, head uint64) error {
	f := &page.Filter
	next := head + 1 // the first entry that is not looked at
	if f.Before != 0 {
		next = min(next, f.Before)
	}
	var err error
	if f.to != 0 {
		var after uint64
		if after, err = p.firstAt(ctx, f.to.Add(time.Minute), head); err != nil { // the minute itself counts
			return err
		}
		next = min(next, after)
	}
	oldest := uint64(1)
	if f.from != 0 {
		if oldest, err = p.firstAt(ctx, f.from, head); err != nil {
			return err
		}
	}
	until := time.Now().Add(lookFor)
	for next > oldest && len(page.Rows) < shownEntries {
		if page.Cut = time.Now().After(until); page.Cut {
			break
		}
		from := max(oldest, next-min(next, readEntries))
		es, err := p.opts.Log.Read(ctx, from, int(next-from))
		if err != nil {
			return err
		}
		slices.Reverse(es)
		next = from
		for _, e := range es {
			if !f.wants(e) {
				continue
			}
			if len(page.Rows) == shownEntries {
				next = e.Head().Seq + 1
				break
			}
			page.Rows = append(page.Rows, page.row(e))
		}
	}
	if page.Reached = next; next > oldest {
		page.Older = f.path(next)
	}
	if f.Before != 0 {
		page.Newest = f.path(0)
	}
	return nil
}

// firstAt returns the seq of the first entry that was written at or after at;
// one after the head when there is none. Received never decreases along the log.
func (p *site) firstAt(ctx context.Context, at logbook.Time, head uint64) (uint64, error) {
	low, high := uint64(1), head+1
	for low < high {
		mid := low + (high-low)/2
		es, err := p.opts.Log.Read(ctx, mid, 1)
		if err != nil {
			return 0, err
		}
		if len(es) == 0 || es[0].Head().Received >= at {
			high = mid
		} else {
			low = mid + 1
		}
	}
	return low, nil
}

// path is where the same question is answered for entries before another.
func (f *journalFilter) path(before uint64) string {
	q := url.Values{}
	for name, value := range map[string]string{"kind": f.Kind, "place": f.Place, "text": f.Text, "from": f.From, "to": f.To} {
		if value != "" {
			q.Set(name, value)
		}
	}
	if before != 0 {
		q.Set("before", strconv.FormatUint(before, 10))
	}
	if len(q) == 0 {
		return "/logbook"
	}
	return "/logbook?" + q.Encode()
}

// wants reports whether an entry is asked for.
func (f *journalFilter) wants(e logbook.Entry) bool {
	kind := e.Head().Kind
	_, act := e.(logbook.Acting)
	switch f.Kind {
	case kindsUsual:
		if kind == logbook.KindReading || kind == logbook.KindClock || kind == logbook.KindPayloadRefused {
			return false
		}
	case kindsAll:
	case kindsActs:
		if !act {
			return false
		}
	case kindsRecords:
		if !logbook.IsRecord(kind) {
			return false
		}
	default:
		if string(kind) != f.Kind {
			return false
		}
	}
	if f.Place == "" && f.Text == "" {
		return true
	}
	text, err := logbook.Encode(e)
	if err != nil {
		return false
	}
	return (f.Place == "" || names(text, f.Place)) && (f.Text == "" || bytes.Contains(bytes.ToLower(text), bytes.ToLower(quoted(f.Text))))
}

// quoted writes s as it stands inside a JSON text.
func quoted(s string) []byte {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(s); err != nil {
		return []byte(s)
	}
	return bytes.Trim(bytes.TrimSpace(b.Bytes()), `"`)
}

// names reports whether an entry's JSON names the place "store NAME", "stack NAME"
// or "channel NAME" in its own field.
func names(text []byte, place string) bool {
	field, name, _ := strings.Cut(place, " ")
	var own map[string]json.RawMessage
	if json.Unmarshal(text, &own) != nil {
		return false
	}
	var value string
	return json.Unmarshal(own[field], &value) == nil && value == name
}

// kindOptions are the kinds that can be asked for.
func (f *frame) kindOptions(chosen string) []optionView {
	all := []optionView{{Value: kindsUsual, Label: f.text("page/kinds-usual")}, {Value: kindsAll, Label: f.text("page/kinds-all")},
		{Value: kindsActs, Label: f.text("page/kinds-acts")}, {Value: kindsRecords, Label: f.text("page/kinds-records")}}
	for _, k := range journalKinds() {
		all = append(all, optionView{Value: string(k), Label: f.kind(k)})
	}
	for i := range all {
		all[i].Chosen = all[i].Value == chosen
	}
	return all
}

// placeOptions are the places that can be asked for.
func (f *frame) placeOptions(chosen string) []optionView {
	all := []optionView{{Label: f.text("page/whole-depot")}}
	for _, s := range f.view.Stores {
		all = append(all, optionView{Value: "store " + s.Name, Label: s.Name})
		for _, k := range s.Stacks {
			all = append(all, optionView{Value: "stack " + k.Name, Label: f.text("form/stack-choice", "{stack}", k.Name)})
		}
	}
	for i := range all {
		all[i].Chosen = all[i].Value == chosen
	}
	return all
}

// row is an entry in one line.
func (f *frame) row(e logbook.Entry) journalRow {
	h := e.Head()
	r := journalRow{Seq: h.Seq, Path: fmt.Sprintf("/logbook/%d", h.Seq), At: f.second(h.Time), Kind: f.kind(h.Kind)}
	if h.Received.Sub(h.Time) > 5*time.Minute {
		r.Late = f.second(h.Received)
	}
	r.Who, r.Say = f.say(e)
	return r
}

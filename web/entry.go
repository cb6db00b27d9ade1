package web

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"strconv"

	"undersheet/logbook"
)

// entryPage is the page of one entry.
type entryPage struct {
	frame
	Seq                     uint64
	Kind, Say, Who          string
	Facts                   []fact
	JSON                    string // on one line, as the logbook exports it
	Pretty                  string
	Older, Newer, Of, Reply string // paths
	Photo                   string // where the picture is
	Correct                 string // where it is put right
	OfSeq                   uint64
}

// entry shows one entry.
func (p *site) entry(w http.ResponseWriter, r *http.Request) {
	seq, err := strconv.ParseUint(r.PathValue("seq"), 10, 63)
	if err != nil || seq == 0 || p.opts.Log == nil {
		p.missing(w, r)
		return
	}
	es, err := p.opts.Log.Read(r.Context(), seq, 2)
	if err != nil {
		p.failed(w, r, err)
		return
	}
	if len(es) == 0 || es[0].Head().Seq != seq {
		p.missing(w, r)
		return
	}
	page, err := p.entryPage(r, es[0])
	if err != nil {
		p.failed(w, r, err)
		return
	}
	if len(es) > 1 {
		page.Newer = fmt.Sprintf("/logbook/%d", seq+1)
	}
	p.show(w, r, http.StatusOK, "entry", page)
}

func (p *site) entryPage(r *http.Request, e logbook.Entry) (entryPage, error) {
	h := e.Head()
	page := entryPage{frame: p.frame(r, p.source.View(), "page/entry", "{seq}", strconv.FormatUint(h.Seq, 10)), Seq: h.Seq}
	page.Here, page.Kind = "logbook", page.kind(h.Kind)
	text, err := logbook.Encode(e)
	if err != nil {
		return page, err
	}
	var b bytes.Buffer
	if err := json.Indent(&b, text, "", "  "); err != nil {
		return page, fmt.Errorf("set entry %d: %w", h.Seq, err)
	}
	page.JSON, page.Pretty = string(text), b.String()
	if photo, ok := e.(*logbook.PhotoAttached); ok {
		page.Photo, page.JSON = fmt.Sprintf("/logbook/%d/photo", h.Seq), ""
		page.Pretty = page.text("page/picture-of", "{size}", strconv.Itoa(len(photo.Data)), "{hash}", photo.SHA256)
	}
	page.Who, page.Say = page.say(e)
	page.Facts = []fact{{page.text("page/happened"), page.second(h.Time)}, {page.text("page/written-down"), page.second(h.Received)}}
	if a, ok := e.(logbook.Acting); ok {
		page.Facts, page.Say, page.Who = append(page.Facts, page.factsOf(a)[1:]...), "", ""
		page.Reply = answerPath(h.Seq)
		if p.opts.Acts != nil && logbook.Correctable(h.Kind) {
			page.Correct = correctPath(h.Seq)
		}
	}
	if r, ok := e.(logbook.Recorded); ok && r.Rec().Of != 0 {
		page.OfSeq, page.Of = r.Rec().Of, fmt.Sprintf("/logbook/%d", r.Rec().Of)
		if r.Rec().Program != "" {
			page.Facts = append(page.Facts, fact{page.text("page/judged-by"), "undersheet " + r.Rec().Program})
		}
	}
	if h.Seq > 1 {
		page.Older = fmt.Sprintf("/logbook/%d", h.Seq-1)
	}
	return page, nil
}

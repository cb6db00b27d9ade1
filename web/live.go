package web

import (
	"fmt"
	"net/http"
	"time"
)

// Bounds of live streams, on the wire's clock.
const (
	maxStreams = 32 // more get 503 and go without
	liveEvery  = 2 * time.Second
	pingEvery  = 10 * time.Second
	sendWithin = 10 * time.Second
)

// live tells a page when to look again. Each event carries the last entry folded.
func (p *site) live(w http.ResponseWriter, r *http.Request) {
	select {
	case p.streams <- struct{}{}:
		defer func() { <-p.streams }()
	default:
		refuse(w, r, http.StatusServiceUnavailable, "page/too-many")
		return
	}
	if r.Method == http.MethodHead {
		return
	}
	w.Header().Set("Content-Type", "text/event-stream")
	out := http.NewResponseController(w)
	ping := time.NewTicker(pingEvery)
	defer ping.Stop()
	rest := time.NewTimer(0)
	defer rest.Stop()
	for event := "view"; ; {
		changed := p.source.Changed()
		_ = out.SetWriteDeadline(time.Now().Add(sendWithin)) // a recorder in tests has no deadlines
		if _, err := fmt.Fprintf(w, "event: %s\ndata: %d\n\n", event, p.source.View().Seq); err != nil {
			return
		}
		if err := out.Flush(); err != nil {
			return
		}
		rest.Reset(liveEvery)
		select {
		case <-rest.C:
		case <-r.Context().Done():
			return
		}
		select {
		case <-changed:
			event = "view"
		case <-ping.C:
			event = "ping"
		case <-r.Context().Done():
			return
		}
	}
}

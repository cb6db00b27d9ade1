package web

import (
	"encoding/json"
	"net/http"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/rules"
	"undersheet/rules/gate"
)

// Health is what /healthz answers.
type Health struct {
	OK      bool   `json:"ok"`
	Reason  string `json:"reason,omitempty"` // code for which every gate is shown shut
	Text    string `json:"text,omitempty"`   // the reason as a sentence
	Error   string `json:"error,omitempty"`  // newest trouble
	Seq     uint64 `json:"seq"`              // last entry folded
	Judged  uint64 `json:"judged"`           // last entry whose records are committed
	Version string `json:"version,omitempty"`
}

// reasonTrouble says that the watch has an error that it does not yet shut the gates for.
const reasonTrouble = "watch-in-trouble"

// health judges whether the program keeps up with what v shows.
func (p *site) health(v *rules.View) Health {
	st := p.source.Status()
	h := Health{Seq: st.Seq, Judged: st.Judged, Version: p.opts.Version, Reason: st.Shut}
	if st.Err != nil {
		h.Error = st.Err.Error()
	}
	if h.Reason == "" && p.opts.Intake != nil {
		if in := p.opts.Intake.Stats(); in.LogError != "" {
			h.Reason, h.Error = gate.LogbookFailing, in.LogError
		}
	}
	switch {
	case h.Reason != "":
	case st.Err != nil:
		h.Reason = reasonTrouble
	case v.Config == nil:
		h.Reason = gate.NoSite
	default:
		h.Reason = shutOf(v)
	}
	if h.OK = h.Reason == ""; !h.OK {
		h.Text = words.Reason(p.ownLang(), logbook.Reason{Code: h.Reason})
	}
	return h
}

// shutOf returns gate.FoldStalled if the watch has put it in front of the gates of v, else "".
// Status does not tell it, since it never waits for the fold.
func shutOf(v *rules.View) string {
	for _, s := range v.Stores {
		if len(s.Gate.Reasons) > 0 && s.Gate.Reasons[0].Code == gate.FoldStalled {
			return gate.FoldStalled
		}
	}
	return ""
}

func (p *site) healthz(w http.ResponseWriter, _ *http.Request) {
	h := p.health(p.source.View())
	w.Header().Set("Content-Type", "application/json")
	if !h.OK {
		w.WriteHeader(http.StatusServiceUnavailable)
	}
	_ = json.NewEncoder(w).Encode(h) // whoever asked may be gone
}

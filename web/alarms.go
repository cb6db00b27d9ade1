package web

import (
	"net/http"

	"undersheet/rules"
)

// alarmsPage lists the alarms that stand.
type alarmsPage struct {
	frame
	New, Seen []alarmView // not acknowledged by anybody; and acknowledged
}

func (p *site) alarmsNow(w http.ResponseWriter, r *http.Request) {
	v := p.source.View()
	page := alarmsPage{frame: p.frame(r, v, "page/alarms")}
	page.Here = "alarms"
	seen := func(a *rules.AlarmView) bool { return a.Acknowledged != 0 }
	page.New = page.alarms(v, func(a *rules.AlarmView) bool { return !seen(a) })
	page.Seen = page.alarms(v, seen)
	p.show(w, r, http.StatusOK, "alarms", page)
}

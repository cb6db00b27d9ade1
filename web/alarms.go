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

func (p *site) alarmsNow(w http.ResponseWriter, _ *http.Request) {
	v := p.source.View()
	page := alarmsPage{frame: p.frame(v, "Alarms")}
	page.Here = "alarms"
	seen := func(a *rules.AlarmView) bool { return seenBy(a) != "" }
	page.New = page.alarms(v, func(a *rules.AlarmView) bool { return !seen(a) })
	page.Seen = page.alarms(v, seen)
	p.show(w, http.StatusOK, "alarms", page)
}

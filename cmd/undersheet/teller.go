package main

import (
	"context"
	"fmt"

	"undersheet/logbook"
	"undersheet/logbook/words"
)

// tell prints the story as the logbook tells it: what people did, gates, phases,
// alarms, refusals, and a forecast a day.
func (dm *demo) tell(ctx context.Context) error {
	gates := map[string]string{}
	for next := uint64(1); ; {
		if err := dm.d.store.Wait(ctx, next-1); err != nil {
			return nil // the logbook closes when the story is over
		}
		entries, err := dm.d.store.Read(ctx, next, 256)
		if err != nil {
			return nil
		}
		for _, e := range entries {
			next = e.Head().Seq + 1
			if r, ok := e.(logbook.Recorded); ok && worthTelling(r, gates) {
				lang := dm.d.site.Speaks()
				words.Fill(lang, r)
				fmt.Fprintf(dm.con.out, "%s    %s\n", e.Head().Time.Std().In(dm.zone).Format("Mon 2 Jan 15:04"), recordText(lang, r, dm.zone))
			}
		}
	}
}

// worthTelling leaves out what repeats itself.
func worthTelling(r logbook.Recorded, gates map[string]string) bool {
	switch r := r.(type) {
	case *logbook.Gate:
		before := gates[r.Store]
		gates[r.Store] = r.State
		return before != r.State
	case *logbook.Forecast:
		return r.Line == ""
	case *logbook.Phase, *logbook.Alarm, *logbook.Refused:
		return true
	}
	return false
}

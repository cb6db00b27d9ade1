package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"undersheet/logbook"
	"undersheet/web"
)

// verdictWithin is how long a form waits for the verdict on its act, on the
// wire's clock. What is not judged by then is shown as pending.
const verdictWithin = 10 * time.Second

// webActs takes acts from the pages of a daemon.
type webActs struct{ d *daemon }

// Act implements web.Acts. Before the daemon has caught up and configured its
// site nothing is taken: it could not be judged.
func (w webActs) Act(ctx context.Context, e logbook.Acting) (web.Answer, error) {
	select {
	case <-w.d.caughtUp:
	default:
		return web.Answer{}, errors.New("the program is still reading its logbook, try again in a moment")
	}
	stored, err := w.d.store.Append(ctx, []logbook.Entry{e})
	if err != nil {
		return web.Answer{}, err
	}
	if stored[0].Differs {
		return web.Answer{State: web.Different, Seq: stored[0].Seq, Duplicate: true}, nil
	}
	patience, cancel := context.WithTimeout(ctx, verdictWithin)
	defer cancel()
	verdictOn(patience, w.d.loop, stored[0])
	_, a, err := web.ReadAnswer(ctx, w.d.store, "en", stored[0].Seq)
	if err != nil {
		return a, fmt.Errorf("the act was kept as entry %d, but: %w", stored[0].Seq, err)
	}
	a.Duplicate = stored[0].Duplicate
	return a, nil
}

package mqtt

import (
	"context"

	"golang.org/x/sync/errgroup"

	"undersheet/sensor"
)

// Client reads from one broker. Make one with New.
type Client struct {
	sessions []*session
}

// New makes a client of c, which must be valid (Config.Validate). It starts
// nothing: call Run, once.
func New(c Config, sink sensor.Sink, o Options) *Client {
	var timed, live []Source
	for _, s := range c.Sources {
		if s.Timed {
			timed = append(timed, s)
		} else {
			live = append(live, s)
		}
	}
	o = o.withDefaults()
	cl := &Client{}
	if len(timed) > 0 {
		cl.sessions = append(cl.sessions, newSession(c, c.ClientID, timed, sink, o))
	}
	if len(live) > 0 {
		s := newSession(c, c.ClientID+"-live", live, sink, o)
		s.clean = true
		cl.sessions = append(cl.sessions, s)
	}
	if len(cl.sessions) == 2 { // they come and go one by one
		cl.sessions[0].unit, cl.sessions[1].unit = "timed topics", "live topics"
	}
	return cl
}

// Run reads until ctx ends; then it returns nil, after everything it started has
// ended. The broker need not be there: Run connects when it comes.
func (c *Client) Run(ctx context.Context) error {
	g, ctx := errgroup.WithContext(ctx)
	for _, s := range c.sessions {
		g.Go(func() error { return s.run(ctx) })
	}
	return g.Wait()
}

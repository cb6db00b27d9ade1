package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"syscall"
	"time"

	"undersheet/alert"
	"undersheet/logbook"
	"undersheet/web"
)

// lookWithin is how long one look at the machinery may take: well under the time
// that a scrape of the metrics waits.
const lookWithin = 3 * time.Second

// machinery tells the metrics of what runs beside the fold.
func (d *daemon) machinery() web.Machinery {
	m := web.Machinery{Head: d.headSeq, Disk: d.disk, Messengers: d.waiting, Forwards: d.copies}
	if d.modem != nil {
		m.Modem = d.modemStanding
	}
	if d.beacon != nil {
		m.Beacon = d.beaconStanding
	}
	return m
}

// headSeq is the sequence number of the newest entry.
func (d *daemon) headSeq() (uint64, error) {
	ctx, cancel := context.WithTimeout(context.Background(), lookWithin)
	defer cancel()
	seq, _, err := d.head(ctx)
	return seq, err
}

// disk measures the logbook and what is left for it to whom it belongs.
func (d *daemon) disk() (on web.Disk, err error) {
	path := d.store.Path()
	for _, part := range []string{path, path + "-wal"} {
		info, err := os.Stat(part)
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return on, fmt.Errorf("measure the logbook: %w", err)
		}
		on.Size += uint64(info.Size())
	}
	var st syscall.Statfs_t
	if err := syscall.Statfs(filepath.Dir(path), &st); err != nil {
		return on, fmt.Errorf("measure the disk of %q: %w", path, err)
	}
	on.Free = uint64(st.Bavail) * uint64(st.Bsize)
	return on, nil
}

// mostWaiting is how many messages that wait are looked at.
const mostWaiting = 2000

// waiting counts what waits for each messenger that the site has.
func (d *daemon) waiting() ([]web.Messenger, error) {
	ctx, cancel := context.WithTimeout(context.Background(), lookWithin)
	defer cancel()
	out, err := d.store.Due(ctx, time.UnixMicro(math.MaxInt64), mostWaiting)
	if err != nil {
		return nil, err
	}
	ms := messengersOf(d.site)
	for _, o := range out {
		for i := range ms {
			if m := &ms[i]; m.Name == o.Messenger {
				var l alert.Letter
				if json.Unmarshal(o.Body, &l) == nil {
					m.Oldest = max(m.Oldest, d.opts.Clock.Now().Sub(l.Written.Std()))
				}
				m.Pending, m.Attempts = m.Pending+1, max(m.Attempts, o.Attempts)
			}
		}
	}
	return ms, nil
}

// messengersOf names the messengers of a site.
func messengersOf(site *logbook.Site) (ms []web.Messenger) {
	for _, m := range []struct {
		name string
		has  bool
	}{{alert.ByMail, site.Mail != nil}, {alert.BySMS, site.SMS != nil}, {alert.ByWebhook, len(site.Webhooks) > 0}} {
		if m.has {
			ms = append(ms, web.Messenger{Name: m.name})
		}
	}
	return ms
}

// modemStanding says how the modem stands.
func (d *daemon) modemStanding() (web.Modem, error) {
	s := d.modem.Stats()
	return web.Modem{Ready: s.Ready, Registered: s.Registered, SignalKnown: s.SignalKnown, SignalDBm: s.SignalDBm, Parts: s.Parts, Failed: s.Failed}, nil
}

// beaconStanding says how the beacon stands.
func (d *daemon) beaconStanding() (web.Beacon, error) {
	s := d.beacon.Status()
	return web.Beacon{Connected: s.Connected, Published: s.Published, Trouble: s.Trouble}, nil
}

// copies says how each copy of the logbook goes.
func (d *daemon) copies() (all []web.Forward, _ error) {
	for _, f := range d.forwards {
		s := f.Stats()
		c := web.Forward{Name: s.Name, Lag: s.Lag, Oldest: s.Oldest, Sent: s.Sent, Refused: s.Refused, Failed: s.Failed}
		if s.Attention {
			c.Trouble = s.LastError
		}
		all = append(all, c)
	}
	return all, nil
}

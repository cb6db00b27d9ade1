package main

import (
	"fmt"

	"undersheet/alert"
	"undersheet/alert/beacon"
	"undersheet/alert/mail"
	"undersheet/alert/sms"
	"undersheet/alert/webhook"
	"undersheet/forward"
)

// waysOut makes the messengers, the beacon and the forwarders of the site. The
// beacon follows the loop, which must be there.
func (d *daemon) waysOut() error {
	b := d.site.Beacon
	if b != nil {
		out, err := beacon.New(*b, d.site.Name, d.loop, beacon.Options{Language: d.site.Speaks(), Clock: d.opts.Clock.Now, Logger: d.opts.Logger})
		if err != nil {
			return fmt.Errorf("beacon: %w", err)
		}
		d.beacon, d.outs = out, append(d.outs, out)
	}
	for _, conf := range d.site.Forward {
		f, err := forward.New(conf, d.store, forward.Options{Clock: d.opts.Clock.Now, Logger: d.opts.Logger})
		if err != nil {
			return fmt.Errorf("forward %q: %w", conf.Name, err)
		}
		d.forwards, d.outs = append(d.forwards, f), append(d.outs, f)
	}
	return nil
}

// messengers makes the ways out to people and programs that are told.
func (d *daemon) messengers() error {
	var ms []alert.Messenger
	if m := d.site.Mail; m != nil {
		server, err := mail.New(*m, mail.Options{Version: version()})
		if err != nil {
			return fmt.Errorf("mail: %w", err)
		}
		ms = append(ms, server)
	}
	if s := d.site.SMS; s != nil {
		modem, err := sms.New(*s, sms.Options{Logger: d.opts.Logger})
		if err != nil {
			return fmt.Errorf("sms: %w", err)
		}
		d.modem, d.outs, ms = modem, append(d.outs, modem), append(ms, modem)
	}
	if w := d.site.Webhooks; len(w) > 0 {
		hooks, err := webhook.New(w, webhook.Options{Source: webhook.Source(d.site.Name), Emergency: d.site.Emergency, Version: version()})
		if err != nil {
			return fmt.Errorf("webhooks: %w", err)
		}
		ms = append(ms, hooks)
	}
	due := &dueClock{now: d.opts.Clock.Now, head: d.newest}
	d.sender = alert.NewSender(d.store, ms, alert.Options{People: d.site.People, Webhooks: d.site.Webhooks, Night: alert.NightOf(d.site).Quiet,
		Program: version(), Clock: due.Now, Logger: d.opts.Logger})
	return nil
}

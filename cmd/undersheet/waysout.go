package main

import (
	"errors"
	"fmt"

	"undersheet/alert"
	"undersheet/alert/beacon"
	"undersheet/alert/mail"
	"undersheet/alert/sms"
	"undersheet/alert/webhook"
	"undersheet/forward"
)

// waysOut makes the beacon and the forwarders of the site, or reports all that they lack. The
// beacon follows the loop, which must be there.
func (d *daemon) waysOut() error {
	var faults []error
	b := d.site.Beacon
	if b != nil {
		out, err := beacon.New(*b, d.site.Name, d.loop, beacon.Options{Language: d.site.Speaks(), Clock: d.opts.Clock.Now, Logger: d.opts.Logger})
		if err != nil {
			faults = append(faults, faultsOf("beacon", err))
		} else {
			d.beacon, d.outs = out, append(d.outs, out)
		}
	}
	for _, conf := range d.site.Forward {
		f, err := forward.New(conf, d.store, forward.Options{Clock: d.opts.Clock.Now, Logger: d.opts.Logger})
		if err != nil {
			faults = append(faults, faultsOf(fmt.Sprintf("forward %q", conf.Name), err))
		} else {
			d.forwards, d.outs = append(d.forwards, f), append(d.outs, f)
		}
	}
	return errors.Join(faults...)
}

// messengers makes the ways out to people and programs that are told, or reports all that they
// lack.
func (d *daemon) messengers() error {
	var ms []alert.Messenger
	var faults []error
	if m := d.site.Mail; m != nil {
		server, err := mail.New(*m, mail.Options{Version: version()})
		if err != nil {
			faults = append(faults, faultsOf("mail", err))
		} else {
			ms = append(ms, server)
		}
	}
	if s := d.site.SMS; s != nil {
		modem, err := sms.New(*s, sms.Options{Logger: d.opts.Logger})
		if err != nil {
			faults = append(faults, faultsOf("sms", err))
		} else {
			d.modem, d.outs, ms = modem, append(d.outs, modem), append(ms, modem)
		}
	}
	if w := d.site.Webhooks; len(w) > 0 {
		hooks, err := webhook.New(w, webhook.Options{Source: webhook.Source(d.site.Name), Emergency: d.site.Emergency, Version: version()})
		if err != nil {
			faults = append(faults, faultsOf("webhooks", err))
		} else {
			ms = append(ms, hooks)
		}
	}
	due := &dueClock{now: d.opts.Clock.Now, head: d.newest}
	d.sender = alert.NewSender(d.store, ms, alert.Options{People: d.site.People, Webhooks: d.site.Webhooks, Night: alert.NightOf(d.site).Quiet,
		Program: version(), Clock: due.Now, Machine: d.opts.Clock.Now, Logger: d.opts.Logger})
	return errors.Join(faults...)
}

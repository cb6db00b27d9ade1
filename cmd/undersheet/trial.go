package main

import (
	"cmp"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"time"

	"undersheet/alert"
	"undersheet/alert/mail"
	"undersheet/alert/sms"
	"undersheet/logbook"
	"undersheet/logbook/words"
)

// trialWithin is how long a trial message may take: a modem may have to be opened and to find its
// network.
const trialWithin = 3 * time.Minute

// tellPeopleOnTrial sends every person of a site a message that says that nothing has happened, by
// each way that the site file gives, and prints what became of it. It touches no logbook.
func tellPeopleOnTrial(ctx context.Context, w io.Writer, site *logbook.Site) error {
	ways, stop, err := trialWays(ctx, site)
	if err != nil {
		return err
	}
	defer stop()
	failed, sent := false, 0
	for _, p := range site.People {
		for _, way := range ways {
			address := p.Email
			if way.Name() == alert.BySMS {
				address = p.Phone
			}
			if address == "" {
				continue
			}
			sent++
			within, cancel := context.WithTimeout(ctx, trialWithin)
			err := way.Deliver(within, trialFor(site, p, address))
			cancel()
			if err != nil {
				failed = true
				fmt.Fprintf(w, "trial message by %s to %s, %s: NOT sent: %v\n", way.Name(), p.Name, address, err)
				continue
			}
			fmt.Fprintf(w, "trial message by %s to %s, %s: handed over; ask whether it came\n", way.Name(), p.Name, address)
		}
	}
	switch {
	case sent == 0:
		return errors.New("no trial message: the site file has nobody under people whom mail or SMS could reach")
	case failed:
		return errReported
	}
	return nil
}

// trialWays are the ways to people that a site has. stop ends them.
func trialWays(ctx context.Context, site *logbook.Site) (ways []alert.Messenger, stop func(), err error) {
	if site.Mail != nil {
		server, err := mail.New(*site.Mail, mail.Options{Version: version()})
		if err != nil {
			return nil, nil, faultsOf("mail", err)
		}
		ways = append(ways, server)
	}
	if site.SMS == nil {
		return ways, func() {}, nil
	}
	modem, err := sms.New(*site.SMS, sms.Options{Logger: slog.New(slog.DiscardHandler)})
	if err != nil {
		return nil, nil, faultsOf("sms", err)
	}
	ctx, end := context.WithCancel(ctx)
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		_ = modem.Run(ctx) // it says at each hand-over what it lacks
	}()
	return append(ways, modem), func() { end(); <-ended }, nil
}

// trialFor is the trial message for a person, in that person's language.
func trialFor(site *logbook.Site, p logbook.Person, address string) *alert.Delivery {
	now, lang := time.Now(), cmp.Or(p.Language, site.Speaks())
	say := func(key string) string { return words.Text(lang, key, "{site}", site.Name) }
	return &alert.Delivery{Letter: alert.Letter{ID: "trial-" + rand.Text() + "@undersheet.invalid", Priority: logbook.PriorityLow, Subject: say("trial/subject"), Text: say("trial/text"),
		Short: say("trial/short"), Written: logbook.At(now), Language: lang, Zone: site.Timezone}, Person: p.Name, Address: address, At: now}
}

package configs

import (
	"fmt"
	"net/mail"
	"slices"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/rules/followup"
	"undersheet/rules/protocol"
	"undersheet/trust"
)

// protocols judges what the site tightens; nothing may be loosened.
func (c *checker) protocols() {
	for _, name := range sortedKeys(c.site.Protocols) {
		p, path := c.site.Protocols[name], join("protocols", name)
		base, ok := c.baseOf(name, p, path)
		if !ok {
			continue
		}
		for _, why := range protocol.Loosens(base, p) {
			key, _, _ := strings.Cut(why, " ")
			c.wrong(path+"."+key, nil, "a site may tighten a protocol, never loosen it: %s", why)
		}
		c.protocolFigures(p, path)
	}
}

// baseOf returns the built-in protocol that a site's protocol starts from.
func (c *checker) baseOf(name string, p logbook.Protocol, path string) (logbook.Protocol, bool) {
	known := strings.Join(protocol.Names(), ", ")
	if own, ok := protocol.BuiltIn(name); ok {
		if p.Base != "" && p.Base != name {
			c.wrong(path+".base", p.Base, "%s is itself built in and has no other base: leave the key out, or choose another name", name)
			return own, false
		}
		return own, true
	}
	if p.Base == "" {
		c.wrong(path+".base", nil, "is missing: name the built-in protocol that this one tightens (%s)", known)
		return p, false
	}
	base, ok := protocol.BuiltIn(p.Base)
	if !ok {
		c.wrong(path+".base", p.Base, "is no built-in protocol (%s)", known)
	}
	return base, ok
}

// protocolFigures refuses figures that no treatment could mean.
func (c *checker) protocolFigures(p logbook.Protocol, path string) {
	if p.Hours != 0 {
		c.within(path+".hours", p.Hours, 1, 60*24, " h")
	}
	if p.EndLevel != 0 {
		if ppm := protocol.EndPPM(p); !(ppm > 0 && ppm <= 10000) {
			c.wrong(path+".end_level", p.EndLevel, "must be above 0 and at most 10000 ppm")
		}
	}
	if p.EndLevelUnit != "" {
		c.oneOf(path+".end_level_unit", p.EndLevelUnit, logbook.PPM, logbook.MgM3, logbook.GM3)
		if p.EndLevel == 0 {
			c.wrong(path+".end_level_unit", p.EndLevelUnit, "a unit without end_level says nothing")
		}
	}
	if p.Airing != 0 {
		c.lasting(path+".airing", p.Airing, time.Minute, 30*24*time.Hour)
	}
	if p.SecondAfterDays != 0 {
		c.within(path+".second_after_days", p.SecondAfterDays, 1, 60, " days")
	}
	if p.SecondWindow != 0 {
		c.lasting(path+".second_window", p.SecondWindow, time.Hour, 30*24*time.Hour)
	}
}

// settings judges the site's own figures.
func (c *checker) settings() {
	s := c.site.Settings
	c.lasting("settings.confirm_every", s.ConfirmEvery, time.Hour, 24*time.Hour)
	if c.lasting("settings.withholding", s.Withholding, time.Hour, 60*24*time.Hour) && s.Withholding.Std() < followup.DefaultWithholding {
		c.warn("settings.withholding", s.Withholding.Std(), "is shorter than the usual %v: make sure that your law and the label allow it", followup.DefaultWithholding)
	}
	c.within("settings.false_leak_days", s.FalseLeakDays, 10, 100000, " stack-days")
	c.lasting("settings.masked_entry_max", s.MaskedEntryMax, time.Minute, 2*time.Hour)
	c.afterwards()
}

// mail judges the server that takes e-mail.
func (c *checker) mail() {
	m := c.site.Mail
	if m == nil {
		return
	}
	if m.Host == "" {
		c.wrong("mail.host", nil, "is missing: the name of the mail server")
	} else if strings.ContainsAny(m.Host, " /@") {
		c.wrong("mail.host", m.Host, "must be the plain name or address of a server, for example mail.example.org")
	}
	c.within("mail.port", float64(m.Port), 1, 65535, "")
	if m.From == "" {
		c.wrong("mail.from", nil, "is missing: the sender's address")
	} else {
		c.address("mail.from", m.From)
	}
	if c.oneOf("mail.tls", m.TLS, "starttls", "tls", "none") && m.TLS == "none" && !trust.Loopback(m.Host) {
		c.wrong("mail.tls", m.TLS, "mail may go unprotected only to this machine (localhost, 127.0.0.1, ::1)")
	}
	c.secret("mail", "password", m.PasswordEnv, m.PasswordFile)
	if (m.User == "") != (m.PasswordEnv == "" && m.PasswordFile == "") {
		c.wrong("mail", nil, "user and password go together: give user and either password_env or password_file, or none")
	}
}

// address judges an e-mail address.
func (c *checker) address(path, a string) {
	if p, err := mail.ParseAddress(a); err != nil || p.Address != a {
		c.wrong(path, a, "is no e-mail address, for example warden@example.org")
	}
}

// people judges who is told.
func (c *checker) people() {
	names, reached, ordinary := map[string]string{}, 0, false
	for i, p := range c.site.People {
		path := fmt.Sprintf("people[%d]", i)
		c.named(path+".name", p.Name, names, "person")
		c.oneOf(path+".from", p.From, logbook.PriorityLow, logbook.PriorityMedium, logbook.PriorityHigh)
		if c.given(path + ".language") { // else it is the site's
			c.oneOf(path+".language", p.Language, words.Languages()...)
		}
		c.reachable(p, path, &reached)
		ordinary = ordinary || p.From != logbook.PriorityHigh
		if _, err := time.Parse(time.DateOnly, p.LicenceUntil); p.LicenceUntil != "" && err != nil {
			c.wrong(path+".licence_until", p.LicenceUntil, "is no date, for example 2027-03-31")
		}
	}
	switch {
	case reached == 0:
		c.warn("people", nil, "nobody has an e-mail address or a phone: alarms are shown on the pages only")
	case c.site.Mail == nil && c.site.SMS == nil:
		c.warn("people", nil, "there is no mail server and no modem (keys mail and sms): alarms are shown on the pages only")
	case c.site.SMS != nil && !slices.ContainsFunc(c.site.People, func(p logbook.Person) bool { return p.Phone != "" }):
		c.warn("people", nil, "there is a modem (key sms), and nobody has a phone: nobody is woken where lives hang on it")
	case !ordinary:
		c.warn("people", nil, "everybody has from: high, so nobody is told of what is of medium priority, for example a line that came off")
	}
}

// reachable judges how a person is told, and counts those who can be.
func (c *checker) reachable(p logbook.Person, path string, reached *int) {
	if p.Email != "" {
		c.address(path+".email", p.Email)
	}
	if p.Phone != "" && !international.MatchString(p.Phone) && !shortCode.MatchString(p.Phone) {
		c.wrong(path+".phone", p.Phone, "is no number for an SMS: +, country code and number without spaces, for example +254700000000, or a short code")
	}
	switch {
	case p.Email == "" && p.Phone == "":
		c.warn(path, nil, "%s has no email and no phone and is told nothing", p.Name)
		return
	case p.Email == "" && c.site.SMS == nil:
		c.warn(path, nil, "%s has only a phone, and there is no modem (key sms): nothing reaches them", p.Name)
	case p.Phone == "" && c.site.Mail == nil:
		c.warn(path, nil, "%s has only an e-mail address, and there is no mail server (key mail): nothing reaches them", p.Name)
	}
	*reached++
}

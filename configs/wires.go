package configs

import (
	"fmt"
	"net/url"
	"path/filepath"
	"regexp"
	"strings"

	"undersheet/logbook"
	"undersheet/trust"
)

// ways judges the ways out beside mail.
func (c *checker) ways() {
	c.sms()
	c.webhooks()
	c.beacon()
	c.forwards()
}

// sms judges the modem.
func (c *checker) sms() {
	s := c.site.SMS
	if s == nil {
		return
	}
	switch first, taken := c.ports[s.Port]; {
	case s.Port == "":
		c.wrong("sms.port", nil, "is missing: give the device path, for example /dev/serial/by-id/…")
	case taken:
		c.wrong("sms.port", s.Port, "this port is already used in line %d: a modem has its own", c.find(first).line)
	}
	c.within("sms.baud", float64(s.Baud), 300, 1e6, "")
	c.oneOf("sms.mode", s.Mode, "pdu", "text")
	if s.Centre != "" && !international.MatchString(s.Centre) {
		c.wrong("sms.centre", s.Centre, "is no number of a service centre: +, country code and number, for example +254700000000")
	}
	c.secret("sms", "pin", s.PINEnv, s.PINFile)
}

// Numbers that an SMS can go to: international in the form of ITU-T E.164, at
// most 15 digits; or a short code of 3 to 6 digits.
var (
	international = regexp.MustCompile(`^\+[1-9][0-9]{5,14}$`)
	shortCode     = regexp.MustCompile(`^[0-9]{3,6}$`)
)

// webhooks judges the servers that are told of alarms.
func (c *checker) webhooks() {
	names := map[string]string{}
	for i, w := range c.site.Webhooks {
		path := fmt.Sprintf("webhooks[%d]", i)
		c.named(path+".name", w.Name, names, "webhook")
		c.server(path+".url", w.URL, w.CA != "")
		c.secret(path, "secret", w.SecretEnv, w.SecretFile)
		if w.SecretEnv == "" && w.SecretFile == "" {
			c.wrong(path, nil, "has no secret: give secret_env or secret_file, so that the receiver can tell your messages from a stranger's")
		}
		c.oneOf(path+".from", w.From, logbook.PriorityLow, logbook.PriorityMedium, logbook.PriorityHigh)
	}
}

// server judges the address of an HTTP server.
func (c *checker) server(path, address string, ca bool) {
	const want = "want https://host/path, or http:// for a server on this machine"
	if address == "" {
		c.wrong(path, nil, "is missing: %s", want)
		return
	}
	u, err := url.Parse(address)
	switch {
	case strings.Contains(address, "@"):
		c.wrong(path, nil, "secrets never stand in a site file, not in an address either: use the keys that end in _env or _file")
	case err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Hostname() == "" || u.Fragment != "":
		c.wrong(path, address, "is no address of a server: %s", want)
	case u.Scheme == "http" && !trust.Loopback(u.Hostname()):
		c.wrong(path, address, "would cross the network in the clear: %s", want)
	case u.Scheme == "http" && ca:
		c.wrong(path, address, "http is not encrypted, so ca would do nothing: use https://")
	}
}

// lines judges the query of an address that takes line protocol.
func (c *checker) lines(path, address string) {
	u, err := url.Parse(address)
	if err != nil {
		return // server has told
	}
	q := u.Query()
	if p := q.Get("precision"); q.Has("precision") && p != "ns" && p != "n" {
		c.wrong(path, p, "lines have nanoseconds: leave precision out of the query")
	}
	for _, key := range []string{"u", "p", "token", "password"} {
		if q.Has(key) {
			c.wrong(path, nil, "secrets never stand in a site file, not in an address either: take %q out of the query and use the keys that end in _env or _file", key)
		}
	}
}

// beacon judges the broker on which gates and alarms are published.
func (c *checker) beacon() {
	b := c.site.Beacon
	if b == nil {
		return
	}
	c.broker(&logbook.MQTT{Broker: b.Broker, CA: b.CA, Cert: b.Cert, Key: b.Key, PasswordEnv: b.PasswordEnv, PasswordFile: b.PasswordFile}, "beacon")
	c.login("beacon", b.UserEnv, b.UserFile, b.PasswordEnv, b.PasswordFile)
	switch {
	case strings.ContainsAny(b.Topic, "+#"):
		c.wrong("beacon.topic", b.Topic, "is published to, so it has no + and no #")
	case strings.HasPrefix(b.Topic, "$"), strings.HasPrefix(b.Topic, "/"), strings.HasSuffix(b.Topic, "/"):
		c.wrong("beacon.topic", b.Topic, "must not begin with $ or /, nor end with /")
	}
	for i := range c.site.Instruments {
		if m := c.site.Instruments[i].MQTT; m != nil && m.Broker == b.Broker && m.ClientID == b.ClientID {
			c.wrong("beacon.client_id", b.ClientID, "an instrument of this broker has the same client id: the two would throw each other out")
		}
	}
}

// login judges the keys of a user and a password.
func (c *checker) login(path, userEnv, userFile, passwordEnv, passwordFile string) {
	c.secret(path, "user", userEnv, userFile)
	c.secret(path, "password", passwordEnv, passwordFile)
	if (passwordEnv != "" || passwordFile != "") && userEnv == "" && userFile == "" {
		c.wrong(path, nil, "a password without a user: give user_env or user_file")
	}
}

// forwards judges where the logbook is copied to.
func (c *checker) forwards() {
	names, files := map[string]string{}, map[string]string{}
	for i, f := range c.site.Forward {
		path := fmt.Sprintf("forward[%d]", i)
		c.named(path+".name", f.Name, names, "place to forward to")
		if (f.File == "") == (f.URL == "") {
			c.wrong(path, nil, "goes to exactly one place: give file or url")
			continue
		}
		if f.URL != "" {
			c.server(path+".url", f.URL, f.CA != "")
			c.lines(path+".url", f.URL)
		} else {
			c.named(path+".file", f.File, files, "file")
			if c.site.Logbook != "" && filepath.Clean(f.File) == filepath.Clean(c.site.Logbook) {
				c.wrong(path+".file", f.File, "is the logbook itself: give another file")
			}
			if f.CA != "" || f.UserEnv != "" || f.UserFile != "" || f.PasswordEnv != "" || f.PasswordFile != "" {
				c.wrong(path+".file", f.File, "a file has no use for ca, user and password")
			}
		}
		c.secret(path, "user", f.UserEnv, f.UserFile)
		c.secret(path, "password", f.PasswordEnv, f.PasswordFile)
	}
}

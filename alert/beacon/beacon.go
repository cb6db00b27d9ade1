package beacon

import (
	"errors"
	"fmt"
	"log/slog"
	"net/url"
	"slices"
	"strings"
	"sync"
	"time"

	"undersheet/logbook"
	"undersheet/rules"
	"undersheet/sensor/mqtt"
	"undersheet/trust"
)

// Source is what is shown.
type Source interface {
	// View returns the state as it is to be shown. It is shared: it is not changed here.
	View() *rules.View
	// Changed returns a channel that is closed when View may have changed.
	Changed() <-chan struct{}
}

// Options are a Beacon's settings that are not the broker's. The zero value is
// right for a daemon.
type Options struct {
	Clock    func() time.Time // depot's clock, for what messages say; nil: time.Now
	Refresh  time.Duration    // everything is published again this often; 0: 1 min. A gate is valid for three times that
	Gap      time.Duration    // shortest time between two looks at what changed; 0: 250 ms
	First    time.Duration    // mean wait after the first failure to connect; 0: 1 s
	Long     time.Duration    // mean wait never grows beyond; 0: 1 min
	Timeout  time.Duration    // longest wait for the broker to answer; 0: 10 s
	Language string           // of sentences; empty: en
	Logger   *slog.Logger     // nil: slog.Default()
}

// withDefaults returns o with every zero replaced by its default.
func (o Options) withDefaults() Options {
	if o.Clock == nil {
		o.Clock = time.Now
	}
	if o.Language == "" {
		o.Language = "en"
	}
	if o.Logger == nil {
		o.Logger = slog.Default()
	}
	for _, d := range []struct {
		to  *time.Duration
		def time.Duration
	}{{&o.Refresh, time.Minute}, {&o.Gap, 250 * time.Millisecond}, {&o.First, time.Second}, {&o.Long, time.Minute}, {&o.Timeout, 10 * time.Second}} {
		if *d.to <= 0 {
			*d.to = d.def
		}
	}
	return o
}

// Status is how a Beacon stands.
type Status struct {
	Connected bool
	Published uint64 // messages that the broker took since start
	Trouble   string // what somebody has to look at; empty = nothing known
}

// Beacon publishes the state of one site on one broker. Make one with New.
type Beacon struct {
	conf   logbook.Beacon
	source Source
	o      Options
	write  writer

	// Only Run's goroutine uses these.
	shown   map[string]string // topic → what stands there but for the times; left: something of an earlier run or connection
	settled bool              // the view has shown the present once

	mu      sync.Mutex
	status  Status
	trouble map[string]string // by what it is of
}

// New checks the beacon of a site file, and that its secrets can be read. It
// starts nothing and opens no connection; the error names all faults and the
// fields to put right.
func New(c logbook.Beacon, site string, s Source, o Options) (*Beacon, error) {
	if c.Topic == "" {
		c.Topic = "undersheet/" + escape(site)
	}
	if c.ClientID == "" {
		c.ClientID = "undersheet-" + escape(site) + "-beacon"
	}
	if err := check(c); err != nil {
		return nil, err
	}
	o = o.withDefaults()
	return &Beacon{conf: c, source: s, o: o, shown: map[string]string{}, trouble: map[string]string{},
		write: writer{prefix: c.Topic, site: site, lang: o.Language, valid: 3 * o.Refresh}}, nil
}

// check returns all faults of c at once.
func check(c logbook.Beacon) error {
	var faults []error
	must := func(ok bool, format string, args ...any) {
		if !ok {
			faults = append(faults, fmt.Errorf("beacon."+format, args...))
		}
	}
	u, err := url.Parse(c.Broker)
	must(err == nil && u.User == nil && (u.Scheme == "tcp" || u.Scheme == "tls") && u.Hostname() != "" && u.Port() != "",
		"broker: want tcp://host:1883 or tls://host:8883, without user and password")
	must(c.Topic == cleanTopic(c.Topic) && len(c.Topic) < mostTopic/2, "topic: must have no + # $ at its beginning, control character or empty level (got %.100q)", c.Topic)
	must((c.Cert == "") == (c.Key == ""), "cert: give cert and key, or neither")
	user, err := trust.Secret("user", c.UserEnv, c.UserFile)
	must(err == nil, "%w", err)
	password, err := trust.Secret("password", c.PasswordEnv, c.PasswordFile)
	must(err == nil, "%w", err)
	must(password == "" || user != "", "user_env: is missing beside the password")
	if (c.Cert == "") == (c.Key == "") {
		_, err = mqtt.TLS(c.Broker, c.CA, c.Cert, c.Key)
		must(err == nil, "%w", err)
	}
	return errors.Join(faults...)
}

// cleanTopic returns s if topics may begin with it, else something else.
func cleanTopic(s string) string {
	if s == "" || s[0] == '$' {
		return s + "?"
	}
	levels := strings.Split(s, "/")
	for i, l := range levels {
		if levels[i] = strings.ReplaceAll(escape(l), "%25", "%"); l == "" {
			levels[i] = "?"
		}
	}
	return strings.Join(levels, "/")
}

// Status returns how the beacon stands.
func (b *Beacon) Status() Status {
	b.mu.Lock()
	defer b.mu.Unlock()
	s := b.status
	var all []string
	for _, why := range b.trouble {
		all = append(all, why)
	}
	slices.Sort(all)
	s.Trouble = strings.Join(all, "; ")
	return s
}

// tell makes known why something is not well, or (why empty) that it is. It
// writes news to the log, once.
func (b *Beacon) tell(of, why string) {
	b.mu.Lock()
	was := b.trouble[of]
	if delete(b.trouble, of); why != "" {
		b.trouble[of] = why
	}
	b.mu.Unlock()
	switch {
	case why == was:
	case why != "":
		b.o.Logger.Warn("the beacon is in trouble", "of", of, "why", why)
	default:
		b.o.Logger.Info("the beacon is well again", "of", of)
	}
}

// connected makes known whether there is a connection.
func (b *Beacon) connected(yes bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.status.Connected = yes
}

// count counts a message that the broker took.
func (b *Beacon) count() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.status.Published++
}

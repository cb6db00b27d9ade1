package mqtt

import (
	"errors"
	"fmt"
	"net/url"
	"time"

	"undersheet/sensor"
)

// Bounds of what is held at one time, for each of the two clients.
const (
	MaxBatch      = 200      // messages delivered to the sink together
	MaxQueue      = 1024     // messages that wait for it
	MaxQueueBytes = 64 << 20 // and their payloads
)

// Decode reads the payload of a message on topic. now is the moment of arrival;
// it is zero when the message may be old, and then a time relative to it must be
// left out. It returns the readings, and an error for each part that could not
// be read. It must not keep payload.
type Decode = func(topic string, payload []byte, now time.Time) ([]sensor.Reading, []error)

// Source is one subscription.
type Source struct {
	Topic  string // filter, + and # allowed
	QoS    byte   // 0 or 1
	Timed  bool   // its payloads carry a time or a sequence number
	Decode Decode
}

// Config is one broker and what is read from it.
type Config struct {
	Name           string // instrument name of the site file
	Broker         string // tcp://host:1883 or tls://host:8883
	ClientID       string // of the persistent session; the other client appends "-live"
	CA             string // file of certificates that vouch for the broker; empty: the system's
	Cert, Key      string // files of the client certificate; empty: none
	User, Password string // empty: none
	Sources        []Source
}

// Options are a Client's settings that are not the broker's. The zero value is
// right for a daemon.
type Options struct {
	Now     func() time.Time // depot time, for arrivals and states; nil: time.Now
	First   time.Duration    // mean wait after the first failure to connect; 0: 1 s
	Long    time.Duration    // mean wait never grows beyond; 0: 1 min
	Timeout time.Duration    // longest wait for the broker to answer; 0: 10 s

	// Quiet is how long a resumed session must have been without a message and
	// without one that waits, until its backlog counts as through; 0: 0.5 s. On a
	// slow way it is ten times what connecting took. Until then readings without
	// a time of their own are marked Retained.
	Quiet time.Duration
}

// withDefaults returns o with every zero replaced by its default.
func (o Options) withDefaults() Options {
	if o.Now == nil {
		o.Now = time.Now
	}
	for _, d := range []struct {
		to  *time.Duration
		def time.Duration
	}{{&o.First, time.Second}, {&o.Long, time.Minute}, {&o.Timeout, 10 * time.Second}, {&o.Quiet, 500 * time.Millisecond}} {
		if *d.to == 0 {
			*d.to = d.def
		}
	}
	return o
}

// Validate returns all faults of c at once, joined; nil when there is none.
func (c Config) Validate() error {
	var faults []error
	check := func(ok bool, format string, args ...any) {
		if !ok {
			faults = append(faults, fmt.Errorf("mqtt instrument %q: %w", c.Name, fmt.Errorf(format, args...)))
		}
	}
	check(c.Name != "", "name: missing")
	check(c.ClientID != "", "client id: missing")
	u, err := url.Parse(c.Broker)
	check(err == nil && u.User == nil && (u.Scheme == "tcp" || u.Scheme == "tls") && u.Hostname() != "" && u.Port() != "",
		"broker: want tcp://host:1883 or tls://host:8883, without user and password")
	check((c.Cert == "") == (c.Key == ""), "cert and key: give both or neither")
	check(c.Password == "" || c.User != "", "password: needs a user")
	check(len(c.Sources) > 0, "sources: none")
	for i, s := range c.Sources {
		check(s.Topic != "", "sources[%d]: topic: missing", i)
		check(s.QoS <= 1, "sources[%d]: qos: must be 0 or 1 (got %d)", i, s.QoS)
		check(s.Decode != nil, "sources[%d]: decode: missing", i)
	}
	return errors.Join(faults...)
}

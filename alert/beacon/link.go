package beacon

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"sync"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"undersheet/logbook"
	"undersheet/sensor/mqtt"
	"undersheet/trust"
)

// Bounds of one connection.
const (
	window    = 16     // messages on their way at one time
	mostFound = 10_000 // topics of earlier runs that are looked at
)

// errGone says that the connection ended.
var errGone = errors.New("the connection was lost; if this comes again and again, another client uses the same client_id")

// link is one connection to the broker.
type link struct {
	*mqtt.Dialer
	client paho.Client
	online string        // topic
	echoed chan struct{} // closed when what was published came back: all that stood before has come, too

	mu    sync.Mutex
	found map[string]bool // retained topics that the broker showed
	heard bool            // echoed is closed
}

// message is one thing to publish.
type message struct {
	topic   string
	payload []byte // empty: take away what stands there
	key     string // what Beacon.shown keeps of it
}

// connect makes a connection; the wait for it ends with ctx, the connection does
// not.
func (b *Beacon) connect(ctx context.Context) (*link, error) {
	settings, err := mqtt.TLS(b.conf.Broker, b.conf.CA, b.conf.Cert, b.conf.Key)
	if err != nil {
		return nil, err
	}
	l := &link{Dialer: mqtt.NewDialer(context.WithoutCancel(ctx), settings, b.o.Timeout), online: b.conf.Topic + "/" + topicOnline, echoed: make(chan struct{}), found: map[string]bool{}}
	o, err := b.options(l)
	if err != nil {
		l.Close()
		return nil, err
	}
	defer context.AfterFunc(ctx, l.Close)()
	l.client = paho.NewClient(o)
	token := l.client.Connect()
	<-token.Done() // bounded by Timeout; ctx closes the connection
	if err := token.Error(); err != nil {
		l.Close()
		return nil, err
	}
	return l, nil
}

// options are those of one connection. Reconnection is this package's own, so
// that each failure is heard of, and the state of that moment is published.
func (b *Beacon) options(l *link) (*paho.ClientOptions, error) {
	user, err := trust.Secret("user", b.conf.UserEnv, b.conf.UserFile)
	if err != nil {
		return nil, err
	}
	password, err := trust.Secret("password", b.conf.PasswordEnv, b.conf.PasswordFile)
	if err != nil {
		return nil, err
	}
	o := paho.NewClientOptions()
	o.AddBroker(b.conf.Broker).SetClientID(b.conf.ClientID).SetCleanSession(true).SetProtocolVersion(4)
	o.SetUsername(user).SetPassword(password)
	o.SetAutoReconnect(false).SetConnectRetry(false).SetOrderMatters(true)
	o.SetKeepAlive(30 * time.Second).SetPingTimeout(b.o.Timeout).SetConnectTimeout(b.o.Timeout).SetWriteTimeout(b.o.Timeout)
	o.SetCustomOpenConnectionFn(l.Open)
	o.SetWill(l.online, Offline, 1, true)
	o.SetDefaultPublishHandler(func(_ paho.Client, m paho.Message) { l.hear(m.Topic(), m.Retained()) })
	return o, nil
}

// hear takes in what the broker shows of our own topics. The broker shows what
// is retained at the subscription and keeps the order (MQTT 3.1.1, 3.8.4 and
// 4.6), so when a message of this connection comes back, all of it has come.
func (l *link) hear(topic string, retained bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	switch {
	case retained:
		if len(l.found) < mostFound {
			l.found[topic] = true
		}
	case topic == l.online && !l.heard:
		l.heard = true
		close(l.echoed)
	}
}

// foundTopics returns the retained topics that the broker showed.
func (l *link) foundTopics() []string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return slices.Sorted(maps.Keys(l.found))
}

// wait waits for the broker's answer.
func (l *link) wait(t paho.Token, what string) error {
	timer := time.NewTimer(l.Timeout)
	defer timer.Stop()
	select {
	case <-t.Done():
		return t.Error()
	case <-l.Alive.Done():
		return errGone
	case <-timer.C:
		return fmt.Errorf("%s: no answer within %v", what, l.Timeout)
	}
}

// listen subscribes to our own topics.
func (l *link) listen(prefix string) error {
	wanted := map[string]byte{}
	for _, f := range filters(prefix) {
		wanted[f] = 1
	}
	err := l.wait(l.client.SubscribeMultiple(wanted, nil), "subscribe")
	if l.Alive.Err() != nil {
		return errGone
	}
	return err
}

// publish sends messages and calls taken for each that the broker took.
func (l *link) publish(out []message, taken func(message)) error {
	for part := range slices.Chunk(out, window) {
		tokens := make([]paho.Token, len(part))
		for i, m := range part {
			tokens[i] = l.client.Publish(m.topic, 1, true, m.payload)
		}
		for i, t := range tokens {
			if err := l.wait(t, "publish"); err != nil {
				return fmt.Errorf("publish %q: %w", part[i].topic, err)
			}
			taken(part[i])
		}
	}
	return nil
}

// end closes the connection after it has said good-bye.
func (l *link) end() {
	l.client.Disconnect(250)
	l.Close()
}

// prepare makes a message of a note.
func prepare(n note, at time.Time) message {
	return message{topic: n.topic, payload: n.say(logbook.At(at)), key: string(n.say(0))}
}

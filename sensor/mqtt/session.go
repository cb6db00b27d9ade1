package mqtt

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/cenkalti/backoff/v5"
	paho "github.com/eclipse/paho.mqtt.golang"
	"golang.org/x/sync/errgroup"

	"undersheet/sensor"
)

// steady is how long a connection must have lasted for the next one to be tried
// at once.
const steady = 30 * time.Second

// session is one client at the broker with its subscriptions.
type session struct {
	cfg     Config
	id      string // client id
	clean   bool   // the broker forgets this client when it goes
	unit    string // in states, when there are two sessions
	sources []Source
	sink    sensor.Sink
	o       Options

	inbox *inbox
	told  map[string]string // unit → what the sink was told last: "" well, else why not
	stray map[string]bool   // topics without a source that were recorded
}

// newSession makes the session of client id, for sources.
func newSession(c Config, id string, sources []Source, sink sensor.Sink, o Options) *session {
	return &session{cfg: c, id: id, sources: sources, sink: sink, o: o,
		inbox: newInbox(o), told: map[string]string{}, stray: map[string]bool{}}
}

// run keeps a connection, and takes what comes over it to the sink, until ctx ends.
func (s *session) run(ctx context.Context) error {
	g, ctx := errgroup.WithContext(ctx)
	g.Go(func() error { return s.consume(ctx) })
	g.Go(func() error { return s.keep(ctx) })
	err := g.Wait()
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return nil
	}
	return err
}

// keep connects again and again until ctx ends.
func (s *session) keep(ctx context.Context) error {
	wait := backoff.NewExponentialBackOff()
	wait.InitialInterval, wait.MaxInterval, wait.Multiplier = s.o.First, s.o.Long, 2
	wait.Reset()
	for {
		began := time.Now()
		err := s.connection(ctx)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err := s.tell(ctx, s.unit, s.inWords(err)); err != nil {
			return err
		}
		if time.Since(began) > steady {
			wait.Reset()
		}
		select {
		case <-time.After(wait.NextBackOff()):
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// connection makes one connection and returns why it ended.
func (s *session) connection(ctx context.Context) error {
	settings, err := TLS(s.cfg.Broker, s.cfg.CA, s.cfg.Cert, s.cfg.Key)
	if err != nil {
		return err
	}
	d := NewDialer(ctx, settings, s.o.Timeout)
	lost := make(chan error, 1)
	client := paho.NewClient(s.options(d, lost))
	defer func() {
		client.Disconnect(250)
		d.Close()
	}()
	s.inbox.connecting(!s.clean)
	began := time.Now()
	connect := client.Connect()
	<-connect.Done() // bounded by Timeout; ctx closes the connection
	if err := connect.Error(); err != nil {
		return err
	}
	s.inbox.connected(!s.clean && connect.(*paho.ConnectToken).SessionPresent(), time.Since(began))
	if err := s.subscribe(ctx, client, d); err != nil {
		return err
	}
	if err := s.tell(ctx, s.unit, ""); err != nil {
		return err
	}
	select {
	case err := <-lost:
		return &lostError{err}
	case <-ctx.Done():
		return ctx.Err()
	}
}

// options are those of one connection. Reconnection is this package's own, so
// that each failure is heard of.
func (s *session) options(d *Dialer, lost chan<- error) *paho.ClientOptions {
	o := paho.NewClientOptions()
	o.AddBroker(s.cfg.Broker).SetClientID(s.id).SetCleanSession(s.clean).SetProtocolVersion(4)
	o.SetUsername(s.cfg.User).SetPassword(s.cfg.Password)
	o.SetAutoReconnect(false).SetConnectRetry(false)
	o.SetAutoAckDisabled(true).SetOrderMatters(true)
	o.SetKeepAlive(30 * time.Second).SetPingTimeout(s.o.Timeout).SetConnectTimeout(s.o.Timeout).SetWriteTimeout(s.o.Timeout)
	o.SetCustomOpenConnectionFn(d.Open)
	o.SetConnectionLostHandler(func(_ paho.Client, err error) { lost <- err })
	// A resumed session's messages come before Subscribe returns: one handler
	// for all, there from the start.
	o.SetDefaultPublishHandler(func(_ paho.Client, m paho.Message) { s.inbox.put(d.Alive, m) })
	return o
}

// subscribe asks for all topics. One that the broker refuses is told, the others
// go on.
func (s *session) subscribe(ctx context.Context, client paho.Client, d *Dialer) error {
	filters := map[string]byte{}
	for _, src := range s.sources {
		filters[src.Topic] = src.QoS
	}
	token := client.SubscribeMultiple(filters, nil)
	select {
	case <-token.Done():
	case <-time.After(s.o.Timeout):
		return fmt.Errorf("subscribe: no answer within %v", s.o.Timeout)
	case <-d.Alive.Done():
		return fmt.Errorf("subscribe: %w", errGone)
	case <-ctx.Done():
		return ctx.Err()
	}
	if err := token.Error(); err != nil && len(token.(*paho.SubscribeToken).Result()) == 0 {
		return fmt.Errorf("subscribe: %w", err)
	}
	for topic, code := range token.(*paho.SubscribeToken).Result() {
		why := ""
		if code > 2 {
			why = fmt.Sprintf("the broker refuses the topic %q to user %q: allow it in the broker's access list", topic, s.cfg.User)
		}
		if err := s.tell(ctx, fmt.Sprintf("topic %s", topic), why); err != nil {
			return err
		}
	}
	return nil
}

// tell tells the sink that unit is well (why empty) or why it is not, if that is
// news. Topics are only news once one was refused.
func (s *session) tell(ctx context.Context, unit, why string) error {
	last, known := s.told[unit]
	if known && last == why || !known && why == "" && unit != s.unit {
		return nil
	}
	st := sensor.Status{Instrument: s.cfg.Name, Unit: unit, OK: why == "", Detail: why, Time: s.o.Now()}
	if st.OK {
		st.Detail = fmt.Sprintf("connected to broker %q", s.cfg.Broker)
	}
	err := s.insist(ctx, func() error { return s.sink.Status(ctx, st) })
	if err == nil {
		s.told[unit] = why
	}
	return err
}

// insist calls f until it succeeds or ctx ends, with growing waits.
func (s *session) insist(ctx context.Context, f func() error) error {
	wait := backoff.NewExponentialBackOff()
	wait.InitialInterval, wait.MaxInterval = s.o.First, s.o.Long
	wait.Reset()
	for {
		err := f()
		if err == nil {
			return nil
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
		select {
		case <-time.After(wait.NextBackOff()):
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

package webhook

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptrace"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"undersheet/alert"
	"undersheet/logbook"
)

// Name is the messenger's name in the outbox and in records.
const Name = "webhook"

// Options are what the site file does not say of its webhooks.
type Options struct {
	Source    string        // of the events, a URI reference; required: Source(site)
	Emergency string        // the site's emergency line
	Version   string        // of the program, for the User-Agent header
	Timeout   time.Duration // longest wait for a webhook, per letter; 0 = 10 s
}

// Hooks are the webhooks of a site. Their methods may be called from many
// goroutines.
type Hooks struct {
	opts  Options
	hooks map[string]*hook // by name
}

// hook is one webhook.
type hook struct {
	conf    logbook.Webhook
	address string // what is shown of the URL
	client  *http.Client

	mu     sync.Mutex
	missed int       // attempts in a row that got no answer
	until  time.Time // left alone until then, by the depot's clock
	why    string
}

// New checks the webhooks of a site file. It opens no connection. The error
// names all faults and the fields to put right.
func New(confs []logbook.Webhook, o Options) (*Hooks, error) {
	if o.Timeout <= 0 {
		o.Timeout = 10 * time.Second
	}
	h := &Hooks{opts: o, hooks: map[string]*hook{}}
	var faults []error
	if err := checkSource(o.Source); err != nil {
		faults = append(faults, err)
	}
	for i, c := range confs {
		path := fmt.Sprintf("webhooks[%d]", i)
		k, err := newHook(path, c)
		if err == nil && h.hooks[c.Name] != nil {
			err = fmt.Errorf("%s.name: %q is the name of another webhook", path, c.Name)
		}
		if err != nil {
			faults = append(faults, err)
			continue
		}
		h.hooks[c.Name] = k
	}
	if len(faults) > 0 {
		return nil, errors.Join(faults...)
	}
	return h, nil
}

// Name implements alert.Messenger.
func (*Hooks) Name() string { return Name }

// Deliver implements alert.Messenger. Every error is an *alert.Failure, and none
// concerns everyone.
func (h *Hooks) Deliver(ctx context.Context, d *alert.Delivery) error {
	k := h.hooks[d.Person]
	if k == nil {
		return &alert.Failure{Permanent: true, Err: fmt.Errorf("tell webhook %q: the site file has none of that name", d.Person)}
	}
	f := k.rest(d.At)
	if f == nil {
		var silent bool
		f, silent = h.post(ctx, k, d)
		k.note(d.At, f, silent && ctx.Err() == nil) // that the program stops says nothing of the webhook
	}
	if f == nil {
		return nil
	}
	f.Err = fmt.Errorf("tell webhook %q at %s: %w", k.conf.Name, k.address, f.Err)
	return f
}

// answerWithin is how long the body of a refusal is read.
const answerWithin = 2 * time.Second

// post makes one attempt. silent: the webhook gave no answer.
func (h *Hooks) post(ctx context.Context, k *hook, d *alert.Delivery) (f *alert.Failure, silent bool) {
	ctx, cancel := context.WithTimeout(ctx, h.opts.Timeout)
	defer cancel()
	var out progress
	req, err := h.request(httptrace.WithClientTrace(ctx, out.trace()), k.conf, d)
	if err != nil {
		return &alert.Failure{Permanent: true, Err: err}, false
	}
	resp, err := k.client.Do(req)
	if err != nil {
		return unanswered(err, out.sent()), true
	}
	defer resp.Body.Close()
	var said []byte
	if resp.StatusCode/100 != 2 {
		defer time.AfterFunc(answerWithin, cancel).Stop()
		said, _ = io.ReadAll(io.LimitReader(resp.Body, mostBody)) // the status decides, not the text
	}
	return judge(resp.StatusCode, resp.Header, said, d.At), false
}

// request writes a letter as a signed request.
func (h *Hooks) request(ctx context.Context, c logbook.Webhook, d *alert.Delivery) (*http.Request, error) {
	body, err := h.compose(d)
	if err != nil {
		return nil, err
	}
	secret, err := readSecret(c)
	if err != nil {
		return nil, err
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, c.URL, bytes.NewReader(body))
	if err != nil {
		return nil, errors.New("url: cannot be used") // New has checked it; the cause would show the query
	}
	req.Header.Set("Content-Type", ContentType)
	req.Header.Set("User-Agent", strings.TrimSpace("undersheet "+h.opts.Version))
	sign(req.Header, secret, body, d.At)
	return req, nil
}

// progress tells how far a request got. The transport writes it from goroutines
// of its own.
type progress struct{ began, broke atomic.Bool }

func (p *progress) trace() *httptrace.ClientTrace {
	return &httptrace.ClientTrace{
		WroteHeaders: func() { p.began.Store(true) },
		WroteRequest: func(i httptrace.WroteRequestInfo) { p.broke.Store(i.Err != nil) },
	}
}

// sent reports whether the whole request may be out.
func (p *progress) sent() bool { return p.began.Load() && !p.broke.Load() }

// Rests after attempts without an answer, by the depot's clock.
const (
	restFirst = 10 * time.Second
	restMost  = 2 * time.Minute
)

// rest returns a failure while the webhook is left alone.
func (k *hook) rest(now time.Time) *alert.Failure {
	k.mu.Lock()
	defer k.mu.Unlock()
	left := k.until.Sub(now)
	if left <= 0 || left > MostWait { // a clock that was put back must not make it longer
		return nil
	}
	return &alert.Failure{Err: fmt.Errorf("it is left alone for %s more (%s)", left.Round(time.Second), k.why), RetryAfter: left}
}

// note takes in how an attempt ended. silent: it got no answer.
func (k *hook) note(now time.Time, f *alert.Failure, silent bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if !silent {
		k.missed, k.until = 0, time.Time{}
		if f != nil && f.RetryAfter > 0 {
			k.until, k.why = now.Add(f.RetryAfter), "it asked for it"
		}
		return
	}
	k.until, k.why = now.Add(min(restFirst<<min(k.missed, 10), restMost)), "the last attempt got no answer"
	k.missed++
}

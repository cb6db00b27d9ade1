package main

import (
	"bufio"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"
	"golang.org/x/term"

	"undersheet/configs"
	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/logbook/sqlite/door"
	limits "undersheet/rules/exposure"
	"undersheet/rules/proof"
)

// target is one line of a stack, or one air point of a store, to be proved.
type target struct {
	store, stack, line, point string
	channel                   string
}

// String names the target for people.
func (t target) String() string {
	if t.point != "" {
		return fmt.Sprintf("air point %s of %s", t.point, t.store)
	}
	return fmt.Sprintf("line %s of stack %s", t.line, t.stack)
}

// prove opens what the dialogue needs and holds it.
func (c *listenCmd) prove(ctx context.Context, con *console) error {
	site, _, err := configs.Load(c.Site)
	if err != nil {
		return err
	}
	if site.Logbook == "" {
		return fmt.Errorf("%s: proofs are kept in a logbook: %w", c.Site, errNoLogbook)
	}
	settle(site, c.Site)
	store, err := sqlite.Open(site.Logbook, sqlite.Options{ReadOnly: true})
	if errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("%w\nStart \"undersheet serve --site %s\" first: it makes the logbook, and may run on meanwhile", err, c.Site)
	}
	if err != nil {
		return err
	}
	defer store.Close()
	daemon := daemonRuns(ctx, site.Logbook)
	targets, err := c.allowed(ctx, con, site, store, daemon)
	if err != nil {
		return err
	}
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	p := &prover{site: site, targets: targets, out: con.out, now: time.Now, readings: zeroReadings,
		typed: typedLines(ctx, con.in), fresh: make(chan proof.Reading, queuedFresh), heard: map[string][]proof.Reading{},
		record: func(ctx context.Context, e *logbook.LineProved) (string, error) {
			return keepProof(ctx, site.Logbook, e, con.err)
		}}
	p.limit, _ = limits.Limit(site.LimitSets, logbook.At(time.Now()))
	if f, ok := con.out.(*os.File); ok {
		p.live = term.IsTerminal(int(f.Fd()))
	}
	feeds, err := c.feeds(ctx, con, site, store, daemon, p.fresh, stop)
	if err != nil {
		return err
	}
	g, inner := errgroup.WithContext(ctx)
	for _, r := range feeds {
		g.Go(func() error { return r.Run(inner) })
	}
	err = p.run(inner)
	stop(nil)
	if errFeed := g.Wait(); !errors.Is(err, errFeed) {
		err = errors.Join(err, errFeed)
	}
	if cause := context.Cause(ctx); cause != nil && !errors.Is(cause, context.Canceled) {
		return heldElsewhere(cause)
	}
	return err
}

// allowed returns what may be proved now: the lines and gate air points of each
// store in which nothing is under gas by the logbook. It says why others may not.
func (c *listenCmd) allowed(ctx context.Context, con *console, site *logbook.Site, store *sqlite.Store, daemon bool) ([]target, error) {
	s, err := standings(ctx, site, store)
	if err != nil {
		return nil, err
	}
	var targets []target
	for i := range site.Stores {
		st := &site.Stores[i]
		if why := refused(s, st, daemon); why != "" {
			fmt.Fprintf(con.err, "%s is left out: %s\n", st.Name, why)
			continue
		}
		targets = append(targets, targetsOf(st)...)
	}
	if len(targets) == 0 {
		return nil, errors.New("no line can be proved: people hold the ends of lines in stores in which nothing is under gas, before dosing")
	}
	return targets, nil
}

// targetsOf lists what a store has to prove: gate air points first, for people
// breathe there, then the lines of each stack.
func targetsOf(s *logbook.Store) []target {
	var all []target
	for _, p := range s.Air {
		if p.Gate() {
			all = append(all, target{store: s.Name, point: p.Name, channel: p.Channel})
		}
	}
	for _, k := range s.Stacks {
		for _, l := range k.Lines {
			all = append(all, target{store: s.Name, stack: k.Name, line: l.Name, channel: l.Channel})
		}
	}
	return all
}

// standings reads what a logbook says of gas in the stores, from its first entry.
func standings(ctx context.Context, site *logbook.Site, store *sqlite.Store) (*proof.Standing, error) {
	s := proof.NewStanding(site)
	for e, err := range store.Entries(ctx, 1) {
		if err != nil {
			return nil, err
		}
		s.Take(e)
	}
	return s, nil
}

// refused says why nobody may prove lines in a store; "" when the logbook knows
// of no gas in it. A clearance counts only while a daemon watches over it.
func refused(s *proof.Standing, st *logbook.Store, daemon bool) string {
	if stack, phase, under := s.UnderGas(st); under {
		return fmt.Sprintf("stack %s is under gas by the logbook (%s); nobody goes in to prove lines", stack, phase)
	}
	if s.Allows(st, daemon) {
		return ""
	}
	gate := cmp.Or(s.Gate(st.Name), "not decided yet")
	if !daemon && gate == logbook.GateCleared {
		gate += ", but no daemon watches over it now"
	}
	return fmt.Sprintf("its gate is %s. If nothing in it is under gas, the supervisor signs for that first: "+
		"undersheet act -l LOGBOOK no-gas-declared store=%q by=NAME", gate, st.Name)
}

// daemonRuns reports whether a daemon answers at the door of a logbook.
func daemonRuns(ctx context.Context, path string) bool {
	ctx, end := context.WithTimeout(ctx, 5*time.Second)
	defer end()
	d, err := door.Dial(ctx, sqlite.SocketPath(path))
	if err != nil {
		return false
	}
	return d.Close() == nil
}

// keepProof hands a proof to the daemon, or to the logbook when there is none,
// and says what became of it.
func keepProof(ctx context.Context, path string, e *logbook.LineProved, w io.Writer) (string, error) {
	ctx, end := context.WithTimeout(ctx, 2*time.Minute)
	defer end()
	if err := logbook.Check(e); err != nil {
		return "", err
	}
	a, err := sendAct(ctx, path, e, w)
	switch {
	case err != nil:
		return "", err
	case a.Verdict == logbook.KindRefused:
		return fmt.Sprintf("kept as entry %d, but refused: %s", a.Seq, whyRefused(a, a.Language)), nil
	case a.Verdict == logbook.KindAccepted:
		return fmt.Sprintf("kept as entry %d", a.Seq), nil
	}
	return fmt.Sprintf("kept as entry %d; it is judged when the daemon has caught up", a.Seq), nil
}

// maxTyped is the longest line that a person may type, in bytes.
const maxTyped = 4096

// typedLines gives the lines of r; it is closed at its end. A read of a terminal
// cannot be called back, so its goroutine lasts until the next line or the end of
// the process.
func typedLines(ctx context.Context, r io.Reader) <-chan string {
	lines := make(chan string)
	go func() {
		defer close(lines)
		s := bufio.NewScanner(r)
		s.Buffer(nil, maxTyped)
		for s.Scan() {
			select {
			case lines <- strings.TrimSpace(s.Text()):
			case <-ctx.Done():
				return
			}
		}
	}()
	return lines
}

package main

import (
	"bufio"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/logbook/words"
	"undersheet/report"
	"undersheet/rules"
	"undersheet/rules/followup"
	"undersheet/web"
)

// dueCmd prints what is owed.
type dueCmd struct {
	JSON  bool   `name:"json" xor:"form" help:"One JSON object a line instead of text."`
	ICS   bool   `name:"ics" xor:"form" help:"A calendar (iCalendar) instead of text: the one that the pages serve, to be saved and sent."`
	Owner string `placeholder:"NAME" help:"Only what this person has to see to: what they own, and what nobody is named for."`
	All   bool   `help:"Also what was done or written off."`
	speaking
	Logbook string `arg:"" help:"Path of the logbook."`
}

// Help implements kong.HelpProvider.
func (dueCmd) Help() string {
	return `Prints what is owed after treatments and around them, as the daemon last recorded it: grain that is held back, grain
and test insects to be looked at, residue, sheets, instruments, licences, canisters. It reads beside a running daemon
and changes nothing. What is overdue is reckoned at the time of the logbook's newest entry.

With --json every follow-up is printed as its record stands in the logbook, with "overdue" beside it.

    undersheet due depot.db
    undersheet due --json depot.db | jq 'select(.overdue)'
    undersheet due --ics --owner "Ana Brook" depot.db > ana.ics`
}

// Run prints what is owed.
func (c *dueCmd) Run(con *console) error {
	s, err := sqlite.Open(c.Logbook, sqlite.Options{ReadOnly: true})
	if err != nil {
		return err
	}
	defer s.Close()
	v, err := owedIn(con, s)
	if err != nil {
		return err
	}
	w := bufio.NewWriter(con.out)
	switch {
	case c.ICS:
		body, err := web.CalendarOf(v, c.of(v.Config), c.Owner, "").Bytes()
		if err != nil {
			return err
		}
		_, _ = w.Write(body) // Flush says what went wrong
	default:
		v.FollowUps = slices.DeleteFunc(v.FollowUps, func(f rules.FollowUpView) bool {
			return !c.All && f.State != logbook.FollowOpen || c.Owner != "" && f.Owner != "" && !strings.EqualFold(f.Owner, c.Owner)
		})
		err = c.write(w, v)
	}
	return errors.Join(err, w.Flush())
}

// owedIn gathers the follow-ups of a logbook from its records, by when they are due;
// what waits for something comes last.
func owedIn(con *console, s *sqlite.Store) (*rules.View, error) {
	ctx := context.Background()
	head, err := s.Head(ctx)
	if err != nil {
		return nil, err
	}
	show, end := progress(con, "reading")
	defer end()
	v := &rules.View{}
	newest := map[logbook.FollowUp]*logbook.FollowUp{} // by what names one
	for e, err := range s.Entries(ctx, 1) {
		if err != nil {
			return nil, err
		}
		v.Now = max(v.Now, e.Head().Received)
		switch e := e.(type) {
		case *logbook.SiteConfigured:
			v.Config, v.Site = &e.Site, e.Site.Name
		case *logbook.FollowUp:
			newest[logbook.FollowUp{FollowUp: e.FollowUp, Store: e.Store, Stack: e.Stack, Treatment: e.Treatment, Channel: e.Channel, Person: e.Person}] = e
		}
		show(e.Head().Seq, max(e.Head().Seq, head.Seq))
	}
	if v.Config == nil {
		return nil, errors.New("the logbook holds no site yet, so nothing is owed: run \"undersheet serve\" first")
	}
	for _, r := range newest {
		v.FollowUps = append(v.FollowUps, viewOf(v, r))
	}
	slices.SortFunc(v.FollowUps, func(a, b rules.FollowUpView) int {
		return cmp.Or(cmp.Compare(never(a.Due), never(b.Due)), cmp.Compare(a.Stack, b.Stack), cmp.Compare(a.FollowUp, b.FollowUp), cmp.Compare(a.Treatment, b.Treatment),
			cmp.Compare(a.Channel, b.Channel), cmp.Compare(a.Person, b.Person))
	})
	return v, nil
}

// never puts what has no date after all that has.
func never(t logbook.Time) logbook.Time {
	if t == 0 {
		return 1<<63 - 1
	}
	return t
}

// viewOf is a record as the pages show it.
func viewOf(v *rules.View, r *logbook.FollowUp) rules.FollowUpView {
	i := followup.Item{Kind: r.FollowUp, Due: r.Due, Until: r.Until, State: r.State}
	rule := followup.RuleOf(v.Config, r.FollowUp)
	level, _ := i.Level(&rule, v.Now)
	f := rules.FollowUpView{FollowUp: r.FollowUp, Store: r.Store, Stack: r.Stack, Treatment: r.Treatment, Channel: r.Channel, Person: r.Person, Owner: r.Owner,
		State: r.State, Changed: r.Time, Due: r.Due, Until: r.Until, At: r.At, By: r.By, Result: r.Result}
	if !rule.Silent && r.Due != 0 {
		f.Remind, f.Escalate = r.Due.Add(-rule.Lead), i.Overdue(&rule)
		f.Soon, f.Overdue = level > followup.Quiet, level == followup.Overdue
	}
	return f
}

// write prints the follow-ups of v as JSON or in words.
func (c *dueCmd) write(w io.Writer, v *rules.View) error {
	lang, zone := c.of(v.Config), report.Zone(v.Config)
	if !c.JSON {
		fmt.Fprintf(w, "%s\n", words.Text(lang, "due/command", "{site}", v.Site, "{when}", words.Moment(lang, v.Now, zone)))
		if len(v.FollowUps) == 0 {
			fmt.Fprintf(w, "%s\n", words.Text(lang, "due/none"))
		}
	}
	for i := range v.FollowUps {
		f := &v.FollowUps[i]
		if c.JSON {
			if err := writeDue(w, f); err != nil {
				return err
			}
			continue
		}
		fmt.Fprint(w, dueText(lang, zone, f))
	}
	return nil
}

// dueText is a follow-up in words.
func dueText(lang string, zone *time.Location, f *rules.FollowUpView) string {
	r := &logbook.FollowUp{FollowUp: f.FollowUp, State: f.State, Store: f.Store, Stack: f.Stack, Treatment: f.Treatment, Channel: f.Channel, Person: f.Person,
		Due: f.Due, Until: f.Until, By: f.By, At: f.At, Result: f.Result}
	what, _ := words.FollowUp(lang, r)
	if f.Overdue {
		what = words.Text(lang, "due/overdue") + "  " + what
	}
	parts := []string{words.FollowUpWhen(lang, r, zone)}
	switch {
	case f.State == logbook.FollowOpen && f.Owner != "":
		parts = append(parts, words.Text(lang, "due/owner", "{name}", f.Owner))
	case f.State != logbook.FollowOpen && f.Result != "":
		parts = append(parts, words.FollowUpResult(lang, r))
	}
	return "\n" + what + "\n    " + strings.Join(parts, "\n    ") + "\n"
}

// dueLine is a follow-up as one JSON object.
type dueLine struct {
	FollowUp  string       `json:"follow_up"`
	State     string       `json:"state"`
	Overdue   bool         `json:"overdue"`
	Due       logbook.Time `json:"due,omitzero"`
	Until     logbook.Time `json:"until,omitzero"`
	Store     string       `json:"store,omitempty"`
	Stack     string       `json:"stack,omitempty"`
	Treatment string       `json:"treatment,omitempty"`
	Channel   string       `json:"channel,omitempty"`
	Person    string       `json:"person,omitempty"`
	Owner     string       `json:"owner,omitempty"`
	At        logbook.Time `json:"at,omitzero"`
	By        string       `json:"by,omitempty"`
	Result    string       `json:"result,omitempty"`
}

func writeDue(w io.Writer, f *rules.FollowUpView) error {
	b, err := json.Marshal(dueLine{FollowUp: f.FollowUp, State: f.State, Overdue: f.Overdue, Due: f.Due, Until: f.Until, Store: f.Store, Stack: f.Stack, Treatment: f.Treatment,
		Channel: f.Channel, Person: f.Person, Owner: f.Owner, At: f.At, By: f.By, Result: f.Result})
	if err != nil {
		return fmt.Errorf("write follow-up: %w", err)
	}
	_, err = fmt.Fprintf(w, "%s\n", b)
	return err
}

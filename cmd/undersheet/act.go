package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"os"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"

	"undersheet/alert"
	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/logbook/sqlite/door"
	"undersheet/logbook/words"
	"undersheet/watch"
)

// actCmd puts a person's act into a logbook.
type actCmd struct {
	Logbook string `short:"l" required:"" placeholder:"PATH" env:"UNDERSHEET_LOGBOOK" help:"Path of the logbook."`
	At      string `placeholder:"TIME" help:"When it happened, RFC 3339; now when left out."`
	ID      string `name:"id" placeholder:"KEY" help:"Your own key for this act: sent twice, it counts once."`
	speaking
	Kind   string   `arg:"" help:"What was done, for example airing-started."`
	Fields []string `arg:"" optional:"" name:"name=value" help:"The act's fields, for example stack=B by='Ana Brook'."`
}

// Help teaches a newcomer.
func (*actCmd) Help() string {
	var b strings.Builder
	b.WriteString(`Says to the logbook what people did, and prints what the rules make of it. While "undersheet serve" runs, the act goes
to it; else the logbook is opened directly. Who says so is not verified yet, and is recorded so.

  undersheet act -l depot.db dosing-started stack=B store_empty=true by="Ana Brook"
  undersheet act -l depot.db hand-reading store="Store 2" point="beside B" value=0.1 unit=ppm method="detector tube" by="Ana Brook"
  undersheet act -l depot.db dose-placed stack=B form=tablets count=540 people="Ana Brook, Ben Osei" protection="full mask" by="Ana Brook"
  undersheet act -l depot.db corrected of=812 entry='{"kind":"dose-placed","time":"2026-03-02T09:00:00Z", ...}' why=miscounted by="Ana Brook"

Acts and their fields:
`)
	for _, k := range logbook.ActKinds {
		e, err := logbook.New(k)
		if err != nil {
			continue
		}
		fmt.Fprintf(&b, "  %-20s %s\n", k, strings.Join(fieldNames(e), " "))
	}
	b.WriteString(`
The store's gate never calls a store safe: it says what was read and what is still owed. Local law, the label and the
licensed fumigator decide. Nobody goes into gas alone or at night.`)
	return b.String()
}

// actValued are the flags of "act" that a value follows.
var actValued = []string{"-l", "--logbook", "--at", "--id", "--lang"}

// flagsFirst puts the flags of "act" before its kind and fields: the parser ends the fields at the
// next flag, and people write them in any order.
func flagsFirst(args []string) []string {
	var flags, words []string
	for i := 1; i < len(args); i++ {
		switch a := args[i]; {
		case a == "--":
			words, i = append(words, args[i:]...), len(args)
		case !strings.HasPrefix(a, "-"):
			words = append(words, a)
		default:
			if flags = append(flags, a); slices.Contains(actValued, a) && i+1 < len(args) {
				i++
				flags = append(flags, args[i])
			}
		}
	}
	return slices.Concat(args[:1], flags, words)
}

// Run implements the command.
func (c *actCmd) Run(con *console) error {
	e, err := c.entry(time.Now())
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Minute)
	defer cancel()
	answer, err := sendAct(ctx, c.Logbook, e, con.err)
	if err == nil && answer.Differs && c.At == "" {
		answer, err = c.again(ctx, con, e, answer.Seq)
	}
	if err != nil {
		return err
	}
	return c.tell(con, answer)
}

// again sends an act that named no time of its own with the time of entry seq,
// which was sent under the same key: when nothing else differs, it is that act.
func (c *actCmd) again(ctx context.Context, con *console, e logbook.Entry, seq uint64) (door.Answer, error) {
	store, err := sqlite.Open(c.Logbook, sqlite.Options{ReadOnly: true})
	if err != nil {
		return door.Answer{}, err
	}
	first, err := store.Read(ctx, seq, 1)
	if err = errors.Join(err, store.Close()); err != nil {
		return door.Answer{}, err
	}
	if len(first) == 0 {
		return door.Answer{}, fmt.Errorf("read entry %d: it is not in the logbook", seq)
	}
	e.Head().Time = first[0].Head().Time
	return sendAct(ctx, c.Logbook, e, con.err)
}

// tell prints the verdict; a refusal is an error, so that scripts see it.
func (c *actCmd) tell(con *console, a door.Answer) error {
	lang := c.Lang
	if lang == "" {
		lang = a.Language
	}
	say := func(key string, pairs ...string) string {
		return words.Text(lang, key, append(pairs, "{act}", c.Kind, "{entry}", strconv.FormatUint(a.Seq, 10))...)
	}
	switch {
	case a.Differs:
		return errors.New(say("act/differs", "{id}", c.ID))
	case a.Verdict == logbook.KindRefused:
		return errors.New(say("act/refused", "{why}", whyRefused(a, lang)))
	case a.Verdict == logbook.KindAccepted:
		fmt.Fprintln(con.out, say("act/accepted"))
	default:
		fmt.Fprintln(con.out, say("act/kept"))
	}
	return nil
}

// whyRefused says in a language why an act took no effect.
func whyRefused(a door.Answer, lang string) string {
	if a.Refused == nil {
		return ""
	}
	words.Fill(lang, a.Refused)
	return a.Refused.Why
}

// entry makes the act of the command line.
func (c *actCmd) entry(now time.Time) (logbook.Entry, error) {
	e, err := logbook.New(logbook.Kind(c.Kind))
	if _, isAct := e.(logbook.Acting); err != nil || !isAct {
		return nil, fmt.Errorf("%q is no act; acts are: %s", c.Kind, joinKinds(logbook.ActKinds))
	}
	types := map[string]reflect.Type{}
	collectFields(reflect.TypeOf(e).Elem(), types)
	body := map[string]any{"kind": c.Kind, "time": logbook.At(now)}
	if c.At != "" {
		at, err := logbook.ParseTime(c.At)
		if err != nil {
			return nil, err
		}
		if at.Sub(logbook.At(now)) > time.Minute {
			return nil, fmt.Errorf("--at %s lies ahead: acts are never future-dated", c.At)
		}
		body["time"] = at
	}
	for _, f := range c.Fields {
		name, value, ok := strings.Cut(f, "=")
		of, known := types[name]
		if !ok || !known {
			return nil, fmt.Errorf("%q is no field of %s; write name=value with one of: %s", f, c.Kind, strings.Join(fieldNames(e), " "))
		}
		if body[name], err = fieldValue(of, value); err != nil {
			return nil, fmt.Errorf("field %s: %w", name, err)
		}
	}
	body["identity"] = notVerified
	if c.ID != "" {
		body["id"] = c.ID
	}
	text, err := json.Marshal(body)
	if err != nil {
		return nil, fmt.Errorf("write act: %w", err)
	}
	e, err = logbook.Decode(text)
	if err != nil {
		return nil, err
	}
	if act, isAct := e.(logbook.Acting); isAct && strings.TrimSpace(act.Who().By) == "" {
		return nil, errors.New("the field \"by\" is missing: who says so?")
	}
	return e, nil
}

// notVerified marks acts while nobody signs in.
const notVerified = "not verified"

// fieldValue reads a value of the command line as the field's type; a list has commas
// between its items.
func fieldValue(of reflect.Type, value string) (any, error) {
	switch of {
	case reflect.TypeFor[json.RawMessage]():
		if !json.Valid([]byte(value)) {
			return nil, fmt.Errorf("write one JSON object (got %q)", value)
		}
		return json.RawMessage(value), nil
	case reflect.TypeFor[[]string]():
		var items []string
		for item := range strings.SplitSeq(value, ",") {
			if item = strings.TrimSpace(item); item != "" {
				items = append(items, item)
			}
		}
		return items, nil
	}
	switch of.Kind() {
	case reflect.Bool:
		v, err := strconv.ParseBool(value)
		if err != nil {
			return nil, fmt.Errorf("write true or false (got %q)", value)
		}
		return v, nil
	case reflect.Float64:
		v, err := strconv.ParseFloat(value, 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, fmt.Errorf("write a number (got %q)", value)
		}
		return v, nil
	case reflect.Int:
		v, err := strconv.Atoi(value)
		if err != nil {
			return nil, fmt.Errorf("write a whole number (got %q)", value)
		}
		return v, nil
	case reflect.Uint64:
		v, err := strconv.ParseUint(value, 10, 63)
		if err != nil {
			return nil, fmt.Errorf("write the number of an entry (got %q)", value)
		}
		return v, nil
	}
	return value, nil
}

// collectFields gathers the JSON names of a kind's own fields and their types.
func collectFields(t reflect.Type, into map[string]reflect.Type) {
	for i := range t.NumField() {
		f := t.Field(i)
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		switch {
		case f.Anonymous && f.Type != reflect.TypeFor[logbook.Header]():
			collectFields(f.Type, into)
		case name != "" && name != "-" && name != "identity":
			ft := f.Type
			if ft.Kind() == reflect.Pointer {
				ft = ft.Elem()
			}
			into[name] = ft
		}
	}
}

// fieldNames lists the fields that an act of e's kind may have, sorted.
func fieldNames(e logbook.Entry) []string {
	types := map[string]reflect.Type{}
	collectFields(reflect.TypeOf(e).Elem(), types)
	return slices.Sorted(maps.Keys(types))
}

// joinKinds lists ks for people.
func joinKinds(ks []logbook.Kind) string {
	names := make([]string, len(ks))
	for i, k := range ks {
		names[i] = string(k)
	}
	return strings.Join(names, ", ")
}

// sendAct hands an act to the daemon that holds the logbook, or opens the logbook
// when there is none, and returns the verdict. What it waits for it says on w.
func sendAct(ctx context.Context, path string, e logbook.Entry, w io.Writer) (door.Answer, error) {
	if _, err := os.Stat(path); err != nil {
		return door.Answer{}, fmt.Errorf("open logbook: %w", err)
	}
	store, daemon, err := openOrKnock(ctx, path, w)
	switch {
	case err != nil:
		return door.Answer{}, err
	case daemon != nil:
		return sendByDoor(ctx, daemon, e)
	}
	defer store.Close()
	return judgeHere(ctx, store, e)
}

// sendByDoor hands an act to the running daemon.
func sendByDoor(ctx context.Context, c *door.Client, e logbook.Entry) (door.Answer, error) {
	defer c.Close()
	answers, err := c.Send(ctx, []logbook.Entry{e})
	if err != nil {
		return door.Answer{}, err
	}
	return answers[0], nil
}

// judgeHere commits an act to a logbook that no daemon holds, and folds the log
// to its verdict. Messages that it asks for wait for the daemon, and so do the daemon's
// snapshots: none is kept in their place.
func judgeHere(ctx context.Context, store *sqlite.Store, e logbook.Entry) (door.Answer, error) {
	loop := watch.New(store, watch.Options{Program: version(), NewPlanner: func() watch.Planner { return alert.NewPlanner(alert.PlannerOptions{}) }})
	ctx, stop := context.WithCancel(ctx)
	done := make(chan error, 1) // room for the one result, so that Run's goroutine always ends
	go func() { done <- loop.Run(ctx) }()
	answer, err := actOn(ctx, store, loop, e)
	stop()
	if errRun := <-done; err == nil && errRun != nil && !errors.Is(errRun, context.Canceled) {
		err = errRun
	}
	return answer, err
}

// actOn commits an act and waits for its verdict.
func actOn(ctx context.Context, store *sqlite.Store, loop *watch.Loop, e logbook.Entry) (door.Answer, error) {
	stored, err := store.Append(ctx, []logbook.Entry{e})
	if err != nil {
		return door.Answer{}, err
	}
	return verdictOn(ctx, loop, stored[0]), nil
}

// verdictOn waits for the verdict on an act that was kept. Without one the act
// is judged later.
func verdictOn(ctx context.Context, loop *watch.Loop, s sqlite.Stored) door.Answer {
	a := door.Answer{Seq: s.Seq, Duplicate: s.Duplicate, Differs: s.Differs}
	if s.Differs {
		return a
	}
	verdict, err := loop.Answer(ctx, s.Seq)
	if err != nil {
		return a
	}
	a.Verdict, a.Language = verdict.Head().Kind, loop.View().Config.Speaks()
	if r, ok := verdict.(*logbook.Refused); ok {
		a.Refused = r
		words.Fill(a.Language, r)
	}
	return a
}

package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"

	"undersheet/cmd/bench/scenario"
	"undersheet/rules/leak"
)

// throughReplay is the word for the whole way.
const throughReplay = "replay"

// quietHours is when the leak test goes live.
const quietHours = 12.0

// estimatorCmd measures forecasts and leak tests.
type estimatorCmd struct {
	Stacks  int      `default:"600" help:"Stacks a family (and a leak)."`
	Family  []string `default:"clean,hard" enum:"clean,hard,uneven,undosed" help:"Families of treatments: clean; hard; uneven (hard, under a sheet that is tight here and loose there); undosed (hard, with dose and gas space not known). The last two have no targets."`
	Part    []string `default:"forecast,leak,false,time" enum:"forecast,leak,false,after,limit,time" help:"What to measure. Only when asked for: after, forecasts in the hours after an added dose or a leak; limit, what could be had at best of leak tests and forecasts that have to learn a stack from its readings (seconds a stack)."`
	Seed    uint64   `default:"1000000" help:"First seed. Those below 1000000 are for tuning."`
	Through string   `default:"calls" enum:"calls,replay" help:"calls: fit and leak test as package rules calls them; replay: entries as JSON Lines through all rules (slower)."`
	JSON    bool     `name:"json" help:"One JSON object a figure instead of tables."`
}

// Help teaches a newcomer.
func (*estimatorCmd) Help() string {
	return `Draws invented treatments whose truth is known (package scenario) and runs the fit and the leak test over them as the
daemon does. Every figure with a target says whether it is met; the exit status is 1 where one is not.

  go run ./cmd/bench estimator --stacks 100 --family hard --part forecast --seed 0`
}

// Validate implements kong's check of arguments.
func (c *estimatorCmd) Validate() error {
	if c.Stacks < 1 || c.Stacks > 100000 {
		return errors.New("--stacks: from 1 to 100000")
	}
	return nil
}

// Run implements the command.
func (c *estimatorCmd) Run(con *console) error {
	missed := false
	give := func(fs []figure) error {
		for _, f := range fs {
			missed = missed || !f.ok()
		}
		if !c.JSON {
			return show(con.out, fs)
		}
		enc := json.NewEncoder(con.out)
		for _, f := range fs {
			if err := enc.Encode(f); err != nil {
				return fmt.Errorf("write a figure: %w", err)
			}
		}
		return nil
	}
	for _, family := range c.Family {
		if err := c.family(family, give); err != nil {
			return err
		}
	}
	if slices.Contains(c.Part, "time") {
		fs, err := timePart()
		if err := errors.Join(err, give(fs)); err != nil {
			return err
		}
	}
	if missed {
		return errMissed
	}
	return nil
}

// family measures the parts asked for on one family.
func (c *estimatorCmd) family(family string, give func([]figure) error) error {
	b := &bench{family: family, stacks: c.Stacks, seed: c.Seed, replay: c.Through == throughReplay}
	want := func(part string) bool { return slices.Contains(c.Part, part) }
	if want("forecast") || want("false") {
		fs, runs, err := b.forecastPart()
		if err == nil && want("forecast") {
			err = give(fs)
		}
		if err == nil && want("false") {
			fs, err = b.falsePart(runs)
			err = errors.Join(err, give(fs))
		}
		if err != nil {
			return err
		}
	}
	if want("after") {
		fs, err := b.afterPart()
		if err := errors.Join(err, give(fs)); err != nil {
			return err
		}
	}
	if want("limit") {
		fs, err := b.limitPart()
		if err := errors.Join(err, give(fs)); err != nil {
			return err
		}
	}
	if want("leak") {
		fs, err := b.leakPart()
		return errors.Join(err, give(fs))
	}
	return nil
}

// bench is what is measured: stacks of a family from a seed on, by the calls that
// package rules makes or through its whole replay.
type bench struct {
	family string
	stacks int
	seed   uint64
	replay bool
}

// whole runs a record to its end, with forecasts at the horizons.
func (b *bench) whole(r *scenario.Record) (*course, error) {
	if b.replay {
		return play(r, scenario.Hours+1)
	}
	return &watch(r, horizons...).run().course, nil
}

// truthGrain is how long before an onset a record may differ from its twin: what
// the truth interpolates, hours.
const truthGrain = 0.2

// runner returns what runs records of one stack until so many hours after their
// onset. Until then they are one and the same as the plain one, so that far the
// stack runs once.
func (b *bench) runner(plain *scenario.Record, hours float64) func(*scenario.Record) (*course, error) {
	var trunk *watched
	return func(r *scenario.Record) (*course, error) {
		if b.replay {
			return play(r, r.Truth.Onset+hours)
		}
		if trunk == nil {
			trunk = watch(plain)
			trunk.until(r.Truth.Onset - truthGrain)
		}
		w, err := trunk.branch(r)
		if err != nil {
			return nil, err
		}
		w.until(r.Truth.Onset + hours)
		return &w.course, nil
	}
}

// isNewLeak reports whether an event raises a leak.
func isNewLeak(e event) bool { return e.Kind == leak.Leak && !e.Cleared }

package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"

	"undersheet/rules/leak"
)

// quietHours is when the leak test goes live.
const quietHours = 12.0

// estimatorCmd measures forecasts and leak tests.
type estimatorCmd struct {
	Stacks int      `default:"600" help:"Stacks a family (and a leak)."`
	Family []string `default:"clean,hard" enum:"clean,hard" help:"Families of treatments: clean, hard."`
	Part   []string `default:"forecast,leak,false,time" enum:"forecast,leak,false,time" help:"What to measure."`
	Seed   uint64   `default:"1000000" help:"First seed. Those below 1000000 are for tuning."`
	JSON   bool     `name:"json" help:"One JSON object a figure instead of tables."`
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
		if err := give(timePart()); err != nil {
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
	want := func(part string) bool { return slices.Contains(c.Part, part) }
	if want("forecast") || want("false") {
		fs, runs := forecastPart(family, c.Stacks, c.Seed)
		if want("forecast") {
			if err := give(fs); err != nil {
				return err
			}
		}
		if want("false") {
			fs, err := falsePart(family, runs, c.Stacks, c.Seed)
			if err := errors.Join(err, give(fs)); err != nil {
				return err
			}
		}
	}
	if want("leak") {
		fs, err := leakPart(family, c.Stacks, c.Seed)
		return errors.Join(err, give(fs))
	}
	return nil
}

// isNewLeak reports whether an event raises a leak.
func isNewLeak(e event) bool { return e.Kind == leak.Leak && !e.Cleared }

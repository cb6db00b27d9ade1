package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"time"

	"undersheet/logbook/sqlite"
	"undersheet/logbook/sqlite/door"
)

// How a command waits for a logbook that another one has.
const (
	heldAtMost = 150 * time.Second // "act" has it for 2 min at most and ends within 10 s more
	heldLook   = 250 * time.Millisecond
)

// whileHeld calls open until no other command has the logbook for a moment, as "act" has it while
// no daemon runs; for heldAtMost, or until ctx ends. Before it waits, it tells once of whoever has
// it. A daemon is not waited for: where one answers at the door, that is returned with the error.
func whileHeld(ctx context.Context, open func() error, tell func(*sqlite.LockedError)) (*door.Client, error) {
	ctx, cancel := context.WithTimeout(ctx, heldAtMost)
	defer cancel()
	for waits := false; ; waits = true {
		err := open()
		var held *sqlite.LockedError
		if !errors.As(err, &held) {
			return nil, err
		}
		c, shut := door.Dial(ctx, sqlite.SocketPath(held.Path))
		if shut == nil {
			return c, err
		}
		if err = fmt.Errorf("%w\n(%w)", err, shut); errors.Is(shut, fs.ErrPermission) {
			return nil, err
		}
		if !waits {
			tell(held)
		}
		select {
		case <-ctx.Done():
			return nil, err
		case <-time.After(heldLook):
		}
	}
}

// openOrKnock opens the logbook at path for writing or, where a daemon has it, that daemon's door:
// one of the two is given. What it waits for it says on w.
func openOrKnock(ctx context.Context, path string, w io.Writer) (*sqlite.Store, *door.Client, error) {
	var store *sqlite.Store
	c, err := whileHeld(ctx, func() (err error) {
		store, err = sqlite.Open(path, sqlite.Options{})
		return err
	}, func(held *sqlite.LockedError) {
		fmt.Fprintf(w, "process %d has the logbook; waiting until it is done, or answers\n", held.PID)
	})
	if c != nil {
		return nil, c, nil
	}
	return store, nil, err
}

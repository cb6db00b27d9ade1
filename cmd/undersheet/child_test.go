package main

import (
	"bufio"
	"cmp"
	"context"
	"fmt"
	"log/slog"
	"os"
	"testing"
	"time"

	"undersheet/configs"
	"undersheet/sensor/sim"
)

// Environment of this test binary as a child process, which can be killed.
const (
	childMain   = "UNDERSHEET_TEST_MAIN"   // set: it is the program itself
	childSite   = "UNDERSHEET_TEST_SITE"   // it is a daemon of this site file, on a depot clock
	childStart  = "UNDERSHEET_TEST_START"  // and this is its depot time
	childListen = "UNDERSHEET_TEST_LISTEN" // where its pages are; empty: anywhere
)

// TestMain runs the tests, the program, or the daemon of an end-to-end test.
func TestMain(m *testing.M) {
	if os.Getenv(childMain) != "" {
		main()
	}
	if site := os.Getenv(childSite); site != "" {
		if err := childDaemon(site); err != nil {
			fmt.Fprintln(os.Stderr, "child:", err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// childDaemon is what serve runs, with a depot clock that moves to each time that
// comes on standard input. It answers "moved", and "folded" when every channel was read and
// folded at that time, and ends with standard input.
func childDaemon(path string) error {
	site, _, err := configs.Load(path)
	if err != nil {
		return err
	}
	settle(site, path)
	at, err := time.Parse(time.RFC3339, os.Getenv(childStart))
	if err != nil {
		return err
	}
	clock := sim.NewClock(at)
	d, err := newDaemon(site, daemonOptions{Clock: clock, Listen: cmp.Or(os.Getenv(childListen), "127.0.0.1:0"), Stale: time.Hour, Logger: slog.New(slog.NewTextHandler(os.Stderr, &slog.HandlerOptions{Level: slog.LevelError}))})
	if err != nil {
		return err
	}
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	ended := make(chan error, 1) // room for the one result
	go func() { ended <- d.run(ctx) }()
	<-d.caughtUp
	fmt.Println("ready")
	dm := &demo{d: d, clock: clock}
	for in := bufio.NewScanner(os.Stdin); in.Scan(); {
		if at, err = time.Parse(time.RFC3339, in.Text()); err != nil {
			return err
		}
		if err := clock.Waiters(ctx, onClock); err != nil {
			return err
		}
		clock.Move(at)
		fmt.Println("moved") // what is published from here on is not of the future
		for dm.unread(at) != "" {
			changed := d.loop.Changed()
			if dm.unread(at) == "" {
				break
			}
			<-changed
		}
		fmt.Println("folded")
	}
	stop()
	return <-ended
}

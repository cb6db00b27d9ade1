package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// The clock of messages never stands before the newest entry, by whose time they are planned,
// and goes on while the machine's clock is behind, so that what failed is tried again.
func TestClockOfMessages(t *testing.T) {
	wall := time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC)
	newest := wall.Add(-time.Minute)
	c := &dueClock{now: func() time.Time { return wall }, head: func() time.Time { return newest }}
	require.Equal(t, wall, c.Now())
	newest = wall.Add(24 * time.Hour)
	require.Equal(t, newest, c.Now())
	wall = wall.Add(2 * time.Minute)
	require.Equal(t, newest.Add(2*time.Minute), c.Now())
	wall = wall.Add(-time.Hour)
	require.Equal(t, newest, c.Now(), "set back once more, by a clock without a monotonic reading")
	wall = newest.Add(time.Second)
	require.Equal(t, wall, c.Now())
}

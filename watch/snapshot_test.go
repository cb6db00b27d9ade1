package watch

import (
	"testing"
	"testing/synctest"

	"github.com/stretchr/testify/require"
)

// TestStatusTellsTheSnapshot: how far the newest snapshot goes is known when it is
// written, and when the next process has loaded it.
func TestStatusTellsTheSnapshot(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log, o := newMemory(), options()
		l := start(t, log, o)
		synctest.Wait()
		require.Zero(t, l.Status().Snapshot)
		require.True(t, l.Status().SnapshotAt.IsZero())
		log.input(t, reading(0, 0.1), reading(1, 0.1))
		synctest.Wait()
		require.NoError(t, l.stop())
		require.Equal(t, uint64(2), l.Status().Snapshot)
		require.False(t, l.Status().SnapshotAt.IsZero())
		snap := log.snap
		log = log.reborn()
		log.snap = snap
		l = start(t, log, o)
		synctest.Wait()
		require.Equal(t, uint64(2), l.Status().Snapshot)
		require.Equal(t, dawn.Std().Add(60e9), l.Status().SnapshotAt)
		require.NoError(t, l.stop())
	})
}

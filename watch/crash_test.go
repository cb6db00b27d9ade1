package watch

import (
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules/gate"
)

// TestCrashBetweenInputAndRecords: inputs are durable, their records are not
// yet, and the process dies. The next one judges them, once.
func TestCrashBetweenInputAndRecords(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := newMemory()
		m.refuse = func(int) error { return errors.New("disk full") }
		l := start(t, m, options())
		m.input(t, reading(0, 1), confirmed(0), reading(0, 200))
		synctest.Wait()
		requireState(t, l.View(), "", "") // nothing is shown before it is committed
		require.Equal(t, gate.LogbookFailing, l.Status().Shut)
		n := m.reborn()
		time.Sleep(time.Minute)
		require.Error(t, l.stop2())
		require.Len(t, n.all(), 3)

		l = start(t, n, options())
		got, err := l.Answer(t.Context(), 2)
		require.NoError(t, err)
		require.Equal(t, uint64(2), got.Rec().Of)
		synctest.Wait()
		require.NoError(t, l.stop())
		want := n.all()
		require.Equal(t, []string{"reading", "entry-confirmed", "reading", "accepted", "alarm raised"}, brief(want))
		require.Len(t, n.out, 1)

		for range 3 { // and never again, with and without a snapshot
			n = n.reborn()
			l = start(t, n, options())
			synctest.Wait()
			requireState(t, l.View(), logbook.GateShut, "")
			require.NoError(t, l.stop())
			require.Equal(t, want, n.all())
			require.Len(t, n.out, 1)
			n.snap = nil
		}
	})
}

// TestStopWhileTheDiskIsFull: a state whose records could not be committed is not
// kept, so the next start judges again.
func TestStopWhileTheDiskIsFull(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := newMemory()
		l := start(t, m, options())
		m.input(t, reading(0, 1))
		synctest.Wait()
		m.refuse = func(int) error { return errors.New("disk full") }
		m.input(t, confirmed(0))
		synctest.Wait()
		m.mu.Lock()
		m.refuse = nil // room again, just before the stop
		m.mu.Unlock()
		require.NoError(t, l.stop())
		require.Less(t, m.judged, uint64(2))
		l = start(t, m.reborn(), options())
		got, err := l.Answer(t.Context(), 2)
		require.NoError(t, err)
		require.IsType(t, &logbook.Accepted{}, got)
		require.NoError(t, l.stop())
	})
}

// stop2 waits for the end of a loop whose log is dead.
func (r *running) stop2() error { defer r.cancel(); return <-r.err }

// TestCommitThatFails: records are tried again until the disk takes them, every
// gate shut meanwhile, and nothing is lost or doubled.
func TestCommitThatFails(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := newMemory()
		l := start(t, m, options())
		m.input(t, reading(0, 1), confirmed(0))
		synctest.Wait()
		requireState(t, l.View(), logbook.GateCleared, "")
		full := true
		m.refuse = func(int) error {
			if full {
				return errors.New("disk full")
			}
			return nil
		}
		m.input(t, reading(0, 200))
		synctest.Wait()
		requireState(t, l.View(), logbook.GateShut, gate.LogbookFailing)
		require.ErrorContains(t, l.Status().Err, "disk full")
		time.Sleep(time.Hour)
		m.mu.Lock()
		full = false
		m.mu.Unlock()
		time.Sleep(retryMost)
		synctest.Wait()
		requireState(t, l.View(), logbook.GateShut, "")
		require.NoError(t, l.Status().Err)
		require.NoError(t, l.stop())
		require.Equal(t, []string{"reading", "entry-confirmed", "accepted", "gate cleared", "reading", "alarm raised"}, brief(m.all()))
		require.Len(t, m.out, 1)
	})
}

// TestCommitThatHangs: a page is not held up by a disk that hangs.
func TestCommitThatHangs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := newMemory()
		l := start(t, m, options())
		m.input(t, reading(0, 1), confirmed(0))
		synctest.Wait()
		requireState(t, l.View(), logbook.GateCleared, "")
		hang := make(chan struct{})
		m.mu.Lock()
		m.refuse = func(int) error { m.mu.Unlock(); <-hang; m.mu.Lock(); return nil }
		m.mu.Unlock()
		m.input(t, reading(0, 200))
		synctest.Wait()
		began := time.Now()
		requireState(t, l.View(), logbook.GateShut, gate.FoldStalled)
		require.Equal(t, viewWait, time.Since(began))
		close(hang)
		synctest.Wait()
		requireState(t, l.View(), logbook.GateShut, "")
		require.NoError(t, l.stop())
	})
}

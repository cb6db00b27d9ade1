package watch

import (
	"context"
	"iter"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

// mindful is a depot that is made again after each masked entry, as after a correction.
type mindful struct {
	*depot
	outdated bool
}

func (d *mindful) Fold(e logbook.Entry) []logbook.Recorded {
	_, again := e.(*logbook.MaskedEntry)
	d.outdated = d.outdated || again
	return d.depot.Fold(e)
}

func (d *mindful) Outdated() bool { return d.outdated }

func (d *mindful) Refold(past iter.Seq2[logbook.Entry, error], _ bool) ([]logbook.Recorded, error) {
	fresh := newDepot().(*depot)
	for e, err := range past {
		if err != nil {
			return nil, err
		}
		fresh.Fold(e)
	}
	d.depot, d.outdated = fresh, false
	return nil, nil
}

// slow is a log that, once it holds three entries, does not give the first one again
// before the stop.
type slow struct{ *memory }

func (s *slow) Read(ctx context.Context, from uint64, limit int) ([]logbook.Entry, error) {
	if from == 1 && len(s.all()) == 3 {
		<-ctx.Done()
		return nil, ctx.Err()
	}
	return s.memory.Read(ctx, from, limit)
}

func entered(minute int) *logbook.MaskedEntry {
	return &logbook.MaskedEntry{Header: logbook.Header{Kind: logbook.KindMaskedEntry, Time: dawn.Add(time.Duration(minute) * time.Minute)},
		OnStore: logbook.OnStore{Store: "Store 2"}, In: "R. Amadi", AtDoor: "T. Lind", Protection: "canister mask", Act: logbook.Act{By: "R. Amadi"}}
}

func mindfulOptions() Options {
	o := options()
	o.NewState = func() Folder { return &mindful{depot: newDepot().(*depot)} }
	return o
}

// TestStopWhileMadeAgain: a stop while a correction is worked in is no break of the
// fold. Nobody is told that the watch has stopped, no half-made state is kept, and the
// next start works the correction in.
func TestStopWhileMadeAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := newMemory()
		l := start(t, &slow{m}, mindfulOptions())
		m.input(t, reading(0, 1), reading(0, 2))
		synctest.Wait()
		m.input(t, entered(0))
		synctest.Wait()
		require.NoError(t, l.stop())
		require.Empty(t, m.order, "nobody is told")
		require.Len(t, m.all(), 3, "nothing is recorded")
		require.Nil(t, m.snap, "a state that lacks the correction is not kept")

		m = m.reborn()
		l = start(t, m, mindfulOptions())
		synctest.Wait()
		require.Equal(t, []string{"reading", "reading", "masked-entry", "accepted"}, brief(m.all()))
		require.NoError(t, l.stop())
		require.Equal(t, 3.0, l.state.(*mindful).Sum, "each reading counts once")
	})
}

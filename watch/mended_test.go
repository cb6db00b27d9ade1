package watch

import (
	"context"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules/gate"
)

// TestBrokenFold: a panic shuts every gate, tells people once a day, and the next
// program that can fold the entry goes on.
func TestBrokenFold(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := newMemory()
		l := start(t, m, options())
		m.input(t, reading(0, 1), confirmed(0))
		synctest.Wait()
		m.input(t, reading(0, 200), reading(0, 666), reading(0, 1))
		err := <-l.err
		require.ErrorIs(t, err, ErrBroken)
		require.ErrorContains(t, err, "fold entry 6 (reading): the program broke: a bug")
		requireState(t, l.View(), logbook.GateShut, gate.FoldFailed)
		require.Equal(t, gate.FoldFailed, l.Status().Shut)
		require.ErrorContains(t, l.Status().Err, "a bug")
		log := brief(m.all())
		require.Equal(t, []string{"alarm raised", "alarm raised reading"}, log[len(log)-2:], "that of the entry before, and that the watch has stopped")
		require.Equal(t, []string{"log 5 air-gas raised", "log 6 watch-stopped raised"}, m.order, "both are told")

		told := len(m.order)
		again := func(minute int) {
			m = m.reborn()
			o := options()
			o.Build = "b11" // what another build has kept, it does not take
			o.Clock = new(clockAt).set(minute).now
			l = start(t, m, o)
			require.ErrorIs(t, <-l.err, ErrBroken)
		}
		for range 2 { // started again, it breaks again, and tells nobody again
			again(24*60 - 1)
		}
		require.Equal(t, log, brief(m.all()))
		require.Equal(t, told, len(m.order))
		for range 2 {
			again(24 * 60)
		}
		log = append(log, "alarm raised reading")
		require.Equal(t, log, brief(m.all()))
		require.Equal(t, "log 9 watch-stopped raised", m.order[told], "a day later it is told once more")

		m = m.reborn()
		o := options()
		o.Clock = new(clockAt).set(24 * 60).now
		o.NewState = func() Folder { return &mendedDepot{newDepot().(*depot)} }
		l = start(t, m, o)
		synctest.Wait()
		requireState(t, l.View(), logbook.GateShut, "")
		log = append(log, "alarm cleared", "alarm cleared reading", "alarm cleared reading")
		require.Equal(t, log, brief(m.all()))
		require.Equal(t, []string{"log 7 air-gas cleared", "log 9 watch-stopped cleared", "log 10 watch-stopped cleared"}, m.order[3:], "what was told before the end is not told again")
		require.NoError(t, l.stop())

		again(24*60 + 1) // the program of before
		require.Equal(t, append(log, "alarm raised reading"), brief(m.all()), "that it broke was over")
		require.Equal(t, "log 13 watch-stopped raised", m.order[6])
	})
}

// TestBrokenFoldIsToldEveryDay: a daemon that nobody starts anew says itself, once a day, that it is
// broken, however long ago that was.
func TestBrokenFoldIsToldEveryDay(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m, o, clock := newMemory(), options(), new(clockAt).set(0)
		o.Clock = clock.now
		l := start(t, m, o)
		m.input(t, reading(0, 666), reading(0, 1))
		require.ErrorIs(t, <-l.err, ErrBroken)
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan struct{})
		go func() { l.StillBroken(ctx); close(done) }()
		for _, look := range []struct{ minute, told int }{{1, 1}, {24*60 - 1, 1}, {24 * 60, 2}, {24*60 + 5, 2}, {48*60 - 1, 2}, {49 * 60, 3}, {60, 4}} {
			clock.set(look.minute) // at last it goes back by two days
			m.input(t, reading(look.minute, 1))
			time.Sleep(3 * stoppedLook)
			synctest.Wait()
			require.Len(t, m.order, look.told, "at minute %d", look.minute)
		}
		requireState(t, l.View(), logbook.GateShut, gate.FoldFailed)
		cancel()
		<-done
	})
}

// mendedDepot does not break at 666.
type mendedDepot struct{ *depot }

func (d *mendedDepot) Fold(e logbook.Entry) []logbook.Recorded {
	if r, ok := e.(*logbook.Reading); ok && r.Value == 666 {
		d.SeqNo = r.Seq
		return nil
	}
	return d.depot.Fold(e)
}

// TestUnwritableRecord: a number that is none keeps no other record back.
func TestUnwritableRecord(t *testing.T) {
	l := New(newMemory(), options())
	nan := logbook.Number(0)
	nan /= nan
	head := logbook.Header{Time: dawn}
	got := l.writable([]logbook.Recorded{
		&logbook.Alarm{Header: head, State: logbook.AlarmRaised, Alarm: "leak", Value: nan},
		&logbook.Refused{Header: head, Entry: logbook.KindEntryConfirmed, Code: "gas", Reasons: []logbook.Reason{{Value: nan}}},
		&logbook.EndLevel{Header: logbook.Header{Time: dawn, Kind: logbook.KindEndLevel}, Record: logbook.Record{Of: 7}, Stack: "B", Line: "low", Shown: "met", PPM: nan},
		&logbook.Accepted{Header: head, Entry: logbook.KindDosingStarted},
	})
	require.Len(t, got, 4)
	require.Equal(t, "leak", got[0].(*logbook.Alarm).Alarm)
	require.Equal(t, "gas", got[1].(*logbook.Refused).Code)
	f := got[2].(*logbook.Finding)
	require.Equal(t, []any{"record-not-written", "end-level", uint64(7)}, []any{f.Code, f.About, f.Of})
	for _, r := range got {
		_, err := logbook.Encode(r)
		require.NoError(t, err)
		require.Equal(t, "1.2", r.Rec().Program)
	}
}

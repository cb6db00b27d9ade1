package watch

import (
	"testing"
	"testing/synctest"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules/gate"
)

// TestBrokenFold: a panic shuts every gate, tells people once, and the next
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
		for range 2 { // started again, it breaks again, and tells nobody again
			m = m.reborn()
			l = start(t, m, options())
			require.Error(t, <-l.err)
		}
		require.Equal(t, log, brief(m.all()))
		require.Equal(t, told, len(m.order))

		m = m.reborn()
		o := options()
		o.NewState = func() Folder { return &mendedDepot{newDepot().(*depot)} }
		l = start(t, m, o)
		synctest.Wait()
		requireState(t, l.View(), logbook.GateShut, "")
		require.Equal(t, append(log, "alarm cleared"), brief(m.all()))
		require.Equal(t, "log 7 air-gas cleared", m.order[2])
		require.Len(t, m.order, 3, "what was told before the end is not told again")
		require.NoError(t, l.stop())
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

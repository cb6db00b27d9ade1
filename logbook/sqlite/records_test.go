package sqlite

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

// accepted returns a record made of the entry with seq of.
func accepted(of uint64) *logbook.Accepted {
	return &logbook.Accepted{Header: logbook.Header{Kind: logbook.KindAccepted, Time: logbook.At(noon)},
		Record: logbook.Record{Of: of, Program: "test"}, Entry: logbook.KindDosingStarted, Stack: "B"}
}

func handedOver(key string, attempt int) *logbook.Message {
	return &logbook.Message{Header: logbook.Header{Kind: logbook.KindMessage, Time: logbook.At(noon)},
		Messenger: "email", To: "R. Amadi", MessageID: key, State: "handed-over", Attempt: attempt}
}

func mail(key string, after time.Duration) Outgoing {
	return Outgoing{Key: key, Messenger: "email", To: "R. Amadi", Body: []byte("leak under B"), NotBefore: noon.Add(after)}
}

func TestAppendRecordsIsOneTransaction(t *testing.T) {
	s, _ := fresh(t)
	ctx := t.Context()
	_, err := s.Append(ctx, []logbook.Entry{dosing("", "B", 0)})
	require.NoError(t, err)
	require.NoError(t, s.AppendRecords(ctx, 1, []logbook.Recorded{accepted(1)}, []Outgoing{mail("m1", 0)}))
	judged, err := s.Judged(ctx)
	require.NoError(t, err)
	require.EqualValues(t, 1, judged)
	require.NoError(t, s.AppendRecords(ctx, 1, []logbook.Recorded{accepted(1)}, []Outgoing{mail("m1", 0)}), "a fold that runs again")
	require.Len(t, all(t, s), 2, "writes nothing twice")

	require.Error(t, s.AppendRecords(ctx, 0, nil, nil), "the cursor never goes back")
	require.Error(t, s.AppendRecords(ctx, 99, nil, nil), "nor past the head")
	require.Error(t, s.AppendRecords(ctx, 2, []logbook.Recorded{accepted(2)}, []Outgoing{mail("", 0)}))
	judged, err = s.Judged(ctx)
	require.NoError(t, err)
	require.EqualValues(t, 1, judged, "nothing of a failed transaction is kept")
	require.Len(t, all(t, s), 2)
	rec := accepted(2)
	require.NoError(t, s.AppendRecords(ctx, 2, []logbook.Recorded{rec}, nil), "the store goes on after a failure")
	require.EqualValues(t, 3, rec.Seq)
}

func TestOutbox(t *testing.T) {
	s, _ := fresh(t)
	ctx := t.Context()
	require.NoError(t, s.AppendRecords(ctx, 0, nil, []Outgoing{mail("late", time.Hour), mail("m1", 0), mail("m2", 0)}))
	due, err := s.Due(ctx, noon, 10)
	require.NoError(t, err)
	require.Equal(t, []Outgoing{mail("m1", 0), mail("m2", 0)}, due)
	o, err := s.Begin(ctx, "m1")
	require.NoError(t, err)
	require.Equal(t, 1, o.Attempts)
	require.False(t, o.InDoubt)

	due, err = s.Due(ctx, noon, 1) // as after a crash
	require.NoError(t, err)
	require.True(t, due[0].InDoubt, "an attempt without an end is in doubt")
	o, err = s.Begin(ctx, "m1")
	require.NoError(t, err)
	require.True(t, o.InDoubt)
	require.Equal(t, 2, o.Attempts)
	require.NoError(t, s.Finish(ctx, "m1", Result{Outcome: Retry, RetryAt: noon.Add(2 * time.Hour)}, nil))
	require.NoError(t, s.Finish(ctx, "m2", Result{Outcome: HandedOver}, handedOver("m2", 1)))
	require.ErrorIs(t, s.Finish(ctx, "m2", Result{Outcome: HandedOver}, handedOver("m2", 2)), ErrNotWaiting)
	_, err = s.Begin(ctx, "m2")
	require.ErrorIs(t, err, ErrNotWaiting)
	require.Len(t, all(t, s), 1)

	due, err = s.Due(ctx, noon.Add(time.Hour-time.Microsecond), 10)
	require.NoError(t, err)
	require.Empty(t, due, "none before its time")
	due, err = s.Due(ctx, noon.Add(time.Hour), 10)
	require.NoError(t, err)
	require.Len(t, due, 1, "the next in its time")
	due, err = s.Due(ctx, noon.Add(3*time.Hour), 10)
	require.NoError(t, err)
	require.Len(t, due, 2)
	require.Equal(t, "late", due[0].Key, "oldest first")
	require.False(t, due[1].InDoubt, "a failed attempt is not in doubt")
	require.NoError(t, s.Finish(ctx, "late", Result{Outcome: GivenUp}, nil))
	require.NoError(t, s.AppendRecords(ctx, 0, nil, []Outgoing{mail("m2", 0)}), "the key of a done message")
	due, err = s.Due(ctx, noon.Add(3*time.Hour), 10)
	require.NoError(t, err)
	require.Len(t, due, 1)
}

// TestDueFor: what waits for others does not stand before what waits for one.
func TestDueFor(t *testing.T) {
	s, _ := fresh(t)
	ctx := t.Context()
	to := func(key, messenger, to string, after time.Duration) Outgoing {
		return Outgoing{Key: key, Messenger: messenger, To: to, Body: []byte(key), NotBefore: noon.Add(after)}
	}
	one, two := to("h1", "webhook", "dispatch", 0), to("s1", "sms", "S. Rai", 0)
	other, later := to("h2", "webhook", "board", 0), to("h3", "webhook", "board", time.Hour)
	require.NoError(t, s.AppendRecords(ctx, 0, nil, []Outgoing{one, two, other, later}))
	for _, tt := range []struct {
		messenger, to string
		limit         int
		want          []Outgoing
	}{
		{"webhook", "", 10, []Outgoing{one, other}},
		{"webhook", "board", 1, []Outgoing{other}},
		{"sms", "", 10, []Outgoing{two}},
		{"mail", "", 10, nil},
	} {
		due, err := s.DueFor(ctx, tt.messenger, tt.to, noon, time.Hour, tt.limit)
		require.NoError(t, err)
		require.Equal(t, tt.want, due, tt)
	}
}

func TestSnapshots(t *testing.T) {
	s, _ := fresh(t)
	ctx := t.Context()
	for i := range 3 {
		_, err := s.Append(ctx, []logbook.Entry{reading("a", i, 1)})
		require.NoError(t, err)
	}
	none, err := s.LoadSnapshot(ctx, "p1", "c1")
	require.NoError(t, err)
	require.Nil(t, none)
	require.Error(t, s.SaveSnapshot(ctx, Snapshot{Build: "p1", ConfigHash: "c1", Seq: 9}), "no such seq")
	require.Error(t, s.SaveSnapshot(ctx, Snapshot{Build: "p1", ConfigHash: "c1", Seq: 1, Hash: "00"}), "not that block")
	for seq := range uint64(3) {
		require.NoError(t, s.SaveSnapshot(ctx, Snapshot{Build: "p1", ConfigHash: "c1", Seq: seq + 1, Data: []byte{byte(seq)}}))
	}
	snap, err := s.LoadSnapshot(ctx, "p1", "c1")
	require.NoError(t, err)
	require.EqualValues(t, 3, snap.Seq)
	_, hash, err := s.LogAt(ctx, 3)
	require.NoError(t, err)
	require.Equal(t, hash, snap.Hash)
	other, err := s.LoadSnapshot(ctx, "p2", "c1")
	require.NoError(t, err)
	require.Nil(t, other)

	_, err = s.write.Exec("UPDATE snapshots SET data = x'ff' WHERE seq = 3")
	require.NoError(t, err)
	snap, err = s.LoadSnapshot(ctx, "p1", "c1")
	require.NoError(t, err)
	require.EqualValues(t, 2, snap.Seq, "one that is not whole is passed over")
	_, err = s.write.Exec("UPDATE snapshots SET hash = 'ff'")
	require.NoError(t, err)
	snap, err = s.LoadSnapshot(ctx, "p1", "c1")
	require.NoError(t, err)
	require.Nil(t, snap)
}

package form

import (
	"net/url"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

// A form that is filled in with what an act says gives that act again.
func TestAnActComesBackFromItsForm(t *testing.T) {
	for kind, body := range filled {
		if kind == logbook.KindCorrected || kind == logbook.KindAcknowledged {
			continue
		}
		q, err := url.ParseQuery(body)
		require.NoError(t, err)
		f, err := New(kind, depot())
		require.NoError(t, err)
		e, faults := f.Read(q)
		require.Empty(t, faults)
		v, err := f.Again(e)
		require.NoError(t, err)
		again, faults := f.Read(v)
		require.Empty(t, faults, kind)
		e.Head().ID = ""
		require.Equal(t, e, again, kind)
	}
}

// When a check is due again is known as a date, and asked as one: a certificate holds for
// months, and no hour stands on it (common practice).
func TestNextCheckIsADate(t *testing.T) {
	f, err := New(logbook.KindInstrumentChecked, depot())
	require.NoError(t, err)
	require.Equal(t, Day, f.Field("due").Sort)
	v, err := url.ParseQuery(filled[logbook.KindInstrumentChecked])
	require.NoError(t, err)
	e, faults := f.Read(v)
	require.Empty(t, faults)
	require.Equal(t, logbook.Expiry("2026-11-01"), e.(*logbook.InstrumentChecked).Due)
	v.Del("due")
	e, faults = f.Read(v)
	require.Empty(t, faults)
	require.Empty(t, e.(*logbook.InstrumentChecked).Due)
}

// What expires is asked as a date; an act of before that holds a moment keeps it when it
// is put right, unless its date is changed.
func TestExpiryIsADate(t *testing.T) {
	for was, shown := range map[logbook.Expiry]string{"2026-09-30": "2026-09-30", "2026-09-30T19:00:00Z": "2026-09-30", "2026-09-30T23:00:00Z": "2026-09-30"} {
		f, err := New(logbook.KindCanister, depot())
		require.NoError(t, err)
		e := &logbook.CanisterChanged{Header: logbook.Header{Kind: logbook.KindCanister, Time: logbook.At(depot().Now)}, Person: "Amal Quint", Serial: "7", Expires: was, Act: logbook.Act{By: "Amal Quint"}}
		v, err := f.Again(e)
		require.NoError(t, err)
		require.Equal(t, shown, v.Get("expires"))
		again, faults := f.Read(v)
		require.Empty(t, faults)
		require.Equal(t, was, again.(*logbook.CanisterChanged).Expires)
		v.Set("expires", "2026-08-31")
		again, faults = f.Read(v)
		require.Empty(t, faults)
		require.Equal(t, logbook.Expiry("2026-08-31"), again.(*logbook.CanisterChanged).Expires)
		v.Set("expires", "31.08.2026")
		_, faults = f.Read(v)
		require.Len(t, faults, 1)
	}
}

// The hour that comes twice when summer time ends (Europe/Lisbon, 25 October 2026, 01:00
// to 02:00 by the IANA time zone database) stays the one it was.
func TestTheHourThatComesTwiceStays(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Lisbon")
	require.NoError(t, err)
	d := depot()
	d.Zone, d.Now = zone, time.Date(2026, 10, 25, 12, 0, 0, 0, time.UTC)
	for _, utc := range []int{0, 1} { // 01:30 by the clock, both
		at := logbook.At(time.Date(2026, 10, 25, utc, 30, 7, 500_000_000, time.UTC))
		f, err := New(logbook.KindStockCounted, d)
		require.NoError(t, err)
		v, err := f.Again(&logbook.StockCounted{Header: logbook.Header{Kind: logbook.KindStockCounted, Time: at}, Product: logbook.Product{Form: "tablets", Count: 7}, Act: logbook.Act{By: "Amal Quint"}})
		require.NoError(t, err)
		require.Equal(t, "2026-10-25T01:30:07", v.Get("time"))
		again, faults := f.Read(v)
		require.Empty(t, faults)
		require.Equal(t, at, again.Head().Time)
	}
}

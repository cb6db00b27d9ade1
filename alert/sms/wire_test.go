package sms_test

import (
	"context"
	"io"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/alert/sms"
	"undersheet/alert/sms/modem"
	"undersheet/logbook"
	"undersheet/sensor/port"
	"undersheet/sensor/port/porttest"
)

// carry carries bytes from one serial port to another until either ends.
func carry(from io.Reader, to io.Writer) {
	buf := make([]byte, 256)
	for {
		n, err := from.Read(buf)
		if n > 0 {
			if _, err := to.Write(buf[:n]); err != nil {
				return
			}
		}
		if err != nil {
			return
		}
	}
}

// The wire itself, held by a process of its own, is pulled and comes back.
func TestOverAWireThatIsPulled(t *testing.T) {
	pair := porttest.NewPair(t)
	far, err := modem.New(modem.Options{})
	require.NoError(t, err)
	run(t, far.Run)
	join := func() {
		a := port.New(port.Config{Device: pair.B}, port.Options{MaxRead: time.Hour})
		b := port.New(port.Config{Device: far.Device()}, port.Options{MaxRead: time.Hour})
		ended := make(chan struct{}, 2)
		t.Cleanup(func() { a.Close(); b.Close(); <-ended; <-ended })
		require.NoError(t, a.Open(t.Context(), nil))
		require.NoError(t, b.Open(t.Context(), nil))
		for _, way := range [][2]*port.Port{{a, b}, {b, a}} {
			go func() { carry(way[0], way[1]); way[0].Close(); way[1].Close(); ended <- struct{}{} }()
		}
	}
	join()
	near, err := sms.New(logbook.SMS{Port: pair.A}, quick())
	require.NoError(t, err)
	run(t, near.Run)
	r := rig{near, far}
	require.NoError(t, r.Deliver(t.Context(), letter("first")))

	pair.Unplug()
	r.until(t, "gone", func(s sms.Stats) bool { return !s.Ready })
	soon, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	require.True(t, failure(t, r.Deliver(soon, letter("nobody there"))).Everyone)

	pair.Plug()
	join()
	require.NoError(t, r.Deliver(t.Context(), letter("second")))
	require.Equal(t, []modem.Message{{To: "+447700900123", Text: "first", Parts: 1}, {To: "+447700900123", Text: "second", Parts: 1}}, far.Sent())
}

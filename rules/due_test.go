package rules

import (
	"bytes"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"undersheet/logbook"
)

// To look only at what is due gives what looking at everything gives: the same
// records at the same entries, and the same state.
func TestWhatIsNotDueDoesNotChange(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := &script{t: t, now: epoch, airy: rapid.Bool().Draw(t, "airy"), wired: rapid.IntRange(0, 2).Draw(t, "wired") == 0, restore: rapid.Bool().Draw(t, "restore")}
		g.steps = rapid.SampledFrom([][]time.Duration{nil, {time.Second, 10 * time.Second, time.Minute, 3 * time.Minute, 11 * time.Minute}, {time.Hour, 31 * time.Minute}}).Draw(t, "steps")
		d := newDaemon(map[bool]logbook.Site{true: wiredSite(), false: testSite()}[g.wired])
		for range 60 {
			for _, e := range g.next() {
				d.commit(e)
			}
		}
		due, all := New(), New()
		for _, e := range d.log {
			var a, b bytes.Buffer
			write(t, &a, due.Fold(e))
			all.stirAll()
			write(t, &b, all.Fold(e))
			require.Equal(t, b.String(), a.String(), "records of entry %d", e.Head().Seq)
		}
		due.stirAll()
		all.stirAll()
		require.JSONEq(t, snapshot(t, all), snapshot(t, due), "state")
	})
}

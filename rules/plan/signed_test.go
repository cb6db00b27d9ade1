package plan_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"undersheet/logbook"
	"undersheet/rules/plan"
)

// A signature stands for a day (common practice); the newest of a check counts.
func TestSigned(t *testing.T) {
	noon := logbook.At(time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC))
	at := func(hours int) logbook.Time { return noon.Add(time.Duration(hours) * time.Hour) }
	all := plan.Checks(false)
	var s plan.Signed
	owed, wanting := s.Before(noon, false)
	assert.Equal(t, all, owed)
	assert.Empty(t, wanting)
	assert.Equal(t, []string{"moonlight"}, s.Sign(append([]string{"moonlight"}, all...), plan.Signature{At: noon, InOrder: true}))
	assert.Empty(t, s.Sign(all[:1], plan.Signature{At: at(1)}))
	assert.Empty(t, s.Sign(all[:2], plan.Signature{At: at(-1), InOrder: true}))
	owed, wanting = s.Before(at(24), false)
	assert.Empty(t, owed)
	assert.Equal(t, all[:1], wanting)
	owed, wanting = s.Before(at(25), false)
	assert.Equal(t, all[1:], owed)
	assert.Equal(t, all[:1], wanting)
}

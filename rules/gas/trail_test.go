package gas

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"

	"undersheet/rules/leak"
)

func TestTrailIsBounded(t *testing.T) {
	var r Trail
	test := leak.New(leak.Setup{Lines: 3})
	for h := 0.0; h < 24*30; h += 1.0 / 12 {
		r.mark(h, test)
	}
	r.peak(24*30-0.1, 5.27, false)
	r.peak(0, 9, true) // long gone
	require.Len(t, r.All, trailMost)
	require.Equal(t, 30*48, r.next())
	b, err := json.Marshal(&r)
	require.NoError(t, err)
	require.Less(t, len(b), 8<<10)
	var back Trail
	require.NoError(t, json.Unmarshal(b, &back))
	require.Equal(t, r, back)
	last := r.Marks()[trailMost-1]
	require.InDelta(t, 24*30-0.5, last.Hours, 1e-9)
	require.InDelta(t, 5.27, last.Apart, trailStep/2)
	require.False(t, r.Marks()[0].Live)
	r.mark(24*3000, test)
	require.Len(t, r.All, 1, "after a gap longer than what is kept it begins anew")
}

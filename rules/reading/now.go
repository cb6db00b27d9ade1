package reading

import (
	"time"

	"undersheet/logbook"
)

// aheadMoves is how far ahead of now a reading without a received time may be dated and
// still move now.
const aheadMoves = 24 * time.Hour

// NowAfter returns what now becomes with an entry: it moves on to the entry's received time,
// or to its own time where it has no received time. A reading dated far ahead moves nothing.
func NowAfter(now logbook.Time, e logbook.Entry) logbook.Time {
	h := e.Head()
	t := h.Received
	if t == 0 {
		t = h.Time
		if _, isReading := e.(*logbook.Reading); isReading && now != 0 && t > now.Add(aheadMoves) {
			return now
		}
	}
	return max(now, t)
}

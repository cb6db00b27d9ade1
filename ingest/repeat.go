package ingest

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"net/url"
	"time"

	"undersheet/logbook"
	"undersheet/sensor"
)

// RepeatWithin is how long after a reading the same value under the same key of
// its source is taken for the same message sent again. A broker or an instrument
// repeats what it has not seen acknowledged soon after it is connected again;
// an instrument that counts anew reaches a number again only as long after as it
// had been running.
const RepeatWithin = time.Hour

// outcome is what became of a reading whose key was in the logbook already.
type outcome int

const (
	repeated outcome = iota + 1 // the same message again: dropped
	reused                      // another measurement under a used key: kept
)

// maxID is the longest id that is written out, in bytes.
const maxID = 512

// measurementID returns the id of r's entry, INSTRUMENT/CHANNEL/KEY: one key may
// give several channels. When that is used for another measurement, the second
// try is INSTRUMENT/CHANNEL;DAY/KEY with the day on which r came, and further ones
// are empty, which never clashes. It is empty, too, when the source gives no key.
func measurementID(r sensor.Reading, came logbook.Time, try int) string {
	id := url.PathEscape(r.Source) + "/" + url.PathEscape(r.Channel) // holds no more / and no ;
	switch {
	case r.ID == "" || try > 1:
		return ""
	case try == 1:
		id += ";" + came.Std().Format(time.DateOnly)
	}
	if id += "/" + clean(r.ID); len(id) > maxID {
		sum := sha256.Sum256([]byte(id))
		return hex.EncodeToString(sum[:])
	}
	return id
}

// keep commits the entries of rs, those that clash with others' ids again under
// another id. It returns what became of those.
func (g *Ingest) keep(ctx context.Context, rs []sensor.Reading, entries []logbook.Entry) (map[int]outcome, error) {
	again := map[int]outcome{}
	left := make([]int, len(entries))
	for n := range left {
		left[n] = n
	}
	for try := 0; len(left) > 0; try++ {
		batch := make([]logbook.Entry, len(left))
		for i, n := range left {
			batch[i] = entries[n]
			if h := batch[i].Head(); h.ID != "" {
				h.ID = measurementID(rs[n], h.Time, try)
			}
		}
		known, err := g.commit(ctx, batch)
		if err != nil {
			return nil, err
		}
		left = sift(left, batch, known, again)
	}
	return again, nil
}

// sift notes what is to become of the entries of batch whose id is known, and
// returns the places of those that are to be kept, out of places.
func sift(places []int, batch, known []logbook.Entry, again map[int]outcome) (left []int) {
	for i, k := range known {
		switch {
		case k == nil || batch[i].Head().ID == "":
		case sameMessage(k, batch[i]):
			again[places[i]] = repeated
		default:
			again[places[i]] = reused
			left = append(left, places[i])
		}
	}
	return left
}

// sameMessage reports whether e, which came later, is k sent again.
func sameMessage(k, e logbook.Entry) bool {
	a, okA := k.(*logbook.Reading)
	b, okB := e.(*logbook.Reading)
	return okA && okB && a.Channel == b.Channel && a.Value == b.Value && a.Unit == b.Unit && a.Fault == b.Fault &&
		b.Time.Sub(a.Time).Abs() <= RepeatWithin
}

package people

import (
	"slices"
	"time"

	"undersheet/logbook"
	"undersheet/rules/reading"
)

// Masked is somebody inside with breathing protection.
type Masked struct {
	Name           string
	Since          logbook.Time
	Overdue        bool    // the alarm was raised for it
	AtDoor         string  // who stays at the door
	Inside, Door   air     // highest while inside
	Air, AirAtDoor float64 // as it was on going in, ppm
	Known          bool    // it was known then
}

// air is what the fixed points of a store read at most while somebody is inside.
type air struct {
	PPM   float64
	Doubt bool
}

// Inside are the people in one store, in the order in which they went in.
type Inside []Masked

// Breathe takes a reading in the air inside or at a door for all who were in by then.
func (in Inside) Breathe(where string, j *reading.Judged) {
	if where != logbook.WhereInside && where != logbook.WhereDoor {
		return
	}
	switch j.State {
	case reading.Late, reading.Duplicate, reading.Retained: // they say nothing of the air now
		return
	}
	for i := range in {
		if j.At >= in[i].Since {
			in[i].take(where, j)
		}
	}
}

// take lets a reading count for somebody inside, or at the door.
func (m *Masked) take(where string, j *reading.Judged) {
	a := &m.Inside
	if where == logbook.WhereDoor {
		a = &m.Door
	}
	a.PPM = max(a.PPM, j.Upper)
	a.Doubt = a.Doubt || j.State != reading.OK && j.State != reading.BelowDetection
}

// soonest is how long before somebody went in an exit may be said to have been: people write
// down whole minutes.
const soonest = time.Minute

// Leave takes out the person of a name, who came out at a time; with no name, the one who
// went in first. inside is false where nobody of that name is in. An exit from before the
// entry ended an earlier visit: then out is false, and who is still in.
func (in *Inside) Leave(name string, at logbook.Time) (who Masked, inside, out bool) {
	goes := -1
	for i, m := range *in {
		if name != "" && !Same(m.Name, name) {
			continue
		}
		if !inside {
			who, inside = m, true
		}
		if m.Since.Sub(at) < soonest && (goes < 0 || name != "") {
			goes = i
		}
	}
	if goes < 0 {
		return who, inside, false
	}
	who = (*in)[goes]
	*in = slices.Delete(*in, goes, goes+1)
	return who, true, true
}

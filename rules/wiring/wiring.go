// Package wiring reads from a site what each of its channels is of: a line under a
// sheet, a point in air, the grain, a contact, a pump or the wind; which pump draws the
// samples of a channel, which instrument feeds it, and which stores share walls.
//
// [Of] makes a [Wiring], which is fixed: another site has another one.
package wiring

import (
	"maps"
	"slices"

	"undersheet/logbook"
)

// Sorts of signals: channels that measure no gas.
const (
	Door      = "door"
	Water     = "water"
	Mains     = "mains"
	Pump      = "pump"
	Wind      = "wind"
	Direction = "wind direction"
	Grain     = "grain temperature"
)

// Feed says what a channel is of.
type Feed struct {
	Channel      string
	Store, Stack string
	Line         int    // index of the line in the site file; -1 = not a line
	Name         string // of the line, air point, contact or pump
	Where        string // of an air point
	Signal       string // which sort of signal it is; empty = none
	Shared       bool   // the channel is said to be of something else as well

	means func(value float64) bool // of a signal that is on or off
}

// Means returns what a value of a signal says: open, wet, power there, running.
func (f *Feed) Means(value float64) bool {
	if f.means != nil {
		return f.means(value)
	}
	return value >= 0.5
}

// Worse reports whether a value of a signal means what is the worse of two: open, wet, no
// power, off.
func (f *Feed) Worse(value float64) bool {
	good := f.Signal == Mains || f.Signal == Pump
	return f.Means(value) != good
}

// Measured reports whether a signal is a figure, of the wind or of the grain, and not on or off.
func (f *Feed) Measured() bool {
	return f.Signal == Wind || f.Signal == Direction || f.Signal == Grain
}

// Wiring is what the channels of a site are of.
type Wiring struct {
	site  *logbook.Site
	feeds map[string]Feed          // by channel
	drawn map[string]*logbook.Pump // by the channels whose samples they draw
}

// Of reads the wiring of a site, which may be nil and must not change. A channel of gas that
// is said to be of something else as well stays one of gas.
func Of(site *logbook.Site) *Wiring {
	w := &Wiring{site: site, feeds: map[string]Feed{}, drawn: map[string]*logbook.Pump{}}
	if site == nil {
		return w
	}
	w.signals()
	for i := range site.Stores {
		st := &site.Stores[i]
		for _, p := range st.Air {
			where := p.Where
			if where == "" {
				where = logbook.WhereInside
			}
			w.feed(Feed{Channel: p.Channel, Store: st.Name, Line: -1, Name: p.Name, Where: where})
		}
		for _, k := range st.Stacks {
			if k.Temperature != "" {
				w.feed(Feed{Channel: k.Temperature, Store: st.Name, Stack: k.Name, Line: -1, Signal: Grain})
			}
			for i, l := range k.Lines {
				w.feed(Feed{Channel: l.Channel, Store: st.Name, Stack: k.Name, Line: i, Name: l.Name})
			}
		}
	}
	return w
}

// feed notes what a channel is of, in the place of what it was said to be of before.
func (w *Wiring) feed(f Feed) {
	_, f.Shared = w.feeds[f.Channel]
	w.feeds[f.Channel] = f
}

// signals notes what the channels of contacts, pumps and the wind are of.
func (w *Wiring) signals() {
	add := func(channel, store, sort, name string, means func(float64) bool) {
		if channel != "" {
			w.feed(Feed{Channel: channel, Store: store, Line: -1, Name: name, Signal: sort, means: means})
		}
	}
	contacts := func(store, sort string, cs []logbook.Contact) {
		for _, c := range cs {
			first := slices.IndexFunc(cs, func(o logbook.Contact) bool { return o.Channel == c.Channel })
			add(c.Channel, store, sort, c.Name, cs[first].On)
		}
	}
	for i := range w.site.Stores {
		st := &w.site.Stores[i]
		contacts(st.Name, Door, st.Doors)
		contacts(st.Name, Water, st.Water)
	}
	contacts("", Mains, w.site.Mains)
	for i := range slices.Backward(w.site.Pumps) { // the first that draws a channel counts
		p := &w.site.Pumps[i]
		add(p.Channel, "", Pump, p.Name, func(value float64) bool { return w.Runs(p, value) })
		for _, c := range p.Draws {
			w.drawn[c] = p
		}
	}
	if wind := w.site.Wind; wind != nil {
		add(wind.Speed, "", Wind, "", nil)
		add(wind.Direction, "", Direction, "", nil)
	}
}

// Feed returns what a channel is of; false where it is of nothing.
func (w *Wiring) Feed(channel string) (Feed, bool) {
	f, ok := w.feeds[channel]
	return f, ok
}

// Pump returns the pump that draws the samples of a channel, nil where none does.
func (w *Wiring) Pump(channel string) *logbook.Pump { return w.drawn[channel] }

// Runs reports whether a value of its own channel says that a pump of the site runs: its
// flow in L/min, or its state.
func (w *Wiring) Runs(p *logbook.Pump, value float64) bool {
	if w.site.Channels[p.Channel].Unit == logbook.LMin {
		return value >= p.LeastFlow()
	}
	return value >= 0.5
}

// FedBy lists the channels that an instrument, or one unit on its line, feeds, in order.
func (w *Wiring) FedBy(name, unit string) []string {
	var fed []string
	for i := range w.site.Instruments {
		in := &w.site.Instruments[i]
		if in.Name != name {
			continue
		}
		for _, channel := range slices.Sorted(maps.Keys(w.site.Channels)) {
			if unit != "" && slices.Contains(in.Channels()[unit], channel) || unit == "" && in.Gives(channel) {
				fed = append(fed, channel)
			}
		}
	}
	return fed
}

// Adjoining lists the stores that share walls with a store, whichever of the two the site
// file says it of.
func (w *Wiring) Adjoining(name string) []string {
	if w.site == nil {
		return nil
	}
	var out []string
	for i := range w.site.Stores {
		st := &w.site.Stores[i]
		if st.Name == name {
			for _, n := range st.Adjoins {
				if n != name && !slices.Contains(out, n) {
					out = append(out, n)
				}
			}
		} else if slices.Contains(st.Adjoins, name) && !slices.Contains(out, st.Name) {
			out = append(out, st.Name)
		}
	}
	return out
}

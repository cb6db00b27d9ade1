package lines

import (
	"undersheet/logbook"
)

// Uses of a channel, the values of the tag use.
const (
	useLine          = "line"        // under a sheet
	useAir           = "air"         // air point
	useTemperature   = "temperature" // of the grain
	useDoor          = "door"
	useWater         = "water"
	useMains         = "mains"
	usePump          = "pump"
	useWindSpeed     = "wind-speed"
	useWindDirection = "wind-direction"
)

// placed is what the configuration says of a channel.
type placed struct {
	tags    tags
	contact *logbook.Contact // of a channel of two states
}

// places is a configuration, by the names in entries.
type places struct {
	site     string
	channels map[string]placed
	names    map[string]string // every name that may stand in a tag, and its clean form
	storeOf  map[string]string // store of a stack
}

// placesOf reads a configuration.
func placesOf(site *logbook.Site) places {
	p := places{channels: map[string]placed{}, names: map[string]string{}, storeOf: map[string]string{}}
	if site == nil {
		return p
	}
	p.site = clean(site.Name)
	for _, st := range site.Stores {
		p.store(&st)
	}
	p.contacts(site.Mains, useMains, "")
	for _, u := range site.Pumps {
		p.put(u.Channel, placed{tags: tags{use: usePump, point: p.name(u.Name)}})
	}
	if w := site.Wind; w != nil {
		p.put(w.Speed, placed{tags: tags{use: useWindSpeed}})
		p.put(w.Direction, placed{tags: tags{use: useWindDirection}})
	}
	for _, in := range site.Instruments {
		p.name(in.Name)
	}
	for ch := range site.Channels {
		p.put(ch, placed{})
	}
	return p
}

// store reads one store.
func (p *places) store(st *logbook.Store) {
	store := p.name(st.Name)
	for _, k := range st.Stacks {
		stack := p.name(k.Name)
		p.name(beside + k.Name)
		p.storeOf[k.Name] = st.Name
		for _, l := range k.Lines {
			p.put(l.Channel, placed{tags: tags{use: useLine, store: store, stack: stack, line: p.name(l.Name)}})
		}
		p.put(k.Temperature, placed{tags: tags{use: useTemperature, store: store, stack: stack}})
	}
	for _, a := range st.Air {
		where := a.Where
		if where == "" {
			where = logbook.WhereInside
		}
		p.put(a.Channel, placed{tags: tags{use: useAir, store: store, point: p.name(a.Name), place: clean(where)}})
	}
	p.contacts(st.Doors, useDoor, store)
	p.contacts(st.Water, useWater, store)
}

// beside is how hand readings name the air beside a stack.
const beside = "beside "

// contacts reads sensors of two states.
func (p *places) contacts(cs []logbook.Contact, use, store string) {
	for _, c := range cs {
		p.put(c.Channel, placed{tags: tags{use: use, store: store, point: p.name(c.Name)}, contact: &c})
	}
}

// name makes n one that may stand in a tag and returns its clean form.
func (p *places) name(n string) string {
	c := clean(n)
	p.names[n] = c
	return c
}

// put notes what a channel is for. The first use counts.
func (p *places) put(channel string, what placed) {
	if _, known := p.channels[channel]; known || channel == "" {
		return
	}
	what.tags.site, what.tags.channel = p.site, p.name(channel)
	p.channels[channel] = what
}

package web

import (
	"math"
	"strconv"
	"strings"

	"undersheet/logbook"
	"undersheet/rules"
	"undersheet/rules/exposure"
	"undersheet/rules/proof"
	"undersheet/rules/reading"
)

// signals says how doors, water, power, pumps and wind stand around a store.
func (f *frame) signals(s rules.StoreView) []fact {
	var all []fact
	for _, c := range s.Doors {
		all = append(all, fact{f.text("page/door", "{name}", c.Name), f.contact(c, "page/door-open", "page/door-shut")})
	}
	for _, c := range s.Water {
		all = append(all, fact{f.text("page/water", "{name}", c.Name), f.contact(c, "page/water-wet", "page/water-dry")})
	}
	for _, c := range f.view.Mains {
		all = append(all, fact{f.text("page/power", "{name}", c.Name), f.contact(c, "page/power-there", "page/power-lost")})
	}
	for _, p := range f.view.Pumps {
		all = append(all, fact{f.text("page/pump", "{name}", p.Name), f.pump(p)})
	}
	if w := f.view.Wind; w != nil {
		all = append(all, fact{f.text("page/wind"), f.windOf(w)})
	}
	return all
}

// contact says how a contact stands and since when, on and off being the keys of the words for
// its two states; or that it is not read any more.
func (f *frame) contact(c rules.ContactView, on, off string) string {
	if !c.Known {
		return f.state(reading.None)
	}
	text := f.text(off)
	if c.On {
		text = f.text(on)
	}
	if since := f.clock(c.Since); since != "" {
		text = f.text("page/since", "{state}", text, "{when}", since)
	}
	if s := f.state(c.Last.State); s != "" {
		text = f.text("page/no-longer-known", "{state}", text, "{why}", s)
	}
	return text
}

// pump says how a pump stands.
func (f *frame) pump(p rules.PumpView) string {
	text := f.code("pump", p.State)
	if since := f.clock(p.Since); since != "" {
		text = f.text("page/since", "{state}", text, "{when}", since)
	}
	if p.Last.State != reading.None && p.Last.Unit == logbook.LMin {
		text += ", " + f.figure(p.Last.Raw) + " L/min"
	}
	return text
}

// windOf says how fast the wind blows and from where.
func (f *frame) windOf(w *rules.WindView) string {
	var parts []string
	if w.Speed.State != reading.None {
		parts = append(parts, strings.TrimSpace(f.figure(w.Speed.PPM)+" m/s "+f.state(w.Speed.State)))
	}
	if w.Direction.State != reading.None {
		parts = append(parts, strings.TrimSpace(f.text("page/"+compass(w.Direction.PPM))+" ("+f.figure(w.Direction.PPM)+"°) "+f.state(w.Direction.State)))
	}
	if len(parts) == 0 {
		return f.state(reading.None)
	}
	return strings.Join(parts, ", ")
}

// compass is the key of the words for a direction in degrees from north.
func compass(deg float64) string {
	names := []string{"north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"}
	if math.IsNaN(deg) || math.IsInf(deg, 0) {
		return "from-nowhere"
	}
	return "from-" + names[int(math.Round(math.Mod(math.Mod(deg, 360)+360, 360)/45))%8]
}

// protection says what breathing protection the live air allows at least. While
// the watch does not keep up, the air is not known.
func (f *frame) protection(p rules.ProtectionView) string {
	if f.shut != "" || p.APF == 0 {
		p = rules.ProtectionView{Step: exposure.Protection(0, false), Point: p.Point}
	}
	worn := f.text("page/apf", "{factor}", strconv.Itoa(p.APF))
	if p.SelfContained {
		worn = f.text("page/self-contained", "{factor}", strconv.Itoa(p.APF))
	}
	of := []string{"{point}", p.Point, "{worn}", worn, "{upper}", f.figure(p.UpperPPM), "{most}", f.figure(p.UpToPPM)}
	switch {
	case !p.Known && p.Point != "":
		return f.text("page/air-at-not-known", of...)
	case !p.Known:
		return f.text("page/air-not-known", of...)
	case p.UpToPPM == 0:
		return f.text("page/air-beyond", of...)
	}
	return f.text("page/air-holds", of...)
}

// insideNow names who is inside by masked entry, each with since when.
func (f *frame) insideNow(s rules.StoreView) string {
	if len(s.Masked) == 0 {
		return s.Inside
	}
	var names []string
	for _, m := range s.Masked {
		name := m.Name
		if m.Since != 0 {
			name = f.text("page/inside-since", "{who}", name, "{when}", f.clock(m.Since), "{time}", f.span(f.now.Sub(m.Since)))
		}
		names = append(names, name)
	}
	return strings.Join(names, ", ")
}

// proofOf says how a line's newest proof stands.
func (f *frame) proofOf(p *proof.Proof) string {
	switch {
	case p == nil:
		return f.text("page/proof-none")
	case p.OK:
		return f.text("page/proof-good", "{when}", f.clock(p.At), "{who}", p.By)
	}
	var why []string
	for _, code := range p.Why {
		why = append(why, f.code("proof", code))
	}
	return f.text("page/proof-bad", "{why}", strings.Join(why, ", "), "{when}", f.clock(p.At), "{who}", p.By)
}

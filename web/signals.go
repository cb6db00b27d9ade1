package web

import (
	"fmt"
	"math"
	"strings"

	"undersheet/logbook"
	"undersheet/rules"
	"undersheet/rules/exposure"
	"undersheet/rules/reading"
)

// signals says how doors, water, power, pumps and wind stand around a store.
func (f *frame) signals(s rules.StoreView) []fact {
	var all []fact
	for _, c := range s.Doors {
		all = append(all, fact{"Door " + c.Name, f.contact(c, "open", "shut")})
	}
	for _, c := range s.Water {
		all = append(all, fact{"Water " + c.Name, f.contact(c, "wet", "dry")})
	}
	for _, c := range f.view.Mains {
		all = append(all, fact{"Power " + c.Name, f.contact(c, "there", "LOST")})
	}
	for _, p := range f.view.Pumps {
		all = append(all, fact{"Pump " + p.Name, f.pump(p)})
	}
	if w := f.view.Wind; w != nil {
		all = append(all, fact{"Wind", windOf(w)})
	}
	return all
}

// contact says how a contact stands and since when; one that is read no more is so said.
func (f *frame) contact(c rules.ContactView, on, off string) string {
	if !c.Known {
		return "not read yet"
	}
	text := off
	if c.On {
		text = on
	}
	if since := f.clock(c.Since); since != "" {
		text += " since " + since
	}
	if s := stateWord(c.Last.State); s != "" {
		text += " — " + s + ", so not known now"
	}
	return text
}

// pump says how a pump stands.
func (f *frame) pump(p rules.PumpView) string {
	text := map[string]string{rules.PumpRuns: "running", rules.PumpOff: "OFF", rules.PumpNotKnown: "not known", rules.PumpNotWatched: "not watched"}[p.State]
	if text == "" {
		text = plain(p.State)
	}
	if since := f.clock(p.Since); since != "" {
		text += " since " + since
	}
	if p.Last.State != reading.None && p.Last.Unit == logbook.LMin {
		text += fmt.Sprintf(", %s L/min", figure(p.Last.Raw))
	}
	return text
}

// windOf says how fast the wind blows and from where.
func windOf(w *rules.WindView) string {
	var parts []string
	if w.Speed.State != reading.None {
		parts = append(parts, strings.TrimSpace(figure(w.Speed.PPM)+" m/s "+stateWord(w.Speed.State)))
	}
	if w.Direction.State != reading.None {
		parts = append(parts, strings.TrimSpace("from "+compass(w.Direction.PPM)+" ("+figure(w.Direction.PPM)+"°) "+stateWord(w.Direction.State)))
	}
	if len(parts) == 0 {
		return "not read yet"
	}
	return strings.Join(parts, ", ")
}

// compass names a direction in degrees from north.
func compass(deg float64) string {
	names := []string{"north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"}
	if math.IsNaN(deg) || math.IsInf(deg, 0) {
		return "nowhere known"
	}
	return names[int(math.Round(math.Mod(math.Mod(deg, 360)+360, 360)/45))%8]
}

// protection says what breathing protection the live air allows at least. While
// the watch does not keep up, the air is not known.
func (f *frame) protection(p rules.ProtectionView) string {
	if f.shut != "" || p.APF == 0 {
		p = rules.ProtectionView{Step: exposure.Protection(0, false), Point: p.Point}
	}
	worn := fmt.Sprintf("an assigned protection factor of %d", p.APF)
	if p.SelfContained {
		worn = fmt.Sprintf("a self-contained breathing apparatus with a full facepiece and positive pressure (assigned protection factor %d)", p.APF)
	}
	switch {
	case !p.Known && p.Point != "":
		return fmt.Sprintf("The air at %s is not known: nothing less than %s.", p.Point, worn)
	case !p.Known:
		return fmt.Sprintf("The air is not known: nothing less than %s.", worn)
	case p.UpToPPM == 0:
		return fmt.Sprintf("The air at %s may hold %s ppm: nothing less than %s.", p.Point, figure(p.UpperPPM), worn)
	}
	return fmt.Sprintf("The air at %s may hold %s ppm. Up to %s ppm the least is %s. Under a sheet, or where one is lifted, there is more.", p.Point, figure(p.UpperPPM), figure(p.UpToPPM), worn)
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
			name += " since " + f.clock(m.Since) + " (" + span(f.now.Sub(m.Since)) + ")"
		}
		names = append(names, name)
	}
	return strings.Join(names, ", ")
}

// proofOf says how a line's newest proof stands.
func (f *frame) proofOf(p *rules.Proof) string {
	switch {
	case p == nil:
		return "none on record"
	case p.OK:
		return "good, " + f.clock(p.At) + ", " + p.By
	}
	var why []string
	for _, code := range p.Why {
		why = append(why, plain(code))
	}
	return "NOT GOOD (" + strings.Join(why, ", ") + "), " + f.clock(p.At) + ", " + p.By
}

package configs

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/rules/alarm"
	"undersheet/rules/daylight"
)

// contacts judges sensors of two states.
func (c *checker) contacts(path string, all []logbook.Contact, what string) {
	names := map[string]string{}
	for i, s := range all {
		at := fmt.Sprintf("%s[%d]", path, i)
		c.named(at+".name", s.Name, names, what)
		c.reads(at+".channel", s.Channel, what, logbook.OnOff)
	}
}

// reads judges a channel that must be there, feed nothing else and be in one of units.
func (c *checker) reads(path, name, what string, units ...string) {
	ch, ok := c.site.Channels[name]
	switch first := c.user[name]; {
	case name == "":
		c.wrong(path, nil, "is missing: name the channel of this %s", what)
	case !ok:
		c.wrong(path, name, "there is no channel of this name under channels%s", meant(name, sortedKeys(c.site.Channels)))
	case first != "":
		c.wrong(path, name, "this channel already feeds something in line %d: one channel feeds one thing", c.find(first).line)
	case logbook.IsUnit(ch.Unit) && !slices.Contains(units, ch.Unit):
		c.wrong(path, name, "this channel is in %s: a %s wants one in %s", ch.Unit, what, units[0])
	default:
		c.user[name] = path
	}
}

// around judges what is read beside gas: mains, pumps and wind.
func (c *checker) around() {
	c.contacts("mains", c.site.Mains, "mains supply")
	names, drawn := map[string]string{}, map[string]string{}
	for i := range c.site.Pumps {
		c.pump(&c.site.Pumps[i], fmt.Sprintf("pumps[%d]", i), names, drawn)
	}
	if w := c.site.Wind; w != nil {
		if w.Speed == "" && w.Direction == "" {
			c.wrong("wind", nil, "names no channel: give speed, direction or both")
		}
		if w.Speed != "" {
			c.reads("wind.speed", w.Speed, "wind speed", logbook.MS)
		}
		if w.Direction != "" {
			c.reads("wind.direction", w.Direction, "wind direction", logbook.Deg)
		}
	}
}

// pump judges one sampling pump; drawn maps channels to where they are drawn.
func (c *checker) pump(p *logbook.Pump, path string, names, drawn map[string]string) {
	c.named(path+".name", p.Name, names, "pump")
	if p.Channel != "" {
		c.reads(path+".channel", p.Channel, "pump", logbook.LMin, logbook.OnOff)
	}
	if !c.given(path + ".flow") {
		c.wrong(path+".flow", nil, "is missing: L/min that the pump draws")
	} else {
		c.within(path+".flow", p.Flow, 0.01, 100, " L/min")
	}
	if c.given(path+".least") && !(p.Least > 0 && p.Least < p.Flow) {
		c.wrong(path+".least", p.Least, "must be above 0 and below the flow (%g L/min)", p.Flow)
	}
	switch {
	case p.Returns == "":
		c.wrong(path+".returns", nil, "is missing: where the pump gives back what it drew, stack or outside")
	case p.Returns == "room":
		c.wrong(path+".returns", p.Returns, "a pump that gives back into a room fills it with phosphine and poisons whoever sits there: lead its exhaust under the sheet (stack) or into the open, away from doors and windows (outside)")
	default:
		c.oneOf(path+".returns", p.Returns, logbook.ReturnsStack, logbook.ReturnsOutside)
	}
	if len(p.Draws) == 0 {
		c.wrong(path+".draws", nil, "is missing: list the channels whose samples this pump draws")
	}
	for i, name := range p.Draws {
		at := fmt.Sprintf("%s.draws[%d]", path, i)
		ch, ok := c.site.Channels[name]
		switch first := drawn[name]; {
		case !ok:
			c.wrong(at, name, "there is no channel of this name under channels%s", meant(name, sortedKeys(c.site.Channels)))
		case first != "":
			c.wrong(at, name, "this channel is already drawn in line %d: one pump draws it", c.find(first).line)
		case logbook.IsUnit(ch.Unit) && !isGas(ch.Unit):
			c.wrong(at, name, "this channel is in %s: a pump draws samples of gas", ch.Unit)
		}
		drawn[name] = at
	}
}

// delays judges the site's own delays of alarms. Alarms on which lives hang may
// only become quicker.
func (c *checker) delays() {
	for _, name := range sortedKeys(c.site.Alarms) {
		d, path := c.site.Alarms[name], join("alarms", name)
		most := 2 * time.Hour
		if !slices.Contains(alarm.Delayed(), name) {
			c.wrong(path, nil, "there is no alarm of this name with delays of its own; known here: %s", strings.Join(alarm.Delayed(), ", "))
			continue
		}
		if alarm.LivesHangOn(name) {
			most = 2 * time.Minute
		}
		if c.given(path + ".on_delay") {
			c.lasting(path+".on_delay", d.On, time.Second, most)
		}
		if c.given(path + ".off_delay") {
			c.lasting(path+".off_delay", d.Off, time.Second, 24*time.Hour)
		}
		if c.given(path + ".deadband") {
			c.within(path+".deadband", d.Deadband, 0.01, 0.5, ": a fraction of the limit")
		}
	}
}

// night judges when people are not woken without need.
func (c *checker) night() {
	n := c.site.Settings.Night
	if n == nil {
		return
	}
	from, okFrom := c.clock("settings.night.from", n.From)
	to, okTo := c.clock("settings.night.to", n.To)
	if !okFrom || !okTo {
		return
	}
	night := daylight.NightOf(n, time.UTC)
	switch noon := from.Truncate(24 * time.Hour).Add(12 * time.Hour); {
	case from == to:
		c.wrong("settings.night", nil, "begins and ends at the same time: it must last some hours")
	case night.Dark(noon) || !night.Dark(noon.Add(12*time.Hour)):
		c.wrong("settings.night", nil, "must hold midnight and not noon: from the evening to the morning, since nobody is sent in while it lasts")
	}
}

// clock judges a time of day.
func (c *checker) clock(path, text string) (time.Time, bool) {
	if text == "" {
		c.wrong(path, nil, "is missing: a time of day, for example \"20:00\"")
		return time.Time{}, false
	}
	t, err := time.Parse("15:04", text)
	if err != nil {
		c.wrong(path, text, "is no time of day from \"00:00\" to \"23:59\"")
	}
	return t, err == nil
}

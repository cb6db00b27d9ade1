package configs

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/rules/exposure"
	"undersheet/rules/protocol"
	"undersheet/rules/reading"
)

// checker judges a site that was read and normalised.
type checker struct {
	*tree
	site     *logbook.Site
	warnings []Remark
	user     map[string]string // channel → the line, air point or sensor that it feeds
	ports    map[string]string // serial port → where it is named
}

// wrong notes a fault unless the value could not even be read.
func (c *checker) wrong(path string, got any, rule string, args ...any) {
	if !c.unread(path) {
		c.faults = append(c.faults, c.remark(path, got, rule, args...))
	}
}

// warn notes something that is allowed but will not end well.
func (c *checker) warn(path string, got any, rule string, args ...any) {
	if !c.unread(path) {
		c.warnings = append(c.warnings, c.remark(path, got, rule, args...))
	}
}

// oneOf reports a value that is none of the known ones.
func (c *checker) oneOf(path, got string, known ...string) bool {
	if slices.Contains(known, got) {
		return true
	}
	c.wrong(path, got, "must be one of %s", strings.Join(known, ", "))
	return false
}

// within reports a figure outside low to high.
func (c *checker) within(path string, got, low, high float64, unit string) bool {
	if got >= low && got <= high {
		return true
	}
	c.wrong(path, got, "must be from %g to %g%s", low, high, unit)
	return false
}

// lasting reports a duration outside low to high.
func (c *checker) lasting(path string, got logbook.Duration, low, high time.Duration) bool {
	if got.Std() >= low && got.Std() <= high {
		return true
	}
	c.wrong(path, got.Std(), "must be from %v to %v", low, high)
	return false
}

// named reports a name that is missing or taken; taken maps names to paths.
func (c *checker) named(path, name string, taken map[string]string, what string) {
	if name == "" {
		c.wrong(path, nil, "is missing: give the %s a name", what)
		return
	}
	if first, ok := taken[name]; ok {
		c.wrong(path, name, "another %s has this name: first in line %d", what, c.find(first).line)
		return
	}
	for _, other := range sortedKeys(taken) {
		if strings.EqualFold(name, other) {
			c.warn(path, name, "only capital and small letters tell this %s from %q in line %d: people will take the one for the other", what, other, c.find(taken[other]).line)
		}
	}
	taken[name] = path
}

// check judges the whole site.
func (c *checker) check() {
	c.user, c.ports = map[string]string{}, map[string]string{}
	c.head()
	for _, name := range sortedKeys(c.site.Channels) {
		c.channel(join("channels", name), c.site.Channels[name])
	}
	c.stores()
	c.around()
	c.instruments()
	c.protocols()
	c.settings()
	c.night()
	c.delays()
	c.mail()
	c.ways()
	c.people()
	c.followUps()
	c.unusedChannels()
}

// head judges the site's own keys.
func (c *checker) head() {
	s := c.site
	if s.Name == "" {
		c.wrong("site", nil, "is missing: give the site a name")
	}
	_, err := time.LoadLocation(s.Timezone)
	switch {
	case s.Timezone == "":
		c.wrong("timezone", nil, "is missing: give an IANA name, for example Africa/Nairobi")
	case err != nil || s.Timezone == "Local":
		c.wrong("timezone", s.Timezone, "is no IANA time zone, for example Africa/Nairobi")
	}
	if s.Position != nil && c.position(*s.Position) && err == nil {
		c.noon(*s.Position)
	}
	switch {
	case s.Limits == "":
		c.warn("limits", nil, "no country of the occupational limits is set: %g ppm holds, which is above the limits of many countries", exposure.DefaultLimitPPM)
	case s.LimitSets == nil:
		c.wrong("limits", s.Limits, "the occupational limits of this country are not known: leave the key out and %g ppm holds, or take one of %s",
			exposure.DefaultLimitPPM, strings.Join(Countries(), ", "))
	}
	if len(s.Stores) == 0 {
		c.wrong("stores", nil, "is missing: describe at least one store")
	}
	c.oneOf("language", s.Language, words.Languages()...)
	if s.Emergency == "" {
		c.warn("emergency", nil, "is missing: messages will not say whom to call")
	}
	if len(s.Unsuited) > 0 && s.Authority == "" {
		c.warn("unsuited", nil, "a list of one's own without unsuited_source: say who says so")
	}
	for i, u := range s.Unsuited {
		if u == "" {
			c.wrong(fmt.Sprintf("unsuited[%d]", i), nil, "is empty")
		}
	}
}

// channel judges the attributes of one channel.
func (c *checker) channel(path string, ch logbook.Channel) {
	if ch.Unit == "" {
		c.wrong(path+".unit", nil, "is missing: one of %s", strings.Join(logbook.Units, ", "))
		return
	}
	if !c.oneOf(path+".unit", ch.Unit, logbook.Units...) {
		return
	}
	if ch.Every != 0 {
		c.lasting(path+".every", ch.Every, time.Second, 24*time.Hour)
	}
	if !isGas(ch.Unit) {
		c.notGas(path, ch)
		return
	}
	c.oneOf(path+".gas", ch.Gas, "ph3")
	c.gasFigures(path, ch)
}

// notGas refuses a gas on a channel whose unit is no concentration.
func (c *checker) notGas(path string, ch logbook.Channel) {
	if ch.Gas != "" {
		c.wrong(path+".gas", ch.Gas, "a channel in %s measures no gas: leave the key out or mend the unit", ch.Unit)
	}
	for _, f := range []struct {
		key string
		v   float64
	}{{"range", ch.Range}, {"resolution", ch.Resolution}, {"detection_limit", ch.DetectionLimit}, {"accuracy", ch.Accuracy}} {
		if f.v < 0 {
			c.wrong(path+"."+f.key, f.v, "must be above 0")
		}
	}
}

// gasFigures judges range, resolution, detection limit, accuracy and zero error.
func (c *checker) gasFigures(path string, ch logbook.Channel) {
	top := ch.Range
	if c.given(path + ".range") {
		if !c.within(path+".range", ch.Range, 0.1, 1e6, " "+ch.Unit) {
			return
		}
		if ppm := reading.PPM(ch, ch.Range); ppm > 1e6 {
			c.wrong(path+".range", ch.Range, "is more than pure gas holds (1e+06 ppm): look at the unit, %s", ch.Unit)
			return
		}
	} else {
		c.warn(path, nil, "range is not stated: readings at the top of the range cannot be told, and a coarse resolution of %g %s is assumed", ch.Resolution, ch.Unit)
		top = 1e6
	}
	for _, f := range []struct {
		key string
		v   float64
	}{{"resolution", ch.Resolution}, {"detection_limit", ch.DetectionLimit}} {
		if c.given(path+"."+f.key) && !(f.v > 0 && f.v < top) {
			c.wrong(path+"."+f.key, f.v, "must be above 0 and below the range (%g %s)", top, ch.Unit)
		}
	}
	if c.given(path+".detection_limit") && ch.DetectionLimit < ch.Resolution {
		c.warn(path+".detection_limit", ch.DetectionLimit, "is finer than the resolution of %g %s: look in the instrument's papers", ch.Resolution, ch.Unit)
	}
	if !(ch.Accuracy > 0 && ch.Accuracy <= 0.5) {
		c.wrong(path+".accuracy", ch.Accuracy, "is a fraction of the reading, above 0 and up to 0.5: 5 %% is 0.05")
	}
	if z := ch.ZeroError; z != nil && !(*z >= 0 && *z < top) {
		c.wrong(path+".zero_error", *z, "must be from 0 to below the range (%g %s)", top, ch.Unit)
	}
}

// stores judges stores, their air points and their stacks.
func (c *checker) stores() {
	names, stacks := map[string]string{}, map[string]string{}
	for i := range c.site.Stores {
		s, path := &c.site.Stores[i], fmt.Sprintf("stores[%d]", i)
		c.named(path+".name", s.Name, names, "store")
		c.air(s, path)
		c.near(s, path)
		c.contacts(path+".doors", s.Doors, "door")
		c.contacts(path+".water", s.Water, "water sensor")
		for k := range s.Stacks {
			at := fmt.Sprintf("%s.stacks[%d]", path, k)
			c.named(at+".name", s.Stacks[k].Name, stacks, "stack")
			c.stack(&s.Stacks[k], at)
		}
	}
}

// air judges the air points of a store, and whether its gate can ever open.
func (c *checker) air(s *logbook.Store, path string) {
	points, gate := map[string]string{}, 0
	for i, p := range s.Air {
		at := fmt.Sprintf("%s.air[%d]", path, i)
		c.named(at+".name", p.Name, points, "air point")
		c.oneOf(at+".where", p.Where, logbook.WhereInside, logbook.WhereDoor, logbook.WhereOffice, logbook.WhereOutside, logbook.WhereDwelling)
		ch, ok := c.feeds(at+".channel", p.Channel, "air point")
		if p.Gate() {
			gate++
			if ok {
				c.gatePoint(at+".channel", p.Channel, ch)
			}
		}
	}
	if gate == 0 {
		c.warn(path, nil, "store %q has no inside or door air point: its gate can never open", s.Name)
	}
}

// near judges what is said of the surroundings of a store.
func (c *checker) near(s *logbook.Store, path string) {
	for i, n := range s.Adjoins {
		if n == s.Name || !slices.ContainsFunc(c.site.Stores, func(o logbook.Store) bool { return o.Name == n }) {
			c.wrong(fmt.Sprintf("%s.adjoins[%d]", path, i), n, "there is no other store of this name")
		}
	}
	for i, d := range s.Dwellings {
		at := fmt.Sprintf("%s.dwellings[%d]", path, i)
		if d.Name == "" {
			c.wrong(at+".name", nil, "is missing: name the dwelling")
		}
		if !(d.Bearing >= 0 && d.Bearing <= 360) {
			c.wrong(at+".bearing", d.Bearing, "must be degrees from north, 0 to 360")
		}
		if !(d.Metres >= 0) {
			c.wrong(at+".metres", d.Metres, "must not be negative")
		}
	}
	for i, p := range s.Air {
		at := fmt.Sprintf("%s.air[%d].limit", path, i)
		switch {
		case p.Limit == 0:
		case p.Where != logbook.WhereDwelling:
			c.wrong(at, p.Limit, "only a dwelling has a limit of its own; everywhere else the country's limits hold")
		case !(p.Limit > 0):
			c.wrong(at, p.Limit, "must be above 0 ppm")
		}
		if p.Where == logbook.WhereDwelling && p.Limit == 0 {
			c.warn(at, nil, "the limit of a dwelling is set by the site with its authority: without one, any gas that its instrument finds raises the alarm")
		}
	}
}

// longestLine is more metres of tube than any depot lays, so that millimetres are told.
const longestLine = 2000

// stack judges one stack and its lines.
func (c *checker) stack(s *logbook.Stack, path string) {
	lines := map[string]string{}
	for i, l := range s.Lines {
		at := fmt.Sprintf("%s.lines[%d]", path, i)
		c.named(at+".name", l.Name, lines, "line")
		if ch, ok := c.feeds(at+".channel", l.Channel, "line"); ok {
			c.highEnough(at+".channel", l.Channel, ch)
		}
		if !(l.Length >= 0 && l.Length <= longestLine) {
			c.wrong(at+".length_m", l.Length, "must be the metres of tube from the sheet to the instrument, 0 to %d", longestLine)
		}
	}
	if len(s.Lines) == 0 {
		c.warn(path, nil, "stack %q has no sampling lines: its end level can only be shown by hand readings", s.Name)
	}
	if s.Temperature != "" {
		c.reads(path+".temperature", s.Temperature, "temperature", logbook.Cel)
	}
}

// highEnough warns of an instrument under a sheet that cannot show an end level.
func (c *checker) highEnough(path, name string, ch logbook.Channel) {
	for _, p := range protocol.Names() {
		base, _ := protocol.BuiltIn(p)
		if end := protocol.EndPPM(base); ch.Range > 0 && reading.PPM(ch, ch.Range) <= end {
			c.warn(path, name, "its range of %g %s does not reach above %g ppm, the end level of %s: it can never show that this was held", ch.Range, ch.Unit, end, p)
			return
		}
	}
}

// feeds judges the channel of a line or an air point and returns it.
func (c *checker) feeds(path, name, what string) (logbook.Channel, bool) {
	ch, ok := c.site.Channels[name]
	switch first := c.user[name]; {
	case name == "":
		c.wrong(path, nil, "is missing: name the channel that feeds this %s", what)
	case !ok:
		c.wrong(path, name, "there is no channel of this name under channels%s", meant(name, sortedKeys(c.site.Channels)))
	case first != "":
		c.wrong(path, name, "this channel already feeds something in line %d: one channel feeds one line or one air point", c.find(first).line)
	case logbook.IsUnit(ch.Unit) && !isGas(ch.Unit):
		c.wrong(path, name, "this channel is in %s: a %s wants one in ppm, mg/m3 or g/m3", ch.Unit, what)
	default:
		c.user[name] = path
		return ch, isGas(ch.Unit)
	}
	return ch, false
}

// gatePoint warns of an instrument that is too coarse or too slow for a gate.
func (c *checker) gatePoint(path, name string, ch logbook.Channel) {
	c.fineEnough(path, name, ch)
	if !c.given(join("channels", name) + ".detection_limit") {
		c.warn(path, name, "the channel states no detection_limit, so %g %s is assumed: look in the instrument's papers, people's lives hang on it", ch.DetectionLimit, ch.Unit)
	}
	if ch.Every.Std() > 30*time.Minute {
		c.wrong(path, name, "a reading every %v is too seldom for a gate, which looks at the last 30 minutes", ch.Every.Std())
	}
}

// fineEnough warns once when the instrument cannot show that the air is below a
// limit that holds or will hold.
func (c *checker) fineEnough(path, name string, ch logbook.Channel) {
	for _, r := range Regimes(c.site) {
		what, v := "detection limit", reading.PPM(ch, ch.DetectionLimit)
		if v < r.PPM {
			what, v = "zero error", reading.PPM(ch, ch.Zero())
		}
		if !(v < r.PPM) {
			c.warn(path, name, "its %s of %.3g ppm is not below the limit of %g ppm%s (%s): this gate can never open", what, v, r.PPM, r.since(), r.Of)
			return
		}
	}
}

// unusedChannels warns of gas channels that nothing judges.
func (c *checker) unusedChannels() {
	for _, name := range sortedKeys(c.site.Channels) {
		if isGas(c.site.Channels[name].Unit) && c.user[name] == "" {
			c.warn(join("channels", name), nil, "feeds no line and no air point: its readings are kept but judged by nothing")
		}
	}
}

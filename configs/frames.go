package configs

import (
	"regexp"
	"slices"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/sensor/frames"
	"undersheet/sensor/port"
)

// frameGroups are the named groups that a pattern may have.
var frameGroups = []string{"value", "channel", "unit", "status"}

// frames judges an instrument that speaks in lines of text.
func (c *checker) frames(f *logbook.Frames, path string) []feeder {
	c.serial(path, f.Port, f.Baud, f.Parity, f.StopBits, "an instrument that speaks in text has its line for itself")
	c.within(path+".data_bits", float64(f.DataBits), 7, 8, "")
	c.oneOf(path+".end", f.End, "lf", "cr")
	c.lasting(path+".every", f.Every, time.Second, 24*time.Hour)
	groups := c.pattern(path+".pattern", f.Pattern)
	if f.Ignore != "" {
		c.expression(path+".ignore", f.Ignore)
	}
	if groups == nil {
		return nil
	}
	for _, k := range []struct{ group, key string }{{"unit", "units"}, {"status", "sound"}, {"channel", "channels"}} {
		if at := path + "." + k.key; c.given(at) && !groups[k.group] {
			c.wrong(at, nil, "the pattern has no group %s for which this is", k.group)
		}
	}
	before := len(c.faults)
	c.frameUnits(f, path, groups["unit"])
	feeders := c.frameChannels(f, path, groups["channel"])
	if len(c.faults) == before {
		c.workable(f, path)
	}
	return feeders
}

// workable lets the reader itself say what else it cannot work with.
func (c *checker) workable(f *logbook.Frames, path string) {
	err := frames.Config{Name: "it", Port: port.Config{Device: "it"}, End: f.End, Ask: f.Ask, Every: f.Every.Std(), Format: frames.Format{Pattern: f.Pattern,
		Channel: f.Channel, Channels: f.Channels, Unit: f.Unit, Units: f.Units, Sound: f.Sound, Ignore: f.Ignore}}.Validate()
	if err != nil {
		c.wrong(path, nil, "%s", strings.ReplaceAll(err.Error(), "\n", "; "))
	}
}

// pattern judges the expression that readings match and returns its groups.
func (c *checker) pattern(path, text string) map[string]bool {
	if text == "" {
		c.wrong(path, nil, "is missing: a regular expression with the named group value, for example '^(?P<channel>\\w+) (?P<value>[-0-9.]+) (?P<unit>\\w+)$'")
		return nil
	}
	re := c.expression(path, text)
	if re == nil {
		return nil
	}
	groups := map[string]bool{}
	for _, g := range re.SubexpNames() {
		switch {
		case g == "":
		case !slices.Contains(frameGroups, g):
			c.wrong(path, text, "has a group %q: want value, channel, unit or status", g)
		case groups[g]:
			c.wrong(path, text, "has the group %s twice", g)
		}
		groups[g] = true
	}
	if !groups["value"] {
		c.wrong(path, text, "has no group value: write (?P<value>…) around the figure")
	}
	return groups
}

// expression judges a regular expression.
func (c *checker) expression(path, text string) *regexp.Regexp {
	re, err := regexp.Compile(text)
	if err != nil {
		c.wrong(path, text, "is no regular expression (RE2): %v", err)
		return nil
	}
	return re
}

// frameUnits judges what the group unit may hold and the unit without one.
func (c *checker) frameUnits(f *logbook.Frames, path string, group bool) {
	for _, word := range sortedKeys(f.Units) {
		c.oneOf(join(path+".units", word), f.Units[word], logbook.Units...)
	}
	if f.Unit != "" && group {
		c.wrong(path+".unit", f.Unit, "the pattern's group unit gives the unit: leave this key or the group out")
	} else {
		c.unitFits(path+".unit", f.Unit, f.Channel)
	}
}

// frameChannels judges which channels the lines give.
func (c *checker) frameChannels(f *logbook.Frames, path string, group bool) []feeder {
	at := path + ".channel"
	switch {
	case f.Channel != "" && group:
		c.wrong(at, f.Channel, "the pattern's group channel gives the channel: leave this key or the group out")
	case f.Channel == "" && !group:
		c.wrong(at, nil, "is missing: name the channel, or put a group channel into the pattern")
	case f.Channel != "":
		return []feeder{{path: at, channel: f.Channel}}
	case len(f.Channels) == 0:
		c.warn(path, nil, "without channels every name that the instrument prints is taken for a channel's own name")
	}
	var feeders []feeder
	for _, word := range sortedKeys(f.Channels) {
		feeders = append(feeders, feeder{path: join(path+".channels", word), channel: f.Channels[word]})
	}
	return feeders
}

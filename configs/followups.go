package configs

import (
	"slices"
	"sort"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/rules/followup"
)

// Bounds of what a site may set for follow-ups: a reminder further ahead, or a word so
// long after, is none.
const (
	longestLead  = 120 * 24 * time.Hour
	longestAfter = 14 * 24 * time.Hour
)

// followUps judges who does what is owed, and when people are told of it.
func (c *checker) followUps() {
	known := append([]string{logbook.EveryFollowUp}, slices.DeleteFunc(slices.Clone(logbook.FollowUps), func(kind string) bool { return kind == logbook.FollowWithholding })...)
	for _, kind := range sortedKeys(c.site.FollowUps) {
		f, path := c.site.FollowUps[kind], join("follow_ups", kind)
		if !slices.Contains(known, kind) {
			c.wrong(path, nil, "there is no follow-up of this name that anybody does; known are %s", strings.Join(known, ", "))
			continue
		}
		c.owner(path+".owner", f.Owner)
		if c.given(path + ".lead") {
			c.lasting(path+".lead", f.Lead, time.Minute, longestLead)
		}
		if c.given(path + ".after") {
			c.lasting(path+".after", f.After, time.Hour, longestAfter)
		}
	}
}

// owner judges who a follow-up is owed by: somebody who can be told.
func (c *checker) owner(path, name string) {
	if name == "" {
		return
	}
	for _, p := range c.site.People {
		if p.Name == name {
			if p.Email == "" && p.Phone == "" {
				c.warn(path, name, "has no email and no phone: everybody is told instead")
			}
			return
		}
	}
	c.wrong(path, name, "is nobody of people: write the name as it stands there")
}

// afterwards judges the site's figures for what follows a treatment.
func (c *checker) afterwards() {
	s := c.site.Settings
	c.clock("settings.inspect_at", s.InspectAt)
	if s.SecondLook != 0 {
		c.lasting("settings.second_look", s.SecondLook, 48*time.Hour, 60*24*time.Hour)
	}
	if c.lasting("settings.jar", s.Jar, 7*24*time.Hour, 120*24*time.Hour) && s.Jar.Std() < followup.DefaultJar {
		c.warn("settings.jar", s.Jar.Std(), "is shorter than the usual month: eggs hatch late in cool grain")
	}
}

// The years whose changes of the clock a site carries with it: rules look up no zone.
const (
	offsetsFrom = 2020
	offsetsTo   = 2046
)

// offsets lists how far a zone's clock is ahead of UTC, from each change on. It looks at
// every day, and in a day with a change for its minute.
func offsets(zone *time.Location) []logbook.Offset {
	ahead := func(at time.Time) int {
		_, seconds := at.In(zone).Zone()
		return seconds
	}
	at := time.Date(offsetsFrom, 1, 1, 0, 0, 0, 0, time.UTC)
	all := []logbook.Offset{{Seconds: ahead(at)}}
	for ; at.Year() < offsetsTo; at = at.AddDate(0, 0, 1) {
		if ahead(at.AddDate(0, 0, 1)) == ahead(at) {
			continue
		}
		minutes := sort.Search(24*60, func(m int) bool { return ahead(at.Add(time.Duration(m)*time.Minute)) != ahead(at) })
		change := at.Add(time.Duration(minutes) * time.Minute)
		all = append(all, logbook.Offset{From: logbook.At(change), Seconds: ahead(change)})
	}
	return all
}

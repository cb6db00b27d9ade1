package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"undersheet/logbook"
	"undersheet/report"
	"undersheet/report/chart"
	"undersheet/report/picture"
	"undersheet/rules"
	"undersheet/rules/reading"
)

// plot gathers what a picture of a replay needs beside the state at its end.
type plot struct {
	readings map[string][]reading.Judged // by channel; nil = nothing is drawn
}

// keep notes a reading as it was judged.
func (p *plot) keep(e logbook.Entry, s *rules.State) {
	r, ok := e.(*logbook.Reading)
	if !ok || p.readings == nil {
		return
	}
	if c := s.Channels[r.Channel]; c != nil && c.Last.At == r.Time && c.Last.Counts {
		p.readings[r.Channel] = append(p.readings[r.Channel], c.Last)
	}
}

// writable reports early why a file could not be written at the end.
func writable(path string) error {
	if info, err := os.Stat(path); err == nil && info.IsDir() {
		return fmt.Errorf("write %s: it is a folder; give the name of a file", path)
	}
	dir := filepath.Dir(path)
	if info, err := os.Stat(dir); err != nil || !info.IsDir() {
		return fmt.Errorf("write %s: there is no folder %s; make it first", path, dir)
	}
	return nil
}

// draw writes the picture of a stack as it stands at the end of the entries.
func (p *plot) draw(path, name, lang string, s *rules.State) error {
	v := s.View()
	k, err := treated(v, name)
	if err != nil {
		return fmt.Errorf("draw %s: %w", path, err)
	}
	pic := picture.Stack{View: *k, Now: v.Now, Lang: lang, Zone: report.Zone(v.Config), Readings: make([][]chart.Point, len(k.Lines))}
	for i, l := range k.Lines {
		for _, j := range p.readings[l.Channel] {
			if j.At >= k.Started {
				pic.Readings[i] = append(pic.Readings[i], chart.Point{X: j.At.Hours(k.Started), Y: max(j.Value, 0)})
			}
		}
	}
	return writeWhole(path, pic.Sheet(v.Alarms).WriteSVG)
}

// treated finds the stack of that name, or without a name the only one, among those
// whose treatment has started.
func treated(v *rules.View, name string) (*rules.StackView, error) {
	var found *rules.StackView
	var names []string
	for _, st := range v.Stores {
		for _, k := range st.Stacks {
			if k.Started == 0 {
				continue
			}
			names = append(names, fmt.Sprintf("%q", k.Name))
			if name == "" || k.Name == name {
				found = &k
			}
		}
	}
	switch {
	case len(names) == 0:
		return nil, fmt.Errorf("the entries hold no treatment that has started")
	case found == nil:
		return nil, fmt.Errorf("no treatment of stack %q has started; there are %s", name, strings.Join(names, ", "))
	case name == "" && len(names) > 1:
		return nil, fmt.Errorf("the entries treat %d stacks: name one with --stack, of %s", len(names), strings.Join(names, ", "))
	}
	return found, nil
}

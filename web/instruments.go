package web

import (
	"math"
	"net/http"
	"slices"
	"strconv"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/rules"
	"undersheet/rules/reading"
	"undersheet/web/form"
)

// instrumentsPage lists the instruments and their channels.
type instrumentsPage struct {
	frame
	Devices  []device
	Channels []channelRow
}

// device is one instrument of the site.
type device struct {
	Name, Way         string
	State             string // how it stands, in words
	Answers           bool
	Down              []string // what does not answer
	Readings, Refused string
	Last, Error       string
}

// channelRow is one channel.
type channelRow struct {
	Name, Feeds, Instrument string
	Last, Unit, State, Age  string
	Usual                   string
	Range, Detection        string
	Proof                   string
	Checks, Owes            string // zero, bump test, calibration; what it owes before it counts for a gate
	Prove                   string // path of the form; empty: it has no line to prove
}

func (p *site) instruments(w http.ResponseWriter, r *http.Request) {
	v := p.source.View()
	page := instrumentsPage{frame: p.frame(r, v, "page/instruments")}
	page.Here = "instruments"
	page.Devices = p.devices(&page.frame)
	for _, c := range v.Channels {
		page.Channels = append(page.Channels, page.channel(c))
	}
	p.show(w, r, http.StatusOK, "instruments", page)
}

// devices lists the site's instruments with what is counted of them.
func (p *site) devices(f *frame) []device {
	if f.view.Config == nil {
		return nil
	}
	var all []device
	at := map[string]int{}
	for _, in := range f.view.Config.Instruments {
		at[in.Name] = len(all)
		all = append(all, device{Name: in.Name, Way: f.wayOf(in), Answers: true, State: f.text("page/nothing-since-start")})
	}
	if p.opts.Intake == nil {
		return all
	}
	for _, in := range p.opts.Intake.Stats().Instruments {
		i, ok := at[in.Name]
		if !ok {
			continue
		}
		d := &all[i]
		d.Readings, d.Refused, d.Error = strconv.FormatUint(in.Readings, 10), strconv.FormatUint(in.Refused, 10), words.Said(f.Lang, in.LastError)
		if d.Last = f.ageOf(logbook.At(in.Last)); d.Last != "" {
			d.State = f.text("page/answers")
		}
		for _, s := range in.Down {
			d.Answers, d.State = false, f.text("page/no-answer")
			d.Down = append(d.Down, f.about(words.Said(f.Lang, s.Unit), words.Said(f.Lang, s.Detail)))
		}
	}
	return all
}

// wayOf says how an instrument is read.
func (f *frame) wayOf(in logbook.Instrument) string {
	switch {
	case in.Modbus != nil:
		return f.text("page/way-modbus", "{port}", in.Modbus.Port)
	case in.Frames != nil:
		return f.text("page/way-frames", "{port}", in.Frames.Port)
	case in.MQTT != nil:
		return "MQTT, " + in.MQTT.Broker
	}
	return ""
}

// channel says what is known of a channel.
func (f *frame) channel(c rules.ChannelView) channelRow {
	row := channelRow{Name: c.Name, Feeds: form.Feeds(f.Lang, c), Instrument: c.Instrument, Last: f.lastOf(c.Last), Unit: c.Last.Unit, State: f.state(c.Last.State),
		Age: f.ageOf(c.Last.At)}
	if name := f.reader(c.Name); name != "" {
		row.Instrument = name
	}
	if row.Feeds == "" {
		row.Feeds = f.text("page/feeds-nothing")
	}
	if s := c.UsualSeconds; s > 0 && !math.IsInf(s, 0) {
		row.Usual = f.span(time.Duration(s * float64(time.Second)))
	}
	if f.view.Config != nil {
		ch := f.view.Config.Channels[c.Name]
		if ch.Range > 0 {
			row.Range = f.text("page/range-to", "{value}", f.figure(ch.Range), "{unit}", unitWord(ch.Unit))
		}
		if ch.DetectionLimit > 0 {
			row.Detection = f.figure(ch.DetectionLimit) + " " + unitWord(ch.Unit)
		}
	}
	row.Unit = unitWord(row.Unit)
	row.Prove, row.Proof = f.proving(c.Name)
	var checks []string
	for _, k := range c.Checks {
		of := []string{"{check}", f.code("check", k.What), "{when}", f.clock(k.At)}
		text := f.text("page/check-failed", of...)
		if k.Passed {
			text = f.text("page/check-passed", of...)
		}
		if k.Due != 0 {
			text += ", " + f.text("page/check-due", "{when}", f.clock(k.Due))
		}
		checks = append(checks, text)
	}
	row.Checks = f.list(checks)
	if c.Owes != "" {
		row.Owes = words.Reason(f.Lang, logbook.Reason{Code: c.Owes, About: c.Name})
	}
	return row
}

// reader returns the instrument whose settings name the channel itself; empty when
// none does, as with a broker whose topics give the names.
func (f *frame) reader(channel string) string {
	if f.view.Config == nil {
		return ""
	}
	for _, in := range f.view.Config.Instruments {
		for _, named := range in.Channels() {
			if slices.Contains(named, channel) {
				return in.Name
			}
		}
	}
	return ""
}

// proving is the form that proves the line of a channel, and how its newest proof
// stands; empty when it has no line.
func (f *frame) proving(channel string) (path, proof string) {
	for _, s := range f.view.Stores {
		for _, a := range s.Air {
			if a.Channel == channel {
				return actPath(logbook.KindLineProved, "store", s.Name, "point", a.Name, "channel", channel), f.proofOf(a.Proved)
			}
		}
		for _, k := range s.Stacks {
			for _, l := range k.Lines {
				if l.Channel == channel {
					return actPath(logbook.KindLineProved, "stack", k.Name, "line", l.Name, "channel", channel), f.proofOf(l.Proved)
				}
			}
		}
	}
	return "", ""
}

// lastOf prints the newest value of a channel in the unit in which it was sent.
func (f *frame) lastOf(s rules.Sample) string {
	if s.State == reading.None {
		return "—"
	}
	return f.figure(s.Raw)
}

// unitWord prints a unit as people write it.
func unitWord(u string) string {
	switch u {
	case logbook.MgM3:
		return "mg/m³"
	case logbook.GM3:
		return "g/m³"
	case logbook.Cel:
		return "°C"
	case logbook.Deg:
		return "°"
	case logbook.OnOff:
		return ""
	}
	return u
}

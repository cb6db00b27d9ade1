package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"time"

	"undersheet/cmd/bench/scenario"
	"undersheet/logbook"
	"undersheet/rules"
	"undersheet/rules/alarm"
	"undersheet/rules/decay"
	"undersheet/rules/leak"
)

// The whole way: a record written as the JSON Lines that "undersheet replay" reads,
// and the records that the rules make of it.

// moment is the time of an hour of a record, as entries hold it.
func moment(hours float64) logbook.Time {
	return t0.Add(time.Duration(hours * float64(time.Hour)).Round(time.Millisecond))
}

func lineName(i int) string { return "line " + strconv.Itoa(i+1) }

// siteOf is a depot with the one stack of a record.
func siteOf(r *scenario.Record) *logbook.Site {
	s := &logbook.Site{Name: "Alder Depot", Timezone: "UTC", Channels: map[string]logbook.Channel{}}
	stack := logbook.Stack{Name: "A"}
	for i, l := range r.Setup.Lines {
		s.Channels[lineName(i)] = channelOf(l)
		stack.Lines = append(stack.Lines, logbook.Line{Name: lineName(i), Channel: lineName(i)})
	}
	s.Stores = []logbook.Store{{Name: "Long Store", Stacks: []logbook.Stack{stack}}}
	return s
}

// channelOf is the channel of a line.
func channelOf(l decay.Line) logbook.Channel {
	return logbook.Channel{Gas: "ph3", Unit: logbook.PPM, Range: l.Range, Resolution: l.Resolution, DetectionLimit: l.DetectionLimit, Accuracy: l.Accuracy}
}

// head is an entry's.
func head(kind logbook.Kind, hours float64) logbook.Header {
	return logbook.Header{Kind: kind, Time: moment(hours)}
}

// written is a record until hours as JSON Lines, a clock each half hour.
func written(r *scenario.Record, until float64) ([]byte, error) {
	var b bytes.Buffer
	put := func(e logbook.Entry) error {
		text, err := logbook.Encode(e)
		if err != nil {
			return fmt.Errorf("write an entry: %w", err)
		}
		b.Write(append(text, '\n'))
		return nil
	}
	on, by := logbook.OnStack{Stack: "A"}, logbook.Act{By: "R. Amadi"}
	err := put(&logbook.TreatmentStarted{Header: head(logbook.KindTreatmentStarted, 0), OnStack: on, Treatment: "A-1", Protocol: "five-day",
		Commodity: r.Commodity, PhosphineG: r.Setup.DoseG, GasSpaceM3: r.Setup.GasSpaceM3, GrainTempC: r.Setup.TempC,
		GrainMoisturePct: r.Setup.MoisturePct, Form: r.Setup.Form, Act: by})
	doses, clock := r.Doses, 0.5
	for _, x := range r.Readings {
		for ; clock <= x.Hours; clock += 0.5 {
			err = errors.Join(err, put(&logbook.Clock{Header: head(logbook.KindClock, clock)}))
		}
		for ; len(doses) > 0 && doses[0].Hours <= x.Hours; doses = doses[1:] {
			err = errors.Join(err, put(&logbook.DoseAdded{Header: head(logbook.KindDoseAdded, doses[0].Hours), OnStack: on, PhosphineG: doses[0].Grams, Act: by}))
		}
		if x.Hours >= until {
			break
		}
		err = errors.Join(err, put(&logbook.Reading{Header: head(logbook.KindReading, x.Hours), Channel: lineName(x.Line), Value: x.PPM, Unit: logbook.PPM}))
	}
	return b.Bytes(), err
}

// play runs a record through all rules until hours.
func play(r *scenario.Record, until float64) (*course, error) {
	text, err := written(r, until)
	if err != nil {
		return nil, err
	}
	in, p, out := logbook.NewReader("bench", bytes.NewReader(text)), rules.NewPlayer(siteOf(r)), newCourse(r)
	for {
		e, err := in.Next()
		if err == io.EOF {
			return &out, nil
		}
		if err != nil {
			return nil, fmt.Errorf("read an entry: %w", err)
		}
		for _, rec := range p.Play(e) {
			out.take(rec)
		}
	}
}

// take notes what a record says.
func (c *course) take(rec logbook.Recorded) {
	hours := rec.Head().Time.Hours(t0)
	switch x := rec.(type) {
	case *logbook.Forecast:
		c.forecast(x, int(math.Floor(hours)))
	case *logbook.Alarm:
		c.alarm(x, hours)
	case *logbook.Finding:
		if i := lineOf(x.Line); i >= 0 && x.Code == "stuck" && c.stuck[i] == 0 {
			c.stuck[i] = hours
		}
	}
}

// forecast notes one line's forecast, or that of the lowest.
func (c *course) forecast(x *logbook.Forecast, hour int) {
	if !slices.Contains(horizons, hour) {
		return
	}
	f := decay.Forecast{P05: float64(x.PPM.P05), P50: float64(x.PPM.P50), P95: float64(x.PPM.P95), ChanceMet: float64(x.ChanceMet)}
	o := c.outlooks[hour]
	if x.Line == "" {
		o.lowest = f
	} else {
		o.lines = append(o.lines, f)
	}
	c.outlooks[hour] = o
}

// kindsOf are the events that alarms tell of.
var kindsOf = map[string]leak.Kind{alarm.Leak: leak.Leak, alarm.LineOff: leak.LineOff, alarm.LineBlocked: leak.Blocked,
	alarm.PumpOff: leak.PumpStop, alarm.Swapped: leak.Swapped, alarm.Drift: leak.Drifting}

// alarm notes an alarm that was raised or cleared. A name that is none of the leak
// test's stands for itself.
func (c *course) alarm(x *logbook.Alarm, hours float64) {
	line := lineOf(x.Line)
	if x.Alarm == alarm.LineSilent && line >= 0 && x.State == logbook.AlarmRaised {
		c.silent[line] = x.Onset.Hours(t0)
		return
	}
	kind, ok := kindsOf[x.Alarm]
	if !ok {
		kind = leak.Kind(x.Alarm)
	}
	if x.State != logbook.AlarmRaised && x.State != logbook.AlarmCleared {
		return
	}
	c.events = append(c.events, event{leak.Event{Kind: kind, Line: line, Onset: x.Onset.Hours(t0), LossBefore: float64(x.Limit),
		LossAfter: float64(x.Value), Alone: x.Code == alarm.CodeOrDrift, Cleared: x.State == logbook.AlarmCleared}, hours})
}

// lineOf is the number of a line by its name; -1 = none.
func lineOf(name string) int {
	var n int
	if _, err := fmt.Sscanf(name, "line %d", &n); err != nil {
		return -1
	}
	return n - 1
}

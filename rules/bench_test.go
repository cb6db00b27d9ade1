package rules

import (
	"fmt"
	"math"
	"syscall"
	"testing"
	"time"

	"undersheet/logbook"
)

// benchSite has two stores, each with two stacks of six lines and three air points.
func benchSite() (site logbook.Site, channels []string) {
	site = testSite()
	line, air := site.Channels["a1"], site.Channels["door"]
	site.Channels, site.Stores, site.Limits = map[string]logbook.Channel{}, nil, "EU"
	for s := range 2 {
		st := logbook.Store{Name: fmt.Sprintf("Store %d", s)}
		for p, where := range []string{"door", "inside", "office"} {
			name := fmt.Sprintf("air-%d-%d", s, p)
			site.Channels[name], channels = air, append(channels, name)
			st.Air = append(st.Air, logbook.AirPoint{Name: where, Channel: name, Where: where})
		}
		for k := range 2 {
			stack := logbook.Stack{Name: fmt.Sprintf("%d%c", s, 'A'+k)}
			for l := range 6 {
				name := fmt.Sprintf("line-%s-%d", stack.Name, l)
				site.Channels[name], channels = line, append(channels, name)
				stack.Lines = append(stack.Lines, logbook.Line{Name: fmt.Sprintf("line %d", l), Channel: name})
			}
			st.Stacks = append(st.Stacks, stack)
		}
		site.Stores = append(site.Stores, st)
	}
	return site, channels
}

// benchDepot is the depot at t = 0, every stack under gas.
func benchDepot() (s *State, channels []string) {
	site, channels := benchSite()
	s = New()
	head := logbook.Header{Time: epoch, Received: epoch}
	s.Fold(&logbook.SiteConfigured{Header: head, Site: site})
	for _, st := range site.Stores {
		for _, k := range st.Stacks {
			head.Kind = logbook.KindTreatmentStarted
			s.Fold(&logbook.TreatmentStarted{Header: head, OnStack: logbook.OnStack{Stack: k.Name}, Treatment: k.Name + "-1", Protocol: "five-day",
				Commodity: "maize", Tonnes: 100, VolumeM3: 150, PhosphineG: 200, GrainTempC: 27, Act: someone})
		}
	}
	return s, channels
}

// benchReading is what channel i reads in minute m: a release-loss curve with a
// little scatter, or clean air.
func benchReading(channels []string, i, m int) *logbook.Reading {
	at := epoch.Add(time.Duration(m)*time.Minute + time.Duration(i)*2*time.Second)
	r := &logbook.Reading{Header: logbook.Header{Time: at, Received: at, Kind: logbook.KindReading}, Channel: channels[i], Unit: logbook.PPM, Value: 0.02}
	if channels[i][0] == 'l' {
		d := float64(m) / 1440
		r.Value = math.Round(1200 * (math.Exp(-0.25*d) - math.Exp(-1.5*d)) * (1 + 0.03*math.Sin(float64(m*7+i*13))))
	}
	return r
}

// leastSpeed is the limit of the fold: readings a second on one core, with all rules
// and the hourly forecasts.
const leastSpeed = 200e3

// BenchmarkFold folds readings of one a minute and channel through the days of an
// exposure: 24 lines of four stacks, and 6 air points.
func BenchmarkFold(b *testing.B) {
	b.ReportAllocs()
	const minutes = 5 * 1440
	_, channels := benchDepot()
	var entries []*logbook.Reading
	for n := range minutes * len(channels) {
		entries = append(entries, benchReading(channels, n%len(channels), n/len(channels)))
	}
	b.ResetTimer()
	begin := processorTime(b)
	for b.Loop() {
		s, _ := benchDepot()
		for _, e := range entries {
			s.Fold(e)
		}
	}
	speed := float64(b.N*len(entries)) / (processorTime(b) - begin).Seconds()
	b.ReportMetric(speed, "readings/s")
	b.ReportMetric(speed/leastSpeed, "of-limit")
}

// processorTime is what the process has used: other work on the machine does not
// count.
func processorTime(b *testing.B) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

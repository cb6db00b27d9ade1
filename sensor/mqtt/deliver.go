package mqtt

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"undersheet/sensor"
)

// consume takes messages to the sink, batch by batch, and acknowledges those
// that the sink has taken, until ctx ends.
func (s *session) consume(ctx context.Context) error {
	for {
		batch, err := s.inbox.take(ctx)
		if err != nil {
			return err
		}
		rs, refused := s.decode(batch)
		if len(rs) > 0 {
			if err := s.insist(ctx, func() error { return s.sink.Readings(ctx, rs) }); err != nil {
				return err
			}
		}
		for _, r := range refused {
			if err := s.insist(ctx, func() error { return s.sink.Refused(ctx, r) }); err != nil {
				return err
			}
		}
		s.inbox.done(batch)
	}
}

// decode reads a batch.
func (s *session) decode(batch []item) (rs []sensor.Reading, refused []sensor.Refused) {
	for _, it := range batch {
		got, faults := s.read(it)
		rs = append(rs, got...)
		if len(faults) > 0 {
			refused = append(refused, sensor.NewRefused(s.cfg.Name, it.Topic(), it.Payload(), reasons(faults), it.arrived))
		}
	}
	return rs, refused
}

// read reads one message with each source whose filter its topic fits.
func (s *session) read(it item) (rs []sensor.Reading, faults []error) {
	now := it.arrived
	if it.old {
		now = time.Time{}
	}
	fits := false
	for _, src := range s.sources {
		if !Fits(src.Topic, it.Topic()) {
			continue
		}
		fits = true
		got, bad := guarded(src.Decode, it, now)
		faults = append(faults, bad...)
		for _, r := range got {
			r.Retained = r.Retained || it.Retained() || it.old && r.Time.IsZero()
			if err := r.Check(); err != nil {
				faults = append(faults, err)
				continue
			}
			rs = append(rs, r)
		}
	}
	if !fits && !s.stray[it.Topic()] {
		if len(s.stray) < MaxQueue {
			s.stray[it.Topic()] = true
		}
		faults = append(faults, fmt.Errorf("no source of the site file has this topic; the session of client id %q keeps an older subscription: "+
			"remove it at the broker, or choose another client_id (further messages on this topic are not recorded)", s.id))
	}
	return rs, faults
}

// guarded calls d; a panic is one more payload that cannot be read.
func guarded(d Decode, it item, now time.Time) (rs []sensor.Reading, faults []error) {
	defer func() {
		if p := recover(); p != nil {
			rs, faults = nil, []error{fmt.Errorf("reading this payload broke the decoder (%v): please report it", p)}
		}
	}()
	rs, faults = d(it.Topic(), it.Payload(), now)
	if len(faults) > 0 && errors.Join(faults...) == nil {
		faults = nil
	}
	return rs, faults
}

// maxReasons is how many faults of one payload are written out.
const maxReasons = 10

// reasons joins faults.
func reasons(faults []error) string {
	var parts []string
	for i, err := range faults {
		if i == maxReasons {
			parts = append(parts, fmt.Sprintf("and %d more", len(faults)-i))
			break
		}
		parts = append(parts, err.Error())
	}
	return strings.Join(parts, "; ")
}

// Fits reports whether topic fits filter (MQTT 3.1.1, section 4.7). Topics that
// begin with $ are not met by a wildcard at the start.
func Fits(filter, topic string) bool {
	fs, ts := strings.Split(filter, "/"), strings.Split(topic, "/")
	if strings.HasPrefix(topic, "$") && (fs[0] == "+" || fs[0] == "#") {
		return false
	}
	for i, f := range fs {
		if f == "#" {
			return true
		}
		if i >= len(ts) || f != "+" && f != ts[i] {
			return false
		}
	}
	return len(fs) == len(ts)
}

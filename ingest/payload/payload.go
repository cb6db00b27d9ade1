package payload

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/sensor"
)

// MaxBytes is the longest payload that is decoded.
const MaxBytes = 256 << 10

// Forms of a payload, as the site file names them.
const (
	Number       = logbook.PayloadNumber
	JSON         = logbook.PayloadJSON
	SenML        = logbook.PayloadSenML
	LineProtocol = logbook.PayloadLineProtocol
)

// Decoder reads one payload that was published on topic. now is the moment of
// arrival, to which SenML's relative times refer; the zero time says that the
// message is of unknown age (stored or held back by a broker), and then relative
// times give no time at all. It returns the readings, and an error for each part
// that could not be read; at least one of both unless the payload is well formed
// and says nothing.
type Decoder func(topic string, payload []byte, now time.Time) ([]sensor.Reading, []error)

// Timed reports whether the payloads of s tell one measurement from another, by
// a time or a sequence number, so that a broker may hold them back and send them
// twice: those need a persistent session.
func Timed(s logbook.MQTTSource) bool {
	switch s.Payload {
	case SenML, LineProtocol:
		return true
	case JSON:
		return s.Time != "" || s.Sequence != ""
	}
	return false
}

// New returns the decoder for s, whose readings bear the instrument's name. The
// error names the field of s that cannot be used and what it may be.
func New(instrument string, s logbook.MQTTSource) (Decoder, error) {
	src := source{MQTTSource: s, instrument: instrument}
	decode := map[string]func(string, []byte, time.Time) ([]sensor.Reading, []error){
		Number: src.number, JSON: src.json, SenML: src.senml, LineProtocol: src.lines,
	}[s.Payload]
	if decode == nil {
		return nil, fmt.Errorf("read payloads of topic %q: payload %q is none of %s, %s, %s, %s", s.Topic, s.Payload, SenML, JSON, Number, LineProtocol)
	}
	if err := src.prepare(); err != nil {
		return nil, fmt.Errorf("read payloads of topic %q: %w", s.Topic, err)
	}
	return func(topic string, payload []byte, now time.Time) ([]sensor.Reading, []error) {
		if len(payload) > MaxBytes {
			return nil, []error{fmt.Errorf("the payload has %d bytes, more than the %d that are read: send fewer values in one message", len(payload), MaxBytes)}
		}
		if len(payload) == 0 {
			return nil, []error{errors.New("the payload is empty")}
		}
		return decode(topic, payload, now)
	}, nil
}

// source is one MQTTSource, prepared.
type source struct {
	logbook.MQTTSource
	instrument string
	channel    logbook.Template
	tick       time.Duration // TimeUnit
}

// prepare checks s and reads its template and unit of time.
func (s *source) prepare() (err error) {
	if s.channel, err = s.Template(); err != nil {
		return fmt.Errorf("channel %q %w", s.Channel, err)
	}
	if s.Unit != "" && !logbook.IsUnit(s.Unit) {
		return fmt.Errorf("unit %q is none of %v", s.Unit, logbook.Units)
	}
	if s.Payload == JSON && s.Value == "" {
		return errors.New("value is missing: the path of the value in the JSON object")
	}
	s.tick = map[string]time.Duration{"s": time.Second, "ms": time.Millisecond, "us": time.Microsecond, "ns": time.Nanosecond}[s.timeUnit()]
	if s.tick == 0 {
		return fmt.Errorf("time_unit %q is none of s, ms, us, ns", s.TimeUnit)
	}
	return nil
}

// timeUnit returns TimeUnit or its default: seconds in JSON, nanoseconds in line
// protocol, as its own definition has it.
func (s *source) timeUnit() string {
	switch {
	case s.TimeUnit != "":
		return s.TimeUnit
	case s.Payload == LineProtocol:
		return "ns"
	}
	return "s"
}

// found is one value in a payload.
type found struct {
	value float64
	unit  string            // one of logbook.Units; empty: the source's, else the channel's
	at    time.Time         // zero: not given
	id    string            // the source's own key of the measurement; empty: none
	names map[string]string // what stands for the template's placeholders
}

// reading makes a reading of f, or says why it is none.
func (s *source) reading(topic string, f found) (sensor.Reading, error) {
	channel, err := s.channel.Fill(topic, f.names)
	if err != nil {
		return sensor.Reading{}, err
	}
	if err := checkName(channel); err != nil {
		return sensor.Reading{}, err
	}
	if f.unit == "" {
		f.unit = s.Unit
	}
	r := sensor.Reading{Channel: channel, Value: f.value, Unit: f.unit, Time: f.at, Source: s.instrument, ID: f.id}
	return r, r.Check()
}

// one makes the result of a payload with one value.
func (s *source) one(topic string, f found, err error) ([]sensor.Reading, []error) {
	if err != nil {
		return nil, []error{err}
	}
	r, err := s.reading(topic, f)
	if err != nil {
		return nil, []error{err}
	}
	return []sensor.Reading{r}, nil
}

// maxName is the longest name of a channel, in bytes.
const maxName = 256

// checkName refuses a name that nobody could have meant.
func checkName(name string) error {
	printable := strings.IndexFunc(name, func(r rune) bool { return r < ' ' || r == 0x7f || r == '\uFFFD' }) < 0
	if strings.TrimSpace(name) == "" || !printable || len(name) > maxName {
		return fmt.Errorf("%.300q cannot be the name of a channel", name)
	}
	return nil
}

// checkTime refuses a moment that no clock that was set can show.
func checkTime(t time.Time) (time.Time, error) {
	at := logbook.At(t)
	if t.IsZero() || at == 0 {
		return time.Time{}, errors.New("the time is that of a clock that was never set: set the instrument's clock")
	}
	if err := logbook.CheckTime(at); err != nil {
		return time.Time{}, fmt.Errorf("the time %v is outside the years 1 to 9999", t)
	}
	return t.UTC(), nil
}

// Bounds of times, in seconds since 1970: the years 1 to 9999.
const (
	firstSecond = -62135596800
	lastSecond  = 253402300799
)

// ticksTime returns the moment n ticks of d after 1970, exactly.
func ticksTime(n int64, d time.Duration) (time.Time, error) {
	perSecond := int64(time.Second / d)
	if s := n / perSecond; s < firstSecond || s > lastSecond {
		return time.Time{}, fmt.Errorf("the time %d is outside the years 1 to 9999: is its unit right?", n)
	}
	return checkTime(time.Unix(n/perSecond, n%perSecond*int64(d)))
}

// secondsTime returns the moment s seconds after 1970, to the microsecond.
func secondsTime(s float64) (time.Time, error) {
	if !(s >= firstSecond && s <= lastSecond) {
		return time.Time{}, fmt.Errorf("the time %v s is outside the years 1 to 9999: is its unit right?", s)
	}
	whole, part := math.Modf(s)
	return checkTime(time.Unix(int64(whole), int64(math.Round(part*1e6))*1000))
}

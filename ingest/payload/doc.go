// Package payload reads what instruments publish: it turns one message into
// readings, by the rules that the site file gives for its topic.
//
//	decode, err := payload.New("gateway", logbook.MQTTSource{
//		Topic: "depot/+/+", Payload: "number", Channel: "{2}-{3}", Unit: "ppm",
//	})
//	readings, faults := decode("depot/b/north-top", []byte("412.5"), time.Now())
//
// Four forms are read: "number" (a bare decimal number), "json" (one value, its
// time, sequence number and channel at paths of the site file), "senml" (a SenML
// pack in JSON, RFC 8428, units of its registry and of RFC 8798) and
// "line-protocol" (lines of measurement, tags, fields and a timestamp).
//
// A decoder is pure: it reads no clock and keeps no state. One bad record or
// line never stops the others: what can be read is returned together with an
// error for each part that cannot.
//
// It refuses a payload over [MaxBytes], a value that is not a finite number, a
// unit that it does not know, a text where a number must stand, a time that is
// missing where the site file says that there is one, and a SenML version or
// extension that it does not understand. It judges nothing else: range, age and
// sense of a value are the business of package rules.
//
// Every [sensor.Reading] it returns has a channel and a finite value. Its Unit
// is one of logbook.Units, or empty for the channel's own; its Time is zero when
// the payload gives none.
package payload

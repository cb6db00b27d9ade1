// Package mqtt reads instruments that publish to an MQTT broker (version 3.1.1).
//
//	c := mqtt.New(mqtt.Config{
//		Name: "gateway", Broker: "tls://broker.example:8883", ClientID: "undersheet-depot",
//		CA: "/etc/undersheet/ca.pem", User: user, Password: password,
//		Sources: []mqtt.Source{{Topic: "depot/+/+", QoS: 1, Timed: true, Decode: decode}},
//	}, sink, mqtt.Options{})
//	err := c.Run(ctx)
//
// Check the Config with its Validate before; package trust reads user and
// password from where they are kept.
//
// A message is acknowledged only after the sink has taken everything in it. What
// cannot be decoded goes to the sink too, as a sensor.Refused, and is then
// acknowledged, so that one bad payload is not sent for ever. What waits is delivered together, up to [MaxBatch] messages.
//
// Sources whose payloads carry a time or a sequence number (Timed) share a
// persistent session: while the program is away, the broker keeps their
// messages. The others have a second client with a clean session: an old value
// without a time must never come as a fresh one. For the same reason a reading
// without a time is marked Retained, and relative times are not resolved, when
// its message may be old: a retained message, one sent again, or one that came
// before the broker's backlog was through (see [Options]).
//
// The client connects again by itself, with growing waits, and tells the sink
// once when the connection is lost, once for each new reason why it cannot be
// made, and once when it is there again, in words that say what to do.
//
// It refuses to publish anything, to keep passwords in a Config file (they are
// given as they are, never printed), and TLS before version 1.2.
//
// Messages that are not acknowledged for long (a full disk) wait with the
// broker; up to [MaxQueue] messages or [MaxQueueBytes] wait here. A broker that
// sends more loses the connection, and sends them again.
package mqtt

package configs_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"undersheet/configs"
	"undersheet/ingest/payload"
	"undersheet/logbook"
)

// site is a site with one MQTT source; its one channel is "a".
const site = `site: S
timezone: Africa/Nairobi
limits: GB
emergency: call
channels:
  a: {unit: ppm, range: 20, detection_limit: 0.03}
stores:
  - name: Store 1
    air: [{name: door, channel: a, where: door}]
instruments:
  - name: broker
    mqtt:
      broker: tcp://localhost:1883
      sources:
        - {topic: %q, payload: %s, channel: %q%s}
`

// A template that the site file may hold is one that the decoder can fill, and
// the other way round.
func TestTemplatesOfSiteFileAndDecoderAgree(t *testing.T) {
	accepted := map[string]bool{}
	for _, form := range []string{payload.Number, payload.JSON, payload.SenML, payload.LineProtocol} {
		for _, topic := range []string{"a", "a/+", "+/#"} {
			for _, channel := range []string{"a", "{1}", "{2}", "{3}", "{0}", "{-1}", "{+1}", "{x}", "{name}", "{path}", "{measurement}", "{field}", "{tag:a}",
				"{tag:}", "{tag}", "{Tag:a}", "a{1}", "a{", "a}", "{}", "{{1}}", "{1}}", "{1}{2}", "{field}{tag:b c}", " "} {
				for _, name := range []string{"", "tap"} {
					if name != "" && form != payload.JSON {
						continue
					}
					s := logbook.MQTTSource{Topic: topic, QoS: 1, Payload: form, Channel: channel, Name: name}
					if form == payload.JSON {
						s.Value = "v"
					}
					_, err := payload.New("broker", s)
					fault := faultOf(t, s)
					require.Equal(t, err == nil, fault == "", "%+v\ndecoder: %v\nsite file: %s", s, err, fault)
					accepted[channel] = accepted[channel] || err == nil
				}
			}
		}
	}
	require.True(t, accepted["{tag:a}"])
	require.True(t, accepted["{path}"])
	require.False(t, accepted["{tag:}"])
	require.False(t, accepted["a{"])
}

// faultOf returns what the site file says of the form of s's channel, "" for nothing.
func faultOf(t *testing.T, s logbook.MQTTSource) string {
	var more string
	if s.Value != "" {
		more += ", value: " + s.Value
	}
	if s.Name != "" {
		more += ", channel_path: " + s.Name
	}
	_, _, err := configs.Parse("s.yaml", fmt.Appendf(nil, site, s.Topic, s.Payload, s.Channel, more))
	if err == nil {
		return ""
	}
	var faults configs.Faults
	require.True(t, errors.As(err, &faults), "%v", err)
	for _, f := range faults {
		require.Contains(t, f.String(), "instruments[0].mqtt.sources[0].channel", "nothing else is wrong")
		if !strings.Contains(f.Rule, "there is no channel of this name") {
			return f.String()
		}
	}
	return ""
}

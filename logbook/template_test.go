package logbook

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// templateCases are sources with the names that their template may make, those
// that it may not make, and what is wrong with it.
var templateCases = map[string]struct {
	source   MQTTSource
	sure     string
	fits     []string
	fitsNone []string
	fault    string
}{
	"text":              {source: MQTTSource{Topic: "a/+", Payload: PayloadNumber, Channel: "b-top"}, sure: "b-top", fits: []string{"b-top"}, fitsNone: []string{"b-to", "b-top2", ""}},
	"wild level":        {source: MQTTSource{Topic: "a/+", Payload: PayloadNumber, Channel: "b-{2}"}, fits: []string{"b-", "b-x", "b-b-"}, fitsNone: []string{"b", "a-x"}},
	"fixed level":       {source: MQTTSource{Topic: "a/+", Payload: PayloadNumber, Channel: "{1}-{1}"}, sure: "a-a", fits: []string{"a-a"}, fitsNone: []string{"a-b"}},
	"levels below #":    {source: MQTTSource{Topic: "a/#", Payload: PayloadNumber, Channel: "{1}-{9}"}, fits: []string{"a-x"}, fitsNone: []string{"b-x"}},
	"two with the same": {source: MQTTSource{Topic: "+/+", Payload: PayloadNumber, Channel: "{1}-{2}-x"}, fits: []string{"a-b-x", "-x-x-x"}, fitsNone: []string{"a-x", "a-b-xx"}},
	"side by side":      {source: MQTTSource{Topic: "+/+", Payload: PayloadNumber, Channel: "x{1}{2}y{1}"}, fits: []string{"xy", "xaybyc"}, fitsNone: []string{"x", "y"}},
	"SenML":             {source: MQTTSource{Topic: "a", Payload: PayloadSenML, Channel: "{name}"}, fits: []string{"", "x"}},
	"JSON":              {source: MQTTSource{Topic: "a", Payload: PayloadJSON, Channel: "x-{path}", Name: "tap"}, fits: []string{"x-y"}, fitsNone: []string{"y"}},
	"field":             {source: MQTTSource{Topic: "a", Payload: PayloadLineProtocol, Channel: "{measurement}.{field}"}, fits: []string{"w.a"}, fitsNone: []string{"w"}},
	"fixed field":       {source: MQTTSource{Topic: "a", Payload: PayloadLineProtocol, Channel: "x-{field}", Value: "ppm"}, sure: "x-ppm", fits: []string{"x-ppm"}, fitsNone: []string{"x-y"}},
	"tag":               {source: MQTTSource{Topic: "a", Payload: PayloadLineProtocol, Channel: "{tag:stack}-{tag:line no}"}, fits: []string{"b-top"}, fitsNone: []string{"b"}},

	"none":             {source: MQTTSource{Topic: "a", Payload: PayloadNumber, Channel: " "}, fault: "is missing"},
	"closed only":      {source: MQTTSource{Topic: "a", Payload: PayloadNumber, Channel: "a}"}, fault: "} without {"},
	"closed twice":     {source: MQTTSource{Topic: "a", Payload: PayloadNumber, Channel: "{1}}"}, fault: "} without {"},
	"open":             {source: MQTTSource{Topic: "a", Payload: PayloadNumber, Channel: "a{1"}, fault: "{ without"},
	"nothing between":  {source: MQTTSource{Topic: "a", Payload: PayloadNumber, Channel: "a{}"}, fault: "{ without"},
	"open twice":       {source: MQTTSource{Topic: "a", Payload: PayloadNumber, Channel: "{{1}}"}, fault: "{ without"},
	"level 0":          {source: MQTTSource{Topic: "a", Payload: PayloadNumber, Channel: "{0}"}, fault: "the topic has 1 levels"},
	"level 2 of 1":     {source: MQTTSource{Topic: "+", Payload: PayloadNumber, Channel: "{2}"}, fault: "the topic has 1 levels"},
	"huge level":       {source: MQTTSource{Topic: "#", Payload: PayloadNumber, Channel: "{99999999999999999999}"}, fault: "the topic has 1 levels"},
	"signed level":     {source: MQTTSource{Topic: "#", Payload: PayloadNumber, Channel: "{+1}"}, fault: "no such part"},
	"name of a number": {source: MQTTSource{Topic: "a", Payload: PayloadNumber, Channel: "{name}"}, fault: "a payload of number has no such part"},
	"tag of SenML":     {source: MQTTSource{Topic: "a", Payload: PayloadSenML, Channel: "{tag:x}"}, fault: "a payload of senml has no such part"},
	"tag without key":  {source: MQTTSource{Topic: "a", Payload: PayloadLineProtocol, Channel: "{tag:}"}, fault: "and {measurement} and {field} and {tag:KEY}"},
	"path of nothing":  {source: MQTTSource{Topic: "a", Payload: PayloadJSON, Channel: "{path}"}, fault: "needs channel_path"},
}

func TestTemplate(t *testing.T) {
	for name, c := range templateCases {
		t.Run(name, func(t *testing.T) {
			tmpl, err := c.source.Template()
			if c.fault != "" {
				require.ErrorContains(t, err, c.fault)
				return
			}
			require.NoError(t, err)
			require.Equal(t, c.source.Channel, tmpl.String())
			name, sure := tmpl.Sure()
			require.Equal(t, c.sure, name)
			require.Equal(t, c.sure != "", sure)
			for _, s := range c.fits {
				require.True(t, tmpl.Fits(s), s)
			}
			for _, s := range c.fitsNone {
				require.False(t, tmpl.Fits(s), s)
			}
		})
	}
}

func TestTemplateFill(t *testing.T) {
	tmpl, err := MQTTSource{Topic: "depot/+/#", Payload: PayloadLineProtocol, Channel: "{1}-{2}-{3}-{tag:line}"}.Template()
	require.NoError(t, err)
	name, err := tmpl.Fill("depot/b/x/y", map[string]string{"tag:line": "top", "measurement": "m"})
	require.NoError(t, err)
	require.Equal(t, "depot-b-x-top", name)
	_, err = tmpl.Fill("depot/b", map[string]string{"tag:line": "top"})
	require.ErrorContains(t, err, "needs topic level 3")
	_, err = tmpl.Fill("depot/b/x", map[string]string{"tag:Line": "top"})
	require.ErrorContains(t, err, "needs {tag:line}, which is not in the payload")
}

// What a template makes, it fits; and what it makes for sure is what it makes.
func FuzzTemplate(f *testing.F) {
	for _, c := range templateCases {
		f.Add(c.source.Topic, c.source.Payload, c.source.Channel, c.source.Value, "x/-/y", "b-")
	}
	f.Fuzz(func(t *testing.T, filter, payload, channel, value, topic, part string) {
		tmpl, err := MQTTSource{Topic: filter, Payload: payload, Channel: channel, Value: value, Name: "n"}.Template()
		if err != nil {
			require.NotEmpty(t, err.Error())
			return
		}
		parts := map[string]string{"name": part, "path": part, "measurement": part + "m", "field": "f" + part}
		for _, p := range strings.Split(channel, "{") {
			if tag, _, _ := strings.Cut(p, "}"); strings.HasPrefix(tag, TagPart) {
				parts[tag] = part + tag
			}
		}
		name, err := tmpl.Fill(topic, parts)
		if err != nil {
			require.ErrorContains(t, err, "needs topic level")
			return
		}
		require.True(t, tmpl.Fits(name), "%q makes %q", channel, name)
		if sure, ok := tmpl.Sure(); ok {
			require.Equal(t, sure, name)
		}
	})
}

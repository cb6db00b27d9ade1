package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/influxdata/line-protocol/v2/lineprotocol"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

// doorAtNight opens a door of the store under gas at night: people are woken by
// SMS, and the webhook is told.
func (d *depotTest) doorAtNight() {
	d.depot.Set("contact", 1)
	d.until(d.at.Add(time.Hour))
	text := d.texted("Door open: Store 1")
	require.True(d.t, strings.HasSuffix(text, "Call 112."), "the emergency line of the site: %s", text)
	d.hook.waitFor("undersheet.alarm.raised")
	d.depot.Set("contact", 0)
	d.until(d.at.Add(time.Hour))
	d.hook.waitFor("undersheet.alarm.cleared")
}

// texted waits for an SMS with these words and returns its text.
func (d *depotTest) texted(words string) (text string) {
	require.Eventually(d.t, func() bool {
		for _, m := range d.modem.Sent() {
			if strings.Contains(m.Text, words) {
				require.Equal(d.t, "+351900000003", m.To)
				text = m.Text
			}
		}
		return text != ""
	}, patience, tick, "no SMS with %q", words)
	return text
}

// published: the gate stands on the broker, retained, as it is.
func (d *depotTest) published(state string) {
	states := make(chan string, 100) // more than the gate has states in this test
	err := wait(d.client.Subscribe("beacon/stores/+/gate", 1, func(_ paho.Client, m paho.Message) {
		var g struct{ State string }
		if json.Unmarshal(m.Payload(), &g) == nil {
			states <- g.State
		}
	}))
	require.NoError(d.t, err)
	for timeout := time.After(patience); ; {
		select {
		case s := <-states:
			if s == state {
				return
			}
		case <-timeout:
			d.t.Fatalf("the beacon does not show the gate %s", state)
		}
	}
}

// forwarded: in the end the file holds every reading of the logbook, once, and
// nothing else that claims to be one.
func (d *depotTest) forwarded() {
	_, es := d.export()
	want := map[string]int{}
	for _, e := range es {
		if r, ok := e.(*logbook.Reading); ok {
			want[r.Channel+" "+r.Time.String()] = 1
		}
	}
	var have map[string]int
	require.Eventually(d.t, func() bool {
		have = d.archive()
		return len(have) >= len(want)
	}, patience, tick, "the file does not catch up")
	require.Equal(d.t, want, have)
}

// archive counts the readings in the file by channel and time.
func (d *depotTest) archive() map[string]int {
	text, err := os.ReadFile(filepath.Join(filepath.Dir(d.book), "depot.lp"))
	require.NoError(d.t, err)
	in := map[string]int{}
	for dec := lineprotocol.NewDecoderWithBytes(text[:bytes.LastIndexByte(text, '\n')+1]); dec.Next(); {
		name, err := dec.Measurement()
		require.NoError(d.t, err)
		channel := ""
		for {
			key, value, err := dec.NextTag()
			require.NoError(d.t, err)
			if key == nil {
				break
			}
			if string(key) == "channel" {
				channel = string(value)
			}
		}
		at, err := dec.Time(lineprotocol.Nanosecond, time.Time{})
		require.NoError(d.t, err)
		if string(name) == "reading" {
			in[channel+" "+logbook.At(at).String()]++
		}
	}
	return in
}

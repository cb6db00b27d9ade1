package main

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"undersheet/configs"

	"github.com/alecthomas/kong"
	"github.com/stretchr/testify/require"
)

// runCheck runs "check" with args and returns what it printed.
func runCheck(t *testing.T, args ...string) (out, errs string, err error) {
	t.Helper()
	var c checkCmd
	p, err := kong.New(&c)
	require.NoError(t, err)
	ctx, err := p.Parse(args)
	require.NoError(t, err)
	var o, e bytes.Buffer
	err = ctx.Run(&console{in: strings.NewReader(""), out: &o, err: &e})
	return o.String(), e.String(), err
}

// TestCheckExample: the example that is printed passes the check that prints it.
func TestCheckExample(t *testing.T) {
	text, _, err := runCheck(t, "--example")
	require.NoError(t, err)
	require.Equal(t, string(configs.Example()), text)
	path := filepath.Join(t.TempDir(), "site.yaml")
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	for _, args := range [][]string{{path}, {"--site", path}} {
		out, errs, err := runCheck(t, args...)
		require.NoError(t, err)
		require.Empty(t, errs)
		require.True(t, strings.HasPrefix(out, path+": no faults\n"), out)
		for _, want := range []string{"Kivuma depot, times in Africa/Nairobi", "Store 2: gate on door, beside C; also watched clerk's office (office)", "stack C: 3 lines",
			"23 channels, 3 instruments", "1 door contact, 1 water sensor", "pump house: lines of text on /dev/serial/by-id/usb-rs232-pump-house, 9600 baud",
			"pump pump 1: draws 6 channels at 1.2 L/min, off below 0.6 L/min, returns to the open air", "SMS by the modem on /dev/serial/by-id/usb-modem-if00 to Ruta Amadi (from low)",
			"webhook duty room to https://duty.kivuma.example/undersheet (from low)", "logbook forwarded to archive: /var/lib/undersheet/depot.lp", "rack 1: Modbus RTU on /dev/serial/by-id/usb-rs485-rack-1, 9600 baud, 2 units", "3 topics",
			"0.1 ppm: EH40/2005, in the SER table of national limits, since 2007-10-01 (from a secondary source)", "mail by mail.kivuma.example:587 to Ruta Amadi (from low)"} {
			require.Contains(t, out, want)
		}
		require.NotContains(t, out, "warning")
	}
}

// TestCheckNotReady: a file without a fault, whose secrets are not here, is told apart from
// one that "serve" starts with.
func TestCheckNotReady(t *testing.T) {
	dir := t.TempDir()
	secret := filepath.Join(dir, "secret")
	path := filepath.Join(dir, "site.yaml")
	text := strings.ReplaceAll(string(configs.Example()), "/etc/undersheet/", dir+"/")
	text = regexp.MustCompile(`(?m)^logbook: \S+`).ReplaceAllString(text, "logbook: books/depot.db")
	text = regexp.MustCompile(`(?m)^ +ca: .*\n`).ReplaceAllString(text, "")
	text = strings.ReplaceAll(text, dir+"/hook-secret", secret)
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	out, _, err := runCheck(t, path)
	require.NoError(t, err)
	require.Contains(t, out, "would not start:\n")
	for _, want := range []string{`instrument "broker": mqtt.user_env: the environment variable "UNDERSHEET_MQTT_USER" is empty`, `instrument "broker": mqtt.password_env: `, "mail.password_file: read secret: open " + dir,
		"sms.pin_file: ", "webhooks[0].secret_file: ", "beacon.user_env: ", "beacon: beacon.password_env: ", `logbook: there is no folder "` + dir + `/books"`} {
		require.Contains(t, out, want, "all of it at once")
	}

	require.NoError(t, os.Mkdir(filepath.Join(dir, "books"), 0o700))
	t.Setenv("UNDERSHEET_MQTT_USER", "depot")
	t.Setenv("UNDERSHEET_MQTT_PASSWORD", "invented")
	for name, text := range map[string]string{"secret": strings.Repeat("ab", 32), "mail-password": "invented", "sim-pin": "1234"} {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600))
	}
	out, _, err = runCheck(t, path)
	require.NoError(t, err)
	require.NotContains(t, out, "not ready")
	kept, err := os.ReadDir(filepath.Join(dir, "books"))
	require.NoError(t, err)
	require.Empty(t, kept, "nothing is left there")

	for logbook, want := range map[string]string{"logbook: " + dir + "/books": "logbook: it cannot be written by this user: ", // a folder
		"logbook: /proc/depot.db": "logbook: ", "": `logbook: is missing: add the line "logbook: depot.db"`} {
		require.NoError(t, os.WriteFile(path, []byte(regexp.MustCompile(`(?m)^logbook: \S+`).ReplaceAllString(text, logbook)), 0o600))
		out, _, err = runCheck(t, path)
		require.NoError(t, err)
		require.Contains(t, out, "not ready: on this machine, as this user, \"undersheet serve\" would not start:\n"+want)
	}
}

// TestCheckFaults: faults go to standard error with place and count, warnings
// beside them, and the status is not 0.
func TestCheckFaults(t *testing.T) {
	path := filepath.Join(t.TempDir(), "site.yaml")
	text := strings.Replace(string(configs.Example()), "limits: GB", "limit: GB", 1)
	text = strings.Replace(text, "{name: low, channel: a-low,", "{name: low, channel: a-lo,", 1)
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	out, errs, err := runCheck(t, path)
	require.ErrorIs(t, err, errReported)
	require.Empty(t, out)
	require.Contains(t, errs, path+":14:1: limit: unknown key; known here: ")
	require.Contains(t, errs, `stores[0].stacks[0].lines[2].channel: there is no channel of this name under channels; did you mean "a-low"? (got "a-lo")`)
	require.Contains(t, errs, "warning: "+path+":1:1: limits: no country of the occupational limits is set")
	require.True(t, strings.HasSuffix(errs, path+": 2 faults: mend the file and check again\n"), errs)
}

// TestCheckArguments: no file, two files, a file that is not there.
func TestCheckArguments(t *testing.T) {
	for _, args := range [][]string{{}, {"a", "--site", "b"}} {
		_, _, err := runCheck(t, args...)
		require.ErrorContains(t, err, "name one site file")
	}
	_, _, err := runCheck(t, filepath.Join(t.TempDir(), "none.yaml"))
	require.ErrorIs(t, err, os.ErrNotExist)
}

// TestCheckLimits: what holds, what held and what is to come are told apart by
// the site's own day.
func TestCheckLimits(t *testing.T) {
	text := strings.Replace(string(configs.Example()), "limits: GB", "limits: AU", 1)
	text = strings.Replace(text, "Africa/Nairobi", "Australia/Brisbane", 1)
	s, _, err := configs.Parse("s.yaml", []byte(text))
	require.NoError(t, err)
	brisbane, err := time.LoadLocation("Australia/Brisbane")
	require.NoError(t, err)
	for at, want := range map[time.Time][2]string{
		time.Date(2026, 11, 30, 23, 59, 0, 0, brisbane): {"0.3 ppm: ", "0.05 ppm from 2026-12-01, to come: "},
		time.Date(2026, 12, 1, 0, 0, 0, 0, brisbane):    {"0.3 ppm, over: ", "0.05 ppm from 2026-12-01: "},
	} {
		var b bytes.Buffer
		tellLimits(&b, s, at)
		require.Contains(t, b.String(), want[0])
		require.Contains(t, b.String(), want[1])
	}
}

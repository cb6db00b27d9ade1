package main

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/alert"
	"undersheet/configs"
	"undersheet/logbook"
	"undersheet/logbook/sqlite"
	"undersheet/web"
)

// TestMachineryTells: what waits, by messenger, how large the logbook is and what
// is left for it; messages of a messenger that the site no longer has count for
// none of the others.
func TestMachineryTells(t *testing.T) {
	path := filepath.Join(t.TempDir(), "site.yaml")
	require.NoError(t, os.WriteFile(path, []byte(notifySite+"mail: {host: 127.0.0.1, port: 2525, from: depot@gorse.example, tls: none}\nbeacon: {broker: \"tcp://127.0.0.1:1883\"}\npeople: [{name: Ana Brook, email: ana@gorse.example}]\n"), 0o600))
	site, _, err := configs.Load(path)
	require.NoError(t, err)
	settle(site, path)
	d, err := newDaemon(site, daemonOptions{Clock: wallClock{}, Listen: "127.0.0.1:0"})
	require.NoError(t, err)
	defer func() { require.NoError(t, d.close()) }()
	ctx := context.Background()
	e := &logbook.Clock{}
	e.Kind, e.Time = logbook.KindClock, logbook.At(time.Now())
	_, err = d.store.Append(ctx, []logbook.Entry{e})
	require.NoError(t, err)
	body, err := json.Marshal(alert.Letter{ID: "1", Written: logbook.At(time.Now().Add(-time.Hour))})
	require.NoError(t, err)
	require.NoError(t, d.store.AppendRecords(ctx, 1, nil, []sqlite.Outgoing{
		{Key: "a", Messenger: alert.ByMail, To: "Ana Brook", Body: body}, {Key: "b", Messenger: alert.ByMail, To: "Ana Brook", Body: []byte("{")}, {Key: "c", Messenger: alert.BySMS, To: "Ana Brook", Body: body}}))
	for range 2 {
		_, err = d.store.Begin(ctx, "a")
		require.NoError(t, err)
		require.NoError(t, d.store.Finish(ctx, "a", sqlite.Result{Outcome: sqlite.Retry, RetryAt: time.Now().Add(time.Hour)}, nil))
	}
	m := d.machinery()
	ms, err := m.Messengers()
	require.NoError(t, err)
	require.Len(t, ms, 1)
	require.InDelta(t, time.Hour.Seconds(), ms[0].Oldest.Seconds(), 60)
	ms[0].Oldest = 0
	require.Equal(t, web.Messenger{Name: "mail", Pending: 2, Attempts: 2}, ms[0])
	seq, err := m.Head()
	require.NoError(t, err)
	require.Positive(t, seq)
	disk, err := m.Disk()
	require.NoError(t, err)
	require.Greater(t, disk.Size, uint64(4096))
	require.Positive(t, disk.Free)
	beacon, err := m.Beacon()
	require.NoError(t, err)
	require.Equal(t, web.Beacon{}, beacon, "it does not run yet")
	require.Nil(t, m.Modem, "the site has none")
}

package sqlite

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

const childEnv = "UNDERSHEET_TEST_APPENDS_TO"

func TestMain(m *testing.M) {
	if path := os.Getenv(childEnv); path != "" {
		fmt.Fprintln(os.Stderr, appendForEver(path))
		os.Exit(1)
	}
	os.Exit(m.Run())
}

// appendForEver appends from four goroutines and prints what was acknowledged:
// channel, number and seq. Acts get their record, too.
func appendForEver(path string) error {
	s, err := Open(path, Options{})
	if err != nil {
		return err
	}
	h, err := s.Head(context.Background())
	if err != nil {
		return err
	}
	var mu sync.Mutex
	failed := make(chan error)
	for w := range 4 {
		go func() {
			for i := int(h.Seq); ; i++ {
				if err := appendOne(s, &mu, fmt.Sprint("w", w), i); err != nil {
					failed <- err
					return
				}
			}
		}()
	}
	return <-failed
}

func appendOne(s *Store, mu *sync.Mutex, channel string, i int) error {
	ctx := context.Background()
	got, err := s.Append(ctx, []logbook.Entry{reading(channel, i, float64(i)), dosing(fmt.Sprint(channel, "-", i), "B", i)})
	if err != nil {
		return err
	}
	mu.Lock()
	defer mu.Unlock()
	if _, err := fmt.Println(channel, i, got[0].Seq); err != nil {
		return err
	}
	judged, err := s.Judged(ctx)
	if err != nil || judged >= got[1].Seq {
		return err
	}
	key := fmt.Sprint("m", got[1].Seq)
	return s.AppendRecords(ctx, got[1].Seq, []logbook.Recorded{accepted(got[1].Seq)}, []Outgoing{mail(key, 0)})
}

// Nothing that was acknowledged is lost when the process is killed, at whatever
// moment, and what is left is whole. Power loss is not tried here.
func TestKilledWriterLosesNothing(t *testing.T) {
	path := filepath.Join(t.TempDir(), "site.db")
	rng := rand.New(rand.NewPCG(1, 2))
	rounds, acked := 8, map[string]uint64{}
	if testing.Short() {
		rounds = 3
	}
	for range rounds {
		killed(t, path, 1+rng.IntN(60), acked)
		s, err := Open(path, Options{})
		require.NoError(t, err)
		got := all(t, s)
		for what, seq := range acked {
			r, ok := got[seq-1].(*logbook.Reading)
			require.True(t, ok && what == fmt.Sprint(r.Channel, " ", r.Value), "%s was acknowledged as seq %d", what, seq)
		}
		_, err = s.Verify(t.Context(), "", nil)
		require.NoError(t, err)
		judgedOnce(t, s, got)
		require.NoError(t, s.Close())
	}
	require.NotEmpty(t, acked)
}

// judgedOnce checks that cursor, records and outbox agree.
func judgedOnce(t *testing.T, s *Store, got []logbook.Entry) {
	t.Helper()
	judged, err := s.Judged(t.Context())
	require.NoError(t, err)
	var of, records uint64
	for _, e := range got {
		if a, ok := e.(*logbook.Accepted); ok {
			require.Greater(t, a.Of, of)
			of = a.Of
			records++
		}
	}
	require.Equal(t, of, judged)
	due, err := s.Due(t.Context(), noon, 1<<30)
	require.NoError(t, err)
	require.Len(t, due, int(records))
}

// killed runs a child that appends until it has acknowledged n times, kills it,
// and adds all that it acknowledged to acked.
func killed(t *testing.T, path string, n int, acked map[string]uint64) {
	t.Helper()
	child := exec.Command(os.Args[0])
	child.Env = append(os.Environ(), childEnv+"="+path)
	child.Stderr = os.Stderr
	out, err := child.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, child.Start())
	stop := time.AfterFunc(30*time.Second, func() { child.Process.Kill() })
	defer stop.Stop()
	lines := bufio.NewScanner(io.LimitReader(out, 1<<20))
	for i := 0; lines.Scan(); i++ {
		var channel, value string
		var seq uint64
		if _, err := fmt.Sscan(lines.Text(), &channel, &value, &seq); err == nil {
			acked[channel+" "+value] = seq
		}
		if i == n {
			require.NoError(t, child.Process.Kill())
		}
	}
	require.Error(t, child.Wait())
}

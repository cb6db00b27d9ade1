package door

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

func reading(i int) *logbook.Reading {
	return &logbook.Reading{Header: logbook.Header{Kind: logbook.KindReading, Time: 1772359200000000 + logbook.Time(i)},
		Channel: "b-north-top", Value: float64(i), Unit: logbook.PPM}
}

// keeper answers every entry with the next seq and refuses what is called "no".
type keeper struct {
	mu  sync.Mutex
	got []logbook.Entry
}

func (k *keeper) handle(_ context.Context, entries []logbook.Entry) ([]Answer, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	var answers []Answer
	for _, e := range entries {
		if r, ok := e.(*logbook.Reading); ok && r.Channel == "no" {
			return nil, errors.New("the disk is full")
		}
		k.got = append(k.got, e)
		answers = append(answers, Answer{Seq: uint64(len(k.got)), Verdict: logbook.KindAccepted})
	}
	return answers, nil
}

// open serves handle at a socket and returns its path.
func open(t *testing.T, handle Handle) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "site.db.sock")
	l, err := Listen(path)
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan error)
	go func() { served <- Serve(ctx, l, handle) }()
	t.Cleanup(func() {
		cancel()
		require.NoError(t, <-served)
		require.NoFileExists(t, path)
	})
	return path
}

func dial(t *testing.T, path string) *Client {
	t.Helper()
	c, err := Dial(t.Context(), path)
	require.NoError(t, err)
	t.Cleanup(func() { c.Close() })
	return c
}

func TestSend(t *testing.T) {
	k := &keeper{}
	path := open(t, k.handle)
	info, err := os.Stat(path)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o660), info.Mode().Perm())
	c := dial(t, path)
	in := reading(1)
	in.Seq, in.Received = 99, 99
	got, err := c.Send(t.Context(), []logbook.Entry{in, reading(2)})
	require.NoError(t, err)
	require.Equal(t, []Answer{{Seq: 1, Verdict: logbook.KindAccepted}, {Seq: 2, Verdict: logbook.KindAccepted}}, got)
	require.Equal(t, []logbook.Entry{reading(1), reading(2)}, k.got, "seq and received are the logbook's to give")
	var many []logbook.Entry
	for i := range MaxEntries {
		many = append(many, reading(10+i))
	}
	got, err = c.Send(t.Context(), many)
	require.NoError(t, err)
	require.Len(t, got, MaxEntries)
	_, err = c.Send(t.Context(), append(many, reading(0)))
	require.Error(t, err)
	none, err := c.Send(t.Context(), nil)
	require.NoError(t, err)
	require.Empty(t, none)
}

func TestNothingIsKeptOfARefusedRequest(t *testing.T) {
	k := &keeper{}
	c := dial(t, open(t, k.handle))
	no := reading(1)
	no.Channel = "no"
	record := &logbook.Accepted{Header: logbook.Header{Kind: logbook.KindAccepted, Time: 1}, Entry: logbook.KindEntryConfirmed}
	site := &logbook.SiteConfigured{Header: logbook.Header{Kind: logbook.KindSiteConfigured, Time: 1}, Site: logbook.Site{Name: "x"}}
	for want, e := range map[string]logbook.Entry{"the disk is full": no, "line 2: only the program itself writes \"accepted\"": record,
		"line 2: only the program itself writes \"site-configured\"": site} {
		_, err := c.Send(t.Context(), []logbook.Entry{reading(1), e})
		var refused *RefusedError
		require.ErrorAs(t, err, &refused)
		require.Contains(t, refused.Why, want)
	}
	require.Len(t, k.got, 1, "only what the keeper itself took before it failed")
	_, err := c.Send(t.Context(), []logbook.Entry{reading(5)})
	require.NoError(t, err, "the connection goes on")
}

// say sends text as it is and returns all that comes back.
func say(t *testing.T, path, text string) string {
	t.Helper()
	conn, err := net.Dial("unix", path)
	require.NoError(t, err)
	defer conn.Close()
	go func() {
		conn.Write([]byte(text))
		conn.(*net.UnixConn).CloseWrite()
	}()
	conn.SetDeadline(time.Now().Add(20 * time.Second))
	var b strings.Builder
	_, err = bufio.NewReader(conn).WriteTo(&b)
	require.NoError(t, err)
	return b.String()
}

func TestRawRequests(t *testing.T) {
	k := &keeper{}
	path := open(t, k.handle)
	good, err := logbook.Encode(reading(1))
	require.NoError(t, err)
	for _, c := range []struct{ name, send, want string }{
		{"good", string(good) + "\n\n", `{"seq":1,"verdict":"accepted"}` + "\n\n"},
		{"two requests", string(good) + "\n\n" + string(good) + "\n\n", "{\"seq\":2,\"verdict\":\"accepted\"}\n\n{\"seq\":3,\"verdict\":\"accepted\"}\n\n"},
		{"cut line", string(good[:20]) + "\n\n", `line 1: the JSON object is cut short`},
		{"unknown field", `{"time":"2026-03-01T10:00:00Z","kind":"clock","colour":"red"}` + "\n\n", `unknown field`},
		{"gone before the empty line", string(good) + "\n", ""},
		{"nothing", "", ""},
		{"too large", strings.Repeat("x", MaxRequest+2) + "\n\n", "larger than 8388608 bytes"},
		{"too many", strings.Repeat(string(good)+"\n", MaxEntries+1) + "\n", "1001 entries is larger than 1000"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := say(t, path, c.send)
			if c.want == "" {
				require.Empty(t, got)
			}
			require.Contains(t, got, c.want)
		})
	}
	require.Len(t, k.got, 3)
}

func TestServeEndsWithIdleClients(t *testing.T) {
	path := filepath.Join(t.TempDir(), "s.sock")
	l, err := Listen(path)
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan error)
	inside, goOn := make(chan struct{}), make(chan struct{})
	go func() {
		served <- Serve(ctx, l, func(ctx context.Context, e []logbook.Entry) ([]Answer, error) {
			close(inside)
			<-goOn
			return []Answer{{Seq: 7}}, ctx.Err()
		})
	}()
	dial(t, path) // idle
	c := dial(t, path)
	answered := make(chan error)
	go func() {
		got, err := c.Send(context.Background(), []logbook.Entry{reading(1)})
		if err == nil && got[0].Seq != 7 {
			err = fmt.Errorf("got %v", got)
		}
		answered <- err
	}()
	<-inside
	cancel()
	close(goOn)
	require.NoError(t, <-answered, "a request that came whole is finished")
	require.NoError(t, <-served)
}

func TestSendIsCutByItsContext(t *testing.T) {
	block := make(chan struct{})
	path := open(t, func(context.Context, []logbook.Entry) ([]Answer, error) { <-block; return nil, errors.New("late") })
	defer close(block)
	ctx, cancel := context.WithCancel(t.Context())
	c := dial(t, path)
	time.AfterFunc(10*time.Millisecond, cancel)
	_, err := c.Send(ctx, []logbook.Entry{reading(1)})
	require.ErrorIs(t, err, context.Canceled)
	require.ErrorContains(t, err, "do the same again")
}

func TestListen(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "s.sock")
	stale, err := net.ListenUnix("unix", &net.UnixAddr{Name: path, Net: "unix"})
	require.NoError(t, err)
	stale.SetUnlinkOnClose(false)
	stale.Close() // as after a kill
	l, err := Listen(path)
	require.NoError(t, err, "takes the place of a socket that was left")
	require.NoError(t, l.Close())
	require.NoError(t, os.WriteFile(path, []byte("notes"), 0o600))
	_, err = Listen(path)
	require.ErrorContains(t, err, "no socket")
	_, err = Listen(filepath.Join(dir, strings.Repeat("long", 30)))
	require.ErrorContains(t, err, "shorter path")
	_, err = Dial(t.Context(), filepath.Join(dir, "none.sock"))
	require.ErrorIs(t, err, os.ErrNotExist)
}

// Whatever is sent, the door answers whole lines and the keeper gets only
// entries that may come in.
func FuzzRequest(f *testing.F) {
	f.Add(`{"time":"2026-03-01T10:00:00Z","kind":"clock"}` + "\n\n")
	f.Add(`{"time":"2026-03-01T10:00:00Z","kind":"accepted","entry":"entry-confirmed"}` + "\n\n")
	f.Add("\n\n\n{")
	f.Fuzz(func(t *testing.T, text string) {
		r := bufio.NewReader(strings.NewReader(text))
		for {
			lines, err := readBlock(r)
			if err != nil {
				require.Nil(t, lines)
				return
			}
			k := &keeper{}
			answers, err := respond(t.Context(), lines, k.handle)
			if err != nil {
				require.Nil(t, answers)
			} else {
				require.Len(t, answers, len(lines))
			}
			for _, e := range k.got {
				require.NoError(t, Check(e))
				require.Zero(t, e.Head().Seq)
			}
		}
	})
}

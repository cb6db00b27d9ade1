package frames_test

import (
	"context"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/sensor"
)

// sink keeps what it is given.
type sink struct {
	mu      sync.Mutex
	rs      []sensor.Reading
	states  []sensor.Status
	refused []sensor.Refused
	fail    error
}

func (s *sink) Readings(_ context.Context, rs []sensor.Reading) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.rs = append(s.rs, rs...)
	return s.fail
}

func (s *sink) Status(_ context.Context, st sensor.Status) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.states = append(s.states, st)
	return nil
}

func (s *sink) Refused(_ context.Context, r sensor.Refused) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.refused = append(s.refused, r)
	return nil
}

// values are the values read so far; faults count as -1.
func (s *sink) values() []float64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	var vs []float64
	for _, r := range s.rs {
		if r.Fault != "" {
			r.Value = -1
		}
		vs = append(vs, r.Value)
	}
	return vs
}

// whys are the reasons of the refusals so far.
func (s *sink) whys() []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	var all []string
	for _, r := range s.refused {
		all = append(all, r.Why)
	}
	return all
}

// said are the states told so far: "ok", or what is wrong.
func (s *sink) said() []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	var all []string
	for _, st := range s.states {
		if st.OK {
			st.Detail = "ok"
		}
		all = append(all, st.Detail)
	}
	return all
}

// soon waits until is holds.
func soon(t *testing.T, is func() bool) {
	t.Helper()
	require.Eventually(t, is, 10*time.Second, 5*time.Millisecond)
}

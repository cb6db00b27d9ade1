// Package porttest gives tests serial devices that can be unplugged: pairs of
// joined pseudo-terminals that socat holds in a process of its own.
//
//	pair := porttest.NewPair(t)       // what is written to pair.A comes out of pair.B
//	pair.Unplug()                     // both devices disappear
//	pair.Plug()                       // and are back under their old names
//
// It is for tests only; without socat they end as package peer says.
package porttest

import (
	"bufio"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"undersheet/peer"
)

// Pair is two joined serial devices. Make one with NewPair.
type Pair struct {
	A, B string // paths of the devices

	t   testing.TB
	cmd *exec.Cmd // nil while unplugged
}

// NewPair returns a plugged pair; it is unplugged when the test ends.
func NewPair(t testing.TB) *Pair {
	t.Helper()
	peer.Need(t, "socat", "socat")
	dir := t.TempDir()
	p := &Pair{A: filepath.Join(dir, "a"), B: filepath.Join(dir, "b"), t: t}
	p.Plug()
	t.Cleanup(p.Unplug)
	return p
}

// Plug makes the devices appear and returns when they can be opened.
func (p *Pair) Plug() {
	p.t.Helper()
	if p.cmd != nil {
		return
	}
	cmd := exec.Command("socat", "-d", "-d", "pty,raw,echo=0,link="+p.A, "pty,raw,echo=0,link="+p.B)
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	out, err := cmd.StderrPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		p.t.Fatalf("start socat: %v", err)
	}
	p.cmd = cmd
	said := bufio.NewScanner(out)
	for said.Scan() {
		if strings.Contains(said.Text(), "starting data transfer loop") {
			return
		}
	}
	p.t.Fatalf("socat ended before its devices were ready: %v", said.Err())
}

// Unplug makes the devices disappear, as an adapter pulled from its socket does.
func (p *Pair) Unplug() {
	if p.cmd == nil {
		return
	}
	_ = p.cmd.Process.Signal(syscall.SIGTERM)
	_ = p.cmd.Wait()
	p.cmd = nil
}

// Package peer finds programs of other authors, against which tests hold ours.
//
//	broker := peer.Need(t, "mosquitto", "mosquitto")
//
// It is for tests only. Where a program is missing the test is skipped, and says
// which one; with CI=true in the environment it fails instead.
package peer

import (
	"os"
	"os/exec"
	"testing"
)

// Need returns the path of program, or ends the test. pkg is the Debian package that
// holds it. Programs for root are found, too, as Debian keeps them from other users.
func Need(t testing.TB, program, pkg string) string {
	t.Helper()
	for _, name := range []string{program, "/usr/sbin/" + program} {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	Missing(t, program, pkg)
	return ""
}

// Missing ends the test because what is not there: with a skip, or under CI=true with
// a failure. pkg is the Debian package that holds it.
func Missing(t testing.TB, what, pkg string) {
	t.Helper()
	if os.Getenv("CI") == "true" {
		t.Fatalf("needs %s (Debian package %s)", what, pkg)
	}
	t.Skipf("needs %s (Debian package %s)", what, pkg)
}

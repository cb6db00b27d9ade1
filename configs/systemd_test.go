package configs

import (
	"os/exec"
	"strings"
	"testing"

	"undersheet/peer"

	"github.com/stretchr/testify/require"
)

// mostExposed is the highest exposure that systemd-analyze security may give the
// service, in tenths; its own words call up to 1.9 "OK" (systemd 252).
const mostExposed = "19"

// TestServiceIsAsSystemdWantsIt: systemd itself reads the unit and finds nothing
// to remark, and rates it as well shut in.
func TestServiceIsAsSystemdWantsIt(t *testing.T) {
	analyze := peer.Need(t, "systemd-analyze", "systemd")
	unit := written(t, t.TempDir(), "undersheet.service", shippedText(t, "systemd/undersheet.service", "/usr/local/bin/undersheet serve", "/bin/true serve"))
	out, err := exec.Command(analyze, "verify", unit).CombinedOutput()
	require.NoError(t, err, string(out))
	require.Empty(t, string(out))
	out, err = exec.Command(analyze, "security", "--offline=true", "--threshold="+mostExposed, unit).CombinedOutput()
	require.NoError(t, err, string(out))
	out, err = exec.Command(analyze, "verify", written(t, t.TempDir(), "undersheet.service", strings.ReplaceAll(string(must(t, unit)), "WatchdogSec", "WatchdgSec"))).CombinedOutput()
	require.Contains(t, string(out), "WatchdgSec", "a mistyped key is remarked: %v", err)
}

// TestServiceKeepsSerialLines: the unit must not take away what the daemon needs.
func TestServiceKeepsSerialLines(t *testing.T) {
	unit := shippedText(t, "systemd/undersheet.service")
	for _, needed := range []string{"Type=notify", "WatchdogSec=", "Restart=always", "SupplementaryGroups=dialout", "DeviceAllow=char-ttyUSB rw", "DeviceAllow=char-ttyACM rw",
		"StateDirectory=undersheet", "UMask=0007", "\nUser=undersheet"} {
		require.Contains(t, unit, needed)
	}
	for _, taken := range []string{"\nPrivateDevices=yes", "\nPrivateUsers=yes", "\nDynamicUser=yes", "\nPrivateNetwork=yes"} {
		require.NotContains(t, unit, taken)
	}
}

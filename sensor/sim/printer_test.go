package sim

import (
	"bufio"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// TestPrinter: what the depot holds stands on the line as text.
func TestPrinter(t *testing.T) {
	d := NewDepot(time.Unix(0, 0), 1)
	d.Set("flow", 1.2)
	d.Advance(time.Unix(60, 0))
	p := &Printer{Depot: d, Values: []Printed{{"FLOW", "flow", "LPM"}}}
	device, err := p.Open()
	require.NoError(t, err)
	defer p.Close()
	f, err := os.OpenFile(device, os.O_RDWR, 0)
	require.NoError(t, err)
	defer f.Close()
	require.NoError(t, p.Print())
	line, err := bufio.NewReader(f).ReadString('\n')
	require.NoError(t, err)
	require.Equal(t, "FLOW 1.20 LPM OK\n", line)
	p.Values = append(p.Values, Printed{"GONE", "none", "LPM"})
	require.Error(t, p.Print(), "a channel that is not there")
}

// TestLineOff: a line that came off reads store air, and gas again when it is back.
func TestLineOff(t *testing.T) {
	d := NewDepot(time.Unix(0, 0), 1)
	d.AddStore("S", Store{})
	d.AddSheet("A", Sheet{Store: "S", Yield: 1000, Release: 2, Lines: map[string]float64{"top": 1, "low": 1}})
	d.Dose("A")
	read := func(hours int) (top, low float64) {
		d.Advance(time.Unix(int64(hours)*3600, 0))
		top, err := d.Read("top")
		require.NoError(t, err)
		low, err = d.Read("low")
		require.NoError(t, err)
		return top, low
	}
	d.Pull("A", "low")
	top, low := read(24)
	require.Greater(t, top, 500.0)
	require.Less(t, low, 10.0)
	d.Refit("A")
	_, low = read(25)
	require.Greater(t, low, 500.0)
}

// TestDeepGas: what sat deep in the kernels comes out for days after the sheet was
// lifted, and stands in the air while the doors are closed.
func TestDeepGas(t *testing.T) {
	d := NewDepot(time.Unix(0, 0), 1)
	d.AddStore("S", Store{Air: []Air{{Channel: "air", Share: 1}}})
	d.AddSheet("A", Sheet{Store: "S", Deep: 500})
	d.OpenDoors("S", true)
	d.Lift("A")
	read := func(hours int) float64 {
		d.Advance(time.Unix(int64(hours)*3600, 0))
		v, err := d.Read("air")
		require.NoError(t, err)
		return v
	}
	open := read(12)
	d.OpenDoors("S", false)
	require.Greater(t, read(18), 3*open)
}

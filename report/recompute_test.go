package report

import (
	"bytes"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/peer"
)

// troubled is a treatment of which much was read badly: a line that falls silent, one that is read
// in mg/m³ and brings half a day late, second values, values under zero, faults, phosphine
// added on the way, and a door that shows gas.
func troubled() *story {
	s := &story{}
	s.under(0, "A", "A-1", "five-day")
	s.add(40, logbook.KindDoseAdded, &logbook.DoseAdded{OnStack: logbook.OnStack{Stack: "A"}, PhosphineG: 60, Act: by("R. Amadi")})
	var late []logbook.Entry
	for i := -4; i <= 131*6; i++ {
		h := float64(i) / 6
		c := 0.0
		if h > 0 {
			c = 700 * math.Exp(-0.2*h/24) * (1 - math.Exp(-1.3*h/24)) * (1 + 0.006*math.Sin(float64(i*i)))
		}
		if h > 40 {
			c += 180 * math.Exp(-0.2*(h-40)/24) * (1 - math.Exp(-1.3*(h-40)/24))
		}
		if h > 125 {
			c *= math.Exp(-3 * (h - 125))
		}
		if h < 70 || h > 76.2 {
			s.read(h, "a1", math.Round(c))
		}
		if i%41 == 0 && i > 0 {
			s.read(h, "a1", math.Round(c)+300)                                                                                   // a second value
			s.read(h+0.01, "a1", -9)                                                                                             // under zero
			s.add(h+0.02, logbook.KindReading, &logbook.Reading{Channel: "a1", Value: 999, Unit: logbook.PPM, Fault: "no flow"}) // not vouched for
		}
		mass := &logbook.Reading{Channel: "a2", Value: math.Round(0.85 * c * 1.39), Unit: logbook.MgM3}
		if s.add(h+0.03, logbook.KindReading, mass); h > 85 && h < 97 {
			late, s.es = append(late, mass), s.es[:len(s.es)-1]
		}
		door := 0.02 + 0.001*float64(i%5&3)
		if h > 10 && h < 13.3 {
			door += 0.25
		}
		s.read(h+0.05, "door", door)
		s.read(h+0.05, "in", 0.03+0.001*float64(i%7&3))
	}
	s.air(125.1, "A")
	s.ordered()
	for i, e := range s.es { // they come when the next day has begun
		if e.Head().Time > hour(99) {
			s.es = append(s.es[:i:i], append(late, s.es[i:]...)...)
			break
		}
	}
	return s
}

// The figures of a report against testdata/report/recompute.py, which reckons them from the raw
// entries by the published definitions that it names, and shares nothing with the program.
func TestFiguresAgainstARecomputation(t *testing.T) {
	const python = "/usr/bin/python3"
	if _, err := os.Stat(python); err != nil {
		peer.Missing(t, "python3", "python3")
	}
	s, dir := troubled(), t.TempDir()
	r := report(t, s, "A-1")
	var log, form, table bytes.Buffer
	first := &logbook.SiteConfigured{Header: logbook.Header{Time: s.es[0].Head().Time, Kind: logbook.KindSiteConfigured}, Site: *depot()}
	for _, e := range append([]logbook.Entry{first}, s.es...) {
		line, err := logbook.Encode(e)
		require.NoError(t, err)
		log.Write(append(line, '\n'))
	}
	require.NoError(t, r.WriteJSON(&form))
	require.NoError(t, r.WriteCSV(&table, "en"))
	script, err := os.ReadFile(filepath.Join("..", "testdata", "report", "recompute.py"))
	require.NoError(t, err)
	args := []string{"-"}
	for name, b := range map[string]*bytes.Buffer{"entries.jsonl": &log, "report.json": &form, "report.csv": &table} {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), b.Bytes(), 0o600))
	}
	for _, name := range []string{"entries.jsonl", "report.json", "report.csv"} {
		args = append(args, filepath.Join(dir, name))
	}
	cmd := exec.Command(python, args...)
	cmd.Stdin = bytes.NewReader(script)
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, "%s", out)
	require.Contains(t, string(out), " figures, 0 differ")
}

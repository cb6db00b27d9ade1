package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/alecthomas/kong"
	"github.com/stretchr/testify/require"

	"undersheet/rules/decay"
)

// fitRun runs "undersheet fit" with arguments as a user types them, on text as
// standard input.
func fitRun(t *testing.T, stdin string, args ...string) (out, notes string, err error) {
	t.Helper()
	var c fitCmd
	p, err := kong.New(&c, kong.Name("fit"))
	require.NoError(t, err)
	if _, err := p.Parse(args); err != nil {
		return "", "", err
	}
	var o, e bytes.Buffer
	err = c.Run(&console{in: strings.NewReader(stdin), out: &o, err: &e})
	return o.String(), e.String(), err
}

// fitJSON is the JSON that the contract fixes.
type fitJSON struct {
	Model      string
	Parameters map[string]struct{ Value, SE float64 }
	ResidualSD float64 `json:"residual_sd"`
	Forecast   struct {
		For any
		PPM struct{ P05, P50, P95 float64 }
	}
	Lines []struct {
		Line string
		PPM  struct{ P05, P50, P95 float64 }
	}
	Notes []string
}

func fitParse(t *testing.T, out string) fitJSON {
	t.Helper()
	var res fitJSON
	require.NoError(t, json.Unmarshal([]byte(out), &res), out)
	require.Equal(t, "release-loss", res.Model)
	return res
}

// fitPublished reads the published data and R's answers of the fit's own tests.
func fitPublished(t *testing.T, name string) [][]string {
	f, err := os.Open(filepath.Join("..", "..", "testdata", "decay", name))
	require.NoError(t, err)
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	return rows[1:]
}

// TestFitFlatAgainstR: the command against R 4.2.2's nls with SSfol on Theoph,
// all twelve subjects (6 digits are printed): Y = Dose·Ke/Cl, k = Ke, r = Ka.
func TestFitFlatAgainstR(t *testing.T) {
	data, want := fitPublished(t, "theoph.csv"), fitPublished(t, "theoph_nls.csv")
	require.Len(t, want, 12)
	for _, w := range want {
		var in strings.Builder
		in.WriteString("time,ppm\n")
		for _, d := range data {
			if d[0] == w[0] {
				fmt.Fprintf(&in, "%s,%s\n", d[3], d[4])
			}
		}
		out, _, err := fitRun(t, in.String(), "--json", "--flat", "--for", "24", "-")
		require.NoError(t, err)
		res := fitParse(t, out)
		num := func(i int) float64 {
			v, err := strconv.ParseFloat(w[i], 64)
			require.NoError(t, err)
			return v
		}
		loss, release := res.Parameters["loss_per_day"], res.Parameters["release_per_day"]
		require.InEpsilon(t, 24*math.Exp(num(3)), loss.Value, 2e-5)
		require.InEpsilon(t, num(4), loss.SE/loss.Value, 1e-4)
		require.InEpsilon(t, 24*math.Exp(num(5)), release.Value, 2e-5)
		require.InEpsilon(t, num(6), release.SE/release.Value, 1e-4)
		require.InEpsilon(t, num(2)*math.Exp(num(3)-num(7)), res.Parameters["yield_ppm"].Value, 2e-5)
		require.InEpsilon(t, num(9), res.ResidualSD, 1e-5)
		require.Equal(t, 24.0, res.Forecast.For)
		c := decay.Curve{YieldPPM: res.Parameters["yield_ppm"].Value, Release: release.Value, Loss: loss.Value}
		require.InEpsilon(t, c.At(1), res.Forecast.PPM.P50, 2e-5)
		require.Less(t, res.Forecast.PPM.P05, res.Forecast.PPM.P50)
		require.Less(t, res.Forecast.PPM.P50, res.Forecast.PPM.P95)
	}
}

// TestFitTwoPhaseAgainstR: the command against R 4.2.2's nls with SSbiexp on
// Indometh, all six subjects (6 digits are printed), rates per hour there.
func TestFitTwoPhaseAgainstR(t *testing.T) {
	data, want := fitPublished(t, "indometh.csv"), fitPublished(t, "indometh_nls.csv")
	require.Len(t, want, 6)
	for _, w := range want {
		var in strings.Builder
		in.WriteString("time,ppm\n")
		for _, d := range data {
			if d[0] == w[0] {
				fmt.Fprintf(&in, "%s,%s\n", d[1], d[2])
			}
		}
		args := []string{"--flat", "--curve", "two-phase", "--for", "24", "--end-level", "0.001", "-"}
		out, _, err := fitRun(t, in.String(), append(args, "--json")...)
		require.NoError(t, err)
		var res fitJSON
		require.NoError(t, json.Unmarshal([]byte(out), &res), out)
		require.Equal(t, "two-phase", res.Model)
		num := func(i int) float64 {
			v, err := strconv.ParseFloat(w[i], 64)
			require.NoError(t, err)
			return v
		}
		for i, name := range []string{"fast_ppm", "fast_per_day", "slow_ppm", "slow_per_day"} {
			value, se := num(1+2*i), num(2+2*i)
			if strings.HasSuffix(name, "per_day") {
				value = 24 * math.Exp(value)
				se *= value
			}
			require.InEpsilon(t, value, res.Parameters[name].Value, 1e-5, name)
			require.InEpsilon(t, se, res.Parameters[name].SE, 1e-5, name)
		}
		require.InEpsilon(t, num(9), res.ResidualSD, 1e-5)
		text, _, err := fitRun(t, in.String(), args...)
		require.NoError(t, err)
		for _, want := range []string{"Two phases of the fall by plain least squares, from 11 readings", "fast", "slow", "chance of 0.001 ppm"} {
			require.Contains(t, text, want)
		}
	}
}

// fitCurve writes readings of an exact curve (lines at 1, 0.9, … of it) from t =
// 3 h after dosing at 2026-03-01 08:00 UTC.
func fitCurve(clock bool, lines int, until int) (string, decay.Curve) {
	c := decay.Curve{YieldPPM: 1500, Release: 1.2, Loss: 0.2}
	var b strings.Builder
	b.WriteString("time,line,ppm\n")
	for h := 3; h <= until; h += 3 {
		at := strconv.Itoa(h)
		if clock {
			at = fmt.Sprintf("2026-03-%02dT%02d:00:00+02:00", 1+(10+h)/24, (10+h)%24)
		}
		for l := range lines {
			fmt.Fprintf(&b, "%s,line %d,%.4f\n", at, l+1, (1-0.1*float64(l))*c.At(float64(h-2)/24))
		}
	}
	return b.String(), c
}

// TestFitClockAndHours: the same readings in either form of time give the same
// fit, and the range holds the true end.
func TestFitClockAndHours(t *testing.T) {
	hours, c := fitCurve(false, 2, 72)
	clock, _ := fitCurve(true, 2, 72)
	a, _, err := fitRun(t, hours, "--json", "--for", "120", "--end-level", "150", "--phosphine-g", "520", "--gas-space-m3", "260", "--grain-temp-c", "25", "-")
	require.NoError(t, err)
	b, _, err := fitRun(t, clock, "--json", "--dosed", "2026-03-01T08:00:00Z", "--for", "2026-03-06T10:00:00+02:00", "--end-level", "150",
		"--phosphine-g", "520", "--gas-space-m3", "260", "--grain-temp-c", "25", "-")
	require.NoError(t, err)
	require.Equal(t, strings.ReplaceAll(a, `"for":120`, `"for":"2026-03-06T08:00:00Z"`), b)
	res := fitParse(t, a)
	require.Len(t, res.Lines, 2)
	truth := c.At(118. / 24)
	for i, l := range res.Lines {
		require.Equal(t, fmt.Sprintf("line %d", i+1), l.Line)
		require.Less(t, l.PPM.P05, truth*(1-0.1*float64(i)))
		require.Greater(t, l.PPM.P95, truth*(1-0.1*float64(i)))
	}
	require.InEpsilon(t, res.Lines[1].PPM.P50, res.Forecast.PPM.P50, 0.05, "the forecast is the lowest line's")
	require.Empty(t, res.Notes)
	mixed, _, err := fitRun(t, hours, "--json", "--dosed", "2026-03-01T08:00:00Z", "--for", "2026-03-06T08:00:00Z", "--end-level", "150",
		"--phosphine-g", "520", "--gas-space-m3", "260", "--grain-temp-c", "25", "-")
	require.NoError(t, err)
	require.Equal(t, b, mixed, "hours in the file, a time of day for --for")
}

func TestFitSpeaksToPeople(t *testing.T) {
	in, _ := fitCurve(false, 2, 60)
	out, _, err := fitRun(t, in, "--for", "120", "--end-level", "150", "-")
	require.NoError(t, err)
	for _, want := range []string{"40 readings", "2 lines", "half-life", "lowest line", "line 2", "chance of 150 ppm", "A forecast is no reading"} {
		require.Contains(t, out, want)
	}
	early, _ := fitCurve(false, 1, 18)
	out, _, err = fitRun(t, early, "--for", "120", "-")
	require.NoError(t, err)
	require.Contains(t, out, "end before the gas is at its highest")
	require.NotContains(t, out, "chance of")
	out, _, err = fitRun(t, in, "--for", "30", "-")
	require.NoError(t, err)
	require.Contains(t, out, "before the last reading")
}

// TestFitFile reads a spreadsheet's file: byte order mark, CRLF, comments,
// columns in another order, readings out of order and from before the dosing.
func TestFitFile(t *testing.T) {
	var b strings.Builder
	b.WriteString("\ufeffPPM,Time\r\n# taken by hand\r\n0,-2\r\n")
	c := decay.Curve{YieldPPM: 1500, Release: 1.2, Loss: 0.2}
	for _, h := range []float64{72, 6, 12, 24, 48, 96} {
		fmt.Fprintf(&b, "%.1f, %g\r\n", c.At(h/24), h)
	}
	path := filepath.Join(t.TempDir(), "readings.csv")
	require.NoError(t, os.WriteFile(path, []byte(b.String()), 0o600))
	for _, flat := range []string{"--flat=false", "--flat"} {
		out, notes, err := fitRun(t, "", "--json", flat, "--for", "120", path)
		require.NoError(t, err)
		require.Contains(t, notes, "1 reading from before the dosing left out")
		require.InEpsilon(t, c.At(5), fitParse(t, out).Forecast.PPM.P50, 0.15)
	}
}

func TestFitRefuses(t *testing.T) {
	const dosed = "--dosed=2026-03-01T08:00:00Z"
	rows := "time,ppm\n1,100\n5,400\n9,500\n"
	for name, c := range map[string]struct {
		in   string
		args []string
		want string
	}{
		"empty":            {"", nil, "the file is empty"},
		"only a header":    {"time,ppm\n", nil, "no readings"},
		"no header":        {"1,100\n2,200\n", nil, `standard input:1:1: column "1" is not known`},
		"wrong column":     {"time,line,conc\n1,a,2\n", nil, `standard input:1:11: column "conc" is not known`},
		"column twice":     {"time,ppm,ppm\n1,2,3\n", nil, "is there twice"},
		"no ppm":           {"time,line\n1,2\n", nil, `column "ppm" is missing`},
		"bad number":       {"time,ppm\n1,100\n5,4OO\n", nil, `standard input:3:3: ppm "4OO" is no number`},
		"NaN":              {"time,ppm\n1,NaN\n", nil, "is no number"},
		"impossible":       {"time,ppm\n1,1e9\n", nil, "is no concentration"},
		"bad time":         {"time,ppm\n2026-03-01 09:00,100\n", []string{dosed}, `standard input:2:1: time "2026-03-01 09:00" is neither`},
		"mixed times":      {"time,ppm\n1,100\n2026-03-01T10:00:00Z,5\n", []string{dosed}, "line 2 gives hours since dosing and line 3 a time of day"},
		"no dosed":         {"time,ppm\n2026-03-01T10:00:00Z,5\n2026-03-01T11:00:00Z,5\n", nil, "standard input:2:1: time \"2026-03-01T10:00:00Z\" is a time of day: say when the dosing was done"},
		"bad dosed":        {rows, []string{"--dosed=yesterday"}, "read --dosed"},
		"another year":     {"time,ppm\n2036-03-01T10:00:00Z,5\n", []string{dosed}, "more than 400 days"},
		"decimal comma":    {"time,ppm\n1,100,5\n", nil, "standard input:2:1: the line has another number of fields"},
		"open quote":       {"time,ppm\n1,\"5\n", nil, "mend the quotes"},
		"nameless line":    {"time,line,ppm\n1,,5\n", nil, "the line has no name"},
		"too few":          {"time,ppm\n1,100\n5,400\n", nil, "at least 3"},
		"too few flat":     {rows, []string{"--flat"}, "at least 4 readings"},
		"two-phase alone":  {rows, []string{"--curve=two-phase"}, "add --flat"},
		"too few to fall":  {rows, []string{"--flat", "--curve=two-phase"}, "at least 5 readings"},
		"no such curve":    {rows, []string{"--curve=cubic"}, "--curve"},
		"all before":       {"time,ppm\n-1,100\n-5,400\n", nil, "every reading lies before the dosing"},
		"for a past":       {rows, []string{"--for=-4"}, "is not after the dosing"},
		"for no time":      {rows, []string{"--for=soon"}, "read --for"},
		"for a clock time": {rows, []string{"--for=2026-03-06T08:00:00Z"}, "give hours"},
		"for ever":         {rows, []string{"--for=1e9"}, "400 days"},
		"NaN end level":    {rows, []string{"--end-level=NaN"}, "--end-level"},
		"odd temperature":  {rows, []string{"--grain-temp-c=400"}, "--grain-temp-c"},
		"no such file":     {"", []string{"--for=120", "/nonexistent/readings.csv"}, "open readings"},
	} {
		t.Run(name, func(t *testing.T) {
			args := append([]string{"--json"}, c.args...)
			if !strings.Contains(strings.Join(c.args, " "), "--for") {
				args = append(args, "--for=120")
			}
			if !strings.Contains(strings.Join(c.args, " "), ".csv") {
				args = append(args, "-")
			}
			out, _, err := fitRun(t, c.in, args...)
			require.ErrorContains(t, err, c.want)
			require.Empty(t, out)
		})
	}
	_, err := readFitReadings("x", strings.NewReader("time,ppm\n"+strings.Repeat("a,b\n", 100)), "")
	require.Error(t, err)
	require.LessOrEqual(t, strings.Count(err.Error(), "\n"), 2*maxFitFaults, "a file of faults does not flood the screen")
	_, _, err = fitRun(t, rows, "-")
	require.ErrorContains(t, err, "--for")
}

// FuzzFitReadings: a file is read whole or not at all, and what was read is in
// order and finite.
func FuzzFitReadings(f *testing.F) {
	for _, s := range []string{"time,ppm\n1,2\n", "time,line,ppm\n2026-03-01T10:00:00Z,a,5\n", "\ufefftime,ppm\r\n-1,5\r\n", "ppm,time\n1,\"2\n", ""} {
		f.Add(s, "2026-03-01T08:00:00Z")
	}
	f.Fuzz(func(t *testing.T, in, dosed string) {
		rs, err := readFitReadings("f", strings.NewReader(in), dosed)
		if err != nil {
			require.Zero(t, rs)
			return
		}
		require.NotEmpty(t, rs.rows)
		for i, r := range rs.rows {
			require.False(t, math.IsNaN(r.hours) || math.IsInf(r.hours, 0) || math.IsNaN(r.ppm) || math.IsInf(r.ppm, 0))
			require.True(t, r.line >= 0 && r.line < len(rs.lines))
			require.True(t, i == 0 || rs.rows[i-1].hours <= r.hours)
		}
	})
}

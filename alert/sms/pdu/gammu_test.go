package pdu_test

import (
	"bytes"
	"encoding/json"
	"math/rand/v2"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/alert/sms/pdu"
	"undersheet/peer"
)

const python = "/usr/bin/python3" // Debian's own, which finds Debian's packages

// job is one message for encode.py.
type job struct {
	Text     string `json:"text"`
	Number   string `json:"number"`
	Unicode  bool   `json:"unicode"`
	Validity string `json:"validity"`
	Centre   string `json:"centre"`
}

// theirs is one part as encode.py writes it.
type theirs struct {
	PDU       string `json:"pdu"`
	Reference byte   `json:"reference"`
}

// byGammu lets gammu write every job, in one process.
func byGammu(t *testing.T, jobs []job) [][]theirs {
	t.Helper()
	if exec.Command(python, "-c", "import gammu").Run() != nil {
		peer.Missing(t, "gammu for Python", "python3-gammu")
	}
	var in, problems bytes.Buffer
	for _, j := range jobs {
		require.NoError(t, json.NewEncoder(&in).Encode(j))
	}
	cmd := exec.Command(python, "testdata/encode.py")
	cmd.Stdin, cmd.Stderr = &in, &problems
	out, err := cmd.Output()
	require.NoError(t, err, problems.String())
	dec := json.NewDecoder(bytes.NewReader(out))
	all := make([][]theirs, len(jobs))
	for i := range all {
		require.NoError(t, dec.Decode(&all[i]))
	}
	return all
}

// validities are gammu's names of TP-VP values.
var validities = map[string]time.Duration{"1H": time.Hour, "6H": 6 * time.Hour, "1D": 24 * time.Hour, "3D": 72 * time.Hour, "1W": 7 * 24 * time.Hour, "Max": 63 * 7 * 24 * time.Hour}

// compare writes j with this package and wants gammu's octets. Gammu writes an
// absent service centre as 01 81, an address without digits, where we write 00
// (TS 27.005, <pdu>: no address, the modem takes its own).
func compare(t *testing.T, j job, want []theirs) {
	t.Helper()
	a := pdu.GSM7
	if j.Unicode {
		a = pdu.UCS2
	}
	parts := pdu.Split(j.Text, a, want[0].Reference)
	require.Len(t, parts, len(want), "%+v", j)
	for i, s := range parts {
		s.Number, s.Centre, s.Validity = j.Number, j.Centre, validities[j.Validity]
		got, length, err := s.Encode()
		require.NoError(t, err)
		expected := want[i].PDU
		if j.Centre == "" {
			expected = "00" + strings.TrimPrefix(expected, "0181")
			require.Equal(t, len(got)/2-1, length)
		}
		require.Equal(t, expected, got, "part %d of %+v", i+1, j)
		back, err := pdu.Decode(got)
		require.NoError(t, err)
		require.Equal(t, s, back)
	}
}

// letters are what random texts are made of: both tables but for the escape
// code itself; and, for UCS-2, some of
// other scripts and planes.
func letters() (gsm, others []rune) {
	for r := rune(1); r < 0x2100; r++ {
		if pdu.GSM7.Units(string(r)) > 0 {
			gsm = append(gsm, r)
		}
	}
	return gsm, []rune("Ждяłążçéěščřøابةअआกขเ一二三十😀🌾𝔸€ \n")
}

func randomText(rng *rand.Rand, from []rune, most int) string {
	text := make([]rune, 1+rng.IntN(most))
	for i := range text {
		text[i] = from[rng.IntN(len(from))]
	}
	return string(text)
}

// Random texts against gammu (Debian's python3-gammu), octet for octet.
func TestAsGammuWritesThem(t *testing.T) {
	rng := rand.New(rand.NewPCG(2026, 23040))
	gsm, others := letters()
	numbers := []string{"+447700900123", "12345", "07700900123", "+1", "8080", "+420601234567"}
	vps := []string{"1H", "6H", "1D", "3D", "1W", "Max"}
	var jobs []job
	for range 1200 {
		j := job{Number: numbers[rng.IntN(len(numbers))], Validity: vps[rng.IntN(len(vps))], Unicode: rng.IntN(2) == 0}
		from := gsm
		if j.Unicode {
			from = append(append([]rune{}, gsm...), others...)
			from = slices.DeleteFunc(from, func(r rune) bool { return r == '~' }) // gammu writes it as U+0001 in UCS-2, a mark of one make of telephone
		}
		j.Text = randomText(rng, from, []int{12, 180, 900}[rng.IntN(3)])
		if rng.IntN(3) == 0 {
			j.Centre = "+447785016005"
		}
		jobs = append(jobs, j)
	}
	several := 0
	for i, want := range byGammu(t, jobs) {
		compare(t, jobs[i], want)
		if len(want) > 1 {
			several++
		}
	}
	require.Greater(t, several, 300, "many of them go in several parts")
}

// Every character of the alphabet on its own, and every length around the
// borders of parts, with an escape sequence or a surrogate pair on the border.
func TestBordersAsGammuWritesThem(t *testing.T) {
	gsm, _ := letters()
	require.Len(t, gsm, 127+10, "TS 23.038, 6.2.1 and 6.2.1.1")
	var jobs []job
	for _, r := range gsm {
		jobs = append(jobs, job{Text: string(r), Number: "+447700900123", Validity: "Max"})
	}
	for n := 1; n < 320; n++ {
		jobs = append(jobs, job{Text: strings.Repeat("x", n) + "€", Number: "8080", Validity: "1D"},
			job{Text: strings.Repeat("ж", n/2) + "😀", Number: "8080", Validity: "1D", Unicode: true})
	}
	for i, want := range byGammu(t, jobs) {
		compare(t, jobs[i], want)
	}
}

package lines

import (
	"bytes"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

// TestSeriesStayFew: whatever names a broker, people or years bring that the site
// file does not have, the number of series stays what it was, and no name is lost.
func TestSeriesStayFew(t *testing.T) {
	e := New()
	e.Configure(depot())
	series := map[string]bool{}
	for i := range 1000 {
		n := fmt.Sprint("new ", i)
		for _, en := range []logbook.Entry{
			&logbook.Reading{Channel: n, Value: 1, Unit: "ppm"},
			&logbook.HandReading{Store: "Store 2", Point: n, Value: 1, Unit: "ppm", Method: n},
			&logbook.Finding{Code: "unknown-channel", Channel: n, About: n},
			&logbook.Alarm{State: "raised", Alarm: "line-silent", Store: n, Stack: n, Line: n, Point: n, Channel: n, Code: n},
			&logbook.Gate{Store: n, State: "shut"},
			&logbook.Phase{Stack: n, Treatment: n, Phase: "exposure", Verdict: "provisional"},
			&logbook.EndLevel{Stack: "B", Treatment: n, Line: "north top", Moment: "airing", Shown: "met"},
			&logbook.Forecast{Stack: n},
			&logbook.InstrumentState{Instrument: n, Unit: n},
			&logbook.Refused{Entry: "dosing-started", Stack: n, Code: n},
		} {
			b, err := e.Append(nil, entry(t, en, uint64(i)), false)
			require.NoError(t, err)
			name, _, _ := bytes.Cut(b, []byte(" "))
			for bytes.HasSuffix(name, []byte(`\`)) { // a blank in a tag
				more, _, _ := bytes.Cut(b[len(name)+1:], []byte(" "))
				name = b[:len(name)+1+len(more)]
			}
			series[string(name)] = true
			require.Contains(t, string(b), n)
		}
	}
	require.Len(t, series, 10, "one for each sort of entry above: %v", series)
}

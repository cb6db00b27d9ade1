// Package frames reads instruments on a serial line that speak in lines of text.
//
//	c := frames.Config{
//		Name: "bench meter",
//		Port: port.Config{Device: "/dev/ttyUSB0", Baud: 9600},
//		Format: frames.Format{
//			Pattern:  `^(?P<channel>P\d+) (?P<value>\S+) (?P<unit>\S+)( (?P<status>\w+))?$`,
//			Channels: map[string]string{"P1": "b-north-top", "P2": "b-south-low"},
//		},
//		Every: 10 * time.Second,
//	}
//	if err := c.Validate(); err != nil { … }
//	err := frames.New(c, sink, frames.Options{}).Run(ctx)
//
// A line is read by a regular expression (RE2, package regexp) with named groups:
// value, and as needed channel, unit and status. It may fit a line several times,
// each time with another channel: "P1=412 P2=398". [Compile] makes a [Decoder] of
// it, which needs no serial line, so that a site file can be checked and a line
// tried.
//
// Numbers are written with a decimal point or a decimal comma, never with a mark
// between thousands. A value that is no number (">2000", "OL", "----"), and one
// with a status that is not sound, becomes a reading with a fault: the channel is
// alive, and its value counts for nothing.
//
// It refuses what could turn a broken line into a number: matches must account
// for the whole line but blanks, commas and semicolons; the first line after
// opening is thrown away unless its beginning was seen; a line longer than
// [MaxLine] is refused as a whole. A line that cannot be read is handed to the
// sink with the reason, at most once a minute for each kind of reason, with a
// count of those that were alike. When nothing readable came for three intervals
// (at least 30 s), and when the device disappears, the sink hears of it once, and
// once again at the next reading.
package frames

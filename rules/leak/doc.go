// Package leak watches one stack under gas for a leak: all lines together and
// each line against the others.
//
// [New] takes the number of lines and the false-alarm rate. Every 5 minutes
// [State.Observe] takes what the lines read and the fit's [Expecter], and returns
// the events that begin or end. [State.Reset] starts anew at t = 0;
// [State.DoseAdded] makes the test quiet until an added dose has begun to show.
// [State.Statistic] is for pages. Times are hours since dosing, concentrations
// ppm, rates per day in events and per hour inside.
//
// # The test
//
// The readings are taken in ln C. What the fit expects is subtracted; small Kalman
// filters hold what is left: one of the stack's level, one for how far each line lies
// from the others. Their rates are not zero but correlated in time: gusts (a share of
// the loss rate, 2 h), a swing with the day whose size is learned, the error of the
// fit, uneven mixing of a line. So the innovations are nearly white while nothing
// leaks. For each of a dozen onsets, close together for young ones and wide apart for
// old ones, the traces of a leak are carried through the same filters: the stack's
// loss rate rises; beside a tear the line also falls away from the others, at several
// times that rate, until gas from around makes up for it, or for good where little
// comes. The statistic is the likelihood ratio of both together, of the best onset,
// shape and size (Willsky & Jones 1976, IEEE Trans. Automat. Contr. 21:108), given as
// its signed square root z. How lines lie to each other is steady to a few parts in a
// thousand, so a leak beside a line shows within hours; what all share is hidden in
// gusts for longer, and counts in full only after 4 h, sooner on a stack that shows next to no
// gusts (exposed). A fall of the stack that began
// within 28 h after dosing is taken for the end of release, and one that came at once and
// has stood since for a pump that runs again: it is taken in.
//
// The threshold follows from the false-alarm rate (see bumps). Gusts are sized by
// what the fit found of them a day and half a day before, beside a share of its loss
// rate. How much stronger they are is learned from each stack (see wind), with six hours'
// delay; so is how restless its lines are against each other (see rest). Where the fit
// holds a leaky sheet for a tight one, gusts still raise more false leaks than asked for. How noisy a line is, and how
// much its noise is tied from one reading to the next, is learned from second
// differences of readings, which no leak, gust or release moves; what the caller
// states is only the start.
//
// # The reference is held back
//
// A fit that is made anew each hour takes a leak for its loss rate within half a
// day. So the change that is expected of an hour is the one that was predicted 24
// h before it began (on the first day: when the test went live). When a leak is
// raised, what was predicted after its onset is thrown away and the last slope from
// before it goes on, until 24 h after the leak has cleared. What was predicted while lines
// did not draw the stack's gas is thrown away, too: whoever calls takes those readings
// back from the fit, which is asked again two hours later at the most. Sorption or the end of
// release may bend the curve meanwhile; a leak that is raised for days is therefore
// cleared with care, not with precision.
//
// # What the whole record tells
//
// Once an hour the fit holds all that was read with a rise of the loss rate, at some onsets,
// against the same without ([decay.State.Rises]): what is not known of the curve hides less
// there than in a prediction of the day before, most of all on a stack out of the wind and
// where lines are read seldom. Its z has the filter's threshold. Rises younger than a gust,
// and those that began within 36 h of dosing, are left to the filter.
//
// # What half a day lost
//
// A leak of the whole stack that is not sure within a day, or that began before the test
// had anything to hold it against, becomes what is expected. So from 28 h after dosing on
// the stack is asked once an hour what it lost in half a day (pace.go): more than 1.2 per
// day, which a sheet that is shut does not lose, or, from 72 h on, more than 0.65 and 2.5
// times what was expected a day before, is a leak of the stack, whenever it began, for what
// is still released or given back only makes gas fall more slowly. Half of the lines lost
// as much, and both halves of the time have their part, so that no tube and nothing that
// fell at once is told so. The fit, which has followed, is told nothing, and nothing is held
// back: it hides no other leak, and one of the whole stack that the test finds on top takes
// its place. It is over when half a day lost less than half of the limit for half a day. Where a
// tight sheet leaks several times as much as before but no more than 0.65, or release is
// slower than the loss, it is not seen.
//
// # A leak that is raised
//
// From then on the filter follows the leaking stack. A tabular CUSUM of its hourly
// innovations says when the rate changed again, the likelihood ratio by how much;
// once the rise is gone for 3 h the leak is cleared, unless the gas is. After a day gas
// that the commodity gives back may hide a leak that stands, and it is cleared all the
// same: what is told then says so. Meanwhile another leak is raised only at another line
// that falls beside the rest, from 6 h after the onset of the last: sooner a line falls
// because its gas flows to the torn place. One that falls too slowly for the test, which
// package fault suspects, is not told meanwhile. All are cleared together.
//
// # When it is live
//
// From 12 h after dosing, or after an added dose, when the fit has given a slope to
// expect whose standard deviation is below 1 per day, and after 3 h of readings.
// Before that only line-off, a line that stands still to the digit, and a sheet that
// is torn open are judged.
//
// # What it refuses
//
// It does not judge readings that are censored, below 1 ppm or scattered by more
// than 35 %. All lines gone at once, or fallen to almost nothing at once, is a
// stopped pump or a power cut, not a leak; all lines falling to less than half
// within minutes, but to gas still, is a leak. Nor are lines that all stand still, and
// fall at once when the pump runs again: a leak makes gas fall faster, not at once, which
// is held against each other in the newest readings of all lines (step.go). A line that only
// came back to where it stood before, as one that was blocked, does not leak (stood.go); a
// stack that goes on falling did not come back.
// A line that comes off over an hour or two may be called a leak on its way: that is taken back
// when it is off, with what it told of the stack.
// Where cells use up what stands in them over more than an hour, a stopped pump looks like
// an open sheet, and is called a leak. It does not tell a sensor that
// drifts down on one line from a leak beside that line (see [Event] Alone, and package
// fault, which takes it further), and a rise of half the loss rate
// that all lines share is mostly lost in gusts and in the error of the fit.
package leak

// Package decay fits the release and loss of phosphine under a sheet and says
// what the gas will be at the end of the exposure, and how sure that is.
//
// Three fits are offered.
//
// [Flat] is plain least squares on the release-loss curve
//
//	C(t) = Y·r/(r−k)·(e^(−k·t) − e^(−r·t))
//
// without priors or weights, as a statistics program would do it; its standard
// errors come from s²(JᵀJ)⁻¹. It needs readings from both sides of the peak and
// says so when they do not tell release from loss.
//
// [Decline] is as plain, for readings from after the release: the gas then falls in
// two phases, as the commodity takes it up and gives it back.
//
// [State] is the fit of one stack that runs while the gas is under the sheet.
// [New] takes what is known of the treatment, [State.Observe] takes readings one
// by one at a cost that does not grow with the record, [State.Update] is called
// once an hour, and [State.Forecasts] and [State.Lowest] answer. The curve has a
// lag and sorption in both directions beside release and loss; a leak that is told adds
// to the loss from its hour on, as much as the readings bear out. What sets one line
// apart for good is split between its gas and its instrument's gain: how far the gas
// differs is fitted to each stack, the gain is as large as the stated accuracy lets it
// be. Gains of different lines are taken as independent. What the curve cannot
// explain is looked for where it arises, in the loss rate: gusts, slower weather, the
// day's breathing and changes for good that nobody told. Their sizes are fitted to each
// stack, so that what the weather may still do widens the interval and a thousand
// readings are not taken for a thousand independent ones. A stack out of the wind is told from a windy
// one by its readings, not before they can tell. The posterior is kept as draws:
// between refits they take in each hour and gain or lose weight by how well they
// foretold it, and they move on with each refit. Before any reading the answer is what
// the treatment's own figures promise.
//
// Times are hours since the sheet was shut after dosing (t = 0), concentrations
// ppm by volume, rates per day. The package is pure: no clock, no input or
// output, draws from a fixed seed, so the same readings give the same forecast.
// A State written as JSON and read back goes on exactly as if it had not been.
//
// It refuses readings that are no numbers, lie before t = 0 or above 1,000,000
// ppm, or name a line that the stack does not have; [State.Refused] counts them.
// It judges nothing: whether a reading is to be believed was decided before.
package decay

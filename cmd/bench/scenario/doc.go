// Package scenario draws treatments of bag-stacks under a sheet, richer than the
// fit that is judged by them, with their truth.
//
// [Clean] gives what a Cramér–Rao bound assumes: one mixed gas space, four lines
// read every 10 minutes, 3 % white noise, parameters from the stated priors.
// [Hard] gives what a depot has: nodes of gas that exchange over hours, release
// that follows the temperature, leakage at the sheet's edge with gusts and a day's
// breathing, sorption both ways, and instruments that scatter, drift, spike,
// saturate, round and fall silent. [Uneven] is the same under a sheet that is tight here
// and loose there. All take a [Trouble]: a leak, or something else
// that happens. The same seed without the trouble is the same treatment without
// it, to the last draw: gusts, noise and gaps have streams of their own.
//
// Every stack is invented; no open record of phosphine under a sheet was found.
// The ranges are from memory of the trade: release 0.8–1.6 per day at 25 °C and 7 %
// faster per °C, beginning 1–5 h after dosing; total loss 0.05–1.2 per day, 0.1–0.2
// with a good sheet; sorption 0.1–1 per day each way, paddy more than milled rice;
// peaks to 2,000 ppm and over; scatter 1–4 % and 1 ppm.
//
// Times are hours since the sheet was shut after dosing, concentrations ppm by
// volume, rates per day. The package is pure: no clock, fixed seeds.
//
// It refuses nothing: a trouble that a record cannot have (a tear beside line 9)
// falls on what is nearest.
package scenario

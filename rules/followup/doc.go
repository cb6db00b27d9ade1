// Package followup tells what people still owe after a treatment: grain is held back, the gas
// in bags is read, grain and test insects are looked at, sheets are mended, residue is taken
// away.
//
// [Facts] are what people stated of one treatment, [Moments] when its store was aired
// and cleared. [Of] makes the follow-ups from both; nothing else remembers them, so
// that whatever is put right in the facts is put right in what is owed. It decides no
// gate: a follow-up that stands open lets nobody in and keeps nobody out.
package followup

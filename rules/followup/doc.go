// Package followup tells what is owed after a treatment: grain that is held back, bags
// whose gas is read, grain and test insects that are looked at, sheets that are mended,
// residue that goes for good.
//
// [Facts] are what people stated of one treatment, [Moments] when its store was aired
// and cleared. [Of] makes the follow-ups from both; nothing else remembers them, so
// that whatever is put right in the facts is put right in what is owed. It decides no
// gate: a follow-up that stands open lets nobody in and keeps nobody out.
package followup

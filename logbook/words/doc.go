// Package words makes sentences from the codes of the record, in the reader's
// language: why a gate stays shut, why an act took no effect, what was found,
// what an alarm asks of people.
//
// [Fill] puts them into a record before it is shown; [Alarm] and [Gate] give the
// pieces of a message. Languages are catalogues of sentences with named values
// ("{stack}", "{value}"): English, "en", and French, "fr". English stands in for
// what another lacks, and a test says what that is. Names that people gave, the
// sources of figures, and units stay as they are.
//
// The package never says that a place is safe. It says what was read and what is
// still owed. No sentence sends one person into gas, or anybody in at night. A
// code that it has no sentence for, from a newer program, is shown as it is,
// never dropped.
package words

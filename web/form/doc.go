// Package form is what a person fills in to tell the logbook of an act.
//
// [New] makes the form of one kind of act for a depot as it stands: which fields
// it has, what can be chosen, what is preset. [Form.Read] reads what was filled in
// and gives the act, or says, field by field, what is wrong and what to do.
//
// It refuses half an act: with one fault there is no act at all. It refuses
// numbers that can be read in two ways ("1,234"), moments that lie ahead or that
// the clocks of the site never showed, names of places that the depot does not
// have, fields that the form does not have, and an act that nobody puts a name to.
// Whether an act takes effect is not judged here: the rules do that.
//
// The package has no clock, and does no input or output.
package form

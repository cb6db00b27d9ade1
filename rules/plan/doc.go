// Package plan works out a treatment before any gas is there: for all stacks of
// a store together, since one that is left untreated reinfests the rest.
//
// [Make] is the first call. It takes what the supervisor knows ([Ask]) and gives
// a [Plan]: whether the commodity and its temperature suit phosphine, the
// shortest exposure and the end level that hold, the dose and how many pieces it
// is, the sheet, the sand-snakes and the sampling lines, what the gas is expected
// to do under a tight, an average and a leaky sheet, when airing must begin to be
// over by daylight, and what is to be checked and signed.
//
// Every figure carries its source, "common practice", "from memory" or "site's
// own". What could not be found in a source is asked for, never invented: without a
// guide or a dose of the site's own, the plan has no dose and says so. A plan is
// no permission: local law, the product's label and the licensed fumigator decide.
//
// Stricter holds: the built-in protocol is a floor, and of a national guide and
// the site's own protocol each figure counts that asks for more.
package plan

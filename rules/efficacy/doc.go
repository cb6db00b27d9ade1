// Package efficacy tells how well the gas of a treatment was spread and whether it
// stood long enough: the published criteria for success, hours above the end level,
// published times against insects, and published shortest exposures.
//
// [Of] gathers what the lines of a stack held; its methods are asked when somebody
// looks. All of it is information: no verdict and no protocol is loosened by it, and
// what was not read is never taken for gas.
package efficacy

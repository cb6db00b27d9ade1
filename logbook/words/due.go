package words

import (
	"cmp"
	"time"

	"undersheet/logbook"
)

// FollowUp returns what is owed in one line, and how it is done or what it means.
func FollowUp(lang string, f *logbook.FollowUp) (what, how string) {
	c := of(lang)
	pairs := []string{"{stack}", f.Stack, "{channel}", f.Channel, "{person}", f.Person}
	if what = c.fill("due/"+f.FollowUp, pairs...); what == "" { // of a newer program
		return f.FollowUp + ": " + c.place(values{Stack: f.Stack, Store: f.Store, Channel: f.Channel}), ""
	}
	return what, c.fill("due/"+f.FollowUp+"/how", pairs...)
}

// FollowUpWhen says when a follow-up is due, or what it waits for; of one that is over,
// how it ended, when and by whom. Times are written in zone.
func FollowUpWhen(lang string, f *logbook.FollowUp, zone *time.Location) string {
	c := of(lang)
	switch {
	case f.State != logbook.FollowOpen:
		return c.ended(f, zone)
	case f.Due == 0:
		if s := c.fill("due/" + f.FollowUp + "/waits"); s != "" {
			return s
		}
		return c.fill("due/waits")
	case OfDay(f, zone):
		return c.fill("due/day", "{when}", c.when(LastDay(f.Due, zone), "Mon 2 Jan 2006"))
	case f.FollowUp == logbook.FollowWithholding:
		return c.fill("due/ends", "{when}", c.moment(f.Due, zone))
	case f.Until != 0:
		return c.fill("due/due-until", "{when}", c.moment(f.Due, zone), "{until}", c.moment(f.Until, zone))
	}
	return c.fill("due/due", "{when}", c.moment(f.Due, zone))
}

// ended says how a follow-up ended.
func (c *catalogue) ended(f *logbook.FollowUp, zone *time.Location) string {
	key := "due/done"
	if f.State == logbook.FollowWrittenOff {
		key = "due/written-off"
	}
	pairs := []string{"{when}", c.moment(f.At, zone)}
	if f.By == "" {
		return c.fill(key+"-itself", pairs...)
	}
	return c.fill(key, append(pairs, "{by}", f.By)...)
}

// OfDay reports whether a follow-up is owed by the end of a day, not by an hour: a licence,
// and a canister or a check of an instrument whose date ends.
func OfDay(f *logbook.FollowUp, zone *time.Location) bool {
	switch f.FollowUp {
	case logbook.FollowLicence:
		return true
	case logbook.FollowCanister, logbook.FollowCalibration, logbook.FollowBumpTest:
		return EndsDay(f.Due, zone)
	}
	return false
}

// EndsDay reports whether a day ends at a moment by the clock of zone.
func EndsDay(at logbook.Time, zone *time.Location) bool {
	return at.Std().In(zone).Format("15:04:05") == "00:00:00"
}

// LastDay is a moment on the day that ends at due by the clock of zone.
func LastDay(due logbook.Time, zone *time.Location) time.Time {
	return due.Std().In(zone).Add(-time.Microsecond)
}

// FollowUpResult says what came of a follow-up; what a person wrote stays as it is.
func FollowUpResult(lang string, f *logbook.FollowUp) string {
	if f.FollowUp == logbook.FollowSheetRepair || f.State == logbook.FollowWrittenOff && f.By != "" {
		return f.Result
	}
	c := of(lang)
	return cmp.Or(c.fill("follow/"+f.Result), c.fill("form/residue-disposed/how/"+f.Result), f.Result)
}

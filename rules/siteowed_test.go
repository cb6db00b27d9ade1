package rules

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules/alarm"
)

// Checks of instruments, licences and canisters are owed, whatever is treated.
func TestWhatIsOwedOfNoStack(t *testing.T) {
	d := aday(t, func(s *logbook.Site) {
		s.People = []logbook.Person{{Name: "I. Okafor", LicenceUntil: epoch.Add(20 * 24 * time.Hour).Std().Format(time.DateOnly)}}
	})
	check := func(passed bool, due time.Duration) {
		d.act(&logbook.InstrumentChecked{Channel: "door", Check: logbook.CheckCalibration, Applied: 1, Read: 1, Unit: "ppm", Passed: passed, Due: logbook.Expiry(d.now.Add(due).String())}, logbook.KindInstrumentChecked, 0)
	}
	check(true, 10*24*time.Hour)
	assert.Equal(t, []string{"licence raised", "calibration raised"}, alarms(d.fresh(), alarm.FollowUpDue), "a fortnight and a month ahead")
	was := d.followUp(logbook.FollowCalibration).Due
	d.now = d.now.Add(time.Hour)
	check(true, 180*24*time.Hour)
	rs := d.fresh()
	assert.Equal(t, []string{"calibration cleared"}, alarms(rs, alarm.FollowUpDue))
	told := of[*logbook.FollowUp](rs)
	require.Len(t, told, 2)
	assert.Equal(t, []any{logbook.FollowDone, was, d.now, someone.By}, []any{told[0].State, told[0].Due, told[0].At, told[0].By})
	assert.Equal(t, logbook.FollowOpen, told[1].State)

	d.act(&logbook.CanisterChanged{Person: "I. Okafor", Serial: "7", Expires: logbook.Expiry(d.now.Add(90 * 24 * time.Hour).String()), Minutes: 30}, logbook.KindCanister, 0)
	in := func(minutes int) {
		d.act(&logbook.MaskedEntry{OnStore: inBarn(), In: "I. Okafor", AtDoor: "P. Lindqvist", Protection: "full mask"}, logbook.KindMaskedEntry, 0)
		d.now = d.now.Add(time.Duration(minutes) * time.Minute)
		d.act(&logbook.MaskedExit{OnStore: inBarn()}, logbook.KindMaskedExit, 0)
	}
	in(20)
	assert.Equal(t, d.now.Add(-20*time.Minute).Add(90*24*time.Hour), d.followUp(logbook.FollowCanister).Due)
	in(15)
	assert.Equal(t, d.now, d.followUp(logbook.FollowCanister).Due, "its minutes are used up")
}

// A canister is used to the end of the day that is printed on it, by the depot's clock;
// entries of before hold a moment.
func TestCanisterExpires(t *testing.T) {
	for text, want := range map[string]string{"2026-09-30": "2026-09-30T21:00:00Z", "2026-09-30T12:00:00Z": "2026-09-30T12:00:00Z"} {
		d := aday(t, func(s *logbook.Site) { s.Offsets = []logbook.Offset{{Seconds: 3 * 3600}} })
		d.now, _ = logbook.ParseTime("2026-09-30T20:59:00Z")
		d.act(&logbook.CanisterChanged{Person: "I. Okafor", Serial: "7", Expires: logbook.Expiry(text)}, logbook.KindCanister, 0)
		require.Equal(t, want, d.followUp(logbook.FollowCanister).Due.String())
		require.Equal(t, len(text) > len(time.DateOnly), slices.Contains(findings(d.fresh()), "canister-expired"), text)
	}
}

// A check that failed is owed again; once it is passed it was done, also where no next one
// is due.
func TestACheckThatIsPassedIsDone(t *testing.T) {
	d := aday(t)
	check := func(passed bool) {
		d.now = d.now.Add(time.Minute)
		d.act(&logbook.InstrumentChecked{Channel: "door", Check: logbook.CheckBump, Applied: 1, Read: 1, Unit: "ppm", Passed: passed}, logbook.KindInstrumentChecked, 0)
	}
	check(true)
	assert.Empty(t, of[*logbook.FollowUp](d.fresh()), "it was not owed")
	check(false)
	assert.Equal(t, []string{"bump-test raised"}, alarms(d.fresh(), alarm.FollowUpDue))
	check(true)
	rs := d.fresh()
	assert.Equal(t, []string{"bump-test cleared"}, alarms(rs, alarm.FollowUpDue))
	require.Len(t, of[*logbook.FollowUp](rs), 1)
	assert.Equal(t, logbook.FollowDone, of[*logbook.FollowUp](rs)[0].State)
	assert.Equal(t, d.now, d.followUp(logbook.FollowBumpTest).At)
	check(false)
	assert.Equal(t, logbook.FollowOpen, d.followUp(logbook.FollowBumpTest).State)
}

// A name is one person's however it is typed: minutes in gas count against the canister, and
// one day's visits are added up.
func TestNamesAreTyped(t *testing.T) {
	d := aday(t)
	d.act(&logbook.CanisterChanged{Person: "I. Okafor", Serial: "7", Expires: logbook.Expiry(d.now.Add(90 * 24 * time.Hour).Std().Format(time.DateOnly)), Minutes: 30}, logbook.KindCanister, 0)
	for _, name := range []string{"i. okafor ", "I. OKAFOR"} {
		d.act(&logbook.MaskedEntry{OnStore: inBarn(), In: name, AtDoor: "P. Lindqvist", Protection: "full mask"}, logbook.KindMaskedEntry, 0)
		d.now = d.now.Add(16 * time.Minute)
		d.act(&logbook.MaskedExit{OnStore: inBarn(), Out: "I. Okafor"}, logbook.KindMaskedExit, 0)
		require.NotContains(t, findings(d.fresh()), "nobody-inside")
	}
	require.Empty(t, d.state.Stores[inBarn().Store].Inside)
	require.Equal(t, d.now, d.followUp(logbook.FollowCanister).Due, "32 of its 30 minutes are used")
	people := d.state.PeopleIn(inBarn().Store)
	require.Len(t, people, 2, "who was inside, and who stood at the door")
	require.Len(t, people[0].Visits, 2)
}

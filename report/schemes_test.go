package report

import (
	"testing"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
)

// The waiting period ends with withholding, not when the last jar is empty.
func TestWaitingEndsWithWithholding(t *testing.T) {
	closed := []logbook.Phase{{Phase: logbook.PhaseClosed, Header: logbook.Header{Time: 900}}}
	wait := func(state string) []logbook.FollowUp {
		return []logbook.FollowUp{{FollowUp: logbook.FollowJar, State: logbook.FollowDone, At: 800},
			{FollowUp: logbook.FollowWithholding, State: state, At: 200}}
	}
	for name, c := range map[string]struct {
		r    Report
		want logbook.Time
	}{
		"over":                        {Report{FollowUps: wait(logbook.FollowDone), Records: Records{Phases: closed}}, 200},
		"running":                     {Report{FollowUps: wait(logbook.FollowOpen)}, 0},
		"log without follow-ups":      {Report{Records: Records{Phases: closed}}, 900},
		"not closed, nothing is owed": {Report{}, 0},
	} {
		require.Equal(t, c.want, (&page{r: &c.r}).waited(), name)
	}
}

package web

import (
	"bytes"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-ical"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/rules"
	"undersheet/rules/ledger"
	"undersheet/web/form"
)

// owing is the invented depot with something owed of every sort; now is 17:00 at the
// depot.
func owing() *fake {
	f := invented()
	at := func(d time.Duration) logbook.Time { return logbook.At(now.Add(d)) }
	open := func(kind string, due time.Duration, more func(*rules.FollowUpView)) rules.FollowUpView {
		x := rules.FollowUpView{FollowUp: kind, Store: "Round Store", Stack: "R", Treatment: "R-3", State: logbook.FollowOpen, Changed: at(-60 * time.Hour), Due: at(due), Remind: at(due - 2*time.Hour), Escalate: at(due + 24*time.Hour)}
		if more != nil {
			more(&x)
		}
		return x
	}
	f.view.Stores[1].Stacks = []rules.StackView{{Name: "R", Store: "Round Store", Treatment: "R-3", Phase: logbook.PhaseWithholding, NotToIssue: true, IssueFrom: at(20 * time.Hour)}}
	f.view.FollowUps = []rules.FollowUpView{
		open(logbook.FollowInspection, -30*time.Hour, func(x *rules.FollowUpView) { x.InStore, x.Soon, x.Overdue, x.Owner = true, true, true, "Amal Quint" }),
		open(logbook.FollowResidue, -2*time.Hour, func(x *rules.FollowUpView) {
			x.Soon, x.Product = true, []ledger.FormAccount{{Form: "tablets", Account: ledger.Account{Placed: 57, Taken: 57}}}
		}),
		open(logbook.FollowWithholding, 20*time.Hour, func(x *rules.FollowUpView) { x.Remind, x.Escalate = 0, 0 }),
		open(logbook.FollowBagGas, 34*time.Hour, nil), // 03:00 at the depot
		open(logbook.FollowSecondTreatment, 240*time.Hour, func(x *rules.FollowUpView) { x.Until = at(312 * time.Hour) }),
		open(logbook.FollowLicence, 0, func(x *rules.FollowUpView) {
			x.Store, x.Stack, x.Treatment, x.Person, x.Due = "", "", "", "Amal Quint", logbook.At(time.Date(2026, 5, 31, 21, 0, 0, 0, time.UTC)) // midnight at the depot
		}),
		open(logbook.FollowBumpTest, 50*time.Hour, func(x *rules.FollowUpView) { x.Store, x.Stack, x.Treatment, x.Channel = "", "", "", "door" }),
		open(logbook.FollowCanister, 60*time.Hour, func(x *rules.FollowUpView) { x.Store, x.Stack, x.Treatment, x.Person = "", "", "", "Cy, Orme; \n🌾" }),
		open(logbook.FollowCagesJudgement, 0, func(x *rules.FollowUpView) { x.Due, x.Remind, x.Escalate = 0, 0, 0 }),
		open(logbook.FollowCagesRetrieval, -50*time.Hour, func(x *rules.FollowUpView) { x.State, x.At, x.By = logbook.FollowDone, at(-40*time.Hour), "Ben Ash" }),
		open(logbook.FollowSheetRepair, -20*time.Hour, func(x *rules.FollowUpView) {
			x.State, x.At, x.By, x.Result = logbook.FollowWrittenOff, at(-10*time.Hour), "Amal Quint", "the sheet was burnt"
		}),
	}
	return f
}

func TestDuePage(t *testing.T) {
	body := get(owing().handler(Options{}), "/follow-ups").Body.String()
	page := parsed(t, body)
	require.Less(t, strings.Index(body, `id="due-overdue"`), strings.Index(body, `id="due-later"`))
	for _, want := range []string{"OVERDUE", "Look at the grain of stack R for live insects", "Owner: Amal Quint", "Last day Sun 31 May 2026",
		"It waits for the cages to be taken out.", "Done Tue 5 May 01:00 by Ben Ash", "the sheet was burnt", "Settled by the new date in the site file."} {
		require.Contains(t, page.text, want)
	}
	for _, link := range []string{"/act/grain-inspected?stack=R&treatment=R-3", "/act/residue-disposed?count=57&form=tablets&stack=R&treatment=R-3", "/act/hand-reading?stack=R&where=bags", "/plan/Round%20Store",
		"/act/instrument-checked?channel=door&check=bump", "/act/follow-up-written-off?follow_up=inspection&stack=R&treatment=R-3", "/follow-ups.ics"} {
		require.Contains(t, page.links, link)
	}
	require.NotContains(t, page.links, "/act/follow-up-written-off?follow_up=withholding&stack=R&treatment=R-3", "withholding is written off by nobody")
	require.Contains(t, get(invented().handler(Options{}), "/follow-ups").Body.String(), "Nothing is owed.")
}

// Every form that a follow-up leads to is filled in: what the page knows is not asked.
func TestFormsFromFollowUpsAreFilledIn(t *testing.T) {
	f := owing()
	page := frame{Lang: "en", zone: time.UTC, nights: nightsOf(f.view), view: f.view}
	for i := range f.view.FollowUps {
		x := &f.view.FollowUps[i]
		for _, l := range []*actLink{page.settle(x), page.dueRow(f.view, x).WriteOff} {
			if l == nil || strings.HasPrefix(l.Path, "/plan/") {
				continue
			}
			kind, query, _ := strings.Cut(strings.TrimPrefix(l.Path, "/act/"), "?")
			made, err := form.New(logbook.Kind(kind), form.Depot{View: f.view, Now: now})
			require.NoError(t, err)
			made.Fill(httptest.NewRequest(http.MethodGet, "/?"+query, nil).URL.Query())
			for _, name := range []string{"stack", "place", "which", "channel", "person"} {
				if x := made.Field(name); x != nil && (name != "channel" || len(x.Choices) > 0) {
					require.NotEmpty(t, x.Preset, "%s: %s", l.Path, name)
				}
			}
		}
	}
}

// Nobody is led into a store that is not cleared, nor at night, nor while the watch does
// not keep up: the follow-up says so beside its form.
func TestFollowUpsLeadNobodyIn(t *testing.T) {
	const keepOut = "Round Store is not cleared: nobody goes in for this now."
	at := func(hour int, change func(*fake)) string {
		f := owing()
		if change != nil {
			change(f)
		}
		return parsed(t, get(f.handler(Options{Clock: func() time.Time { return time.Date(2026, 5, 6, hour, 0, 0, 0, time.UTC) }}), "/follow-ups").Body.String()).text
	}
	cleared := func(f *fake) { f.view.Stores[1].Gate.State = logbook.GateCleared }
	require.Contains(t, at(14, nil), keepOut)
	require.NotContains(t, at(14, cleared), keepOut)
	require.NotContains(t, at(14, cleared), "It is night")
	require.Contains(t, at(22, cleared), "It is night", "01:00 at the depot")
	residue := &rules.FollowUpView{FollowUp: logbook.FollowResidue, Store: "Round Store", Stack: "R", State: logbook.FollowOpen}
	f := owing()
	page := frame{Lang: "en", zone: time.UTC, nights: nightsOf(f.view), view: f.view}
	require.Empty(t, page.outside(f.view, residue), "what is out of the store is disposed of outside")
	residue.InStore = true
	require.Contains(t, page.outside(f.view, residue), keepOut)
	require.Contains(t, at(14, func(f *fake) { cleared(f); f.status.Shut = "clock-behind" }), keepOut)
}

func TestPagesTellWhatIsOwed(t *testing.T) {
	h := owing().handler(Options{})
	depot := parsed(t, get(h, "/").Body.String()).text
	require.Contains(t, depot, "8 owed, 1 of them overdue")
	require.Contains(t, depot, "Next: Look at the grain of stack R for live insects.")
	for _, path := range []string{"/", "/stack/R", "/store/Round%20Store"} {
		require.Contains(t, parsed(t, get(h, path).Body.String()).text, "Not to be issued before Thu 7 May 13:00.", path)
	}
	require.Contains(t, get(h, "/store/Round%20Store").Body.String(), "Read the gas inside bags of stack R")
	require.Contains(t, get(h, "/stack/R").Body.String(), "the sheet was burnt", "what is over stands on the stack's page")
	require.NotContains(t, get(h, "/stack/B").Body.String(), "ot to be issued", "a stack under gas says so itself")
}

// events reads a calendar with an independent parser.
func events(t *testing.T, body []byte) map[string]ical.Event {
	cal, err := ical.NewDecoder(bytes.NewReader(body)).Decode()
	require.NoError(t, err)
	all := map[string]ical.Event{}
	for _, e := range cal.Events() {
		s, err := e.Props.Text(ical.PropSummary)
		require.NoError(t, err)
		all[s] = e
	}
	return all
}

func TestCalendarFeed(t *testing.T) {
	h := owing().handler(Options{})
	w := get(h, calendarPath)
	require.Equal(t, "text/calendar; charset=utf-8", w.Header().Get("Content-Type"))
	all := events(t, w.Body.Bytes())
	require.Len(t, all, 10, "what has no date is in no calendar")

	late := all["OVERDUE: Look at the grain of stack R for live insects"]
	require.NotNil(t, late.Component)
	start, err := late.DateTimeStart(time.UTC)
	require.NoError(t, err)
	require.True(t, start.Equal(now.Add(-30*time.Hour)), start)
	require.Len(t, late.Children, 2, "a reminder ahead, and one when it is due")

	licence := all["Renew the licence of Amal Quint"]
	require.Equal(t, "20260531", licence.Props.Get(ical.PropDateTimeStart).Value, "its last day by the depot's clock")
	require.Equal(t, "20260601", licence.Props.Get(ical.PropDateTimeEnd).Value)
	second := all["Begin the second treatment of stack R"]
	require.Equal(t, "20260516", second.Props.Get(ical.PropDateTimeStart).Value)
	require.Equal(t, "20260520", second.Props.Get(ical.PropDateTimeEnd).Value, "exclusive: the window ends on the 19th")
	inBags := all["Read the gas inside bags of stack R"]
	bags, err := inBags.DateTimeStart(time.UTC)
	require.NoError(t, err)
	require.Equal(t, "2026-05-08 06:00 +0300", bags.In(time.FixedZone("", 3*3600)).Format("2006-01-02 15:04 -0700"), "due at 03:00 of the depot: nobody is sent in before the morning")
	require.Empty(t, all["Withholding of the grain of stack R"].Children, "it ends by itself")
	require.Empty(t, all["Done: Take the cages of test insects out of stack R"].Children)
	require.Equal(t, "CANCELLED", all["Not done: Look over and mend the sheet of stack R"].Props.Get(ical.PropStatus).Value)
	_, odd := all["Change the canister of Cy, Orme; \n🌾's mask"]
	require.True(t, odd, "any name survives")

	again := httptest.NewRequest(http.MethodGet, "http://127.0.0.1"+calendarPath, nil)
	again.RemoteAddr = "127.0.0.1:4000"
	again.Header.Set("If-None-Match", w.Header().Get("ETag"))
	unchanged := httptest.NewRecorder()
	h.ServeHTTP(unchanged, again)
	require.Equal(t, http.StatusNotModified, unchanged.Code)

	uids := map[string]bool{}
	for _, e := range all {
		uids[e.Props.Get(ical.PropUID).Value] = true
	}
	require.Len(t, uids, len(all))
	require.Equal(t, http.StatusMethodNotAllowed, ask(h, http.MethodPost, calendarPath, "127.0.0.1", "127.0.0.1:4000").Code)
	require.Equal(t, http.StatusForbidden, ask(h, http.MethodGet, calendarPath, "127.0.0.1", "192.0.2.9:4000").Code)
}

// The calendar depends on the view alone: a later look at the same state, by another
// clock, gives the same bytes.
func TestSameViewSameCalendar(t *testing.T) {
	a, err := CalendarOf(owing().view, "en", "", "").Bytes()
	require.NoError(t, err)
	later := owing()
	later.view.Now, later.view.Seq = later.view.Now+1, later.view.Seq+1
	b, err := CalendarOf(later.view, "en", "", "").Bytes()
	require.NoError(t, err)
	require.Equal(t, string(a), string(b))
}

func TestCalendarOfOneOwnerAndOneStore(t *testing.T) {
	h := owing().handler(Options{})
	mine := events(t, get(h, calendarPath+"?owner=amal+quint").Body.Bytes())
	require.Contains(t, mine, "OVERDUE: Look at the grain of stack R for live insects")
	require.Contains(t, mine, "Dispose of what is left of the product of stack R", "nobody is named for it: everybody's")
	others := events(t, get(h, calendarPath+"?owner=Ben+Ash").Body.Bytes())
	require.NotContains(t, others, "OVERDUE: Look at the grain of stack R for live insects")
	store := events(t, get(h, calendarPath+"?store=Round+Store").Body.Bytes())
	require.Contains(t, store, "Read the gas inside bags of stack R")
	require.NotContains(t, store, "Renew the licence of Amal Quint")
	require.Empty(t, events(t, get(h, calendarPath+"?store=nowhere").Body.Bytes()))
}

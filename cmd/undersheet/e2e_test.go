package main

import (
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/logbook/words"
)

// From dosing to the report on a real broker, real pseudo-terminals, a real mail
// server, a modem and a webhook: a door opened at night wakes people by SMS, a tear
// is found and told, the process is killed (SIGKILL) at work, between an answer
// and the next thing, amid a mail and amid the airing, and loses nothing that was
// acknowledged; nothing is raised or mailed twice; a confirmation is refused
// before its time and accepted in its time; what is published and forwarded agrees
// with the logbook. The times are
// those of the five-day protocol and of the gate (common practice).
func TestFromDosingToReport(t *testing.T) {
	if testing.Short() {
		t.Skip("a whole treatment: run without -short")
	}
	d := newDepotTest(t)
	d.start()
	d.accepted("no-gas-declared|store=Store 1|by=Ana Brook")
	d.until(e2eStart.Add(time.Hour))
	d.accepted("dosing-started|stack=A|store_empty=true|by=Ana Brook")
	d.depot.Dose("A")
	d.accepted("treatment-started|stack=A|treatment=A-1|protocol=five-day|commodity=milled rice|tonnes=180|volume_m3=260|phosphine_g=285|grain_temp_c=27|by=Ana Brook")
	require.Equal(t, logbook.GateShut, d.gate())
	d.until(e2eStart.Add(16 * time.Hour))
	d.doorAtNight()
	d.until(e2eStart.Add(40 * time.Hour))
	d.killAtWork()
	d.start()
	d.accepted("masked-entry|store=Store 1|in=Ben Ash|at_door=Ana Brook|protection=self-contained apparatus|by=Ana Brook")
	d.kill()
	d.start()
	d.accepted("masked-exit|store=Store 1|out=Ben Ash|by=Ana Brook")
	d.until(e2eStart.Add(49 * time.Hour))
	d.depot.Tear("A", "low", 0.9)
	d.killAmidMail()
	d.texted("Leak: stack A")
	d.accepted("alarm-acknowledged|alarm=leak|stack=A|by=Ana Brook")
	d.depot.Mend("A")
	d.until(e2eStart.Add(122 * time.Hour))
	d.depot.Lift("A")
	d.depot.OpenDoors("Store 1", true)
	d.accepted("airing-started|stack=A|by=Ana Brook")
	d.until(d.at.Add(time.Hour))
	early := d.act("entry-confirmed|store=Store 1|by=Ana Brook")
	require.Equal(t, logbook.KindRefused, early.Verdict)
	require.Contains(t, early.Refused.Why, "aired for 60 of 120 minutes")
	d.killAtWork()
	d.start()
	require.Equal(t, logbook.GateAiring, d.gate())
	d.until(d.at.Add(4 * time.Hour))
	require.Equal(t, logbook.GateCheckOwed, d.gate())
	d.accepted("hand-reading|store=Store 1|point=beside A|value=0.02|unit=ppm|method=hand meter|detection_limit=0.02|by=Ana Brook")
	d.accepted("entry-confirmed|store=Store 1|by=Ana Brook")
	require.Equal(t, logbook.GateCleared, d.gate())
	d.published(logbook.GateCleared)
	d.forwarded()
	require.NoError(t, d.stdin.Close())
	require.NoError(t, d.child.Wait(), "an orderly end")
	d.nothingLost()
	d.nothingTwice()
	d.replayed()
	d.reported()
}

// killAmidMail lets time pass until the mail server has taken the mail of the
// leak, and kills the daemon before it hears so; the one that follows sends it
// again, under the same Message-ID, and says that it may be a repeat.
func (d *depotTest) killAmidMail() {
	d.mail.mu.Lock()
	d.mail.stall = "Leak: stack A"
	d.mail.mu.Unlock()
	for taken := false; !taken; {
		require.Less(d.t, d.at.Sub(e2eStart), 61*time.Hour, "a tear must be told within twelve hours")
		d.until(d.at.Add(e2eStep))
		select {
		case <-d.mail.stalled:
			taken = true
		default:
		}
	}
	d.kill()
	close(d.mail.release)
	first := d.mail.about("Leak: stack A")
	require.Len(d.t, first, 1)
	require.NotContains(d.t, first[0].subject, "repeat")
	require.Contains(d.t, first[0].text, "112", "the emergency line of the site")
	d.start()
	again := d.mail.waitFor(d.t, "May be a repeat: "+first[0].subject)
	require.Equal(d.t, first[0].id, again.id)
	require.Contains(d.t, again.text, "may be a repeat")
}

// nothingLost: every reading that the broker acknowledged is in the logbook,
// once, and so is every reading that was folded and every act that was answered,
// with its verdict.
func (d *depotTest) nothingLost() {
	kept := map[string]int{}
	verdicts := map[uint64][]logbook.Kind{}
	_, es := d.export()
	for i, e := range es {
		require.Equal(d.t, uint64(i+1), e.Head().Seq, "no gaps")
		switch e := e.(type) {
		case *logbook.Reading:
			kept[e.Channel+" "+e.Time.String()]++
		case *logbook.Accepted:
			verdicts[e.Of] = append(verdicts[e.Of], e.Kind)
		case *logbook.Refused:
			verdicts[e.Of] = append(verdicts[e.Of], e.Kind)
		}
	}
	for key := range d.sent {
		require.Equal(d.t, 1, kept[key], "reading %s", key)
	}
	for key := range d.polled {
		require.Positive(d.t, kept[key], "reading %s", key) // a daemon that starts anew reads at once, on a clock that stood still
	}
	for seq, a := range d.acts {
		require.Equal(d.t, []logbook.Kind{a.Verdict}, verdicts[seq], "verdicts on entry %d", seq)
	}
	require.Greater(d.t, len(d.sent), 1000)
	require.Greater(d.t, len(d.polled), 1000)
	status, out, errs := tried(d.t, "", "verify", d.book)
	require.Zero(d.t, status, errs)
	require.Contains(d.t, out, "is whole")
}

// nothingTwice: alarms are raised in turn; no two records tell of the same
// hand-over; and a mail that comes again says that it may be a repeat.
func (d *depotTest) nothingTwice() {
	raised := map[string]string{}
	handed, by := map[string]bool{}, map[string]int{}
	leaks := 0
	_, es := d.export()
	for _, e := range es {
		switch e := e.(type) {
		case *logbook.Alarm:
			key := strings.Join([]string{e.Alarm, e.Store, e.Stack, e.Line, e.Point, e.Channel}, "|")
			code := e.Priority + " " + e.Code
			if e.State != logbook.AlarmRaised {
				require.NotEmpty(d.t, raised[key], "%s %s at %s", key, e.State, e.Time)
			}
			switch e.State {
			case logbook.AlarmRaised: // raised again only when it is another case
				require.NotEqual(d.t, code, raised[key], "%s %s at %s", key, e.State, e.Time)
				raised[key] = code
			case logbook.AlarmCleared:
				delete(raised, key)
			}
			if e.Alarm == "leak" && e.State == logbook.AlarmRaised {
				leaks++
			}
		case *logbook.Message:
			if e.State == "handed-over" {
				require.False(d.t, handed[e.MessageID], "%s is handed over twice", e.Subject)
				handed[e.MessageID] = true
				by[e.Messenger]++
			}
		}
	}
	require.Positive(d.t, leaks)
	came := map[string]bool{}
	for _, l := range d.mail.letters() {
		if came[l.id] {
			require.True(d.t, strings.HasPrefix(l.subject, "May be a repeat: "), l.subject)
		}
		came[l.id] = true
	}
	require.Len(d.t, came, by["mail"], "every mail that came is on record, and the other way round")
	require.GreaterOrEqual(d.t, len(d.modem.Sent()), by["sms"])
	require.Positive(d.t, by["sms"])
	hooked := 0
	for _, n := range d.hook.told() {
		hooked += n
	}
	require.Equal(d.t, by["webhook"], hooked, "every event that came is on record, and the other way round")
}

// replayed: what the daemons wrote, killed as they were, is what the rules make
// of the same entries in one run.
func (d *depotTest) replayed() {
	judged := func(es []logbook.Entry) (lines []string) {
		for _, e := range es {
			r, ok := e.(logbook.Recorded)
			if !ok || e.Head().Kind == logbook.KindMessage || e.Head().Kind == logbook.KindForecast {
				continue
			}
			h, rec := e.Head(), r.Rec()
			h.Seq, h.Received, h.V, rec.Of, rec.Program = 0, 0, 0, 0, ""
			words.Fill("en", r)
			b, err := logbook.Encode(e)
			require.NoError(d.t, err)
			lines = append(lines, string(b))
		}
		return lines
	}
	text, es := d.export()
	status, out, errs := tried(d.t, text, "replay", "--json", "-")
	require.Zero(d.t, status, errs)
	var again []logbook.Entry
	for e, err := range entriesIn(out) {
		require.NoError(d.t, err)
		again = append(again, e)
	}
	require.Greater(d.t, len(judged(es)), 20)
	require.Equal(d.t, judged(es), judged(again))
}

// reported: the report says what happened, and its bytes come again.
func (d *depotTest) reported() {
	dir := d.t.TempDir()
	var first []byte
	for range 2 {
		con := &console{out: io.Discard, err: io.Discard}
		require.Zero(d.t, run([]string{"report", "-l", d.book, "--out", dir, "A-1"}, con))
		b, err := os.ReadFile(filepath.Join(dir, "report-A-1.html"))
		require.NoError(d.t, err)
		if first == nil {
			first = b
		}
		require.Equal(d.t, first, b, "byte for byte")
	}
	for _, want := range []string{"A-1", "Leak: stack A", "low", "Ana Brook", "not verified", "cleared"} {
		require.Contains(d.t, string(first), want)
	}
}

package report

import (
	"encoding/json"
	"maps"
	"slices"
	"strings"
	"time"

	"undersheet/logbook"
	"undersheet/rules"
	"undersheet/rules/reading"
	"undersheet/rules/treatment"
)

// draft gathers what belongs to one treatment while the log is folded.
type draft struct {
	stack, store string
	t            *treatment.Treatment
	r            *Report
	lines        [][]sample
	ends         map[endKey]logbook.EndLevel // as last recorded
	criteria     []logbook.Criterion         // as last recorded
	checks       map[string][]Check          // of instruments, by channel
	closing      bool                        // withholding has ended, or closed was recorded
	closedOf     uint64                      // seq of the entry with which it did
	over         *rules.StackView            // how the stack stood when the treatment was over; nil = it is not
	again        bool                        // the stack is treated again
	told         map[uint64]bool             // seqs of what counts though the treatment is over
	pending      logbook.Acting              // newest act on the stack that may turn out to be of the treatment though it is over
}

// endKey names a judgement.
type endKey struct{ line, moment string }

// sample is a reading that counts.
type sample struct {
	Reading
	gap  time.Duration // longest stretch before it that is bridged
	over bool          // at the top of the range
}

// mayEnd reports whether the treatment may be over before e: its withholding has ended,
// or e may begin another one of the stack. Records of the entry with which it ended
// still count.
func (d *draft) mayEnd(e logbook.Entry) bool {
	if d.over != nil {
		return false
	}
	if d.closing {
		rec, ok := e.(logbook.Recorded)
		return !ok || rec.Rec().Of != d.closedOf
	}
	switch e := e.(type) {
	case *logbook.TreatmentStarted:
		return e.Stack == d.stack
	case *logbook.DosingStarted, *logbook.DosePlaced, *logbook.AiringStarted:
		_, stack := e.(logbook.Acting).Place()
		return stack == d.stack && d.t.Phase != logbook.PhaseExposure && d.t.Phase != logbook.PhaseDosing
	}
	return false
}

// end keeps how the stack stood when the treatment was over. What comes later counts
// only where it says that it is of this treatment.
func (d *draft) end(v *rules.View) {
	k := stackOf(v, d.stack)
	d.over, d.checks, d.told = &k, maps.Clone(d.checks), map[uint64]bool{}
}

// stackOf finds a stack in a view.
func stackOf(v *rules.View, name string) rules.StackView {
	if _, k := v.Stack(name); k != nil {
		return *k
	}
	return rules.StackView{}
}

// configure takes the site as it is now; air points that were once there stay.
func (d *draft) configure(site *logbook.Site) {
	if d.over != nil {
		return
	}
	d.r.Site = *site
	for _, st := range site.Stores {
		if st.Name == d.store {
			d.r.Place.Outdoors = st.Outdoors
			for _, p := range st.Air {
				d.point(p)
			}
		}
	}
}

// point returns the air point of that name.
func (d *draft) point(p logbook.AirPoint) *AirPoint {
	for i := range d.r.Air {
		if d.r.Air[i].Name == p.Name {
			return &d.r.Air[i]
		}
	}
	where := p.Where
	if where == "" {
		where = logbook.WhereInside
	}
	d.r.Air = append(d.r.Air, AirPoint{Key: key(len(d.r.Air)), Name: p.Name, Where: where, Channel: p.Channel, OwnLimit: p.Limit})
	return &d.r.Air[len(d.r.Air)-1]
}

// readLine takes a reading under the sheet; one below detection counts as 0.
func (d *draft) readLine(line int, j reading.Judged, gap time.Duration) {
	if line >= len(d.lines) || d.over != nil {
		return
	}
	s := sample{Reading{j.At, j.Value}, gap, j.State == reading.OverRange}
	if j.State == reading.BelowDetection {
		s.PPM = 0
	}
	d.lines[line] = append(d.lines[line], s)
}

// readAir takes a reading of the store's air, as it was read: below detection is
// never proof of zero.
func (d *draft) readAir(p logbook.AirPoint, j reading.Judged, gap time.Duration) {
	if d.over != nil {
		return
	}
	a := d.point(p)
	a.samples = append(a.samples, sample{Reading{j.At, max(j.Value, 0)}, gap, j.State == reading.OverRange})
}

// act notes what a person did to the stack or to its store; of a treatment that is
// over, what is still done about it.
func (d *draft) act(e logbook.Acting, recs []logbook.Recorded) {
	store, stack := e.Place()
	if d.over != nil && stack == d.stack {
		d.pending = e
	}
	if stack != d.stack && (store == "" || store != d.store) || d.over != nil && !d.late(e) {
		return
	}
	a := d.list(e)
	for _, rec := range recs {
		if verdictOn(rec) == a.Kind && e.Head().Seq == 0 {
			a.of = rec.Rec().Of
		}
	}
	d.tell(e)
}

// tell lets an entry count that comes when the treatment is over.
func (d *draft) tell(e logbook.Entry) {
	if d.over != nil {
		d.told[e.Head().Seq] = true
	}
}

// late reports whether an act is of a treatment that is over: it names the treatment, or
// is an act on the stack before that is treated again.
func (d *draft) late(e logbook.Acting) bool {
	_, stack := e.Place()
	name := ""
	switch e := e.(type) {
	case *logbook.GrainInspected:
		name = e.Treatment
	case *logbook.CagesRetrieved:
		name = e.Treatment
	case *logbook.CagesJudged:
		name = e.Treatment
	case *logbook.SheetRepaired:
		name = e.Treatment
	case *logbook.ResidueTaken:
		name = e.Treatment
	case *logbook.ResidueDisposed:
		name = e.Treatment
	case *logbook.FollowUpWrittenOff:
		name = e.Treatment
	case *logbook.CagesPlaced:
		return false // they are of the next one
	}
	if name != "" {
		return stack == d.stack && strings.EqualFold(strings.TrimSpace(name), d.t.Name)
	}
	return stack == d.stack && !d.again
}

// follows takes what is owed after the treatment. What was done for it while the stack
// is treated again is listed with it.
func (d *draft) follows(r *logbook.FollowUp) {
	i := slices.IndexFunc(d.r.FollowUps, func(f logbook.FollowUp) bool { return f.FollowUp == r.FollowUp })
	if i < 0 {
		d.r.FollowUps = append(d.r.FollowUps, *r)
	} else {
		d.r.FollowUps[i] = *r
	}
	if p := d.pending; p != nil && r.State != logbook.FollowOpen && r.By == p.Who().By && !d.told[p.Head().Seq] && (r.Of == p.Head().Seq || p.Head().Seq == 0) {
		d.list(p)
		d.tell(p)
	}
}

// list puts an act among those of the report.
func (d *draft) list(e logbook.Acting) *Act {
	h, who := e.Head(), e.Who()
	a := Act{At: h.Time, Kind: h.Kind, By: who.By, Identity: who.Identity, Note: who.Note, Entry: written(e), entry: e, of: h.Seq}
	if a.Identity == "" {
		a.Identity = "not stated"
	}
	d.r.Acts = append(d.r.Acts, a)
	return &d.r.Acts[len(d.r.Acts)-1]
}

// written is an act as the log holds it, a photo without its picture.
func written(e logbook.Acting) json.RawMessage {
	var of logbook.Entry = e
	if p, ok := e.(*logbook.PhotoAttached); ok {
		bare := *p
		bare.Data = nil
		of = &bare
	}
	b, err := logbook.Encode(of)
	if err != nil {
		return json.RawMessage("null") // it came from JSON: it cannot fail
	}
	return b
}

// verdictOn returns the kind of act that a record is the verdict on.
func verdictOn(rec logbook.Recorded) logbook.Kind {
	switch r := rec.(type) {
	case *logbook.Accepted:
		return r.Entry
	case *logbook.Refused:
		return r.Entry
	}
	return ""
}

// refuse marks the act that took no effect.
func (d *draft) refuse(r *logbook.Refused) {
	for i := range d.r.Acts {
		if a := &d.r.Acts[i]; a.of == r.Of && a.Kind == r.Entry {
			a.Refused, a.refusal = r.Code, r
		}
	}
}

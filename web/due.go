package web

import (
	"cmp"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/rules"
	"undersheet/rules/followup"
	"undersheet/rules/ledger"
)

// duePage lists what is owed after treatments and around them.
type duePage struct {
	frame
	Groups   []dueGroup
	Calendar string // where the calendar is
}

// dueGroup is some follow-ups under a heading.
type dueGroup struct {
	ID, Name, None string // None: what is said of an empty group; empty = it is left out
	Rows           []dueRow
	Past           bool
}

// dueRow is one follow-up in words.
type dueRow struct {
	What, How  string
	When       string // when it is due, or what it waits for
	Overdue    string // the word for it; empty = it is not
	Away       string // how far off
	Owner      string // empty once it is no longer owed
	Stack      *link
	Store      *link
	Treatment  string
	Result     string // how it ended
	Settle     *actLink
	WriteOff   *actLink
	SettleNote string       // how it is settled without a form
	at         logbook.Time // when it was done or written off
	Outside    string       // why nobody goes in for it now; empty where people may, or where it is done outside the store
}

// due shows what is owed.
func (p *site) due(w http.ResponseWriter, r *http.Request) {
	v := p.source.View()
	page := duePage{frame: p.frame(r, v, "due/page"), Calendar: calendarPath}
	page.Here, page.Groups = "due", page.dueGroups(v)
	p.show(w, r, http.StatusOK, "due", page)
}

// dueGroups sorts the follow-ups by how pressing they are; those that are over come
// last, the newest first.
func (f *frame) dueGroups(v *rules.View) []dueGroup {
	names := []string{"overdue", "soon", "later", "waiting", "past"}
	rows := map[string][]dueRow{}
	for i := range v.FollowUps {
		x := &v.FollowUps[i]
		name := groupOf(x)
		row := f.dueRow(v, x)
		rows[name] = append(rows[name], row)
	}
	slices.SortStableFunc(rows["past"], func(a, b dueRow) int { return cmp.Compare(b.at, a.at) })
	var groups []dueGroup
	open := 0
	for _, name := range names {
		g := dueGroup{ID: "due-" + name, Name: f.text("due/group/" + name), Rows: rows[name]}
		switch {
		case name == "past":
			g.None, g.Past = f.text("due/none-past"), true
			if open == 0 {
				groups = append([]dueGroup{{ID: "due-none", Name: f.text("due/group/soon"), None: f.text("due/none")}}, groups...)
			}
		default:
			open += len(g.Rows)
		}
		if len(g.Rows) > 0 || g.None != "" {
			groups = append(groups, g)
		}
	}
	return groups
}

// groupOf says under which heading a follow-up stands.
func groupOf(x *rules.FollowUpView) string {
	switch {
	case x.State != logbook.FollowOpen:
		return "past"
	case x.Overdue:
		return "overdue"
	case x.Due == 0:
		return "waiting"
	case x.Soon:
		return "soon"
	}
	return "later"
}

// recordOf is a follow-up as the catalogue of sentences takes it.
func recordOf(x *rules.FollowUpView) *logbook.FollowUp {
	return &logbook.FollowUp{Store: x.Store, Stack: x.Stack, Treatment: x.Treatment, Channel: x.Channel, Person: x.Person, FollowUp: x.FollowUp,
		State: x.State, Due: x.Due, Until: x.Until, Owner: x.Owner, By: x.By, At: x.At, Result: x.Result}
}

// dueRow puts a follow-up into words.
func (f *frame) dueRow(v *rules.View, x *rules.FollowUpView) dueRow {
	r := recordOf(x)
	row := dueRow{Treatment: x.Treatment}
	row.What, row.How = words.FollowUp(f.Lang, r)
	row.When = words.FollowUpWhen(f.Lang, r, f.zone)
	if x.Stack != "" {
		l := linkTo(x.Stack)
		row.Stack = &l
	}
	if x.Store != "" {
		row.Store = &link{x.Store, storePath(x.Store)}
	}
	if x.State != logbook.FollowOpen {
		row.at, row.How, row.Result = x.At, "", words.FollowUpResult(f.Lang, r)
		return row
	}
	row.Away = f.away(x.Due)
	if x.Owner != "" && x.FollowUp != logbook.FollowWithholding { // which ends by itself
		row.Owner = f.text("due/owner", "{name}", x.Owner)
	}
	if x.Overdue {
		row.Overdue = f.text("due/overdue")
	}
	if x.Due == 0 { // what it waits for comes first
		return row
	}
	row.Settle, row.Outside = f.settle(x), f.outside(v, x)
	if x.FollowUp == logbook.FollowLicence {
		row.SettleNote = f.text("due/in-site-file")
	}
	if followup.MayWriteOff(x.FollowUp) {
		row.WriteOff = &actLink{actPath(logbook.KindWrittenOff, "stack", x.Stack, "treatment", x.Treatment, "follow_up", x.FollowUp), f.text("due/write-off")}
	}
	return row
}

// outside says why nobody goes in for a follow-up now: its store is not cleared, or it
// is night. What is not known of the store counts against it.
func (f *frame) outside(v *rules.View, x *rules.FollowUpView) string {
	if !x.InStore {
		return ""
	}
	if f.shut == "" {
		if s := v.Store(x.Store); s != nil && s.Gate.State == logbook.GateCleared {
			if f.night() != "" {
				return f.text("due/night")
			}
			return ""
		}
	}
	return f.text("due/not-cleared", "{store}", x.Store)
}

// away says how far off a moment is; empty when there is none.
func (f *frame) away(due logbook.Time) string {
	switch left := due.Sub(f.now); {
	case due == 0:
		return ""
	case left >= 0:
		return f.text("due/in", "{span}", f.span(left))
	default:
		return f.text("due/ago", "{span}", f.span(-left))
	}
}

// followUp puts the record of a follow-up into one line: whose it is, and how it stands.
func (f *frame) followUp(r *logbook.FollowUp) (who, what string) {
	what, _ = words.FollowUp(f.Lang, r)
	return cmp.Or(r.By, r.Owner), strings.Join(filled(what, words.FollowUpWhen(f.Lang, r, f.zone), words.FollowUpResult(f.Lang, r)), ". ")
}

// settle is the form that settles a follow-up, filled in as far as is known; nil where
// none does.
func (f *frame) settle(x *rules.FollowUpView) *actLink {
	to := func(kind logbook.Kind, pairs ...string) *actLink {
		l := f.linkToAct(kind, pairs...)
		return &l
	}
	of := []string{"stack", x.Stack, "treatment", x.Treatment}
	switch x.FollowUp {
	case logbook.FollowBagGas:
		return to(logbook.KindHandReading, "stack", x.Stack, "where", logbook.WhereBags)
	case logbook.FollowInspection, logbook.FollowSecondLook:
		return to(logbook.KindInspected, of...)
	case logbook.FollowCagesRetrieval:
		return to(logbook.KindCagesRetrieved, of...)
	case logbook.FollowCagesJudgement:
		return to(logbook.KindCagesJudged, append(of, "after", logbook.JudgedExposure)...)
	case logbook.FollowJar:
		return to(logbook.KindCagesJudged, append(of, "after", logbook.JudgedMonth)...)
	case logbook.FollowSecondTreatment:
		return &actLink{planPath(x.Store), f.text("due/plan")}
	case logbook.FollowSheetRepair:
		return to(logbook.KindSheetRepaired, of...)
	case logbook.FollowResidue:
		return residueForm(x, to)
	case logbook.FollowCalibration:
		return to(logbook.KindInstrumentChecked, "channel", x.Channel, "check", logbook.CheckCalibration)
	case logbook.FollowBumpTest:
		return to(logbook.KindInstrumentChecked, "channel", x.Channel, "check", logbook.CheckBump)
	case logbook.FollowCanister:
		return to(logbook.KindCanister, "person", x.Person)
	}
	return nil
}

// residueForm is the form for what is left of a product: while some of it is under the
// sheet, that it was taken out; then, where it went.
func residueForm(x *rules.FollowUpView, to func(logbook.Kind, ...string) *actLink) *actLink {
	kind, left := logbook.KindResidueDisposed, (*ledger.Account).Waiting
	if x.InStore {
		kind, left = logbook.KindResidueTaken, (*ledger.Account).Inside
	}
	pairs := []string{"stack", x.Stack, "treatment", x.Treatment}
	for i := range x.Product {
		if n := left(&x.Product[i].Account); n > 0 {
			return to(kind, append(pairs, "form", x.Product[i].Form, "count", strconv.Itoa(n))...)
		}
	}
	return to(kind, pairs...)
}

// dueBrief is what is owed in two lines, for the depot's page.
type dueBrief struct {
	Count, Next string // Next: the one that is due first, or is overdue longest; empty = none has a date
	Overdue     bool
}

// dueBrief counts what is owed; nil while nothing is.
func (f *frame) dueBrief(v *rules.View) *dueBrief {
	open, late := 0, overdue(v)
	var first *rules.FollowUpView
	for i := range v.FollowUps {
		x := &v.FollowUps[i]
		if x.State != logbook.FollowOpen || x.FollowUp == logbook.FollowWithholding {
			continue
		}
		open++
		if first == nil && x.Due != 0 {
			first = x
		}
	}
	if open == 0 {
		return nil
	}
	b := &dueBrief{Count: f.text("due/count", "{count}", strconv.Itoa(open)), Overdue: late > 0}
	if late > 0 {
		b.Count = f.text("due/count-overdue", "{count}", strconv.Itoa(open), "{overdue}", strconv.Itoa(late))
	}
	if first != nil {
		what, _ := words.FollowUp(f.Lang, recordOf(first))
		b.Next = f.text("due/next", "{what}", what, "{when}", words.FollowUpWhen(f.Lang, recordOf(first), f.zone))
	}
	return b
}

// overdue counts the follow-ups that are overdue.
func overdue(v *rules.View) int {
	n := 0
	for i := range v.FollowUps {
		if v.FollowUps[i].Overdue {
			n++
		}
	}
	return n
}

// dueOf lists the follow-ups that keep wants in words, those that are over last.
func (f *frame) dueOf(v *rules.View, keep func(*rules.FollowUpView) bool) []dueRow {
	var rows, over []dueRow
	for i := range v.FollowUps {
		switch x := &v.FollowUps[i]; {
		case !keep(x):
		case x.State == logbook.FollowOpen:
			rows = append(rows, f.dueRow(v, x))
		default:
			over = append(over, f.dueRow(v, x))
		}
	}
	return append(rows, over...)
}

// heldBack says until when grain of a stack may not be issued. It is empty when the grain is not
// held back, and while the stack is under gas, which says enough.
func (f *frame) heldBack(k *rules.StackView) string {
	switch {
	case !k.NotToIssue, k.Phase == "", k.Phase == logbook.PhaseDosing, k.Phase == logbook.PhaseExposure:
		return ""
	case k.IssueFrom == 0:
		return f.text("due/not-issued-open")
	}
	return f.text("due/not-issued", "{when}", words.Moment(f.Lang, k.IssueFrom, f.zone))
}

package web

import (
	"undersheet/logbook"
	"undersheet/rules"
	"undersheet/rules/gate"
	"undersheet/rules/ledger"
	"undersheet/rules/plan"
)

// otherForms is the label of forms of product that go by no usual name: names are
// free text in the log, and labels must stay few.
const otherForms = "other"

// owedChecks are the codes of what an instrument owes before it counts for a gate.
var owedChecks = []string{gate.CheckAfterOver, gate.CheckAfterSwap, gate.CheckFailed, gate.CheckOverdue}

// stock gives what is left in the store of chemicals.
func (g *gathering) stock(stock []ledger.FormStock) {
	others, any := 0, false
	for _, s := range stock {
		form, usual := plan.FormOf(s.Form)
		if !usual {
			others, any = others+s.Left, true
			continue
		}
		g.gauge("stock_pieces", float64(s.Left), form.Name)
		g.gauge("stock_phosphine_grams", float64(s.Left)*form.GasG, form.Name)
	}
	if any {
		g.gauge("stock_pieces", float64(others), otherForms)
	}
}

// followUps gives what is owed after treatments and around them, and whose grain is held
// back.
func (g *gathering) followUps(v *rules.View) {
	open, late, next := map[string]int{}, map[string]int{}, map[string]logbook.Time{}
	for i := range v.FollowUps {
		x := &v.FollowUps[i]
		if x.State != logbook.FollowOpen {
			continue
		}
		open[x.FollowUp]++
		if x.Overdue {
			late[x.FollowUp]++
		}
		if first := next[x.FollowUp]; x.Due != 0 && (first == 0 || x.Due < first) {
			next[x.FollowUp] = x.Due
		}
	}
	for _, kind := range logbook.FollowUps {
		g.gauge("follow_ups_open", float64(open[kind]), kind)
		g.gauge("follow_ups_overdue", float64(late[kind]), kind)
		if due := next[kind]; due != 0 {
			g.gauge("follow_ups_next_due_timestamp_seconds", unix(due), kind)
		}
	}
	for i := range v.Stores {
		for j := range v.Stores[i].Stacks {
			k := &v.Stores[i].Stacks[j]
			g.gauge("stack_not_to_issue", truth(k.NotToIssue), k.Store, k.Name)
		}
	}
}

// checks gives what instruments owe, and when their next checks are due.
func (g *gathering) checks(channels []rules.ChannelView) {
	owing := map[string]int{}
	for i := range channels {
		c := &channels[i]
		owing[c.Owes]++
		for _, k := range c.Checks {
			if k.Due != 0 {
				g.gauge("channel_check_due_timestamp_seconds", unix(k.Due), c.Name, k.What)
			}
		}
	}
	for _, code := range owedChecks {
		g.gauge("channels_owing_check", float64(owing[code]), code)
	}
}

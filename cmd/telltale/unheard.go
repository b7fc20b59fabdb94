package main

import (
	"fmt"

	"telltale/engine/event"
	"telltale/notify"
	"telltale/notify/people"
	"telltale/rules"
	"telltale/rules/english"
)

// unheard asks about alarms that nobody is told of, people who get no messages,
// entries of tell that match nothing, and rights that open nothing.
// fleet: people can sign in at the fleet's own provider.
func unheard(t *teller, dir *people.Directory, fleet bool, book *rules.Book, register []event.Event) {
	var vehicles []people.Vehicle
	for _, ev := range register {
		if d, ok := ev.Data.(*event.VehicleData); ok && !d.Retired {
			vehicles = append(vehicles, notify.VehicleOf(ev.Vehicle, d))
		}
	}
	gaps, deaf := people.Unheard(dir, vehicles, book)
	for _, g := range silences(gaps) {
		t.ask("nobody gets messages %s; see `tell` in people.yaml", g)
	}
	if len(vehicles) == 0 {
		return // who is told of what hangs on the vehicles
	}
	for _, name := range people.Idle(dir, vehicles, book) {
		t.ask("%q in `tell` of people.yaml matches nothing: its `where` lets in no vehicle or alarm", name)
	}
	for _, id := range deaf {
		t.ask("%s gets no messages: no entry of `tell` in people.yaml names them with a way that they have", id)
	}
	for _, q := range people.Barred(dir, vehicles, fleet) {
		t.ask("%s", q)
	}
	for _, v := range vehicles {
		for _, id := range v.People {
			if dir.Person(id) == nil {
				t.ask("%q, named under people of %s, is not in people.yaml and gets no messages", id, v.ID)
			}
		}
	}
}

// silences say each rule and task once for each set of stages, with the first vehicle and
// how many more.
func silences(gaps []people.Gap) (out []string) {
	type alarm struct{ rule, stage string }
	count, first := map[alarm]int{}, map[alarm]string{}
	var order []alarm
	for _, g := range gaps {
		a := alarm{g.Rule, string(g.Stage)}
		if count[a]++; count[a] == 1 {
			order, first[a] = append(order, a), g.Vehicle
		}
	}
	for len(order) > 0 {
		a := order[0]
		var stages []string
		var rest []alarm
		for _, b := range order {
			if b.rule == a.rule && first[b] == first[a] && count[b] == count[a] {
				stages = append(stages, b.stage)
			} else {
				rest = append(rest, b)
			}
		}
		order = rest
		more := ""
		if n := count[a]; n > 1 {
			more = fmt.Sprintf(" and %d more", n-1)
		}
		out = append(out, fmt.Sprintf("of %q at %s on %s%s", a.rule, english.List("or", stages), first[a], more))
	}
	return out
}

package people

import (
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/expr-lang/expr/vm"
	"gopkg.in/yaml.v3"

	"telltale/engine/alarm"
)

// theirOwn in "who" means the people that the vehicle's register names.
const theirOwn = "people of the vehicle"

// hearing is how a person hears of something; the greater one wins where several
// entries match, so that never makes exceptions.
type hearing uint8

const (
	notAtAll hearing = iota
	inDigest
	atOnce
	never
)

var stages = []string{string(alarm.Soon), string(alarm.Due), string(alarm.Overdue), string(alarm.Advisory), string(alarm.Caution), string(alarm.Warning)}

// entry is one entry of tell.
type entry struct {
	name   string
	who    []string // ids
	own    bool     // and the people of the vehicle
	where  *vm.Program
	text   string        // of where
	stages []alarm.Stage // empty: all
	when   hearing
	by     []string // ways; empty: all that the person has

	remind   time.Duration // while nobody acknowledges; 0 never
	standIn  time.Duration // until standIns are told
	standIns []string      // ids
}

func (r *reader) entry(name, n *yaml.Node) *entry {
	what := fmt.Sprintf("tell %q", name.Value)
	m := r.Mapping(n, what, "who", "where", "stages", "when", "by", "remind after", "stand-in", "stand-in after")
	e := &entry{
		name:  name.Value,
		where: r.condition(m["where"]),
		text:  text(m["where"]),
		when:  []hearing{atOnce, inDigest, never}[r.Choice(m["when"], "when", "at once", "digest", "never")],
	}
	for _, s := range r.Items(m["stages"], "stages") {
		e.stages = append(e.stages, alarm.Stage(r.oneOf(s, "a stage", stages)))
	}
	for _, b := range r.Items(m["by"], "by") {
		e.by = append(e.by, r.oneOf(b, "by", WayNames()))
	}
	e.who, e.own = r.who(m["who"])
	r.chase(e, name, m)
	if n := m["who"]; n == nil || n.Kind == yaml.SequenceNode && len(n.Content) == 0 {
		r.Fault(name, fmt.Sprintf("say who, like \"who: [%s]\"", theirOwn), "%s does not say who gets the messages", what)
	}
	return e
}

// text is what a condition says; "" for none.
func text(n *yaml.Node) string {
	if n == nil {
		return ""
	}
	return n.Value
}

// chase reads what happens while nobody acknowledges.
func (r *reader) chase(e *entry, name *yaml.Node, m map[string]*yaml.Node) {
	e.remind, e.standIn = r.after(m["remind after"], "remind after"), r.after(m["stand-in after"], "stand-in after")
	ids, own := r.who(m["stand-in"])
	e.standIns = ids
	switch {
	case own:
		r.Fault(m["stand-in"], "", "name the stand-ins: they cannot be the people of the vehicle")
	case (m["stand-in"] == nil) != (m["stand-in after"] == nil):
		r.Fault(name, "give both, like \"stand-in: [ines]\" and \"stand-in after: 4 days\"", "stand-in and stand-in after go together")
	case e.when != atOnce && e.remind+e.standIn > 0:
		r.Fault(name, "remove them, or write `when: at once`", "reminders and stand-ins go with `when: at once`")
	}
}

// who reads people that are told of something, see ids.
func (r *reader) who(n *yaml.Node) (ids []string, own bool) {
	for _, w := range r.Items(n, "who") {
		if p := r.people[w.Value]; p != nil && len(p.Ways()) == 0 {
			r.Fault(w, "", "who: %q has no mail, webhook, nats or file, so no message can reach them", p.ID)
		}
	}
	return r.ids(n)
}

// ids reads people by id, by group, or as those of the vehicle.
func (r *reader) ids(n *yaml.Node) (ids []string, own bool) {
	for _, w := range r.Items(n, "who") {
		id, ok := r.Given(w, "who")
		p := r.people[id]
		switch {
		case !ok: // said already
		case id == theirOwn:
			own = true
			continue
		case p == nil && r.named[id] != nil:
			ids = append(ids, r.named[id]...)
			continue
		case p == nil:
			r.Fault(w, r.DidYouMean(id, r.known(), ""), "who: there is no person or group %q", id)
		}
		ids = append(ids, id)
	}
	return ids, own
}

// known are the ids and groups, and the people of the vehicle.
func (r *reader) known() []string {
	return append(slices.Concat(slices.Sorted(maps.Keys(r.people)), slices.Sorted(maps.Keys(r.named))), theirOwn)
}

package notify

import (
	"fmt"
	"slices"
	"strings"

	"github.com/expr-lang/expr/vm"
	"gopkg.in/yaml.v3"
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

var (
	hearings  = map[string]hearing{"digest": inDigest, "at once": atOnce, "never": never}
	entryKeys = []string{"who", "where", "stages", "when", "by"}
	stages    = []string{"soon", "due", "overdue", "advisory", "caution", "warning"}
)

// entry is one entry of tell.
type entry struct {
	name   string
	who    []string // ids
	own    bool     // and the people of the vehicle
	where  *vm.Program
	stages []string // empty: all
	when   hearing
}

func (r *reader) entry(name, n *yaml.Node, people map[string]*Person) *entry {
	e := &entry{name: name.Value, when: atOnce}
	what := fmt.Sprintf("tell %q", name.Value)
	r.mapping(n, what, entryKeys, func(key, val *yaml.Node) bool {
		switch key.Value {
		case "who":
			r.who(e, val, people)
		case "where":
			e.where = r.condition(val)
		case "stages":
			for _, s := range r.list(val, "stages") {
				e.stages = append(e.stages, r.oneOf(s, "a stage", stages...))
			}
		case "when":
			e.when = hearings[r.oneOf(val, "when", "at once", "digest", "never")]
		case "by":
			r.oneOf(val, "by", "mail")
		}
		return slices.Contains(entryKeys, key.Value)
	})
	if len(e.who) == 0 && !e.own {
		r.fault(name, "%s tells nobody; say who, like \"who: [%s]\"", what, theirOwn)
	}
	return e
}

func (r *reader) who(e *entry, n *yaml.Node, people map[string]*Person) {
	for _, w := range r.list(n, "who") {
		p := people[w.Value]
		switch {
		case w.Value == theirOwn:
			e.own = true
			continue
		case p == nil:
			r.fault(w, "who: nobody called %q in people", w.Value)
		case p.Mail == "":
			r.fault(w, "who: %q has no mail to be told by", w.Value)
		}
		e.who = append(e.who, w.Value)
	}
}

// subject is what an entry is asked about.
type subject struct {
	env
	stages []string // any of them will do
}

// hears returns how the person hears of it, and the name of the entry that says so.
func (d *Directory) hears(p *Person, s *subject) (hearing, string) {
	how, why := notAtAll, ""
	if p.Mail == "" {
		return how, why
	}
	for _, e := range d.entries {
		if e.when > how && e.matches(p.ID, s) {
			how, why = e.when, e.name
		}
	}
	return how, why
}

func (e *entry) matches(id string, s *subject) bool {
	if !slices.Contains(e.who, id) && !(e.own && slices.Contains(s.Vehicle.People, id)) {
		return false
	}
	ofStage := func(stage string) bool { return slices.Contains(s.stages, stage) }
	if len(e.stages) > 0 && !slices.ContainsFunc(e.stages, ofStage) {
		return false
	}
	if e.where == nil {
		return true
	}
	// A condition is tried for each stage that it may be about.
	return slices.ContainsFunc(s.stages, func(stage string) bool {
		if len(e.stages) > 0 && !slices.Contains(e.stages, stage) {
			return false
		}
		about := s.env
		about.Stage = stage
		return holds(e.where, about, e.when != never)
	})
}

// describe names the entry as the foot of a message does.
func describe(entries []string) string {
	slices.Sort(entries)
	return strings.Join(slices.Compact(entries), ", ")
}

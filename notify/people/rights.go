package people

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/parser"
	"github.com/expr-lang/expr/vm"
	"gopkg.in/yaml.v3"

	"telltale/notify/rights"
)

// right is one entry of rights: who may do what a role may, to which vehicles.
type right struct {
	name  string
	who   []string // ids
	own   bool     // and the people of the vehicle, to theirs
	role  rights.Role
	where *vm.Program // nil: all vehicles
	text  string      // of where
}

// rights reads who may do what; all is nil where the file does not say.
func (r *reader) rights(n *yaml.Node) (all []*right) {
	if n == nil {
		return nil
	}
	all = []*right{}
	runs := false
	for _, p := range r.Entries(n, "rights") {
		e := r.right(p.Key, p.Value)
		all = append(all, e)
		runs = runs || e.role == rights.Operator && e.where == nil && len(e.who) > 0
	}
	if !runs {
		r.Fault(n, "add an entry like `the office: {who: [ines], may: operator}`", "rights gives nobody all vehicles, so nobody could run the service")
	}
	slices.SortFunc(all, func(a, b *right) int { return strings.Compare(a.name, b.name) })
	return all
}

func (r *reader) right(name, n *yaml.Node) *right {
	what := fmt.Sprintf("rights %q", name.Value)
	m := r.Mapping(n, what, "who", "may", "where")
	e := &right{name: name.Value, where: r.ofVehicle(m["where"]), text: text(m["where"])}
	e.who, e.own = r.ids(m["who"])
	if w := m["who"]; w == nil || w.Kind == yaml.SequenceNode && len(w.Content) == 0 {
		r.Fault(name, fmt.Sprintf("say who, like \"who: [%s]\"", theirOwn), "%s does not say who", what)
	}
	if m["may"] == nil {
		r.Fault(name, "say what, like `may: keeper`; there are "+strings.Join(rights.Roles(), ", "), "%s does not say what they may do", what)
	}
	e.role = rights.Role(r.Choice(m["may"], "may", rights.Roles()...))
	if e.own && e.role == rights.Operator {
		r.Fault(m["may"], "write `may: keeper` for the people of a vehicle", "%s: an operator runs the service, and is named", what)
	}
	return e
}

// ofVehicle reads a condition that asks of the vehicle alone: a right does not come and go
// with an alarm.
func (r *reader) ofVehicle(n *yaml.Node) *vm.Program {
	if n == nil {
		return nil
	}
	if tree, err := parser.Parse(n.Value); err == nil {
		g := &others{}
		if ast.Walk(&tree.Node, g); g.asked != "" {
			r.Fault(n, `compare the vehicle's id, kind, tags or people, like vehicle.tags["depot"] == "north"`, "where: a right cannot hang on %s", g.asked)
			return nil
		}
	}
	return r.condition(n)
}

// others notes what a condition asks that is not of the vehicle.
type others struct{ asked string }

func (o *others) Visit(n *ast.Node) {
	if id, ok := (*n).(*ast.IdentifierNode); ok && id.Value != "vehicle" && !strings.HasPrefix(id.Value, "$") {
		o.asked = id.Value
	}
}

// grant is a role that somebody has, over some vehicles.
type grant struct {
	role  rights.Role
	own   string      // the person whose vehicles they are; "" for those of where
	where *vm.Program // nil: all
	text  string
}

func (g *grant) over(v *Vehicle) bool {
	if g.own != "" && !slices.Contains(v.People, g.own) {
		return false
	}
	// What cannot be decided is not allowed.
	return g.where == nil || holds(g.where, env{Vehicle: *v}, false)
}

// Access is what somebody may do. The zero Access may do nothing. It is immutable and safe
// for concurrent use.
type Access struct{ grants []grant }

// Everything is what whoever sits at the service's own machine may do.
func Everything() Access { return Access{[]grant{{role: rights.Operator}}} }

// Access is what a person may do. Where people.yaml says nothing of rights, operators may do
// everything, and the people of a vehicle are its keepers; who is the only person, and names
// no operator, is one.
func (d *Directory) Access(id string) Access {
	if d.people[id] == nil {
		return Access{}
	}
	var a Access
	if d.rights == nil {
		if slices.Contains(d.operators, id) || len(d.operators) == 0 && len(d.people) == 1 {
			a.grants = append(a.grants, grant{role: rights.Operator})
		}
		a.grants = append(a.grants, grant{role: rights.Keeper, own: id})
		return a
	}
	for _, e := range d.rights {
		switch {
		case slices.Contains(e.who, id):
			a.grants = append(a.grants, grant{role: e.role, where: e.where, text: e.text})
		case e.own:
			a.grants = append(a.grants, grant{role: e.role, own: id, where: e.where, text: e.text})
		}
	}
	return a
}

// AccessBy is what a tablet may do that was paired for an entry of rights. Nobody runs the
// service from one.
func (d *Directory) AccessBy(entry string) Access {
	for _, e := range d.rights {
		if e.name == entry && e.role != rights.Operator && len(e.who) > 0 {
			return Access{[]grant{{role: e.role, where: e.where, text: e.text}}}
		}
	}
	return Access{}
}

// Pairable are the entries of rights for which a tablet can be paired, by name.
func (d *Directory) Pairable() (names []string) {
	for _, e := range d.rights {
		if e.role != rights.Operator && len(e.who) > 0 {
			names = append(names, e.name)
		}
	}
	return names
}

// HasRights reports whether people.yaml says who may do what.
func (d *Directory) HasRights() bool { return d.rights != nil }

// Runs reports whether anybody may run the service.
func (d *Directory) Runs() bool {
	return slices.ContainsFunc(d.People(), func(p *Person) bool { return d.Access(p.ID).Allows(rights.Watch, Vehicle{}) })
}

// all reports whether the role is over all vehicles.
func (g *grant) all() bool { return g.own == "" && g.where == nil }

// Allows reports whether the verb is allowed on the vehicle; one of the service is asked
// with any. What is of the service speaks of the whole fleet, so it needs a role over all
// vehicles: whoever may watch sees every vehicle.
func (a Access) Allows(verb rights.Verb, v Vehicle) bool {
	if verb == rights.Anyone || verb == rights.Open {
		return true
	}
	return slices.ContainsFunc(a.grants, func(g grant) bool {
		return rights.Allows(g.role, verb) && (g.all() || verb.OfVehicle() && g.over(&v))
	})
}

// Anywhere reports whether the verb may be allowed on some vehicle.
func (a Access) Anywhere(verb rights.Verb) bool {
	if !verb.OfVehicle() {
		return a.Allows(verb, Vehicle{})
	}
	return slices.ContainsFunc(a.grants, func(g grant) bool { return rights.Allows(g.role, verb) })
}

// Roles are what somebody is to the vehicle, each once, in their order.
func (a Access) Roles(v Vehicle) (out []rights.Role) {
	for _, g := range a.grants {
		if g.over(&v) {
			out = append(out, g.role)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// May names who may do something to a vehicle, for people who may not: an entry of rights
// that is of several people by its name, else the person.
func (d *Directory) May(verb rights.Verb, v Vehicle) (names []string) {
	add := func(ids ...string) {
		for _, id := range ids {
			if p := d.people[id]; p != nil && !slices.Contains(names, p.Name) {
				names = append(names, p.Name)
			}
		}
	}
	if d.rights == nil {
		for _, p := range d.People() {
			if d.Access(p.ID).Allows(verb, v) {
				add(p.ID)
			}
		}
		return names
	}
	for _, e := range d.rights {
		g := grant{role: e.role, where: e.where}
		switch {
		case !rights.Allows(e.role, verb) || !g.all() && !(verb.OfVehicle() && g.over(&v)):
		case len(e.who) > 1:
			names = append(names, e.name)
		default:
			add(e.who...)
		}
		if e.own && rights.Allows(e.role, verb) && g.over(&v) {
			add(v.People...)
		}
	}
	return names
}

// seen is one line of on which vehicles something is allowed, see [Access.Over].
type seen struct {
	All   bool   `json:"all,omitempty"`
	Own   string `json:"own,omitempty"` // the person whose vehicles they are
	Where string `json:"where,omitempty"`
}

// Sees says as a text which vehicles somebody may see at all, see [Access.Over].
func (a Access) Sees() string { return a.Over(rights.Glance) }

// Over says as a text on which vehicles a verb is allowed, for [ReadSees]; "" for all. It
// goes with each question, so that counts, pages and searches are of these vehicles.
func (a Access) Over(verb rights.Verb) string {
	list := []seen{}
	for _, g := range a.grants {
		if !rights.Allows(g.role, verb) {
			continue
		}
		if g.all() {
			return ""
		}
		if s := (seen{Own: g.own, Where: g.text}); !slices.Contains(list, s) {
			list = append(list, s)
		}
	}
	text, err := json.Marshal(list)
	if err != nil {
		return "[]" // nothing is better than everything
	}
	return string(text)
}

// ReadSees reads a text of [Access.Sees]. A text that cannot be read is an error, and shows
// nothing.
func ReadSees(text string) (sees func(Vehicle) bool, err error) {
	if text == "" {
		return func(Vehicle) bool { return true }, nil
	}
	nothing := func(Vehicle) bool { return false }
	var list []seen
	if err := json.Unmarshal([]byte(text), &list); err != nil {
		return nothing, fmt.Errorf("reading which vehicles may be seen: %w", err)
	}
	var a Access
	for _, s := range list {
		g := grant{role: rights.Look, own: s.Own}
		switch {
		case s.Where != "":
			if g.where, err = condition(s.Where); err != nil {
				return nothing, fmt.Errorf("reading which vehicles may be seen: %w", err)
			}
		case s.Own == "" && !s.All:
			continue // says nothing, and must not mean all
		}
		a.grants = append(a.grants, g)
	}
	return func(v Vehicle) bool { return a.Allows(rights.Glance, v) }, nil
}

package people

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/expr-lang/expr/vm"
	"github.com/nats-io/nkeys"
	"gopkg.in/yaml.v3"

	"telltale/engine/event"
)

// Program is something that speaks to the service by itself: a gateway, a laboratory's
// computer, a till. It signs in by a key over NATS, or by a token over HTTP.
type Program struct {
	ID string
	// Key is the public half of its key, U…; "" where it has none.
	Key string
	// TokenFile holds the SHA-256 of its token; "" where it has none.
	TokenFile string
	// Sends are the kinds of events that it may send, as in the type telltale.<kind>.v1.
	Sends []string
	// Where says of which vehicles; "" for all.
	Where string
	// Asks: it may ask all that can be asked, of all vehicles.
	Asks bool
	// Operator: it may do what whoever can read the service's folder may.
	Operator bool

	where       *vm.Program
	first, last int // its lines in people.yaml
}

// MaySend reports whether the program may send events of the kind of a vehicle.
func (p *Program) MaySend(kind string, v Vehicle) bool {
	return slices.Contains(p.Sends, kind) && p.Speaks(v)
}

// Speaks reports whether the vehicle is one of those of which the program may send at all.
func (p *Program) Speaks(v Vehicle) bool {
	// What cannot be decided is not allowed.
	return p.where == nil || holds(p.where, env{Vehicle: v}, false)
}

// Programs are the programs that may speak to the service, by id.
func (d *Directory) Programs() []*Program {
	return slices.SortedFunc(maps.Values(d.programs), func(a, b *Program) int { return strings.Compare(a.ID, b.ID) })
}

// LinesOf are the first and the last line of a program in people.yaml, from 1; zero for one
// that is not there.
func (d *Directory) LinesOf(id string) (first, last int) {
	if p := d.programs[id]; p != nil {
		return p.first, p.last
	}
	return 0, 0
}

// Closed reports whether nothing speaks to the service over NATS that does not sign in:
// where the file says which programs there are, even if it names none, or who may do what.
// Without a key a process on the service's machine could write whatever the service keeps,
// and so sign itself in as anybody.
func (d *Directory) Closed() bool { return d.programs != nil || d.rights != nil }

// Kinds are those of which a program can send events.
func Kinds() (names []string) {
	for k := event.VehicleEvent; !k.Internal(); k++ {
		names = append(names, k.String())
	}
	return names
}

// programs reads them; nil where the file says nothing of programs.
func (r *reader) programs(n *yaml.Node) map[string]*Program {
	if n == nil {
		return nil
	}
	all, keys := map[string]*Program{}, map[string]string{}
	for _, e := range r.Entries(n, "programs") {
		p := r.program(e.Key, e.Value)
		if other := keys[p.Key]; p.Key != "" && other != "" {
			r.Fault(e.Key, "make one for each: telltale programs add "+p.ID, "program %q has the same key as %q", p.ID, other)
		}
		all[p.ID], keys[p.Key] = p, p.ID
	}
	return all
}

func (r *reader) program(id, n *yaml.Node) *Program {
	what := fmt.Sprintf("program %q", id.Value)
	if !plainID.MatchString(id.Value) {
		r.Fault(id, "", "%s: a name has at most 64 letters, digits, - and _", what)
	}
	m := r.Mapping(n, what, "key", "token file", "sends", "where", "asks", "operator")
	p := &Program{
		first: id.Line, last: lastLine(n),
		ID: id.Value, Key: r.key(m["key"]), TokenFile: r.Text(m["token file"], "token file"),
		where: r.ofVehicle(m["where"]), Where: text(m["where"]),
		Asks: r.Yes(m["asks"], "asks", false), Operator: r.Yes(m["operator"], "operator", false),
	}
	for _, s := range r.Items(m["sends"], "sends") {
		if kind := r.oneOf(s, "sends", Kinds()); !slices.Contains(p.Sends, kind) {
			p.Sends = append(p.Sends, kind)
		}
	}
	if m["token file"] != nil {
		r.on = append(r.on, onDisk{m["token file"], p.TokenFile, ofToken})
	}
	r.fits(p, id, m, what)
	return p
}

// lastLine is the last line on which something of the node stands.
func lastLine(n *yaml.Node) int {
	last := n.Line
	for _, c := range n.Content {
		last = max(last, lastLine(c))
	}
	if n.Kind == yaml.ScalarNode {
		last += strings.Count(strings.TrimSuffix(n.Value, "\n"), "\n")
	}
	return last
}

// fits reports what does not go together.
func (r *reader) fits(p *Program, id *yaml.Node, m map[string]*yaml.Node, what string) {
	if m["key"] == nil && m["token file"] == nil {
		r.Fault(id, "make a key, or a token, and paste what it prints: telltale programs add "+id.Value, "%s cannot sign in: it has no key and no token file", what)
	}
	if m["key"] == nil && (p.Asks || p.Operator) {
		r.Fault(id, "give it a key: telltale programs add "+id.Value, "%s: by a token one can only send", what)
	}
	if p.Operator && (m["sends"] != nil || m["where"] != nil || m["asks"] != nil) {
		r.Fault(m["operator"], "delete `sends`, `where` and `asks`, or `operator`", "%s: an operator may send and ask everything", what)
	}
	if len(p.Sends) == 0 && m["sends"] == nil && !p.Asks && !p.Operator {
		r.Fault(id, "say what it sends, like `sends: [reading]`; there are "+strings.Join(Kinds(), ", "), "%s may do nothing", what)
	}
	if m["where"] != nil && m["sends"] == nil && !p.Operator {
		r.Fault(m["where"], "delete it: what is asked is answered for all vehicles", "%s: where says of which vehicles it sends, and it sends nothing", what)
	}
}

// key reads the public half of a key. The secret one is told without being shown: what is
// wrong with a file goes into logs.
func (r *reader) key(n *yaml.Node) string {
	s, ok := r.Given(n, "key")
	switch {
	case !ok:
		return ""
	case strings.HasPrefix(s, "SU") || strings.HasPrefix(s, "-----"):
		f := r.NewFault(n, "take it out, make a new one with telltale programs add, and keep the secret half where the program runs", "key is the secret half of a key, which must not be here")
		f.Source = ""
		r.Add(f)
	case !nkeys.IsValidPublicUserKey(s):
		r.Fault(n, "telltale programs add makes one", "key %q is not the public half of a user's key, U and 55 capital letters and digits", s)
	}
	return s
}

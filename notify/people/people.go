// Package people is people.yaml, read and checked: who there is, how each is reached
// and reads, and who hears of which stages of which vehicles, at once, in the daily
// list or never.
//
// A Directory answers for one thing that can be heard of (a Subject) who hears of it,
// by which ways, and whom to ask next while nobody acknowledges. Turns says whose list
// is due by the clock. All of it is a function of what it is given.
package people

import (
	"fmt"
	"maps"
	"os"
	"regexp"
	"slices"
	"strings"
	"time"
	_ "time/tzdata" // zones must not hang on the machine

	"gopkg.in/yaml.v3"

	"telltale/notify/page"
	"telltale/rules/english"
	"telltale/rules/source"
	"telltale/rules/unit"
	"telltale/rules/zone"
)

// DateOrder is how a person reads dates; the month is always written in letters
// but in YearFirst.
type DateOrder uint8

// The orders: "3 Feb 2031", "Feb 3, 2031", "2031-02-03".
const (
	DayFirst DateOrder = iota
	MonthFirst
	YearFirst
)

// Person is someone who hears of things.
type Person struct {
	ID   string
	Name string
	// To is where each way leads: to a bare mail address, a URL that is called, a NATS
	// subject or a folder. Calls are signed with the secret in SecretFile.
	To         map[string]string
	SecretFile string
	// Subject is what the fleet's own sign-in knows the person by; "" where they sign in here.
	Subject string

	Zone *time.Location
	// Distance, Volume, Temperature and Pressure are the units in which the person reads;
	// "" where the folder says, see [Directory.Reading].
	Distance, Volume, Temperature, Pressure string

	Dates DateOrder
	// DecimalComma: the person types 4,5 for four and a half, and not 4.5.
	DecimalComma bool
	Spelling     english.Spelling
	// Digest is the cron specification of the daily list, "" for none. The times
	// are those of the clock on the person's wall.
	Digest string
	// SayNothingDue sends the list even when nothing is on it.
	SayNothingDue bool
	// OnlyChanges sends no list on which the same lines stand as on the one before.
	OnlyChanges bool

	Form Form // of the list

	turn     *schedule // nil without a digest
	quiet    quietHours
	holidays holidays // everyone's, and their own
}

// Directory is people.yaml, checked. It is immutable and safe for concurrent use;
// the zero Directory knows nobody.
type Directory struct {
	people    map[string]*Person
	entries   []*entry // by name
	operators []string
	rights    []*right            // by name; nil where the file does not say
	programs  map[string]*Program // nil where the file does not say

	file *source.Document
	on   []onDisk
}

// Anyone is someone of whom nothing is known but the id, as who has gone from
// people.yaml since.
func Anyone(id string) *Person {
	return &Person{ID: id, Name: id, Zone: time.UTC}
}

// Person returns the person of that id, nil where there is none.
func (d *Directory) Person(id string) *Person { return d.people[id] }

// People returns everyone, by id.
func (d *Directory) People() []*Person {
	return slices.SortedFunc(maps.Values(d.people), func(a, b *Person) int { return strings.Compare(a.ID, b.ID) })
}

// Operators are those who hear of the service's own troubles, by id.
func (d *Directory) Operators() []string { return d.operators }

// Load reads people.yaml at path. What is wrong in it is a source.Faults, all at once.
func Load(path string) (*Directory, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("reading people: %w", err)
	}
	return Parse(path, text)
}

// Parse reads the text of people.yaml; name stands in the faults.
func Parse(name string, text []byte) (*Directory, error) {
	s, root := source.Read(name, text)
	if root == nil {
		return nil, s.Err()
	}
	r := &reader{Document: s, people: map[string]*Person{}}
	d := &Directory{people: r.people}
	top := r.Mapping(root, "the file", "people", "groups", "operator", "holidays", "tell", "rights", "programs")
	r.free = r.holidays(top["holidays"])
	// In this order, wherever they stand: what comes later names what comes before.
	if n := top["people"]; n != nil {
		for _, p := range r.Entries(n, "people") {
			r.people[p.Key.Value] = r.person(p.Key, p.Value)
		}
	}
	if n := top["groups"]; n != nil {
		r.named = r.groups(n)
	}
	d.operators = r.operators(top["operator"])
	d.rights = r.rights(top["rights"])
	d.programs = r.programs(top["programs"])
	if n := top["tell"]; n != nil {
		for _, p := range r.Entries(n, "tell") {
			d.entries = append(d.entries, r.entry(p.Key, p.Value))
		}
	}
	slices.SortFunc(d.entries, func(a, b *entry) int { return strings.Compare(a.name, b.name) })
	if err := s.Err(); err != nil {
		return nil, err
	}
	d.file, d.on = s, r.on
	return d, nil
}

// reader reads people.yaml part by part; all faults are collected.
type reader struct {
	*source.Document
	people map[string]*Person
	named  map[string][]string // groups
	free   holidays            // everyone's
	on     []onDisk
}

// oneOf is the one of all that n says, the first where it says nothing.
func (r *reader) oneOf(n *yaml.Node, what string, all []string) string {
	return all[r.Choice(n, what, all...)]
}

// unit is the unit that n chooses; "" where it says nothing.
func (r *reader) unit(n *yaml.Node, what string, k unit.Kind) string {
	if n == nil {
		return ""
	}
	return r.oneOf(n, what, unit.Read(k))
}

var dateOrders = []string{DayFirst: "day first", MonthFirst: "month first", YearFirst: "year first"}

// Form is for whom a list is laid out.
type Form uint8

// The forms: by stage, with a box to tick and what to have ready; by vehicle, in the
// words of a mail; counts and what changed in them, then the worst.
const (
	ForWorkshop Form = iota
	ForOwner
	ForOperator
)

var forms = []string{ForWorkshop: "workshop", ForOwner: "owner", ForOperator: "operator"}

func (r *reader) person(id, n *yaml.Node) *Person {
	what := fmt.Sprintf("person %q", id.Value)
	if !plainID.MatchString(id.Value) {
		r.Fault(id, "", "%s: an id has at most 64 letters, digits, - and _", what)
	}
	m := r.Mapping(n, what, "name", "mail", "zone", "distance", "volume", "temperature", "pressure", "dates", "numbers", "spelling", "digest", "list", "nothing due", "unchanged", "quiet", "holidays", "webhook", "nats", "file", "subject")
	p := &Person{
		ID: id.Value, Name: id.Value, Zone: r.zone(m["zone"]),
		Distance:      r.unit(m["distance"], "distance", unit.Distance),
		Volume:        r.unit(m["volume"], "volume", unit.Volume),
		Temperature:   r.unit(m["temperature"], "temperature", unit.Temperature),
		Pressure:      r.unit(m["pressure"], "pressure", unit.Pressure),
		Spelling:      english.Spelling(r.Choice(m["spelling"], "spelling", english.Spellings()...)),
		DecimalComma:  r.Choice(m["numbers"], "numbers", "point", "comma") == 1,
		SayNothingDue: r.Choice(m["nothing due"], "nothing due", "silent", "say so") == 1,
	}
	if p.Dates = DateOrder(r.Choice(m["dates"], "dates", dateOrders...)); m["dates"] == nil && p.Spelling == english.American {
		p.Dates = MonthFirst
	}
	p.Form = Form(r.Choice(m["list"], "list", forms...))
	p.OnlyChanges = r.Choice(m["unchanged"], "unchanged", "say so", "silent") == 1
	if name, ok := r.Given(m["name"], "name"); ok {
		p.Name = page.Clean(name, 120)
	}
	p.quiet, p.holidays = r.quiet(m["quiet"]), slices.Concat(r.free, r.holidays(m["holidays"]))
	p.To = r.ways(m, p)
	p.Subject = r.subjectOf(m["subject"])
	p.Digest, p.turn = r.schedule(m["digest"])
	if m["digest"] != nil && m["mail"] == nil {
		r.Fault(id, "", "%s has a digest but no mail to send it to", what)
	}
	return p
}

var plainID = regexp.MustCompile(`^[A-Za-z0-9_-]{1,64}$`)

func (r *reader) zone(n *yaml.Node) *time.Location {
	s, ok := r.Given(n, "zone")
	if !ok {
		return time.UTC
	}
	z, err := time.LoadLocation(s)
	// "Local" would make the list hang on the machine it runs on.
	if err != nil || s == "Local" {
		r.Fault(n, zone.Hint(s), "zone %q is not known", s)
		return time.UTC
	}
	return z
}

// operators reads who hears of the service's own troubles.
func (r *reader) operators(n *yaml.Node) []string {
	ids, own := r.who(n)
	if own {
		r.Fault(n, "name people", "operator cannot be the people of a vehicle")
	}
	slices.Sort(ids)
	return slices.Compact(ids)
}

// groups reads the names for several people that who may use.
func (r *reader) groups(n *yaml.Node) map[string][]string {
	out := map[string][]string{}
	for _, p := range r.Entries(n, "groups") {
		name := p.Key.Value
		if r.people[name] != nil || name == theirOwn {
			r.Fault(p.Key, "", "group %q has the same name as a person", name)
		}
		ids, own := r.who(p.Value)
		if own || len(ids) == 0 {
			r.Fault(p.Key, "", "group %q must name people", name)
		}
		out[name] = ids
	}
	return out
}

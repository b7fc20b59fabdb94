package notify

import (
	"fmt"
	"maps"
	"net/mail"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
	_ "time/tzdata" // zones must not hang on the machine

	"gopkg.in/yaml.v3"
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
	ID       string
	Name     string
	Mail     string // a bare address; "" where mail cannot reach them
	Zone     *time.Location
	Distance string // km or mi
	Volume   string // L, qt or gal
	Dates    DateOrder
	// Digest is the cron specification of the daily list, "" for none. The times
	// are those of the clock on the person's wall.
	Digest string
	// SayNothingDue sends the list even when nothing is on it.
	SayNothingDue bool

	turn *schedule // nil without a digest
}

// Directory is people.yaml, checked. It is immutable and safe for concurrent use;
// the zero Directory knows nobody.
type Directory struct {
	people  map[string]*Person
	entries []*entry // by name
}

// Person returns the person of that id, nil where there is none.
func (d *Directory) Person(id string) *Person { return d.people[id] }

// People returns everyone, by id.
func (d *Directory) People() []*Person {
	out := make([]*Person, 0, len(d.people))
	for _, id := range slices.Sorted(maps.Keys(d.people)) {
		out = append(out, d.people[id])
	}
	return out
}

// Load reads people.yaml at path. What is wrong in it is a rules.Faults, all at once.
func Load(path string) (*Directory, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("reading people: %w", err)
	}
	return Parse(filepath.Base(path), text)
}

// Parse reads the text of people.yaml; name stands in the faults.
func Parse(name string, text []byte) (*Directory, error) {
	r := &reader{file: name}
	d := &Directory{people: map[string]*Person{}}
	root := r.document(text)
	if root == nil {
		return d, r.err()
	}
	var tell *yaml.Node
	r.mapping(root, "the file", topKeys, func(key, val *yaml.Node) bool {
		switch key.Value {
		case "people":
			r.mapping(val, "people", nil, func(id, v *yaml.Node) bool {
				d.people[id.Value] = r.person(id, v)
				return true
			})
		case "tell":
			tell = val // after people, wherever it stands: entries name them
		}
		return slices.Contains(topKeys, key.Value)
	})
	if tell != nil {
		r.mapping(tell, "tell", nil, func(name, v *yaml.Node) bool {
			d.entries = append(d.entries, r.entry(name, v, d.people))
			return true
		})
	}
	slices.SortFunc(d.entries, func(a, b *entry) int { return strings.Compare(a.name, b.name) })
	if err := r.err(); err != nil {
		return nil, err
	}
	return d, nil
}

var (
	topKeys    = []string{"people", "tell"}
	personKeys = []string{"name", "mail", "zone", "distance", "volume", "dates", "digest", "nothing due"}
	dateOrders = []string{DayFirst: "day first", MonthFirst: "month first", YearFirst: "year first"}
)

func (r *reader) person(id, n *yaml.Node) *Person {
	p := &Person{ID: id.Value, Name: id.Value, Zone: time.UTC, Distance: "km", Volume: "L"}
	what := fmt.Sprintf("person %q", id.Value)
	if !plainID(id.Value) {
		r.fault(id, "%s: an id is made of letters, digits, - and _, at most 64", what)
	}
	r.mapping(n, what, personKeys, func(key, val *yaml.Node) bool {
		switch key.Value {
		case "name":
			p.Name = clean(r.text(val, "name"), 120)
		case "mail":
			p.Mail = r.address(val)
		case "zone":
			p.Zone = r.zone(val)
		case "distance":
			p.Distance = r.oneOf(val, "distance", "km", "mi")
		case "volume":
			p.Volume = r.oneOf(val, "volume", "L", "qt", "gal")
		case "dates":
			p.Dates = DateOrder(max(0, slices.Index(dateOrders, r.oneOf(val, "dates", dateOrders...))))
		case "digest":
			p.Digest = r.text(val, "digest")
			p.turn = r.schedule(val)
		case "nothing due":
			p.SayNothingDue = r.oneOf(val, "nothing due", "silent", "say so") == "say so"
		}
		return slices.Contains(personKeys, key.Value)
	})
	if p.Digest != "" && p.Mail == "" {
		r.fault(id, "%s has a digest but no mail to send it to", what)
	}
	return p
}

func plainID(s string) bool {
	bad := func(c rune) bool {
		return (c < 'a' || c > 'z') && (c < 'A' || c > 'Z') && (c < '0' || c > '9') && c != '-' && c != '_'
	}
	return s != "" && len(s) <= 64 && strings.IndexFunc(s, bad) < 0
}

// address takes a bare address in ASCII. Others would need every server on the
// way to speak SMTPUTF8 (RFC 6531), which cannot be known at load.
func (r *reader) address(n *yaml.Node) string {
	s := r.text(n, "mail")
	if s == "" {
		return ""
	}
	a, err := mail.ParseAddress(s)
	switch {
	case err != nil || a.Address != s || len(s) > 254 || strings.ContainsAny(s, "\"\\ "):
		r.fault(n, "mail %q is not an address like ines@example.org", s)
	case strings.IndexFunc(s, func(c rune) bool { return c > 126 || c < 33 }) >= 0:
		r.fault(n, "mail %q has letters beyond ASCII; write the domain in its xn-- form", s)
	default:
		return s
	}
	return ""
}

func (r *reader) zone(n *yaml.Node) *time.Location {
	s := r.text(n, "zone")
	z, err := time.LoadLocation(s)
	// "Local" would make the list hang on the machine it runs on.
	if err != nil || s == "Local" || s == "" {
		r.fault(n, "zone %q is not known; it is a name like Europe/London", s)
		return time.UTC
	}
	return z
}

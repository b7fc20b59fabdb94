package listing

import (
	"fmt"
	"iter"
	"slices"
	"strings"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/event"
)

// How vehicles stand, where a list is to have some alone.
const (
	InService    = "in service"
	OutOfService = "out of service"
	Retired      = "retired"
)

// VehicleQuery says which vehicles a list has, and which of them are on the page. What is
// empty asks for nothing.
type VehicleQuery struct {
	Q, Tag, Kind, Person string // as in Query
	State                string // InService, OutOfService or Retired
	// Silent keeps those in service of which nothing told a meter for more than so many days.
	Silent int
	Sight  *Sight // as in Query
	// After and Before are the vehicle that the page follows, or comes before.
	After, Before string
	Limit         int
}

// Check says what is wrong with the question, as a *Fault.
func (q *VehicleQuery) Check() error {
	_, err := limitOf(q.Limit, q.After, q.Before)
	switch {
	case err != nil:
		return err
	case q.State != "" && q.State != InService && q.State != OutOfService && q.State != Retired:
		return &Fault{"state", fmt.Sprintf("%q is none of in service, out of service and retired", q.State)}
	case q.Silent < 0:
		return &Fault{"silent", "this is a number of days"}
	}
	return nil
}

// Vehicle is one vehicle in a list.
type Vehicle struct {
	Vehicle string `json:"vehicle"`
	First   string `json:"first,omitempty"` // see alarm.Transition
	*event.VehicleData
	// Out: it is out of service.
	Out bool `json:"out,omitempty"`
	// Worst is the worst that stands; nil where nothing does.
	Worst *alarm.Listed `json:"worst,omitempty"`
	// Next is the work that is due first, of what is due and what comes; nil where none is
	// known.
	Next *due.Item `json:"next,omitempty"`
	// LastRead is the local date on which a meter was last told, LastReadAt the moment.
	LastRead   string    `json:"lastRead,omitempty"`
	LastReadAt time.Time `json:"lastReadAt,omitzero"`
}

// VehiclePage is a part of the list of vehicles, by id, with counts of the whole of it.
type VehiclePage struct {
	Vehicles []Vehicle `json:"vehicles"`
	VehicleCount
	Back string    `json:"back,omitempty"` // as in Page
	Next string    `json:"next,omitempty"`
	Now  time.Time `json:"now,omitzero"`
}

// VehicleCount is how many vehicles a list has in all.
type VehicleCount struct {
	Total int `json:"total"`
	// Kinds and States count the vehicles that the question asks for in all else.
	TagCounts
	Kinds  map[string]int `json:"kinds,omitempty"`
	States map[string]int `json:"states,omitempty"`
}

// VehiclePart is what one partition has of such a page.
type VehiclePart struct {
	Refs   []Ref        `json:"refs"` // the keys are the vehicles' present names
	Beyond bool         `json:"beyond,omitempty"`
	Counts VehicleCount `json:"counts"`
	Now    time.Time    `json:"now,omitzero"`
}

// VehiclePart is the partition's own part of a page, as of now. read tells when a meter of the
// vehicle with that record was last told, Unix seconds; 0 for never.
func (x *Index) VehiclePart(q VehicleQuery, now time.Time, read func(home string) int64) VehiclePart {
	s := &cardSieve{VehicleQuery: q, words: words(q.Q), read: read, since: now.AddDate(0, 0, -q.Silent).Unix()}
	s.tag, s.value = tagOf(q.Tag)
	limit, _ := limitOf(q.Limit, q.After, q.Before)
	p := VehiclePart{Now: now}
	// All are looked at, since they are counted.
	p.Counts = s.count(x.cards.all, func(c *Card) {
		before := q.After != "" && c.shown() <= q.After || q.Before != "" && c.shown() < q.Before
		switch {
		case before == (q.Before == ""):
			p.Beyond = true
		case q.Before != "" || len(p.Refs) <= limit:
			p.Refs = append(p.Refs, Ref{c.shown(), c.home})
		}
	})
	if n := len(p.Refs) - limit - 1; n > 0 { // the last of those before a place
		p.Refs = p.Refs[n:]
	}
	return p
}

// cardSieve tells which vehicles a question is about.
type cardSieve struct {
	VehicleQuery
	words      []string
	tag, value string
	since      int64
	read       func(string) int64
}

func (c *Card) state() string {
	switch {
	case c.reg.Retired:
		return Retired
	case c.out:
		return OutOfService
	}
	return InService
}

// rest is all that is asked for beside tag, kind and state.
func (s *cardSieve) rest(c *Card) bool {
	return s.Sight.Sees(c) && (s.Person == "" || slices.Contains(c.reg.People, s.Person)) && holds(s.words, c.folded) &&
		(s.Silent == 0 || c.state() == InService && s.read(c.home) < s.since)
}

func (s *cardSieve) match(c *Card) (tag, kind, state bool) {
	return s.Tag == "" || has(c.reg.Tags, s.tag, s.value), s.Kind == "" || c.reg.Kind == s.Kind, s.State == "" || c.state() == s.State
}

// count counts, and shows those that are asked for in all.
func (s *cardSieve) count(list iter.Seq[*Card], hit func(*Card)) VehicleCount {
	out := VehicleCount{Kinds: map[string]int{}, States: map[string]int{}}
	tags := map[[2]string]int{}
	for c := range list {
		tag, kind, state := s.match(c)
		if !tag && !kind && !state || !s.rest(c) {
			continue
		}
		if tag && kind && state {
			hit(c)
			out.Total++
		}
		if tag && kind {
			out.States[c.state()]++
		}
		if tag && state {
			out.Kinds[c.reg.Kind]++
		}
		if kind && state {
			for name, value := range c.reg.Tags {
				tags[[2]string{name, value}]++
			}
		}
	}
	out.TagCounts = tagsOf(tags)
	return out
}

// Called are the records of the vehicles that somebody sees of which a name holds the folded
// text.
func (x *Index) Called(folded string, by *Sight) (homes []string) {
	for c := range x.cards.all {
		if by.Sees(c) && strings.Contains(c.folded, folded) {
			homes = append(homes, c.home)
		}
	}
	return homes
}

// Tags are those that vehicles that somebody sees are registered with, as "depot=north", in
// order.
func (x *Index) Tags(by *Sight) []string {
	all := map[[2]string]bool{}
	for c := range x.cards.all {
		if !by.Sees(c) {
			continue
		}
		for name, value := range c.reg.Tags {
			all[[2]string{name, value}] = true
		}
	}
	out := make([]string, 0, len(all))
	for t := range all {
		out = append(out, t[0]+"="+t[1])
	}
	slices.Sort(out)
	return out
}

// Homes are the records of the vehicles that are registered and that somebody sees, of all or
// of those with a tag, by present name.
func (x *Index) Homes(tag string, by *Sight) []string {
	name, value := tagOf(tag)
	out := make([]string, 0, x.cards.n)
	for c := range x.cards.all {
		if by.Sees(c) && (tag == "" || has(c.reg.Tags, name, value)) {
			out = append(out, c.home)
		}
	}
	return out
}

// MergeVehicles puts the partitions' parts of a page together, as Merge does.
func MergeVehicles(q VehicleQuery, parts []VehiclePart) (VehiclePage, []Ref) {
	p := VehiclePage{VehicleCount: VehicleCount{Kinds: map[string]int{}, States: map[string]int{}}}
	var refs []Ref
	beyond := false
	for i := range parts {
		c := &parts[i].Counts
		refs, beyond = append(refs, parts[i].Refs...), beyond || parts[i].Beyond
		p.Total += c.Total
		p.TagCounts.add(&c.TagCounts)
		addTo(p.Kinds, c.Kinds)
		addTo(p.States, c.States)
		if now := parts[i].Now; i == 0 || now.Before(p.Now) {
			p.Now = now
		}
	}
	p.TagCounts.dropMany()
	slices.SortFunc(refs, func(a, b Ref) int { return strings.Compare(a.Key, b.Key) })
	refs, p.Back, p.Next = cut(refs, beyond, q.Limit, q.After, q.Before)
	return p, refs
}

func tagOf(tag string) (name, value string) {
	name, value, _ = strings.Cut(tag, "=")
	return name, value
}

// has is as due.Query.Tag has it.
func has(tags map[string]string, name, value string) bool { return tags[name] == value }

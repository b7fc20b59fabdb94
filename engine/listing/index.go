package listing

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/record"
	"telltale/rules/dataalarm"
	"telltale/rules/english"
)

// Index is what stands in one partition, in order, and its vehicles. It is kept in step with
// the records by Set and Drop. It is not safe for concurrent use.
type Index struct {
	lists  map[View]*order[*line]
	counts map[View]map[bucket]int
	cards  *order[*Card]
	works  map[work]*work // those that lines are of; there are few
	sights sights
}

// work is what a line is of.
type work struct {
	task            bool
	rule, component string
	title           string // folded, with the names
}

const keptWorks = 4096

// NewIndex is one of no vehicles.
func NewIndex() *Index {
	x := &Index{lists: map[View]*order[*line]{}, counts: map[View]map[bucket]int{}, works: map[work]*work{}}
	x.cards = newOrder(func(a, b *Card) int {
		return cmp.Or(strings.Compare(a.shown(), b.shown()), strings.Compare(a.home, b.home))
	})
	for _, v := range Views {
		x.lists[v], x.counts[v] = newOrder(compareLines), map[bucket]int{}
	}
	return x
}

// Card is what lists keep of one vehicle that is registered. There are many, so it holds
// what a search needs and no more.
type Card struct {
	home   string // the name that its record is kept under
	reg    *event.VehicleData
	folded string // its names and tags
	lines  *line
	// first is the first of the record's n alarms, of which the lines are: their list is
	// never changed in place, so the same one is the same.
	first  *alarm.Alarm
	number uint32 // in the index, of all vehicles at this time
	n      uint16
	out    bool
}

// shown is the vehicle's present name.
func (c *Card) shown() string { return cmp.Or(c.reg.Key, c.home) }

// line is one alarm in the lists.
type line struct {
	*work
	card      *Card
	next      *line // of the same vehicle
	at        int64
	number    uint8 // of the stage
	statutory bool
	shelved   bool
}

func (l *line) stage() alarm.Stage { return alarm.StageWords(l.task)[l.number] }

func (l *line) key() Key {
	return Key{l.stage(), l.statutory, l.at, l.card.shown(), l.rule, l.component}
}

func compareLines(a, b *line) int {
	x, y := a.key(), b.key()
	return cmp.Or(x.compare(&y), strings.Compare(a.card.home, b.card.home))
}

// views are the lists that the line is in.
func (l *line) views() []View {
	own := Standing
	if l.task {
		own = Due
	}
	switch {
	case l.number == 0:
		return []View{Returned}
	case l.card.out:
		return []View{Out}
	case l.shelved:
		return []View{own, Aside}
	}
	return []View{own}
}

// bucket is what is counted apart in a view: lines of one stage, of all vehicles or of those
// with one tag.
type bucket struct {
	stage     alarm.Stage
	shelved   bool
	tag, with string // "depot", "north"
}

func (x *Index) count(l *line, n int) {
	for _, v := range l.views() {
		l.count(x.counts[v], n)
		for _, s := range x.sights.kept {
			switch c := s.counts[v]; {
			case c == nil:
			case !s.asked(l.card): // nor is it as an event is folded, but by the next who asks
				delete(s.counts, v)
			case s.Sees(l.card):
				l.count(c, n)
			}
		}
	}
}

// count adds the line n times to the counts of a view.
func (l *line) count(to map[bucket]int, n int) {
	add := func(b bucket) {
		if to[b] += n; to[b] == 0 {
			delete(to, b)
		}
	}
	add(bucket{l.stage(), l.shelved, "", ""})
	for tag, value := range l.card.reg.Tags {
		add(bucket{l.stage(), l.shelved, tag, value})
	}
}

// Set brings the index up to date with a record: c is what it has of the vehicle, nil before
// the first time, and is given back; nil of one that is not registered.
func (x *Index) Set(c *Card, r *record.Record) *Card {
	reg := r.Registered()
	switch {
	case reg == nil || r.Is != "":
		x.Drop(c)
		return nil
	case c == nil:
		c = &Card{home: r.Vehicle, number: x.sights.number()}
	case c.reg == reg && c.out == r.Out && c.isOf(r.Alarms):
		return c
	}
	x.dropLines(c)
	if c.reg != reg {
		x.dropCard(c)
		c.reg, c.folded = reg, folded(reg, r)
		x.cards.put(c)
	}
	c.out, c.n = r.Out, uint16(len(r.Alarms)) // of more, isOf says always that they changed
	if len(r.Alarms) > 0 {
		c.first = &r.Alarms[0]
	}
	for i := range r.Alarms {
		l := x.lineOf(c, &r.Alarms[i])
		l.next, c.lines = c.lines, l
		for _, v := range l.views() {
			x.lists[v].put(l)
		}
		x.count(l, 1)
	}
	return c
}

// isOf reports whether the lines are those of a list of alarms.
func (c *Card) isOf(list []alarm.Alarm) bool {
	return int(c.n) == len(list) && (len(list) == 0 || c.first == &list[0])
}

// Drop takes a vehicle out.
func (x *Index) Drop(c *Card) {
	if c != nil {
		x.dropLines(c)
		x.dropCard(c)
		x.sights.free = append(x.sights.free, c.number)
	}
}

func (x *Index) dropCard(c *Card) {
	if c.reg != nil {
		x.cards.drop(c)
		x.sights.forget(c)
	}
}

func (x *Index) dropLines(c *Card) {
	for l := c.lines; l != nil; l = l.next {
		for _, v := range l.views() {
			x.lists[v].drop(l)
		}
		x.count(l, -1)
	}
	c.lines, c.first, c.n = nil, nil, 0
}

func (x *Index) lineOf(c *Card, a *alarm.Alarm) *line {
	w := x.work(a.Key, a.Task, a.Last.Title)
	return &line{work: w, card: c, number: uint8(a.Stage), at: dateOf(a), statutory: a.Last.Statutory, shelved: a.ShelvedUntil != 0}
}

// work is the one of an alarm that others of it share.
func (x *Index) work(k alarm.Key, task bool, title string) *work {
	key := work{task, k.Rule, k.Component, title}
	one := x.works[key]
	if one == nil {
		if len(x.works) >= keptWorks {
			clear(x.works)
		}
		one = &work{task, k.Rule, k.Component, foldedLines(title, k.Rule, k.Component)}
		x.works[key] = one
	}
	return one
}

// dateOf is by what a list orders an alarm: when a task was said to be due, and when the
// stage of anything else was reached. It is what was said as the alarm last moved: it moves
// again before its stage can differ, and a page would else have to reckon all that stands.
func dateOf(a *alarm.Alarm) int64 {
	if !a.Task || a.Stage == 0 {
		return a.Since
	}
	if a.Last.Due == nil {
		return noDate
	}
	return dayOf(a.Last.Due.Date, a.Last.Due.Likely)
}

// dayOf is the earlier of the dates that are not empty.
func dayOf(dates ...string) int64 {
	dates = slices.DeleteFunc(dates, func(d string) bool { return d == "" })
	if len(dates) == 0 {
		return noDate
	}
	t, err := time.Parse(time.DateOnly, slices.Min(dates))
	if err != nil {
		return noDate
	}
	return t.Unix()
}

// KeyOf is the key of an alarm that a record keeps.
func KeyOf(r *record.Record, a *alarm.Alarm) string {
	k := Key{a.StageName(a.Stage), a.Last.Statutory, dateOf(a), r.Shown(), a.Rule, a.Component}
	return k.String()
}

func (l *line) of() string {
	switch {
	case l.task:
		return OfTasks
	case slices.Contains(dataalarm.Names, l.rule):
		return OfData
	}
	return OfRules
}

// folded is what a search finds the vehicle by: its names, kind and tags.
func folded(reg *event.VehicleData, r *record.Record) string {
	texts := append(reg.Names(r.Shown()), r.Vehicle, reg.Kind)
	for tag, value := range reg.Tags {
		texts = append(texts, tag+"="+value)
	}
	return foldedLines(texts...)
}

// foldedLines are the texts folded, each once.
func foldedLines(texts ...string) string {
	slices.Sort(texts)
	texts = slices.DeleteFunc(slices.Compact(texts), func(t string) bool { return t == "" })
	return english.Folded(strings.Join(texts, between)) // at once, which takes a third of the time
}

// between is between texts, and in none of them; a blank would not stay when they are folded.
const between = "\x00"

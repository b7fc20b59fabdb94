package listing

import (
	"iter"
	"maps"
	"slices"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/due"
)

// Line is one line of a list, as it stands now.
type Line struct {
	Key string `json:"key"`
	// Alarm is what stands, as it was last said; nil of a task that is postponed and of
	// which nothing stands.
	Alarm *alarm.Listed `json:"alarm,omitempty"`
	// Due is where a task stands; nil of anything else, of a vehicle out of service, and of
	// a task that is not due any more.
	Due *due.Item `json:"due,omitempty"`
}

// Page is a part of a list, with counts of the whole of it.
type Page struct {
	View  View   `json:"view"`
	Lines []Line `json:"lines"`
	Count
	// Back is the Before of the page before this one, Next the After of the one behind it;
	// "" where there is none.
	Back string `json:"back,omitempty"`
	Next string `json:"next,omitempty"`
	// Now is the last tick by which all of it stands; zero before the first.
	Now time.Time `json:"now,omitzero"`
}

// Count is how many lines a list has in all, on whatever pages.
type Count struct {
	Total int `json:"total"`
	// Stages are the lines of each stage that Query asks for in all else.
	Stages map[alarm.Stage]int `json:"stages,omitempty"`
	TagCounts
}

// TagCounts count lines or vehicles by tag: those that are asked for in all but the tag.
type TagCounts struct {
	Tags map[string]int `json:"tags,omitempty"` // as "depot=north"
	// Many are the tags of which there are more than MostValues, which are not in Tags.
	Many []string `json:"many,omitempty"`
}

// MostValues is up to how many values a tag is counted by value: nobody chooses among more.
const MostValues = 200

// Counted is how many lines one of the lists has.
type Counted struct {
	View View `json:"view"`
	Count
}

// Ref names a line in a partition.
type Ref struct {
	Key string `json:"key"`
	// Home is the name that the vehicle's record is kept under.
	Home string `json:"home"`
}

// Part is what one partition has of a page: its own lines at the place, one more than the
// page has.
type Part struct {
	Refs []Ref `json:"refs"`
	// Beyond: it has lines on the other side of the place.
	Beyond bool      `json:"beyond,omitempty"`
	Counts Count     `json:"counts"`
	Now    time.Time `json:"now,omitzero"`
}

// Part is the partition's own part of a page. The question must be one that Check takes.
func (x *Index) Part(q Query) Part {
	s := newSieve(q)
	all := x.lists[q.View]
	p := pageOf(all, s)
	if s.counters() {
		p.Counts = x.counters(q)
	} else {
		p.Counts = s.count(all.all)
	}
	return p
}

// Reckoned is a line of a list that is not kept in order, since what belongs to it stands in
// no alarm.
type Reckoned struct{ line *line }

// Reckoned is the line of a task of a vehicle.
func (x *Index) Reckoned(c *Card, it *due.Item) Reckoned {
	w := x.work(alarm.Key{Rule: it.Task, Component: it.Component}, true, it.Title)
	return Reckoned{&line{work: w, card: c, number: uint8(rankOf(it.Stage)), at: dayOf(it.DueDate, it.Likely), statutory: it.Statutory, shelved: it.Shelved}}
}

// PartOf is the part of a page of what was reckoned for it.
func PartOf(q Query, lines []Reckoned) Part {
	all := newOrder(compareLines)
	for _, r := range lines {
		all.put(r.line)
	}
	s := newSieve(q)
	p := pageOf(all, s)
	p.Counts = s.count(all.all)
	return p
}

// CountOf is how many lines the list has that the question asks for.
func (x *Index) CountOf(q Query) Count {
	if s := newSieve(q); !s.counters() {
		return s.count(x.lists[q.View].all)
	}
	return x.counters(q)
}

func pageOf(all *order[*line], s *sieve) (p Part) {
	place, _ := s.place() // checked
	begin := func(*line) bool { return true }
	if k := place.after; k != nil {
		begin = func(l *line) bool { o := l.key(); return o.compare(k) > 0 }
	}
	if k := place.before; k != nil {
		begin = func(l *line) bool { o := l.key(); return o.compare(k) >= 0 }
	}
	forward, back := all.from(begin), all.until(begin)
	if place.before != nil {
		forward, back = back, forward
	}
	p.Refs = s.first(forward, place.limit+1)
	p.Beyond = len(s.first(back, 1)) > 0
	if place.before != nil {
		slices.Reverse(p.Refs)
	}
	return p
}

// sieve tells which lines a question is about.
type sieve struct {
	Query
	words      []string
	tag, value string
}

func newSieve(q Query) *sieve {
	s := &sieve{Query: q, words: words(q.Q)}
	s.tag, s.value = tagOf(q.Tag)
	return s
}

// counters reports whether what is asked for is counted as it changes.
func (s *sieve) counters() bool {
	// A tag without a value is that of vehicles that have no such tag, which nobody counts.
	return (s.Tag == "" || s.value != "") && s.Of == "" && len(s.words) == 0 && s.Kind == "" && s.Rule == "" && s.Vehicle == "" && s.Person == "" && !s.Statutory && s.View != Postponed
}

func (s *sieve) stage(l *line) bool { return len(s.Stage) == 0 || slices.Contains(s.Stage, l.stage()) }

func (s *sieve) tagged(l *line) bool { return s.Tag == "" || has(l.card.reg.Tags, s.tag, s.value) }

// rest is all that is asked for beside stage and tag.
func (s *sieve) rest(l *line) bool {
	reg := l.card.reg
	return s.Sight.Sees(l.card) && (!l.shelved || s.Aside || s.View != Due && s.View != Standing) &&
		(s.Of == "" || l.of() == s.Of) && (s.Kind == "" || reg.Kind == s.Kind) && (s.Rule == "" || l.rule == s.Rule) &&
		(s.Vehicle == "" || l.card.home == s.Vehicle) && (!s.Statutory || l.statutory) &&
		(s.Person == "" || slices.Contains(reg.People, s.Person)) && holds(s.words, l.card.folded, l.title)
}

func (s *sieve) first(list iter.Seq[*line], n int) (out []Ref) {
	for l := range list {
		if s.stage(l) && s.tagged(l) && s.rest(l) {
			k := l.key()
			if out = append(out, Ref{k.String(), l.card.home}); len(out) == n {
				break
			}
		}
	}
	return out
}

func (s *sieve) count(list iter.Seq[*line]) Count {
	c := newTally()
	for l := range list {
		if !s.rest(l) {
			continue
		}
		stage, tagged := s.stage(l), s.tagged(l)
		if tagged {
			c.stages[l.stage()]++
		}
		if stage && tagged {
			c.total++
		}
		if stage {
			for tag, value := range l.card.reg.Tags {
				c.tags[[2]string{tag, value}]++
			}
		}
	}
	return c.count()
}

// counters is what count would find, without looking at a line.
func (x *Index) counters(q Query) Count {
	s, c := newSieve(q), newTally()
	for b, n := range x.countsFor(q.Sight, q.View) {
		if b.shelved && !q.Aside && (q.View == Due || q.View == Standing) {
			continue
		}
		stage := len(q.Stage) == 0 || slices.Contains(q.Stage, b.stage)
		if b.tag == s.tag && b.with == s.value {
			c.stages[b.stage] += n
			if stage {
				c.total += n
			}
		}
		if stage && b.tag != "" {
			c.tags[[2]string{b.tag, b.with}] += n
		}
	}
	return c.count()
}

// tally counts.
type tally struct {
	total  int
	stages map[alarm.Stage]int
	tags   map[[2]string]int
}

func newTally() *tally { return &tally{stages: map[alarm.Stage]int{}, tags: map[[2]string]int{}} }

func (t *tally) count() Count {
	return Count{Total: t.total, Stages: t.stages, TagCounts: tagsOf(t.tags)}
}

func tagsOf(counted map[[2]string]int) TagCounts {
	t := TagCounts{Tags: make(map[string]int, len(counted))}
	for tag, n := range counted {
		t.Tags[tag[0]+"="+tag[1]] = n
	}
	t.dropMany()
	return t
}

// Merge puts the partitions' parts of a page together, and tells which lines are on it. The
// lines are left to whoever has the records.
func Merge(q Query, parts []Part) (Page, []Ref) {
	p := Page{View: q.View, Count: addUp(parts, func(p *Part) Count { return p.Counts })}
	var refs []Ref
	beyond := false
	for i := range parts {
		refs, beyond = append(refs, parts[i].Refs...), beyond || parts[i].Beyond
		if now := parts[i].Now; i == 0 || now.Before(p.Now) {
			p.Now = now
		}
	}
	slices.SortFunc(refs, compareRefs)
	refs, p.Back, p.Next = cut(refs, beyond, q.Limit, q.After, q.Before)
	return p, refs
}

// cut is what of the parts' refs, in order, is on the page, and where the pages beside it
// begin.
func cut(refs []Ref, beyond bool, most int, after, before string) (page []Ref, back, next string) {
	limit, _ := limitOf(most, after, before)
	more := len(refs) > limit
	switch {
	case before != "" && more:
		refs = refs[len(refs)-limit:]
	case more:
		refs = refs[:limit]
	}
	if len(refs) == 0 {
		return nil, "", ""
	}
	if before != "" {
		more, beyond = beyond, more
	}
	if more {
		next = refs[len(refs)-1].Key
	}
	if beyond {
		back = refs[0].Key
	}
	return refs, back, next
}

func compareRefs(a, b Ref) int {
	var x, y Key
	_, _ = x.parse(a.Key), y.parse(b.Key) // as a partition wrote them
	return x.compare(&y)
}

// MergeCounts puts the partitions' counts together, of each list those of all.
func MergeCounts(parts []Counted) (out []Counted) {
	for _, v := range Views {
		of := slices.DeleteFunc(slices.Clone(parts), func(c Counted) bool { return c.View != v })
		if len(of) > 0 {
			out = append(out, Counted{v, addUp(of, func(c *Counted) Count { return c.Count })})
		}
	}
	return out
}

func addUp[T any](parts []T, of func(*T) Count) Count {
	out := Count{Stages: map[alarm.Stage]int{}}
	for i := range parts {
		c := of(&parts[i])
		out.Total += c.Total
		for s, n := range c.Stages {
			out.Stages[s] += n
		}
		out.TagCounts.add(&c.TagCounts)
	}
	out.TagCounts.dropMany()
	return out
}

func (t *TagCounts) add(o *TagCounts) {
	if t.Tags == nil {
		t.Tags = map[string]int{}
	}
	addTo(t.Tags, o.Tags)
	t.Many = append(t.Many, o.Many...)
}

// dropMany leaves out the tags that nearly each vehicle has a value of its own of.
func (t *TagCounts) dropMany() {
	values := map[string]int{}
	for tag := range t.Tags {
		name, _ := tagOf(tag)
		if values[name]++; values[name] == MostValues+1 {
			t.Many = append(t.Many, name)
		}
	}
	slices.Sort(t.Many)
	t.Many = slices.Compact(t.Many)
	maps.DeleteFunc(t.Tags, func(tag string, _ int) bool { name, _ := tagOf(tag); return slices.Contains(t.Many, name) })
}

func addTo(sum, of map[string]int) {
	for k, n := range of {
		sum[k] += n
	}
}

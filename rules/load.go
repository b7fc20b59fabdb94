package rules

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"maps"
	"path"
	"slices"
	"strings"

	"github.com/expr-lang/expr/conf"
	"gopkg.in/yaml.v3"

	"telltale/rules/unit"
)

// loader collects the book, and every fault, of a set of files.
type loader struct {
	book   *Book
	faults Faults
	parser *conf.Config

	taskAt     map[string]Place
	names      map[string]Place // of tasks and rules: an alarm is known by its name
	means      map[string]bool  // analytes that some baseline has a mean for
	spreads    map[string]bool
	freshOf    map[string]bool
	fleet      bool // a baseline is made from the fleet: it may have a mean for any analyte
	nearBudget int
	sortedTask []string
	unitsAt    map[string]Place // where distance and volume were set
	named      []namedCaution
	left       []*Baseline // of which something is to be filled in
}

func (l *loader) add(f Fault) { l.faults = append(l.faults, f) }

// section is one top-level part of a file.
type section struct {
	d *document
	n *yaml.Node
}

// Load checks and compiles rule files into one book. The error is a Faults with
// all faults of all files; there is no partial book. Files are taken in order of
// name; no files make an empty book.
func Load(files []File) (*Book, error) {
	files = slices.Clone(files)
	slices.SortStableFunc(files, func(a, b File) int { return strings.Compare(a.Name, b.Name) })
	l := &loader{
		book:   &Book{Hash: hash(files), Units: Units{Distance: unit.Distances()[0], Volume: unit.Volumes()[0]}, OwnCautions: map[string]string{}},
		parser: parserConfig(),
		taskAt: map[string]Place{}, names: map[string]Place{}, means: map[string]bool{}, spreads: map[string]bool{}, freshOf: map[string]bool{},
		nearBudget: nearWork, unitsAt: map[string]Place{},
	}
	sections := map[string][]section{}
	for i, f := range files {
		if i > 0 && files[i-1].Name == f.Name {
			l.add(Fault{Place: Place{f.Name, 1, 1}, Text: "the file is given twice", Width: 1})
			continue
		}
		if d := l.read(f); d.root != nil {
			d.top(sections)
		}
	}
	l.sections(sections)
	if len(l.faults) > 0 {
		return nil, l.faults.sorted()
	}
	l.book.Baselines = slices.DeleteFunc(l.book.Baselines, func(b *Baseline) bool { return slices.Contains(l.left, b) })
	l.book.sort()
	l.book.sign()
	return l.book, nil
}

// hash covers the names, without their folders, and the texts; each with its
// length, so that no two sets of files have one hash.
func hash(files []File) string {
	h := sha256.New()
	part := func(b []byte) {
		var n [8]byte
		binary.BigEndian.PutUint64(n[:], uint64(len(b)))
		h.Write(n[:])
		h.Write(b)
	}
	base := func(f File) string { return path.Base(strings.ReplaceAll(f.Name, `\`, "/")) }
	files = slices.Clone(files)
	slices.SortStableFunc(files, func(a, b File) int { return strings.Compare(base(a), base(b)) })
	for _, f := range files {
		part([]byte(base(f)))
		part(f.Text)
	}
	return "sha256:" + hex.EncodeToString(h.Sum(nil))
}

var topKeys = []string{"book", "units", "cautions", "baselines", "tasks", "rules", "cases"}

// top reads the keys of a file and sorts its parts into sections.
func (d *document) top(sections map[string][]section) {
	if d.root.Kind != yaml.MappingNode {
		d.fault(d.root, "begin with `book: 1`", "a rule file must be a mapping, not %s", kindName(d.root))
		return
	}
	f := d.mapping(d.root, "a rule file", topKeys...)
	switch v := f.get("book"); {
	case v == nil:
		d.faultAt(d.root.Line, d.root.Column, 1, "begin with `book: 1`", "the file does not say `book: 1`")
	case v.Kind != yaml.ScalarNode || v.Value != "1" || v.Style != 0:
		d.fault(v, "write `book: 1`", "book must be 1, the version of the rule language")
	}
	for _, key := range topKeys[1:] {
		if v := f.get(key); v != nil {
			sections[key] = append(sections[key], section{d, v})
		}
	}
}

// sections reads units and baselines first, then the names of all tasks, since
// expressions of every file may speak of them.
func (l *loader) sections(s map[string][]section) {
	for _, u := range s["units"] {
		u.d.units(u.n)
	}
	for _, c := range l.declared(s["cautions"], "a caution", map[string]Place{}) {
		c.d.caution(c.key, c.value)
	}
	for _, f := range l.declared(s["baselines"], "a baseline", map[string]Place{}) {
		f.d.baseline(f.key, f.value)
	}
	tasks := l.declared(s["tasks"], "a task", l.names)
	for _, t := range tasks {
		l.taskAt[t.key.Value] = t.d.place(t.key)
	}
	rules := l.declared(s["rules"], "a rule", l.names)
	for _, t := range tasks {
		t.d.task(t.key, t.value)
	}
	for _, r := range rules {
		r.d.rule(r.key, r.value)
	}
	for _, c := range l.declared(s["cases"], "a case", map[string]Place{}) {
		c.d.readCase(c.key, c.value)
	}
	l.unexplained()
	l.was()
	l.circles()
	l.pulledIn()
	l.overs()
	l.contained()
}

// declaration is a named entry of a section and its file.
type declaration struct {
	field
	d *document
}

// declared reads the names of a section in all files; a name stands once in the
// book, over everything that at already holds.
func (l *loader) declared(sections []section, what string, at map[string]Place) []declaration {
	var out []declaration
	for _, s := range sections {
		for _, f := range s.d.entries(s.n, strings.TrimPrefix(what, "a ")+"s") {
			if !s.d.named(f.key, what) {
				continue
			}
			if first, dup := at[f.key.Value]; dup {
				s.d.fault(f.key, "rename one; tasks and rules share their names, since an alarm is known by its name (`over` lets one of two tasks, or of two rules, take the other's place)",
					"the name %q is given at %s already", f.key.Value, first)
				continue
			}
			at[f.key.Value] = s.d.place(f.key)
			out = append(out, declaration{f, s.d})
		}
	}
	return out
}

// taskNames are the names of all tasks, sorted, for hints.
func (l *loader) taskNames() []string {
	if l.sortedTask == nil {
		l.sortedTask = slices.Sorted(maps.Keys(l.taskAt))
	}
	return l.sortedTask
}

// units reads {distance: km, volume: L}. All files that say it must agree.
func (d *document) units(n *yaml.Node) {
	f := d.mapping(n, "units", "distance", "volume")
	set := func(key string, target *string, options ...string) {
		v := f.get(key)
		if v == nil {
			return
		}
		got := options[d.choice(v, "units "+key, options...)]
		if first, ok := d.l.unitsAt[key]; ok && *target != got {
			d.fault(v, "a book speaks one unit of "+key, "%s, but %s at %s", got, *target, first)
			return
		}
		*target, d.l.unitsAt[key] = got, d.place(v)
	}
	set("distance", &d.l.book.Units.Distance, unit.Distances()...)
	set("volume", &d.l.book.Units.Volume, unit.Volumes()...)
}

// was checks the earlier names: not in use any more, and each taken over once.
func (l *loader) was() {
	seen := map[string]string{}
	check := func(name, was string, at Place, d *document) {
		if was == "" {
			return
		}
		text := ""
		if first, ok := l.names[was]; ok {
			text = fmt.Sprintf("%q was %q, but that name is in use at %s", name, was, first)
		} else if other, ok := seen[was]; ok {
			text = fmt.Sprintf("%q was %q, but %q was that too", name, was, other)
		}
		seen[was] = name
		if text != "" {
			l.add(d.makeFault(at.Line, at.Col, len(was), "`was` names the earlier name of this one alone", text))
		}
	}
	for _, t := range l.book.Tasks {
		check(t.Name, t.Was, t.was.at, t.was.d)
	}
	for _, r := range l.book.Rules {
		check(r.Name, r.Was, r.compiled.was.at, r.compiled.was.d)
	}
}

// wasAt is where `was` stands.
type wasAt struct {
	at Place
	d  *document
}

// circles refuses tasks whose follow-ups lead back to themselves.
func (l *loader) circles() {
	byName := map[string]*Task{}
	for _, t := range l.book.Tasks {
		byName[t.Name] = t
	}
	const open, closed = 1, 2
	mark := map[string]int{}
	var trail []string
	var visit func(t *Task)
	visit = func(t *Task) {
		mark[t.Name] = open
		trail = append(trail, t.Name)
		for _, f := range t.FollowUps {
			next := byName[f.Name]
			switch {
			case next == nil || mark[f.Name] == closed:
			case mark[f.Name] == open:
				circle := append(slices.Clone(trail[slices.Index(trail, f.Name):]), f.Name)
				l.add(t.was.d.makeFault(t.At.Line, t.At.Col, len(t.Name), "a follow-up is done once; leave one out",
					"the follow-ups go in a circle: "+strings.Join(circle, " → ")))
			default:
				visit(next)
			}
		}
		trail = trail[:len(trail)-1]
		mark[t.Name] = closed
	}
	for _, t := range l.book.Tasks {
		if mark[t.Name] == 0 {
			visit(t)
		}
	}
}

// sort puts everything in order of name and drops what only loading needs.
func (b *Book) sort() {
	slices.SortFunc(b.Tasks, func(x, y *Task) int { return strings.Compare(x.Name, y.Name) })
	slices.SortFunc(b.Rules, func(x, y *Rule) int { return strings.Compare(x.Name, y.Name) })
	slices.SortFunc(b.Cases, func(x, y *Case) int { return strings.Compare(x.Name, y.Name) })
	b.Questions, b.Uncautioned = Faults(b.Questions).sorted(), Faults(b.Uncautioned).sorted()
	b.ToFill = Faults(b.ToFill).sorted()
	for _, t := range b.Tasks {
		t.was, t.over = wasAt{}, overAt{}
	}
	for _, r := range b.Rules {
		r.compiled.was, r.over = wasAt{}, overAt{}
		for i := range r.PullIns {
			r.PullIns[i].d = nil
		}
	}
	for _, bl := range b.Baselines {
		bl.over = overAt{}
	}
}

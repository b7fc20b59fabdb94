package rules

import (
	"cmp"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"maps"
	"path"
	"slices"
	"strings"

	"gopkg.in/yaml.v3"

	"telltale/rules/dataalarm"
	"telltale/rules/expression"
	"telltale/rules/figure"
	"telltale/rules/source"
	"telltale/rules/unit"
)

// loader collects the book of a set of files, and what only loading needs.
type loader struct {
	*source.Reader
	book *Book
	lang *expression.Language

	tasks map[string]*Task
	names map[string]source.Place // of tasks and rules: an alarm is known by its name
	units []unit.System           // what the files say, each of what it says
	named []*entry                // cautions that the book must explain itself

	programs map[asked]*program
	fors     map[*source.Document]*expression.Condition // what `for` of a file asks of all its parts
}

// entry is a part of a file as it is read: a task, a rule, a baseline, a caution, a case.
type entry struct {
	*source.Document
	l      *loader
	key, n *yaml.Node            // its name, and what stands there
	what   string                // `task "engine oil"`
	f      map[string]*yaml.Node // of n
	units  unit.System           // that the file speaks; "" where it does not say
	faulty bool                  // something is wrong with it
}

// sound runs a reading of the entry, and notes whether anything was wrong with it.
func (e *entry) sound(read func()) {
	before := e.Faulty()
	read()
	e.faulty = e.Faulty() > before
}

// Load checks and compiles rule files into one book. The error is a [source.Faults] with
// all faults of all files; there is no partial book. Files are taken in order of
// name; no files make an empty book.
func Load(files []File) (*Book, error) {
	l := gather(files)
	if err := l.Err(); err != nil {
		return nil, err
	}
	l.finish()
	return l.book, nil
}

// Draft is the book as far as the files can be read, for whoever shows what is wrong with
// them: to be looked at, never to be judged by. Its Questions and Uncautioned are complete;
// of what has a fault, conditions and figures are missing.
func Draft(files []File) (*Book, source.Faults) {
	l := gather(files)
	faults, _ := l.Err().(source.Faults)
	b := l.book
	b.Questions = slices.DeleteFunc(source.Faults(slices.Concat(b.Questions, l.lang.Questions, l.Questions)).Sorted(), func(q source.Fault) bool {
		return slices.ContainsFunc(faults, func(f source.Fault) bool { return f.Place == q.Place })
	})
	b.Uncautioned = source.Faults(b.Uncautioned).Sorted()
	b.Units = unit.Agreed(l.units).Or(unit.Metric)
	return b, faults
}

// gather reads all that the files say, and collects their faults.
func gather(files []File) *loader {
	files = slices.SortedStableFunc(slices.Values(files), func(a, b File) int { return strings.Compare(a.Name, b.Name) })
	l := &loader{
		Reader: source.NewReader(source.Cures{Empty: "begin with `book: 1`", Second: "put it into a file of its own",
			Long: "split it into several files of the folder; all files make one book"}),
		book: &Book{Hash: hash(files), Data: dataalarm.Usual, OwnCautions: map[string]string{}}, lang: expression.NewLanguage(),
		tasks: map[string]*Task{}, names: map[string]source.Place{}, programs: map[asked]*program{},
		fors: map[*source.Document]*expression.Condition{},
	}
	parts := map[string][]*entry{}
	for i, f := range files {
		if i > 0 && files[i-1].Name == f.Name {
			l.Add(source.Fault{Place: source.Place{File: f.Name, Line: 1, Col: 1}, Text: "the file is given twice", Width: 1})
			continue
		}
		if d, root := l.Read(f.Name, f.Text); root != nil {
			(&entry{Document: d, l: l, n: root, what: "a rule file"}).top(parts)
		}
	}
	l.read(parts)
	return l
}

// hash covers the names, without their folders, and the texts; each with its
// length, so that no two sets of files have one hash.
func hash(files []File) string {
	h := sha256.New()
	part := func(b []byte) {
		h.Write(binary.BigEndian.AppendUint64(nil, uint64(len(b))))
		h.Write(b)
	}
	base := func(f File) string { return path.Base(strings.ReplaceAll(f.Name, `\`, "/")) }
	for _, f := range slices.SortedStableFunc(slices.Values(files), func(a, b File) int { return strings.Compare(base(a), base(b)) }) {
		part([]byte(base(f)))
		part(f.Text)
	}
	return "sha256:" + hex.EncodeToString(h.Sum(nil))
}

var topKeys = []string{"book", "units", "for", "data alarms", "cautions", "measures", "baselines", "tasks", "rules", "cases"}

// entryKeys are the keys of the entries of each section.
var entryKeys = map[string][]string{"tasks": taskKeys, "rules": slices.Concat(sharedKeys, measuredKeys, patternKeys),
	"baselines": baselineKeys, "cases": caseKeys}

// top reads the keys of a file and sorts its parts by them.
func (e *entry) top(parts map[string][]*entry) {
	if e.n.Kind != yaml.MappingNode {
		e.Fault(e.n, "begin with `book: 1`", "a rule file must be a mapping, not %s", source.KindName(e.n))
		return
	}
	e.Misplaced(e.n, topKeys, entryKeys)
	f := e.Mapping(e.n, e.what, topKeys...)
	switch v := f["book"]; {
	case v == nil:
		e.Add(e.FaultAt(e.n.Line, e.n.Column, 1, "begin with `book: 1`", "the file does not say `book: 1`"))
	case v.Kind != yaml.ScalarNode || v.Value != "1" || v.Style != 0:
		e.Fault(v, "write `book: 1`", "book must be 1, the version of the rule language")
	}
	e.units = e.fileUnits(f["units"])
	for key, n := range f {
		parts[key] = append(parts[key], &entry{Document: e.Document, l: e.l, n: n, units: e.units})
	}
}

// read reads baselines first, then the names of all tasks, since expressions of every
// file may speak of them.
func (l *loader) read(parts map[string][]*entry) {
	for _, e := range parts["for"] {
		scope := expression.Scope{What: "for of the file", Want: expression.Truth, Units: e.units}
		l.fors[e.Document] = l.lang.Condition(e.Document, e.n, scope, &expression.Asks{})
	}
	said := map[string]source.Place{} // of the data alarms
	for _, e := range parts["data alarms"] {
		l.book.Questions = append(l.book.Questions, dataalarm.Read(e.Document, e.n, said, &l.book.Data)...)
	}
	for _, e := range l.declared(parts["cautions"], "caution", map[string]source.Place{}) {
		e.caution()
	}
	for _, e := range l.declared(parts["measures"], "measure", map[string]source.Place{}) {
		e.measure()
	}
	for _, e := range l.declared(parts["baselines"], "baseline", map[string]source.Place{}) {
		e.sound(e.baseline)
	}
	tasks := l.declared(parts["tasks"], "task", l.names)
	l.lang.Tasks = slices.Sorted(maps.Keys(l.names))
	rules := l.declared(parts["rules"], "rule", l.names)
	for _, e := range rules {
		l.lang.Rules = append(l.lang.Rules, e.key.Value)
	}
	slices.Sort(l.lang.Rules)
	for _, e := range tasks {
		e.sound(e.task)
	}
	for _, e := range rules {
		e.sound(e.rule)
	}
	for _, e := range l.declared(parts["cases"], "case", map[string]source.Place{}) {
		e.readCase()
	}
	l.unexplained()
	l.was()
	l.circles()
	l.stood()
	l.pulledIn()
	l.renewals()
	l.overs()
	l.contained()
}

// declared reads the names of a part in all files; a name stands once in the
// book, over everything that at already holds.
func (l *loader) declared(parts []*entry, what string, at map[string]source.Place) []*entry {
	var out []*entry
	for _, e := range parts {
		for _, p := range e.Entries(e.n, what+"s") {
			name := p.Key.Value
			if !e.Named(p.Key, "a "+what) {
				continue
			}
			if first, dup := at[name]; dup {
				e.Fault(p.Key, "rename one: tasks and rules share one set of names (`over` lets one of two tasks, or of two rules, take the other's place)",
					"the name %q is already used at %s", name, first)
				continue
			}
			at[name] = e.Place(p.Key)
			out = append(out, e.within(p, what))
		}
	}
	return out
}

// within is an entry of that kind within another.
func (e *entry) within(p source.Pair, kind string) *entry {
	return &entry{Document: e.Document, l: e.l, key: p.Key, n: p.Value, what: fmt.Sprintf("%s %q", kind, p.Key.Value), units: e.units}
}

// part reads the keys of the entry, and what any part has of them.
func (e *entry) part(keys ...string) Part {
	e.f = e.Mapping(e.n, e.what, keys...)
	figure.CheckSource(e.Document, e.f["source"], e.n, e.what)
	p := Part{Name: e.key.Value, At: e.Place(e.key), Title: e.titled(), Was: e.wasCalled(), Over: e.Texts(e.f["over"], "over of "+e.what),
		Sources: figure.Read(e.Document, e.what, e.n), read: e}
	blanks, at := figure.Blanks(e.Document, e.what, e.n)
	p.ToFill, e.l.book.ToFill = blanks, append(e.l.book.ToFill, at...)
	scope := expression.Scope{What: "where of " + e.what, Want: expression.Truth, Units: e.units, And: e.l.fors[e.Document]}
	p.Where = e.l.lang.Condition(e.Document, e.f["where"], scope, &expression.Asks{})
	return p
}

// titled is the title that the entry has, else its name.
func (e *entry) titled() string {
	return cmp.Or(e.Text(e.f["title"], "title of "+e.what), e.key.Value)
}

// question reports what is not wrong but deserves a second look.
func (e *entry) question(n *yaml.Node, hint, format string, args ...any) {
	if e.Hole(n) {
		return
	}
	e.l.book.Questions = append(e.l.book.Questions, e.NewFault(n, hint, format, args...))
}

// misnamed reports what is wrong with a name, once all that it may stand for is known.
func (e *entry) misnamed(n *yaml.Node, hint, format string, args ...any) {
	if e.Hole(n) {
		e.Unsaid()
		return
	}
	e.Add(e.FaultAt(n.Line, n.Column, len(n.Value), hint, fmt.Sprintf(format, args...)))
}

// wasCalled reads the earlier names of a task or rule.
func (e *entry) wasCalled() []string {
	names := e.Texts(e.f["was"], "was of "+e.what)
	if i := slices.Index(names, e.key.Value); i >= 0 {
		e.Fault(source.Items(e.f["was"])[i], "`was` lists names that it had before", "%s has that name already", e.what)
		return nil
	}
	return names
}

// finish puts everything in order of name and drops what only loading needs.
func (l *loader) finish() {
	b := l.book
	b.Units = unit.Agreed(l.units).Or(unit.Metric)
	b.Baselines = slices.DeleteFunc(b.Baselines, func(bl *Baseline) bool {
		return slices.ContainsFunc(bl.ToFill, func(s string) bool { return strings.HasPrefix(s, "fluid age") })
	})
	slices.SortFunc(b.Measures, func(x, y *Measure) int { return strings.Compare(x.Name, y.Name) })
	slices.SortFunc(b.Tasks, func(x, y *Task) int { return strings.Compare(x.Name, y.Name) })
	slices.SortFunc(b.Rules, func(x, y *Rule) int { return strings.Compare(x.Name, y.Name) })
	slices.SortFunc(b.Cases, func(x, y *Case) int { return strings.Compare(x.Name, y.Name) })
	b.Questions = source.Faults(slices.Concat(b.Questions, l.lang.Questions, l.Questions)).Sorted()
	b.Uncautioned, b.ToFill = source.Faults(b.Uncautioned).Sorted(), source.Faults(b.ToFill).Sorted()
	for _, p := range b.Parts() {
		p.read = nil
	}
	for _, m := range b.Measures {
		m.read = nil
	}
	for _, r := range b.Rules {
		for i := range r.PullIns {
			r.PullIns[i].key = nil
		}
	}
}

package rulebook

import (
	"bytes"
	"context"
	"net/url"
	"slices"
	"strings"

	"telltale/engine/reach"
	"telltale/engine/stream"
	"telltale/notify/board/frame"
	"telltale/rules"
	"telltale/rules/chapters"
	"telltale/rules/english"
	"telltale/rules/told"
)

// perPage is how many parts of a book are on one page of the list.
const perPage = 50

// The kinds of parts, as a list names them.
const (
	isTask     = "task"
	isRule     = "rule"
	isBaseline = "baseline"
)

// entry is a part of the book in the list.
type entry struct {
	Kind, Name, Title string
	Path              string
	File              string
	For               string // the `where`, as it is written
	Reaches           string // "" of a baseline
	Limits            []limit
	Lines             []told.Line // in short
	Sources, Cautions string

	find string
}

// limit is one stage of a rule, with its badge.
type limit struct {
	frame.Badge
	told.Limit
}

func limits(t told.Teller, r *rules.Rule) (out []limit) {
	for _, l := range t.Limits(r) {
		out = append(out, limit{badgeOf(l.Stage), l})
	}
	return out
}

// holding is a file of the book.
type holding struct {
	Name, Holds string
	Chapter     string // what became of a ready-made one
	About       string
}

type listing struct {
	Hash, Since, Folder, Unfilled string
	Files                         []holding
	Q, File, Kind                 string
	Kinds                         []string
	Entries                       []entry
	Count, Back, Next             string
	Size                          int
}

// list shows the book in force, and finds its parts.
func (s *site) list(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	p := &frame.Page{Section: frame.More, Title: "Rules", Lead: "By what is it judged?"}
	b, err := s.book(ctx)
	switch {
	case err != nil:
		return nil, err
	case b == nil:
		p.Lead = english.Sentences(wordNoBook, wordNoBookDo)
		return p, nil
	}
	reached, missing, err := s.reach(ctx)
	if err != nil {
		return nil, err
	}
	q := r.URL.Query()
	data := listing{Hash: rules.ShortHash(b.Hash), Folder: wordFolder, Unfilled: unfilled(b.Book), Files: b.sources(), Q: q.Get("q"), File: q.Get("file"), Kind: q.Get("kind"),
		Kinds: []string{isTask, isRule, isBaseline}, Size: perPage}
	found := slices.DeleteFunc(b.entries(b.teller(r.Viewer), reached), func(e entry) bool { return !data.wants(&e) })
	data.cut(found, q)
	p.Lead = english.Capital(contents(len(b.Tasks), len(b.Rules), len(b.Baselines), len(b.Cases))) + "."
	if !b.since.Equal(stream.Unclocked) {
		data.Since = r.Viewer.Day(b.since)
	}
	p.Missing = missing
	p.Body, err = templates.Body("rules", data)
	return p, err
}

// wants reports whether the list that is asked for has the part.
func (l *listing) wants(e *entry) bool {
	for _, w := range strings.Fields(l.Q) {
		if !strings.Contains(e.find, english.Folded(w)) {
			return false
		}
	}
	return (l.File == "" || l.File == e.File) && (l.Kind == "" || l.Kind == e.Kind)
}

// cut takes the page that begins behind a part out of all that were found.
func (l *listing) cut(found []entry, q url.Values) {
	l.Count = english.Counted(len(found), "part of the book", "parts of the book")
	from := 1 + slices.IndexFunc(found, func(e entry) bool { return e.Kind+"/"+e.Name == q.Get("after") })
	end := min(from+perPage, len(found))
	l.Entries = found[from:end]
	at := func(i int) string {
		next := url.Values{}
		for _, key := range []string{"q", "file", "kind"} {
			if v := q.Get(key); v != "" {
				next.Set(key, v)
			}
		}
		if i >= 0 {
			next.Set("after", found[i].Kind+"/"+found[i].Name)
		}
		return "/rules?" + next.Encode()
	}
	if end < len(found) {
		l.Next = at(end - 1)
	}
	if from > 0 {
		l.Back = at(from - perPage - 1)
	}
}

// sources are the files of the book, and which of them are chapters.
func (b *book) sources() (out []holding) {
	for _, f := range b.files {
		name := file(f.Name)
		var tasks, judged, baselines, cases int
		for _, t := range b.Tasks {
			tasks += in(t.At.File, f)
		}
		for _, r := range b.Rules {
			judged += in(r.At.File, f)
		}
		for _, bl := range b.Baselines {
			baselines += in(bl.At.File, f)
		}
		for _, c := range b.Cases {
			cases += in(c.At.File, f)
		}
		one := holding{Name: name, Holds: contents(tasks, judged, baselines, cases), Chapter: wordOwn}
		if c, err := chapters.Named(strings.TrimSuffix(strings.TrimSuffix(name, ".yaml"), ".yml")); err == nil {
			one.About, one.Chapter = c.About, wordChanged
			if bytes.Equal(bytes.ReplaceAll(f.Text, []byte("\r\n"), []byte("\n")), c.Text) {
				one.Chapter = wordAsShipped
			}
		}
		out = append(out, one)
	}
	return out
}

func in(name string, f rules.File) int {
	if name == f.Name {
		return 1
	}
	return 0
}

// entries are all parts of the book: tasks, rules, baselines, each by name.
func (b *book) entries(t told.Teller, reached []reach.Part) (out []entry) {
	for _, k := range b.Tasks {
		e := b.entry(t, isTask, &k.Part, k.Cautions)
		e.Reaches, e.Lines = reaches(reachOf(reached, k.Name, true)), t.Task(k)[:1]
		out = append(out, e)
	}
	for _, r := range b.Rules {
		e := b.entry(t, isRule, &r.Part, told.AllCautions(r))
		e.Reaches, e.Limits = reaches(reachOf(reached, r.Name, false)), limits(t, r)
		if !r.Measured {
			e.Limits = []limit{{badgeOf(r.Stage), told.Limit{Stage: r.Stage}}}
		}
		out = append(out, e)
	}
	named := slices.SortedFunc(slices.Values(b.Baselines), func(x, y *rules.Baseline) int { return strings.Compare(x.Name, y.Name) })
	for _, bl := range named {
		out = append(out, b.entry(t, isBaseline, &bl.Part, nil))
	}
	return out
}

func (b *book) entry(_ told.Teller, kind string, p *rules.Part, cautions []string) entry {
	e := entry{Kind: kind, Name: p.Name, Title: english.Capital(p.Title), Path: pathOf(kind, p.Name), File: file(p.At.File), Cautions: english.List("and", cautions)}
	if p.Where != nil {
		e.For = english.OneLine(p.Where.Text)
	}
	var from []string
	for _, f := range p.Sources {
		if f.Source != "" && !slices.Contains(from, f.Source) {
			from = append(from, f.Source)
		}
	}
	e.Sources = strings.Join(from, "; ")
	e.find = english.Folded(strings.Join([]string{kind, p.Name, p.Title, e.File, e.For, e.Sources, e.Cautions}, " "))
	return e
}

// pathOf is the page of a part. A baseline may have the name of a rule.
func pathOf(kind, name string) string {
	if kind == isBaseline {
		return frame.Path("rules", name) + "?kind=" + isBaseline
	}
	return frame.Path("rules", name)
}

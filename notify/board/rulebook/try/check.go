package try

import (
	"context"
	"slices"
	"strings"

	"telltale/engine/cases"
	"telltale/engine/event"
	"telltale/engine/fit"
	"telltale/notify/board/rulebook/ran"
	"telltale/rules"
	"telltale/rules/source"
)

// How much of what the check finds is shown, and run.
const (
	shownFindings = 40
	mostCases     = 60
	mostRegister  = 5000 // of a larger one only telltale check compares the rules with all vehicles
)

// checked is what the check says of a text, in the words of telltale check.
type checked struct {
	Book      *rules.Book `json:"-"` // nil where it has faults
	Faults    []string
	Others    []string // what keeps a service from starting, and the change from nothing here
	Questions []string
	More      int // findings that are not shown
	Cases     []ran.Case
	MoreCases int
	Failed    int
}

// fewCases is how many cases are shown whole.
const fewCases = 12

// Shown are the cases that failed and, where they are few, those that passed.
func (c *checked) Shown() (out []ran.Case) {
	for _, ok := range []bool{false, true} {
		for _, k := range c.Cases {
			if k.OK == ok && (!ok || len(c.Cases) <= fewCases) && len(out) < fewCases {
				out = append(out, k)
			}
		}
	}
	return out
}

// Passed are the names of those that passed, where they are many.
func (c *checked) Passed() (out []string) {
	for _, k := range c.Cases {
		if k.OK && len(c.Cases) > fewCases {
			out = append(out, k.Name)
		}
	}
	return out
}

// with are the book's files with one of them replaced, or one more.
func with(files []rules.File, name, text string) (out []rules.File, full string) {
	full = name
	for _, f := range files {
		if ran.File(f.Name) == name {
			full = f.Name
			continue
		}
		out = append(out, f)
	}
	out = append(out, rules.File{Name: full, Text: []byte(text)})
	slices.SortFunc(out, func(a, b rules.File) int { return strings.Compare(a.Name, b.Name) })
	return out, full
}

// check checks the files, and runs the cases of the one that was changed.
func (s *site) check(ctx context.Context, files []rules.File, changed string, register []event.Event) (*checked, error) {
	c := &checked{}
	draft, faults := rules.Draft(files)
	lacks := source.Faults(slices.Concat(draft.Uncautioned, cases.Misread(draft))).Sorted()
	book, err := rules.Load(files)
	if err != nil {
		if len(faults) == 0 {
			faults = append(faults, source.Fault{Text: err.Error()})
		}
		c.say(&c.Faults, slices.Concat(faults, lacks))
		c.say(&c.Questions, inFile(draft.Questions, changed))
		return c, nil
	}
	c.Book = book
	asked := source.Faults(draft.Questions)
	if len(register) <= mostRegister {
		reg := &fit.Register{Events: register}
		fitting, _ := fit.Questions(book, reg)
		lacks, asked = append(lacks, fit.Faults(book, reg)...), append(asked, fitting...)
	}
	c.say(&c.Others, lacks.Sorted())
	c.say(&c.Questions, inFile(asked.Sorted(), changed))
	return c, s.runCases(ctx, c, changed)
}

// runCases runs the cases of the file that was changed.
func (s *site) runCases(ctx context.Context, c *checked, changed string) error {
	var some []*rules.Case
	for _, k := range c.Book.Cases {
		if k.At.File == changed {
			some = append(some, k)
		}
	}
	c.MoreCases = max(0, len(some)-mostCases)
	var err error
	if c.Cases, err = ran.Run(ctx, s.Service, c.Book, some[:len(some)-c.MoreCases]); err != nil {
		return err
	}
	for _, k := range c.Cases {
		if !k.OK {
			c.Failed++
		}
	}
	return nil
}

// say takes over findings as they are.
func (c *checked) say(into *[]string, faults source.Faults) {
	for i := range faults {
		if len(*into) == shownFindings {
			c.More++
			continue
		}
		*into = append(*into, short(&faults[i]))
	}
}

// short is a finding with the name of its file without the folder.
func short(f *source.Fault) string {
	one := *f
	if one.File = ran.File(f.File); f.File == "" {
		text := f.Text
		if f.Hint != "" {
			text += "\nhint: " + f.Hint
		}
		return text
	}
	return one.String()
}

func inFile(faults source.Faults, name string) source.Faults {
	return slices.DeleteFunc(slices.Clone(faults), func(f source.Fault) bool { return f.File != name })
}

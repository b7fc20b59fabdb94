// Package listing keeps the lists of a fleet: what stands, in order, and its vehicles, by
// name. An [Index] is kept in step with the records of one partition, so that a page of a
// list costs what is on the page and not what is in the fleet. [Merge] and [MergeVehicles]
// put the partitions' parts together.
//
// What is promised: the pages of a list, one behind the other, are the whole list, each line
// once and in order, as long as nothing changes meanwhile. What changes between two pages
// moves its own line alone: a page begins behind the place of the one before it, whatever
// came or went there, so no other line is missed or shown twice.
package listing

import (
	"fmt"
	"slices"
	"strings"

	"telltale/engine/alarm"
	"telltale/rules/english"
)

// View is one of the lists of what stands.
type View string

// The views. Each alarm that is kept is in one of them; what is put aside is in Aside, and
// where Query.Aside asks for it also in Due or Standing.
const (
	Due       View = "due"       // tasks: soon, due, overdue
	Standing  View = "standing"  // rules and the alarms on the data
	Aside     View = "aside"     // put aside until a day
	Out       View = "out"       // of vehicles out of service
	Returned  View = "returned"  // cleared, and nobody has said that they know
	Postponed View = "postponed" // tasks that a person has put off, and that were not done since
)

// Views are all of them, in the order in which they are counted.
var Views = []View{Due, Standing, Aside, Out, Returned, Postponed}

// What a line is of, where a list is to have lines of one kind alone.
const (
	OfTasks = "tasks"
	OfRules = "rules" // those of the book
	OfData  = "data"  // the alarms on the data, such as a silent vehicle
)

// Query says which lines a list has, and which of them are on the page. What is empty asks
// for nothing.
type Query struct {
	View  View
	Stage []alarm.Stage // any of these
	Of    string        // OfTasks, OfRules or OfData
	Tag   string        // as "depot=north"
	// Q are words, each of which the vehicle's names and tags, or the work, must hold,
	// whatever case, blanks and hyphens.
	Q         string
	Kind      string // of vehicle
	Rule      string // of this rule or task
	Vehicle   string // by the name that its record is kept under
	Person    string // of whom the register says that the vehicle is theirs
	Statutory bool   // what the law asks for
	Aside     bool   // also what is put aside, in Due and Standing
	Sight     *Sight // whose it is; nil for one who sees all
	// After and Before are the key of the line that the page follows, or comes before; at
	// most one of them.
	After, Before string
	Limit         int // lines on the page; 50 where 0, at most MostLines
}

// MostLines is how many lines a page may have.
const MostLines = 500

const usualLines = 50

// Fault is what is wrong with a question about a list.
type Fault struct{ Field, Why string }

func (f *Fault) Error() string { return f.Field + ": " + f.Why }

// place is where a page begins or ends.
type place struct {
	after, before *Key
	limit         int
}

// Check says what is wrong with the question, as a *Fault.
func (q *Query) Check() error {
	_, err := q.place()
	switch {
	case err != nil:
		return err
	case !slices.Contains(Views, q.View):
		return &Fault{"view", fmt.Sprintf("there is no list %q; there are %s", q.View, english.List("and", viewNames()))}
	case q.Of != "" && q.Of != OfTasks && q.Of != OfRules && q.Of != OfData:
		return &Fault{"of", fmt.Sprintf("%q is none of tasks, rules and data", q.Of)}
	}
	for _, s := range q.Stage {
		if !slices.Contains(alarm.TaskStages[:], s) && !slices.Contains(alarm.RuleStages[:], s) {
			return &Fault{"stage", fmt.Sprintf("%q is no stage", s)}
		}
	}
	return nil
}

func viewNames() (out []string) {
	for _, v := range Views {
		out = append(out, string(v))
	}
	return out
}

func (q *Query) place() (p place, err error) {
	if p.limit, err = limitOf(q.Limit, q.After, q.Before); err != nil {
		return p, err
	}
	if q.After != "" {
		p.after = new(Key)
		if err := p.after.parse(q.After); err != nil {
			return p, &Fault{"after", err.Error()}
		}
	}
	if q.Before != "" {
		p.before = new(Key)
		if err := p.before.parse(q.Before); err != nil {
			return p, &Fault{"before", err.Error()}
		}
	}
	return p, nil
}

func limitOf(n int, after, before string) (int, error) {
	switch {
	case after != "" && before != "":
		return 0, &Fault{"before", "a page is after one line or before another, not both"}
	case n < 0 || n > MostLines:
		return 0, &Fault{"limit", fmt.Sprintf("a page has 1 to %d lines", MostLines)}
	case n == 0:
		return usualLines, nil
	}
	return n, nil
}

// words are what a search looks for, each folded.
func words(q string) (out []string) {
	for _, w := range strings.Fields(q) {
		if f := english.Folded(w); f != "" {
			out = append(out, f)
		}
	}
	return out
}

// holds reports whether each word is in one of the texts.
func holds(words []string, texts ...string) bool {
	for _, w := range words {
		if !slices.ContainsFunc(texts, func(t string) bool { return strings.Contains(t, w) }) {
			return false
		}
	}
	return true
}

// Package rules is the rule language: YAML files with expr conditions in, a checked and
// compiled [Book] out, and a [Judge] that runs it. Whatever is wrong with the files is
// told at once, each fault in its place; a book that loads can be judged by, and two
// loads of the same files give the same book. It knows what tasks, rules, baselines and
// cases are; how files are read, what may be asked and how conditions are run are
// packages below it. It is pure, and knows nothing of how the answers come about.
package rules

import (
	"slices"
	"time"

	"gopkg.in/yaml.v3"

	"telltale/rules/dataalarm"
	"telltale/rules/expression"
	"telltale/rules/figure"
	"telltale/rules/source"
	"telltale/rules/unit"
)

// File is one rule file; Name is shown in error texts as it is.
type File struct {
	Name string
	Text []byte
}

// Book is all rule files of a folder, checked and compiled. It is immutable and
// safe for concurrent use; running its conditions needs a Judge.
type Book struct {
	// Hash is "sha256:" and the hex hash of the files' names and texts in order of name.
	Hash      string
	Units     unit.System // that all files which say any agree on, metric ones else
	Tasks     []*Task     // by name
	Rules     []*Rule     // by name
	Baselines []*Baseline // those that go before others first; of those that match, the first counts
	Cases     []*Case     // by name
	Measures  []*Measure  // by name
	// Questions are what is not wrong but deserves a second look: a warning whose
	// advice says neither stop nor inspect, a baseline without a source.
	Questions []source.Fault
	// Uncautioned are work that is asked for without a caution, and cautions that
	// nobody explains. The check takes them for faults; a service runs the book.
	Uncautioned []source.Fault
	// ToFill are the places where a figure is to be filled in by whoever uses the
	// book. What holds one is not judged until then.
	ToFill []source.Fault
	// Data is what it says of the alarms on the data itself.
	Data dataalarm.Settings
	// Deepest is the greatest Depth of its rules.
	Deepest int
	// OwnCautions are the words of the cautions that the book explains itself.
	OwnCautions map[string]string
}

// Limits is a set of limits of which each may be absent (zero). Distance is in
// metres, Hours in seconds of running; Months and Days are of the calendar.
type Limits struct {
	Distance float64
	Hours    float64
	Months   int
	Days     int
}

// DayOfYear is a day that comes round each year; the zero value is none.
type DayOfYear struct {
	Month time.Month
	Day   int
}

// Tolerance is a share of the interval, or limits of its own, or nothing.
type Tolerance struct {
	Share float64 // 0.1 for "10%"; 0 where Fixed says it
	Fixed Limits
}

// History is the policy for a vehicle whose past is unknown.
type History uint8

// The policies: due at once with no point, or counted from the first reading, or
// from the in-service date at meter 0.
const (
	HistoryDue History = iota
	HistoryFirstReading
	HistoryInService
)

// Part is what the tasks, the rules and the baselines of a book have in common.
type Part struct {
	Name         string
	Was          []string              // earlier names whose acknowledgement and history go on, the latest first
	Title        string                // the name where it has none
	PerComponent bool                  // kept for each component, not once a vehicle
	Where        *expression.Condition // nil: every vehicle
	// Over are those of its kind whose place this one takes, or before which it goes,
	// where both match, at any depth. A service that lists one of these tasks does this one.
	Over []string
	At   source.Place
	// ToFill names what of it is to be filled in; where there is any, a task is kept for
	// no vehicle, and a rule is not judged.
	ToFill  []string
	Sources figure.Sources

	read *entry // while loading
}

// Parts are all tasks, rules and baselines.
func (b *Book) Parts() []*Part {
	var out []*Part
	for _, t := range b.Tasks {
		out = append(out, &t.Part)
	}
	for _, r := range b.Rules {
		out = append(out, &r.Part)
	}
	for _, bl := range b.Baselines {
		out = append(out, &bl.Part)
	}
	return out
}

// Task is the task of that name; nil where the book has none.
func (b *Book) Task(name string) *Task {
	i := slices.IndexFunc(b.Tasks, func(t *Task) bool { return t.Name == name })
	if i < 0 {
		return nil
	}
	return b.Tasks[i]
}

// Knows reports whether the book has a task or a follow-up of that name.
func (b *Book) Knows(name string) bool {
	opens := func(list []FollowUp) bool {
		return slices.ContainsFunc(list, func(fu FollowUp) bool { return fu.Name == name })
	}
	return slices.ContainsFunc(b.Tasks, func(t *Task) bool { return t.Name == name || slices.Contains(t.Was, name) || opens(t.FollowUps) }) ||
		slices.ContainsFunc(b.Rules, func(r *Rule) bool { return opens(r.FollowUps) })
}

// Task is maintenance that recurs.
type Task struct {
	Part
	Every        Limits
	Until        []Worn    // due where the first of these measures is worn so far, if that comes before Every
	Meter        string    // of: by whose name Every's distance or hours are counted; "": the usual one
	Year         DayOfYear // the day on which it is due each year; zero: none. Every has 12 months for it
	First        Limits    // the interval from new, until it was done once; zero: Every
	Early        Limits
	Tolerance    Tolerance
	Shorten      *expression.Condition // a number; nil: 1
	History      History
	FromSchedule bool // count from: schedule
	Reported     bool // every: when reported
	BySample     bool // settled by: sample, as well as by work that lists it
	Statutory    bool
	// Share is the part of all the fluid that the work renews, where a service does
	// not tell it; 0 where the task states none.
	Share     float64
	Needs     []Need
	Cautions  []string
	FollowUps []FollowUp // by name
	// In names the tasks that contain this one, at any depth, by their names and earlier
	// ones: doing one of them does this one too.
	In []string
}

// IsCalled reports whether people may mean the task by that name: its own, one that it
// had before, or that of a task whose place it takes.
func (t *Task) IsCalled(name string) bool {
	return t.Name == name || slices.Contains(t.Was, name) || slices.Contains(t.Over, name)
}

// Need is a fluid (Volume in litres) or a part to have ready.
type Need struct {
	Fluid  string
	Volume float64
	Part   string
	Count  int
}

// FollowUp is a one-off task that a service or an alarm opens.
type FollowUp struct {
	Name  string
	Title string
	// Within: soon at once and due there; otherwise (after) due there.
	Within    bool
	At        Limits
	Early     Limits // before At
	Tolerance Tolerance
	// Lapses is how far past At it tells nothing any more and is not asked for; zero: it
	// stands until done. Without a tolerance of its own it is due until then.
	Lapses   Limits
	BySample bool     // settled by: sample
	Cautions []string // its own, or those of what opens it
	// Stage is 0 for any stage, else the stage (1..3) at which it is opened.
	Stage int
}

// The stages of rules, as numbers; 0 is normal.
const (
	Advisory = 1
	Caution  = 2
	Warning  = 3
)

// StageNames are the words of the rule stages by number.
var StageNames = [...]string{"normal", "advisory", "caution", "warning"}

// On is a set of what a rule is judged on.
type On uint8

// What a rule may be judged on.
const (
	OnSample On = 1 << iota
	OnReading
	OnService
	OnClock
)

// Rule is one judgement: measured (Measure and limits) or a pattern (Raise).
type Rule struct {
	Part
	run      *program // beside what else judging looks at
	On       On
	Measured bool
	Below    bool    // limits are lower limits
	Has      [4]bool // which stages have a limit, by stage number
	// Deadband is how far the measure must come back from a limit, as a share of it (0.1 for
	// 10%); Band is the same as a number in the measure's unit. One of them is 0.
	Deadband float64
	Band     float64
	Confirm  [4]int // judged samples in a row, by stage number; at least 1
	Stage    int    // a pattern's one stage
	HasClear bool   // a pattern with its own clear condition
	Masked   bool   // eases only by a fluid that has run long enough since an exchange; true unless "masked: no"
	// MaskedFor is how far the fluid must have run since an exchange; zero: half of what it
	// had run.
	MaskedFor Limits
	// Measures are what is measured by hand that it judges by, by name; ByMeasures: by that,
	// and by no fluid.
	Measures   []string
	ByMeasures bool
	Softened   bool // soften by age: advisory and caution grow with a fluid older than the baseline's, a warning never

	// Depth is after how many others it is judged: one that asks how others stand comes after
	// them. 0: it asks of none.
	Depth int

	PointsTo  []string
	Cautions  [4][]string // by stage number
	FollowUps []FollowUp
	// PullIns are the tasks that the alarm asks for earlier, by name and stage.
	PullIns []PullIn

	compiled *compiledRule
}

// PullIn is a task that an alarm asks for within a distance, a time or hours of
// what raised it, where that is earlier than the task's own due point.
type PullIn struct {
	Task   string
	Within Limits
	// Stage is 0 for any stage, else the stage (1..3) at which it is asked for.
	Stage int

	key *yaml.Node // while loading
}

// Baseline is what is usual for a kind of component and fluid.
type Baseline struct {
	Part
	// FluidAge is the age the means were taken at: Distance or Hours is set.
	FluidAge Limits
	Source   string             // of a baseline from the fleet: that of Fresh
	Fleet    *Fleet             // made of the fleet's own samples: no FluidAge and no Mean; nil: the book's own figures
	Mean     map[string]float64 // base units of the analyte
	Spread   map[string]float64 // the standard deviation about Mean
	Fresh    map[string]float64 // what fresh fluid contains
	Starting bool               // figures that count until there is anything better
}

// ShortHash is enough of a hash, as of a book, to tell it from others.
func ShortHash(h string) string {
	const enough = len("sha256:") + 12
	return h[:min(len(h), enough)]
}

// SourceOf says where the limit of a stage comes from, or the figures of a pattern;
// "" where nobody says.
func (r *Rule) SourceOf(stage int) string {
	if !r.Measured {
		return r.Sources.Of("raise")
	}
	side := "above "
	if r.Below {
		side = "below "
	}
	return r.Sources.Of(side + StageNames[stage])
}

// Figures are all figures of the book, in order of their places.
func (b *Book) Figures() []figure.Figure {
	var out []figure.Figure
	for _, p := range b.Parts() {
		out = append(out, p.Sources...)
	}
	slices.SortStableFunc(out, func(a, b figure.Figure) int { return a.At.Compare(b.At) })
	return out
}

// SharedOver is a task whose place both take; "" where there is none.
func (t *Task) SharedOver(o *Task) string {
	i := slices.IndexFunc(t.Over, func(name string) bool { return slices.Contains(o.Over, name) })
	if i < 0 {
		return ""
	}
	return t.Over[i]
}

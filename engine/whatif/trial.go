package whatif

import (
	"cmp"
	"iter"
	"maps"
	"slices"
	"strings"
	"time"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/fleet"
	"telltale/engine/intake"
	"telltale/engine/replay"
	"telltale/rules"
)

// Trial compares two books over vehicles, one vehicle after the other, in the goroutine of
// whoever calls it: it holds the record of one vehicle, and what differs. Vehicles are folded
// from their first event on; what differs is told from a day on.
type Trial struct {
	Old, New *rules.Book
	// Baselines are those of the fleet that both books compare samples with, Hash their
	// name: those of today, since a few vehicles make none.
	Baselines *fleet.Set
	Hash      string
	// Since is from when on differences count, Until the clock's time to go on ticking to.
	Since, Until time.Time
	By           engine.Asker // in whose units it is told

	// Events and Vehicles count what was folded.
	Events, Vehicles int
	// Differences are those of alarms that a book raised since, or that stand now by one of
	// them, at most MostDifferences; More counts the others.
	Differences []Difference
	More        int

	counts map[string]*Count
	due    map[DueChange]int
}

// MostDifferences bounds how many differences a trial keeps.
const MostDifferences = 1000

// DueChange is a task that would be due by the new book at once, or no longer.
type DueChange struct {
	Task     string // its name in the new book
	From, To alarm.Stage
}

// DueCount is on how many vehicles.
type DueCount struct {
	DueChange
	Vehicles int
}

// Vehicle folds the events of one vehicle by both books. An error of the events ends it, and
// then nothing of the vehicle counts.
func (t *Trial) Vehicle(events iter.Seq2[event.Event, error]) error {
	one := &oneTrial{Trial: t, c: newComparer(t.New, nil)}
	one.c.each = one.keep
	file := replay.File{Own: intake.Own{Baselines: true}, By: t.By}
	for side, book := range [2]*rules.Book{t.Old, t.New} {
		one.folds[side] = file.Partition(book)
		one.folds[side].RestoreBaselines(t.Hash, t.Baselines)
	}
	ticks := intake.NewTicks(false)
	for ev, err := range events {
		if err != nil {
			return err
		}
		one.events++
		for _, ev := range append(ticks.Before(ev), ev) {
			one.apply(ev)
		}
	}
	for _, ev := range ticks.Until(t.Until) {
		one.apply(ev)
	}
	one.standing = true
	_ = one.c.end() // keep does not fail
	one.sum()
	return nil
}

// oneTrial is the trial of one vehicle.
type oneTrial struct {
	*Trial
	folds    [2]*engine.Partition
	c        *comparer
	events   int
	raised   map[string]*Count
	found    []Difference
	standing bool // what comes now stands by one of the books
}

func (o *oneTrial) apply(ev event.Event) {
	var out [2][]engine.Output
	for side, p := range o.folds {
		out[side] = p.Apply(ev)
		for _, x := range out[side] {
			if x.Transition != nil {
				o.count(Side(side), x.Transition)
			}
		}
	}
	_ = o.c.step(out[Old], out[New]) // keep does not fail
}

// count counts an alarm that was raised since.
func (o *oneTrial) count(s Side, t *alarm.Transition) {
	if t.Transition != alarm.Raised || t.Time.Before(o.Since) {
		return
	}
	o.named(o.called(s, t.Rule)).Raised[s]++
}

// called is the name of a rule or task in the new book.
func (o *oneTrial) called(s Side, name string) string {
	if to, ok := o.c.renamed[name]; ok && s == Old {
		return to
	}
	return name
}

func (o *oneTrial) named(rule string) *Count {
	if o.raised == nil {
		o.raised = map[string]*Count{}
	}
	if o.raised[rule] == nil {
		o.raised[rule] = &Count{Rule: rule, Differences: map[string]int{}}
	}
	return o.raised[rule]
}

// keep keeps a difference of an alarm that was raised since, or stands.
func (o *oneTrial) keep(d Difference) error {
	if o.standing || !d.OldRaised.Before(o.Since) || !d.NewRaised.Before(o.Since) {
		o.found = append(o.found, d)
		o.named(d.Rule).Differences[d.Difference]++
	}
	return nil
}

// sum adds the vehicle to the others.
func (o *oneTrial) sum() {
	t := o.Trial
	if t.counts == nil {
		t.counts, t.due = map[string]*Count{}, map[DueChange]int{}
	}
	t.Vehicles++
	t.Events += o.events
	for rule, n := range o.raised {
		all := t.counts[rule]
		if all == nil {
			all = &Count{Rule: rule, Differences: map[string]int{}}
			t.counts[rule] = all
		}
		for side := range all.Raised {
			all.Raised[side] += n.Raised[side]
		}
		for kind, d := range n.Differences {
			all.Differences[kind] += d
		}
	}
	room := min(len(o.found), MostDifferences-len(t.Differences))
	t.Differences = append(t.Differences, o.found[:room]...)
	t.More += len(o.found) - room
	for c := range o.dueChanges() {
		t.due[c]++
	}
}

// dueChanges are the tasks of which the stage is another now, each change once.
func (o *oneTrial) dueChanges() map[DueChange]bool {
	type task struct{ name, component string }
	var stands [2]map[task]alarm.Stage
	for side, p := range o.folds {
		stands[side] = map[task]alarm.Stage{}
		for _, item := range p.Due(due.Query{}) {
			stands[side][task{o.called(Side(side), item.Task), item.Component}] = item.Stage
		}
	}
	out := map[DueChange]bool{}
	for _, now := range stands {
		for k := range now {
			if c := (DueChange{k.name, stands[Old][k], stands[New][k]}); c.From != c.To {
				out[c] = true
			}
		}
	}
	return out
}

// Rules are what each rule and task did by both books since, by name; those that raised
// nothing and do not differ are left out.
func (t *Trial) Rules() (out []Count) {
	for _, name := range slices.Sorted(maps.Keys(t.counts)) {
		out = append(out, *t.counts[name])
	}
	return out
}

// Due are the tasks that would be due at once by the new book, or no longer, by name.
func (t *Trial) Due() (out []DueCount) {
	for c, n := range t.due {
		out = append(out, DueCount{c, n})
	}
	slices.SortFunc(out, func(a, b DueCount) int {
		return cmp.Or(strings.Compare(a.Task, b.Task), cmp.Compare(severity[b.To], severity[a.To]), strings.Compare(string(a.To), string(b.To)), strings.Compare(string(a.From), string(b.From)))
	})
	return out
}

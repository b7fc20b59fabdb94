package enter

import (
	"cmp"
	"context"
	"html/template"
	"slices"
	"strings"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/intake/job"
	"telltale/notify/board/entry"
	"telltale/notify/board/form"
	"telltale/notify/board/frame"
	"telltale/notify/stages"
	"telltale/notify/wording"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// mostLitres is the largest volume that is taken.
const mostLitres = 1000

// work is the form of a job.
type work struct {
	*asked
	Task, Other                      *form.Field // what is due, and what else there is
	Meters                           []*form.Field
	meters                           []meter
	By                               whoDid
	Day, Note                        *form.Field
	Component, Drained, Filled       *form.Field
	ToppedUp, Filter, Flush          *form.Field
	Valid, Defect                    *form.Field
	FluidOpen, OtherOpen, FurtherOne bool // the parts that are unfolded
	Figures                          []string
}

// work enters work that was done.
func (s site) work(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	a, err := s.ask(ctx, r)
	if err != nil {
		return nil, err
	}
	w := s.workForm(a, s.whoDid(ctx, a))
	day := w.Day.Day()
	jobs := w.jobs()
	w.askBack(day)
	w.askOrder(day)
	return s.Serve(ctx, r, &entry.Entry{
		Form: a.form, Vehicle: a.Vehicle, Page: a.page("Enter work"),
		Events: func() ([]event.Event, error) {
			known, err := s.knownWith(ctx, a)
			var out []event.Event
			for i := 0; err == nil && i < len(jobs); i++ {
				var list []event.Event
				list, err = jobs[i].Events(a.form.At(day), known)
				out = append(out, list...)
			}
			return out, err
		},
		Field: func(int) *form.Field {
			if len(w.meters) == 1 {
				return w.meters[0].Field
			}
			return nil
		},
		Fields: func() (template.HTML, error) { return templates.Body("work", w.unfolded()) },
	})
}

// taskID names a task on the page: by its name, and by its component where it is kept for
// several.
func taskID(all []due.Item, i *due.Item) string {
	for k := range all {
		if all[k].Task == i.Task && all[k].Component != i.Component {
			return i.Task + "@" + i.Component
		}
	}
	return i.Task
}

func (s site) workForm(a *asked, by whoDid) *work {
	f := a.form
	w := &work{asked: a, By: by, meters: a.meters(), Day: a.day(oldestWork)}
	w.Task, w.Other = f.Field("task", "What was done"), f.Field("other", "Other work")
	if c := f.Values().Get("component"); !f.Typed() && c != "" { // a link to the work on one component
		w.tickOn(c)
	}
	for i := range a.is.Tasks {
		item := &a.is.Tasks[i]
		c := form.Choice{Value: taskID(a.is.Tasks, item), Label: w.titleOf(item)}
		if item.Stage != alarm.Normal || w.Task.Ticked(c.Value) {
			w.Task.Choices = append(w.Task.Choices, c)
		} else {
			w.Other.Choices = append(w.Other.Choices, c)
		}
	}
	slices.SortStableFunc(w.Other.Choices, func(a, b form.Choice) int { return strings.Compare(a.Label, b.Label) })
	w.Meters = fieldsOf(w.meters)
	w.Note = f.Field("note", "What was found (optional)")
	w.fluidFields()
	w.Valid = f.Field("valid", "Valid until (the date on the paper)")
	w.Defect = f.Field("defect", "Seen to be wrong, and not repaired")
	return w
}

// tickOn has a link's task mean that of one component, where there are several.
func (w *work) tickOn(component string) {
	for i := range w.is.Tasks {
		item := &w.is.Tasks[i]
		if id := taskID(w.is.Tasks, item); item.Component == component && id != item.Task && w.Task.Ticked(item.Task) {
			w.Task.Tick(id)
		}
	}
}

// byOf is who looks, as the name that stands in their entries; "" where that is nobody.
func byOf(v frame.Viewer) string {
	if v.ID == frame.Nobody {
		return ""
	}
	return v.Name
}

// names are those of people, to choose among.
func (s site) names() (out []string) {
	for _, p := range s.People().People() {
		out = append(out, p.Name)
	}
	return out
}

// titleOf is work as people read it, with its stage where it is due.
func (w *work) titleOf(i *due.Item) string {
	t := wording.Title(w.r.Viewer.Person, i.Task, i.Title)
	if i.Component != "" {
		t += " (" + i.Component + ")"
	}
	if i.Stage != alarm.Normal {
		t += ": " + strings.ToLower(stages.Of(i.Stage).Head)
	}
	return t
}

func (w *work) fluidFields() {
	f := w.form
	w.Component = f.Field("component", "Which component")
	w.Component.Choices = []form.Choice{{Value: "", Label: "as the work says"}}
	for _, c := range w.Components {
		w.Component.Choices = append(w.Component.Choices, form.Choice{Value: c.Name, Label: c.Name})
	}
	litres := func(name, label string) *form.Field { return f.Field(name, label).In(f.OwnFirst(unit.Volume)...) }
	w.Drained, w.Filled, w.ToppedUp = litres("drained", "Fluid drained"), litres("filled", "Fluid filled in"), litres("toppedup", "Fluid topped up, without a drain")
	w.Filter, w.Flush = f.Field("filter", "A new filter"), f.Field("flush", "A machine renewed all of the fluid")
}

// item is the task that a value on the page names; nil where none is.
func (w *work) item(id string) *due.Item {
	for i := range w.is.Tasks {
		if taskID(w.is.Tasks, &w.is.Tasks[i]) == id {
			return &w.is.Tasks[i]
		}
	}
	return nil
}

// ticked are the tasks that were done.
func (w *work) ticked() (out []*due.Item) {
	for _, id := range slices.Concat(w.Task.All(), w.Other.All()) {
		if i := w.item(id); i != nil {
			out = append(out, i)
		}
	}
	return out
}

// jobs are what the form says, one for each component that work was done on. What is said
// of fluid is of the component that was chosen, else of the first.
func (w *work) jobs() []job.Job {
	chosen := w.Component.Choose()
	by, meters, said := w.By.text(), shown(w.meters), w.said()
	var on []string // the components, the one of the fluid first
	if chosen != "" {
		on = append(on, chosen)
	}
	tasks := map[string][]string{}
	for _, i := range w.ticked() {
		c := i.Component
		if !slices.Contains(on, c) && c != "" {
			on = append(on, c)
		}
		tasks[c] = append(tasks[c], i.Task)
	}
	if len(on) == 0 {
		on = []string{""}
	}
	var out []job.Job
	for n, c := range on {
		j := job.Job{Vehicle: w.ID, Tasks: tasks[c], Said: map[string]string{"component": c, "by": by}, Meters: meters}
		if n == 0 {
			if c != "" {
				j.Tasks = append(j.Tasks, tasks[""]...)
			}
			for path, text := range said {
				j.Said[path] = text
			}
			w.overfilled(c, said["fluid.flush"] != "")
		}
		out = append(out, j)
	}
	return out
}

// said is what is said of the work, by the paths of the fields of the event.
func (w *work) said() map[string]string {
	yes := func(d *form.Field) string {
		if d.Ticked("yes") {
			return "yes"
		}
		return ""
	}
	out := map[string]string{
		"fluid.drained": form.Typed(w.Drained.Quantity(unit.Volume, mostLitres)), "fluid.filled": form.Typed(w.Filled.Quantity(unit.Volume, mostLitres)),
		"toppedUp": form.Typed(w.ToppedUp.Quantity(unit.Volume, mostLitres)), "filter": yes(w.Filter), "fluid.flush": yes(w.Flush),
		"validUntil": w.Valid.Day(), "defect": w.Defect.Text(), "note": w.Note.Text(),
	}
	for path, text := range out {
		if text == "" {
			delete(out, path)
		}
	}
	return out
}

// overfilled asks back a volume that is more than the component holds, unless a machine
// renewed all of it, which takes more.
func (w *work) overfilled(component string, flush bool) {
	c := w.ComponentNamed(component)
	if c == nil {
		return
	}
	for _, d := range []*form.Field{w.Drained, w.Filled, w.ToppedUp} {
		if !flush || d == w.ToppedUp {
			d.Over(d.Quantity(unit.Volume, mostLitres), c.Capacity, c.Name)
		}
	}
}

// askBack asks after work that was done the day before, or on the same one, already.
func (w *work) askBack(day string) {
	at, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return
	}
	for _, i := range w.ticked() {
		last, err := time.Parse(time.DateOnly, i.LastDone)
		if age := at.Sub(last); err == nil && age >= 0 && age <= 24*time.Hour {
			d := cmp.Or(map[bool]*form.Field{true: w.Task}[slices.Contains(w.Task.All(), taskID(w.is.Tasks, i))], w.Other)
			d.Doubt("%s is entered for %s already", english.Capital(i.Task), w.form.Written(i.LastDone))
		}
	}
}

// askOrder asks after a sample of the same day, which counts as drawn before the work.
func (w *work) askOrder(day string) {
	for _, i := range w.ticked() {
		for k := range w.is.Samples {
			if s := &w.is.Samples[k]; s.Component == i.Component && s.Drawn == day && i.Component != "" {
				w.Day.Doubt("sample %s of the %s was drawn on the same day: it counts as drawn before this work", s.Number, s.Component)
			}
		}
	}
}

// unfolded decides which parts of the form are open, and what of the register is said
// beside what is ticked.
func (w *work) unfolded() *work {
	any := func(all ...*form.Field) bool {
		return slices.ContainsFunc(all, func(d *form.Field) bool { return d.Value() != "" || d.Wrong() })
	}
	w.FluidOpen = any(w.Drained, w.Filled, w.ToppedUp, w.Filter, w.Flush) || w.form.Typed() && any(w.Component)
	w.OtherOpen = any(w.Other) || len(w.Task.Choices) == 0
	w.FurtherOne = any(w.Valid, w.Defect)
	reader := wording.Reader{Person: w.r.Viewer.Person}.On(w.is.Reads)
	on := w.Component.Value()
	for _, i := range w.ticked() {
		if on = cmp.Or(on, i.Component); i.Figures != nil {
			w.Figures = append(w.Figures, english.Sentence(english.Capital(i.Component)+": "+i.Figures.Text(reader.Litres)))
		}
	}
	if c := w.ComponentNamed(on); c != nil && c.Capacity != nil {
		if litres, err := c.Capacity.As(unit.Volume); err == nil {
			w.Filled.Hint = english.Sentence(c.Name + " holds " + reader.Litres(litres) + " of " + cmp.Or(c.Fluid, "fluid"))
		}
	}
	return w
}

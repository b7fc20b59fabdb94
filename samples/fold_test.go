package samples_test

import (
	"bytes"
	"fmt"
	"io/fs"
	"strings"
	"sync"
	"testing"
	"time"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/sample"
	"telltale/rules"
	"telltale/samples"
)

// folded is the sample year, folded from first to last.
type folded struct {
	transitions []alarm.Transition
	notJudged   []alarm.NotJudged
	refused     []alarm.Refusal
	ticks       int
	partition   *engine.Partition
	read        map[string][]sample.Verdict // by story, what was said of its samples on its day
	came        map[event.ID]sample.Verdict // by sample, what was said of it as it came
	late        map[event.ID]bool           // samples behind which something came that has them judged anew
}

func (f *folded) take(out []engine.Output) {
	for _, o := range out {
		switch {
		case o.Transition != nil:
			f.transitions = append(f.transitions, *o.Transition)
		case o.NotJudged != nil:
			f.notJudged = append(f.notJudged, *o.NotJudged)
		case o.Refused != nil:
			f.refused = append(f.refused, *o.Refused)
		}
	}
}

// sampleYear folds the fleet's files as a replay does: the book, the register at
// the first event, the events with a tick at each midnight, ticks to the year's end.
func sampleYear(t *testing.T) *folded {
	t.Helper()
	f, err := foldOnce()
	if err != nil {
		t.Fatal(err)
	}
	return f
}

var foldOnce = sync.OnceValues(foldFleet)

func foldFleet() (*folded, error) {
	f := &folded{partition: engine.NewPartition(), read: map[string][]sample.Verdict{}, came: map[event.ID]sample.Verdict{}, late: map[event.ID]bool{}}
	book, err := loadBook()
	if err != nil {
		return nil, err
	}
	f.take(f.partition.Apply(event.Event{Kind: event.BookEvent, Data: &event.BookData{Hash: book.Hash, Book: book}}))
	text, err := fs.ReadFile(samples.FS, "events.jsonl")
	if err != nil {
		return nil, err
	}
	ticks := intake.NewTicks(false)
	registered := false
	err = intake.ReadFile(bytes.NewReader(text), func(_ int, ev event.Event, err error) error {
		if err != nil {
			return err
		}
		if !registered {
			registered = true
			if err := f.register(ev.Recorded); err != nil {
				return err
			}
		}
		f.tick(ticks.Before(ev))
		f.take(f.partition.Apply(ev))
		f.note(ev)
		return nil
	})
	f.tick(ticks.Until(time.Date(2032, 1, 1, 0, 0, 0, 0, time.UTC)))
	return f, err
}

// note keeps what is said of a sample that just came.
func (f *folded) note(ev event.Event) {
	answer, _ := ev.Data.(*event.AnswerData)
	for id, v := range f.came {
		earlier := ev.Kind != event.ReadingEvent && ev.Time.Format(time.DateOnly) < v.Drawn
		if v.Vehicle == ev.Vehicle && (earlier || answer != nil && answer.Answer == "in service") {
			f.late[id] = true
		}
	}
	d, ok := ev.Data.(*event.SampleData)
	if !ok || d.ByHand() {
		return
	}
	for _, v := range f.partition.Verdicts(ev.Vehicle, d.Component) {
		if v.Sample == ev.ID {
			f.came[ev.ID] = v
		}
	}
}

func (f *folded) tick(ticks []event.Event) {
	f.ticks += len(ticks)
	for _, ev := range ticks {
		f.take(f.partition.Apply(ev))
		for _, c := range verdicts {
			if c.date == ev.Time.Format(time.DateOnly) {
				f.read[c.story] = f.partition.Verdicts(c.vehicle, c.component)
			}
		}
	}
}

func (f *folded) register(at time.Time) error {
	text, err := fs.ReadFile(samples.FS, "vehicles.yaml")
	if err != nil {
		return err
	}
	vehicles, err := intake.Register("vehicles.yaml", text, at)
	if err != nil {
		return err
	}
	for _, ev := range vehicles {
		f.take(f.partition.Apply(ev))
	}
	return nil
}

func loadBook() (*rules.Book, error) {
	names, err := fs.Glob(samples.FS, "rules/*.yaml")
	if err != nil {
		return nil, err
	}
	var files []rules.File
	for _, name := range names {
		text, err := fs.ReadFile(samples.FS, name)
		if err != nil {
			return nil, err
		}
		files = append(files, rules.File{Name: name, Text: text})
	}
	return rules.Load(files)
}

// of are the transitions of a rule or task on a vehicle, a line each: the date,
// the transition, the stage it went to, and "shelved" where it was told to nobody.
func (f *folded) of(vehicle, rule string) string {
	var b strings.Builder
	for i := range f.transitions {
		if tr := &f.transitions[i]; tr.Vehicle == vehicle && tr.Rule == rule {
			b.WriteString(line(tr))
		}
	}
	return b.String()
}

func line(tr *alarm.Transition) string {
	s := fmt.Sprintf("%s %s %s", tr.Time.Format(time.DateOnly), tr.Transition, tr.To)
	if tr.Shelved {
		s += " shelved"
	}
	return s + "\n"
}

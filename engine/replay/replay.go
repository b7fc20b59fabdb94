// Package replay folds a file of events as a service folds its log: first the
// vehicles of a register, then the events in the file's order with a tick at each
// midnight UTC that they pass, then ticks up to a date. [File.Fold] folds it by one
// book; who folds it in another way, by two books or with lists in between, takes
// the same events from [File.Each].
//
//	file := replay.File{Own: own, Register: register}
//	partition, err := file.Fold(r, book, func(ev engine.Event, out []engine.Output) { … })
package replay

import (
	"fmt"
	"io"
	"iter"
	"time"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/fleet"
	"telltale/engine/intake"
	"telltale/rules"
)

// File is how a file of events is to be folded.
type File struct {
	// Own is what the file has of its own, as intake.Holds finds it: where it has
	// ticks none are made, where it has baselines of the fleet neither.
	Own intake.Own
	// Register are registrations to begin with, at the moment of the first event.
	Register []event.Event
	// Until is the date to go on ticking to; zero for no further than the file.
	Until time.Time
	// By is in whose units it is told what follows.
	By engine.Asker
	// Damaged is told of each line that cannot be read; an error from it ends the
	// reading. nil passes such lines by.
	Damaged func(line int, reason error) error
	// Skipped is told of each event that is passed by because a service wrote it for
	// itself; nil is told nothing.
	Skipped func(event.Event)
}

// ofService reports whether a service wrote the event for its own log: a book, which is
// here the one that the file is folded by, its lists and surveys, and baselines of which
// the figures are kept elsewhere. Ticks, and baselines with their figures, are folded.
func ofService(ev *event.Event) bool {
	switch d := ev.Data.(type) {
	case *event.BookData, *event.TurnData, *fleet.SurveyData:
		return true
	case *fleet.BaselineData:
		return d.Set == nil
	}
	return false
}

// Each hands over what is to be folded, in order: registrations, ticks, and the
// events of the file, which alone have a line number. An error from do ends it.
func (f File) Each(r io.Reader, do func(event.Event) error) error {
	ticks := intake.NewTicks(f.Own.Ticks)
	register := f.Register
	err := intake.ReadFile(r, func(line int, ev event.Event, err error) error {
		if err != nil {
			if f.Damaged == nil {
				return nil
			}
			return f.Damaged(line, err)
		}
		if ofService(&ev) {
			if f.Skipped != nil {
				f.Skipped(ev)
			}
			return nil
		}
		var next []event.Event
		for _, reg := range register {
			dated, err := intake.At(reg, ev.Recorded)
			if err != nil {
				return fmt.Errorf("registering vehicle %q: %w", reg.Vehicle, err)
			}
			next = append(next, dated)
		}
		register = nil
		return each(do, append(append(next, ticks.Before(ev)...), ev)...)
	})
	if err != nil || f.Until.IsZero() {
		return err
	}
	return each(do, ticks.Until(f.Until)...)
}

func each(do func(event.Event) error, events ...event.Event) error {
	for _, ev := range events {
		if err := do(ev); err != nil {
			return err
		}
	}
	return nil
}

// Partition is one that holds a whole file from its beginning, with the book in
// force. It makes the baselines of its fleet by itself, unless the file has some.
func (f File) Partition(b *rules.Book) *engine.Partition {
	p := engine.NewPartition()
	p.Rename, p.By = intake.Renamed, f.By
	if !f.Own.Baselines {
		p.SurveyMonthly()
	}
	p.Apply(event.Event{Kind: event.BookEvent, Data: &event.BookData{Hash: b.Hash, Book: b}})
	return p
}

// Fold folds the file by a book and hands over what each event brought. A line that
// cannot be read counts as an event that is refused; Damaged is not asked.
func (f File) Fold(r io.Reader, b *rules.Book, said func(event.Event, []engine.Output)) (*engine.Partition, error) {
	p := f.Partition(b)
	f.Damaged = func(line int, reason error) error {
		said(event.Event{Line: line}, []engine.Output{{Refused: &alarm.Refusal{Refused: reason.Error(), Line: line}}})
		return nil
	}
	return p, f.Each(r, func(ev event.Event) error {
		said(ev, p.Apply(ev))
		return nil
	})
}

// Ticked puts before each of the events the ticks of the midnights UTC that it
// passes.
func Ticked(events []event.Event) iter.Seq[event.Event] {
	return func(yield func(event.Event) bool) {
		ticks := intake.NewTicks(false)
		for _, ev := range events {
			for _, ev := range append(ticks.Before(ev), ev) {
				if !yield(ev) {
					return
				}
			}
		}
	}
}

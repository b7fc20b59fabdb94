// Package tables brings the rows of a table into a service, whole or not at all.
//
// [Read] reads a file by its mapping, against what the service has registered, and asks
// what would follow of each row that is new. That is the dry run. Nothing is stored before
// [gateway.Entered.Send]; the same file again finds all of its rows known.
package tables

import (
	"context"
	"fmt"
	"io"
	"time"

	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/intake/job"
	"telltale/engine/intake/table"
	"telltale/engine/record"
	"telltale/engine/stream/gateway"
	"telltale/engine/stream/service"
)

// Dry is what a file comes to.
type Dry struct {
	// Table is what it says; TakenOut among it are rows that stay out.
	Table *table.Table
	// Entered is what would follow of its new rows; the zero value until they were asked
	// after.
	gateway.Entered
}

// File is a file to be read.
type File struct {
	Name string // in the faults
	In   io.Reader
	// Most is how many rows it may have; as many as a table may where 0.
	Most int
	// Sees says of which vehicles it may be, as a question's Sees; of all where "". Another is
	// to it no vehicle of the register.
	Sees string
}

// Read reads a file and asks the service what would follow, in the units of the question.
// What is wrong with its rows, or would be refused, is a table.Faults. With an error the
// table is there as far as it was read, else nil.
func Read(ctx context.Context, at service.At, units []string, m *table.Mapping, f File) (*Dry, error) {
	h, err := at.Health(ctx)
	if err != nil {
		return nil, err
	}
	fleet, err := Fleet(ctx, at, f.Sees)
	if err != nil {
		return nil, err
	}
	d := &Dry{}
	if d.Table, err = m.Read(f.Name, f.In, fleet); err != nil {
		return nil, err
	}
	if f.Most > 0 && d.Table.Rows > f.Most {
		return d, table.Faults{{File: f.Name, Text: fmt.Sprintf("it has %d rows, more than %d", d.Table.Rows, f.Most), Hint: "split it into several files"}}
	}
	latest, _ := h.Clock()
	return d, d.ask(ctx, at, units, f.Name, latest)
}

// ask asks after the rows that are new.
func (d *Dry) ask(ctx context.Context, at service.At, units []string, file string, latest time.Time) error {
	known, err := known(ctx, at, d.Table.Events)
	if err != nil {
		return err
	}
	fresh, err := d.Table.Fresh(file, known, latest)
	if err != nil {
		return err
	}
	e, err := gateway.WouldBe(ctx, at, units, fresh)
	if err != nil {
		return err
	}
	d.Entered = *e
	return d.refused(file)
}

// refused are the rows that the service would refuse, as faults; nil where there are none.
func (d *Dry) refused(file string) error {
	var faults table.Faults
	for i := range d.Would {
		if r := d.Would[i].Refused; r != nil {
			faults = append(faults, table.Fault{File: file, Row: d.Events[i].Line, Col: 1, Text: r.Refused})
		}
	}
	if faults == nil {
		return nil
	}
	return faults
}

// Before counts the rows that the service holds already.
func (d *Dry) Before() int {
	return len(d.Table.Events) - len(d.Fresh()) - len(d.Table.TakenOut)
}

// Fleet is what the service has registered of what may be seen, see [File], and what its
// rules ask of each vehicle.
func Fleet(ctx context.Context, at service.At, sees string) (*table.Fleet, error) {
	list, err := service.Register.From(ctx, at, service.Question{Sees: sees})
	if err != nil {
		return nil, err
	}
	f := &table.Fleet{Vehicles: map[string]*event.VehicleData{}, First: map[string]string{}}
	for _, v := range list {
		f.Vehicles[v.Vehicle] = v.VehicleData
		if v.First != "" {
			f.First[v.Vehicle] = v.First
		}
	}
	tasks := map[string][]job.Task{}
	f.Tasks = func(vehicle string) ([]job.Task, error) {
		if have, ok := tasks[vehicle]; ok {
			return have, nil
		}
		has, err := service.Why.From(ctx, at, service.Question{Vehicle: vehicle})
		if err == nil {
			tasks[vehicle] = job.TasksOf(has)
		}
		return tasks[vehicle], err
	}
	var byHand job.Measures
	f.Measures = func(vehicle string) (job.Measures, error) {
		var err error
		if len(byHand) == 0 {
			byHand, err = Measures(ctx, at, vehicle)
		}
		return byHand, err
	}
	return f, nil
}

// Measures are what the rules have measured by hand, with their units: the book's, the same
// for all vehicles that are registered.
func Measures(ctx context.Context, at service.At, vehicle string) (job.Measures, error) {
	list, err := service.Measured.From(ctx, at, service.Question{Vehicle: vehicle})
	out := job.Measures{}
	for _, m := range list {
		out[m.Measure] = m.Unit
	}
	return out, err
}

// known asks the service which of the events it holds, by vehicle. It holds them under the
// first names of their vehicles; one that it holds alike has the hash that the event has here.
func known(ctx context.Context, at service.At, events []event.Event) (map[string][]table.Known, error) {
	homes, err := gateway.HomesOf(ctx, at)
	if err != nil {
		return nil, err
	}
	ask := map[string][]engine.KnownEvent{}
	here := map[event.ID]event.Event{}
	for _, ev := range events {
		ask[ev.Vehicle] = append(ask[ev.Vehicle], engine.KnownEvent{ID: ev.ID})
		here[ev.ID] = ev
	}
	out := map[string][]table.Known{}
	for vehicle, list := range ask {
		have, err := service.QueryKnown(ctx, at, vehicle, list)
		if err != nil {
			return nil, err
		}
		for _, k := range have {
			if ev := here[k.ID]; k.Digest == homes.Of(ev).Hash() || k.Digest == event.DigestText(record.AnyDigest) {
				k.Digest = ev.Hash()
			}
			out[vehicle] = append(out[vehicle], table.Known(k))
		}
	}
	return out, nil
}

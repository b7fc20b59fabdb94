// Package work says which work of a vehicle counts for a task on a component, and where the
// vehicle stood when it was done: by the services and samples of its record, or by what the
// task counts from where nobody knows of any. It does not know when the task is due.
package work

import (
	"time"

	"telltale/engine/event"
	"telltale/engine/interval"
	"telltale/engine/record"
	"telltale/rules"
	"telltale/rules/applies"
)

// History is the work of a vehicle, as the tasks that apply to it count it. Components are
// given by their index in the registration, -1 for the vehicle.
type History struct {
	Rec    *record.Record
	Reg    *event.VehicleData
	Zone   *time.Location
	Fitted []interval.Date // when each component came into the vehicle; zero: with it
	// Twins are, of a task, those that take the same one's place: doing either does both.
	Twins map[applies.Task][]*rules.Task
}

func (h History) def(comp int) *event.ComponentDef {
	if comp < 0 {
		return nil
	}
	return &h.Reg.Components[comp]
}

// name is the component's; "" for the vehicle.
func (h History) name(comp int) string {
	if comp < 0 {
		return ""
	}
	return h.Reg.Components[comp].Name
}

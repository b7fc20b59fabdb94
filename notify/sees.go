package notify

import (
	"telltale/engine/event"
	"telltale/notify/people"
)

// ReadSees reads which vehicles somebody may see, as [people.Access.Sees] writes it, for the
// service that answers them.
func ReadSees(text string) (func(home string, v *event.VehicleData) bool, error) {
	sees, err := people.ReadSees(text)
	if err != nil {
		return nil, err
	}
	return func(home string, v *event.VehicleData) bool { return sees(VehicleOf(home, v)) }, nil
}

package people

import (
	"fmt"
	"slices"

	"telltale/notify/rights"
)

// Barred asks about what rights and programs leave shut, most likely by an oversight: people
// who see no vehicle or have no way to sign in, entries and programs whose condition lets in
// no vehicle. A spelling slip there tells nobody: pages are just empty. fleet: they can sign
// in at the fleet's own provider. Nothing is asked where there are no vehicles.
func Barred(d *Directory, vehicles []Vehicle, fleet bool) (asked []string) {
	if len(vehicles) == 0 {
		return nil
	}
	for _, e := range d.rights {
		if !slices.ContainsFunc(vehicles, func(v Vehicle) bool { return (&grant{where: e.where}).over(&v) }) {
			asked = append(asked, fmt.Sprintf("%q in `rights` of people.yaml opens nothing: its `where` lets in no vehicle", e.name))
		}
	}
	for _, p := range d.Programs() {
		if !slices.ContainsFunc(vehicles, p.Speaks) {
			asked = append(asked, fmt.Sprintf("%q in `programs` of people.yaml can send nothing: its `where` lets in no vehicle", p.ID))
		}
	}
	if d.rights == nil {
		return asked
	}
	for _, p := range d.People() {
		a := d.Access(p.ID)
		switch {
		case !slices.ContainsFunc(vehicles, func(v Vehicle) bool { return a.Allows(rights.Glance, v) }):
			asked = append(asked, fmt.Sprintf("%s sees nothing on the board: no entry of `rights` in people.yaml gives them a vehicle", p.ID))
		case p.To[Mail] == "" && (p.Subject == "" || !fleet):
			asked = append(asked, fmt.Sprintf("%s cannot sign in: people.yaml has no `mail` of theirs to send a link to", p.ID))
		}
	}
	return asked
}

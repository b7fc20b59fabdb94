package people

import "telltale/notify/rights"

// Right is an entry of rights as it is written: who may do what, to which vehicles.
type Right struct {
	Name string
	Who  []string // ids
	// Own: and the people that a vehicle's registration names, to theirs.
	Own   bool
	Role  rights.Role
	Where string // "" for all
}

// Rights are the entries of rights, by name; nil where people.yaml has none.
func (d *Directory) Rights() (out []Right) {
	for _, e := range d.rights {
		out = append(out, Right{e.name, e.who, e.own, e.role, e.text})
	}
	return out
}

package schema

import "telltale/rules/unit"

func vehiclesFile() node {
	component := object([]string{"kind"}, map[string]node{
		"kind":       about(text(), "such as automatic transmission; rules ask for it"),
		"fluid":      text(),
		"capacity":   about(quantity("8 L", unit.Volume), "all the fluid in the circuit: converter, cooler and lines included"),
		"meters":     about(texts(), "the meters that count for it; all where it is left out"),
		"torque":     {"type": "object", "additionalProperties": quantity("35 N m", unit.Torque), "description": "how tight what is named is drawn, as drain plug: 35 N m; it needs a source"},
		"source":     about(text(), "where capacity and torque are from, such as the maker's manual and the page"),
		"was":        about(texts(), "its earlier name, or names"),
		"in service": about(date(), "since when it is in the vehicle, where it was fitted later: what was done before was done to another"),
	})
	meter := either(choice("distance", "hours"), object([]string{"kind"}, map[string]node{
		"kind": choice("distance", "hours"),
		"was":  about(texts(), "its earlier name, or names"),
	}))
	component["dependentRequired"] = map[string][]string{"torque": {"source"}}
	vehicle := object([]string{"kind"}, map[string]node{
		"name":       about(text(), "its name for people"),
		"kind":       text(),
		"tags":       {"type": "object", "additionalProperties": text()},
		"in service": about(date(), "since when it is in use"),
		"zone":       about(text(), "a time zone such as Europe/London; UTC where it is left out"),
		"meters":     {"type": "object", "additionalProperties": meter},
		"components": {"type": "object", "additionalProperties": component},
		"people":     about(texts(), "who keeps it, as named in people.yaml"),
		"retired":    yes(),
		"was":        about(texts(), "its earlier key, or keys: its history goes on under this one"),
		"plate":      about(text(), "as it is written on the vehicle; commands find it by this too"),
		"reads":      about(oneOrMore(choice(unit.Choices()...)), "the units in which people read of it, such as its odometer shows: mi, or [mi, qt, degF, psi]"),
		"vin":        about(pattern(`^[0-9A-HJ-NPR-Za-hj-npr-z]{17}$`, "ZZ1LARKFE00000007"), "17 characters; commands find it by this too"),
	})
	root := object([]string{"vehicles"}, map[string]node{"vehicles": {"type": "object", "additionalProperties": vehicle}})
	root["title"] = "Telltale register of vehicles"
	return root
}

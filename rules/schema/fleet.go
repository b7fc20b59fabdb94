package schema

import "telltale/rules/unit"

func vehiclesFile() node {
	component := object([]string{"kind"}, map[string]node{
		"kind":     about(text(), "such as automatic transmission; rules ask for it"),
		"fluid":    text(),
		"capacity": about(quantity("8 L", unit.Volume), "all the fluid in the circuit: converter, cooler and lines included"),
		"meters":   about(texts(), "the meters that count for it; all where it is left out"),
		"torque":   {"type": "object", "additionalProperties": quantity("35 N m", unit.Torque), "description": "how tight what is named is drawn, as drain plug: 35 N m; it needs a source"},
		"source":   about(text(), "where capacity and torque are from, such as the maker's manual and the page"),
	})
	component["dependentRequired"] = map[string][]string{"torque": {"source"}}
	vehicle := object([]string{"kind"}, map[string]node{
		"name":       about(text(), "its name for people"),
		"kind":       text(),
		"tags":       {"type": "object", "additionalProperties": text()},
		"in service": about(date(), "since when it is in use"),
		"zone":       about(text(), "a time zone such as Europe/London; UTC where it is left out"),
		"meters":     {"type": "object", "additionalProperties": choice("distance", "hours")},
		"components": {"type": "object", "additionalProperties": component},
		"people":     about(texts(), "who keeps it, as named in people.yaml"),
		"retired":    yes(),
	})
	root := object([]string{"vehicles"}, map[string]node{"vehicles": {"type": "object", "additionalProperties": vehicle}})
	root["title"] = "Telltale register of vehicles"
	return root
}

func peopleFile() node {
	span := quantity("4 days", unit.Days, unit.Time)
	person := object(nil, map[string]node{
		"name":        text(),
		"mail":        pattern(`^[^ "\\@]+@[^ "\\@]+$`, "ines@example.org"),
		"zone":        about(text(), "a time zone such as Europe/London; UTC where it is left out"),
		"distance":    choice(unit.Distances()...),
		"volume":      choice(unit.Volumes()...),
		"dates":       choice("day first", "month first", "year first"),
		"digest":      about(pattern(`^\S+( +\S+){4}$|^@\S+$`, "30 6 * * 1-5"), "when the list comes, at most once a day: minute, hour, day, month, weekday"),
		"list":        about(choice("workshop", "owner", "operator"), "what the list is like: work by vehicle, what the keeper of a few must know, or counts and the worst"),
		"nothing due": choice("silent", "say so"),
		"unchanged":   about(choice("say so", "silent"), "whether the list comes when it says nothing new"),
		"webhook":     about(object([]string{"url", "secret file"}, map[string]node{"url": text(), "secret file": text()}), "a program of theirs that is called"),
		"nats":        about(text(), "a subject on which messages to them are published"),
		"file":        about(text(), "a file to which messages to them are written"),
		"quiet":       pattern(`^[0-9]{2}:[0-9]{2} to [0-9]{2}:[0-9]{2}$`, "21:00 to 07:00"),
	})
	entry := object([]string{"who"}, map[string]node{
		"who":            about(oneOrMore(text()), "ids, groups, or `people of the vehicle`"),
		"where":          expression("which vehicles, components and alarms"),
		"stages":         oneOrMore(choice("soon", "due", "overdue", "advisory", "caution", "warning")),
		"when":           choice("at once", "digest", "never"),
		"by":             about(oneOrMore(choice("mail", "webhook", "nats", "file")), "the ways; each that the person has where it is left out"),
		"remind after":   span,
		"stand-in":       oneOrMore(text()),
		"stand-in after": span,
	})
	entry["dependentRequired"] = map[string][]string{"stand-in": {"stand-in after"}, "stand-in after": {"stand-in"}}
	id := node{"pattern": "^[A-Za-z0-9_-]{1,64}$"}
	root := object(nil, map[string]node{
		"people":   {"type": "object", "additionalProperties": person, "propertyNames": id},
		"groups":   {"type": "object", "additionalProperties": oneOrMore(text()), "description": "names for several people"},
		"operator": about(oneOrMore(text()), "ids of those who hear that the service cannot tell somebody"),
		"tell":     {"type": "object", "additionalProperties": entry},
	})
	root["title"] = "Telltale people"
	return root
}

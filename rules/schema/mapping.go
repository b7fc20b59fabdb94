package schema

import (
	"telltale/rules/analytes"
	"telltale/rules/unit"
)

// encodings are the names that a mapping may give to how a table is written.
var encodings = []string{"ibm437", "ibm850", "iso-8859-1", "iso-8859-15", "iso-8859-2", "macintosh", "utf-16", "utf-16be", "utf-16le", "utf-8",
	"windows-1250", "windows-1251", "windows-1252", "windows-1253", "windows-1254", "windows-1257"}

// mappingFile is a mapping of samples, readings, services or vehicles: each has keys of its own.
func mappingFile() node {
	return node{
		"title": "Telltale mapping of a table",
		"oneOf": []node{samplesMapping(), readingsMapping(), servicesMapping(), vehiclesMapping()},
	}
}

func mappingOf(kind string, required []string, own map[string]node) node {
	shared := map[string]node{
		"source":      about(text(), "who reports it, such as /laboratory/valley; half of each event's identity"),
		"zone":        about(text(), "the time zone of the table's dates and times, such as Europe/London, or UTC"),
		"time of day": about(pattern(`^[0-9]{1,2}:[0-9]{2}(:[0-9]{2}(\.[0-9]+)?)? *([AaPp]\.?[Mm]\.?)?$`, "18:00"), "what a date without a time counts as; its beginning where it is left out"),
		"id":          about(texts(), "the headings that name a row, or `row number`"),
		"vehicle":     about(origin(nil), "by its name in the register"),
		"date":        about(origin(nil), "when it was read, done or drawn; may hold the time"),
		"time":        about(origin(nil), "the time of day, where it has a column of its own"),
		"reported":    about(origin(nil), "when it was reported, if later"),
		"meters":      about(node{"type": "object", "additionalProperties": measured(nil, unit.Distance, unit.Time)}, "by the meter's name in the register"),
	}
	return object(append([]string{"import", "source", "zone", "vehicle", "date"}, required...), writing(kind), shared, own)
}

// writing is how a table is written.
func writing(kind string) map[string]node {
	return map[string]node{
		"import":         about(choice(kind), "what the rows are: samples, readings, services or vehicles"),
		"encoding":       about(choice(encodings...), "utf-8 where it is left out"),
		"delimiter":      about(choice("comma", "semicolon", "tab", "bar", ",", ";", "|"), "what separates columns; comma where it is left out"),
		"heading":        about(whole(1, 1000), "the row of the headings; 1 where it is left out"),
		"decimal mark":   about(choice("point", "comma", ".", ","), "without it a number with either is a fault"),
		"thousands mark": choice("comma", "point", "blank", "apostrophe", ",", ".", "'"),
		"date order":     about(choice("day first", "month first", "year first"), "without it only a date that can be no other is read"),
		"century":        about(node{"type": "integer", "minimum": 1900, "maximum": 2100, "multipleOf": 100}, "what is added to years of two digits"),
		"not measured":   about(texts(), "cells that mean no value, beside empty ones"),
	}
}

// vehiclesMapping has the keys of the register, each with where its cells are.
func vehiclesMapping() node {
	between := map[string]node{"between": about(text(), "what separates several values in a cell")}
	vehicle := vehiclesFile()["properties"].(map[string]node)["vehicles"]["additionalProperties"].(node)["properties"].(map[string]node)
	own := map[string]node{"vehicle": about(origin(nil), "its name in the register")}
	for key, n := range vehicle {
		switch key {
		case "meters":
			own[key] = about(n, "the same for every row, as in the register")
		case "tags":
			own[key] = node{"type": "object", "additionalProperties": origin(nil)}
		case "components":
			own[key] = about(node{"type": "object", "additionalProperties": componentMapping(n)}, "a row with an empty kind has no such component")
		case "people", "was":
			own[key] = origin(between)
		default:
			own[key] = origin(nil)
		}
	}
	return object([]string{"import", "vehicle", "kind"}, writing("vehicles"), own)
}

// componentMapping are those keys of a component that a cell can say.
func componentMapping(components node) node {
	keys := map[string]node{}
	for key := range components["additionalProperties"].(node)["properties"].(map[string]node) {
		switch key {
		case "meters", "torque", "was":
		case "capacity":
			keys[key] = measured(nil, unit.Volume)
		default:
			keys[key] = origin(nil)
		}
	}
	return object([]string{"kind"}, keys)
}

func samplesMapping() node {
	name := either(choice(analytes.Names()...), node{"type": "string", "pattern": "^[A-Za-z][A-Za-z -]{2,}$"}) // a symbol, or its title
	average := object(nil, column)
	average["oneOf"] = []node{{"required": []string{"column"}}, {"required": []string{"column number"}}}
	printed := about(either(text(), average), "the column of the laboratory's average of it, in the result's unit")
	more := map[string]node{"average": printed,
		"limit": about(node{"type": "number", "exclusiveMinimum": 0, "maximum": 1e9}, "of detection, in the column's unit")}
	n := mappingOf("samples", nil, map[string]node{
		"measures":     about(node{"type": "object", "additionalProperties": measured(nil)}, "what was measured by hand on the vehicle, by its name in the rules, in place of component, number and results"),
		"component":    about(origin(nil), "by its name in the register"),
		"number":       about(origin(nil), "of the laboratory's report"),
		"revision":     origin(nil),
		"repeat":       about(origin(nil), "1, 2, … for further analyses of the same sample, which are no correction"),
		"taken":        about(origin(nil), "before or after the work of that day"),
		"laboratory":   origin(nil),
		"method":       origin(nil),
		"point":        about(origin(nil), "where it was drawn"),
		"age":          about(measured(nil, unit.Distance, unit.Time), "the fluid's"),
		"average age":  about(measured(nil, unit.Distance, unit.Time), "the age of the fluid that the laboratory's averages are of"),
		"density":      about(measured(nil, unit.Density), "the fluid's, for results in mg/L"),
		"below":        about(texts(), "marks before a limit: \"<\" makes <5 below 5"),
		"above":        about(texts(), "marks before a limit, as \">\""),
		"not detected": about(texts(), "words for it; with a limit at the analyte it is below that"),
		"trace":        about(texts(), "words for it; with a limit at the analyte it is below that"),
		"results":      about(node{"type": "object", "propertyNames": name, "additionalProperties": measured(more)}, "a column for each analyte"),
		"result": about(object([]string{"analyte", "value", "unit"}, map[string]node{"analyte": origin(nil), "value": origin(nil), "unit": origin(nil), "average": printed}),
			"for a table with a row for each result"),
	})
	n["oneOf"] = []node{{"required": []string{"component", "number", "results"}}, {"required": []string{"component", "number", "result"}}, {"required": []string{"measures"}}}
	return n
}

func readingsMapping() node {
	return mappingOf("readings", []string{"meters"}, map[string]node{
		"topped up": about(measured(nil, unit.Volume), "without a drain, to replace what was used up"),
		"component": about(origin(nil), "what was topped up, by its name in the register"),
	})
}

func servicesMapping() node {
	between := map[string]node{"between": about(text(), "what separates several values in a cell")}
	return mappingOf("services", nil, map[string]node{
		"tasks":       about(origin(between), "by their names in the rules"),
		"component":   about(origin(nil), "by its name in the register"),
		"fluid":       origin(nil),
		"drained":     measured(nil, unit.Volume),
		"filled":      measured(nil, unit.Volume),
		"topped up":   about(measured(nil, unit.Volume), "without a drain, to replace what was used up"),
		"flush":       about(origin(nil), "yes where a machine renewed all of the fluid, or no, by names"),
		"filter":      about(origin(nil), "yes or no, by names"),
		"valid until": about(origin(nil), "the date on the paper that the work gave"),
		"defect":      about(origin(nil), "what was seen to be wrong and not repaired"),
		"by":          origin(nil),
		"note":        origin(nil),
	})
}

var column = map[string]node{
	"column":        about(text(), "the column's heading"),
	"column number": about(whole(1, 500), "where two headings are the same"),
}

// origin is where a text comes from: the heading of a column, or more to say.
func origin(more map[string]node) node {
	n := object(nil, column, map[string]node{
		"always":    about(text(), "in place of a column"),
		"names":     about(node{"type": "object", "additionalProperties": text()}, "what cells say, and what it is called here"),
		"leave out": about(texts(), "cells whose rows are not wanted"),
	}, more)
	n["oneOf"] = []node{{"required": []string{"column"}}, {"required": []string{"column number"}}, {"required": []string{"always"}}}
	return either(text(), n)
}

// measured is where a number comes from, in a unit of one of the kinds.
func measured(more map[string]node, kinds ...unit.Kind) node {
	n := object([]string{"unit"}, column, map[string]node{"unit": choice(unit.Names(kinds...)...)}, more)
	n["oneOf"] = []node{{"required": []string{"column"}}, {"required": []string{"column number"}}}
	return n
}

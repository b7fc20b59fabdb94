package schema

import (
	"telltale/rules"
	"telltale/rules/analytes"
	"telltale/rules/unit"
)

func rulesFile() node {
	root := object([]string{"book"}, map[string]node{
		"book": {"const": 1, "description": "the version of the rule language"},
		"units": about(object(nil, map[string]node{"distance": choice(unit.Distances()...), "volume": choice(unit.Volumes()...),
			"temperature": choice(unit.Choices(unit.Temperature)...), "pressure": choice(unit.Choices(unit.Pressure)...)}), "the units of this file's bare numbers and words"),
		"for": expression("which vehicles or components all tasks, rules and baselines of the file are for, beside each one's own `where`"),
		"data alarms": about(object(nil, map[string]node{
			"silent": either(choice("off"), object(nil, map[string]node{
				"after": about(quantity("14 days", unit.Days), "never silent sooner"), "times usual gap": about(node{"type": "number", "minimum": 1, "maximum": 100}, "of the vehicle's own readings"),
			})),
			"implausible reading": choice("off"), "meter going back": choice("off"),
		}), "the alarms on the data itself, which need no rule: after how long a meter is silent, and which are off"),
		"cautions":  about(named(text()), "words of cautions of your own"),
		"measures":  about(named(measure()), "what a workshop measures by hand on the vehicle, each with its unit"),
		"baselines": named(baseline()),
		"tasks":     named(task()),
		"rules":     named(rule()),
		"cases":     named(caseOf()),
	})
	root["title"] = "Telltale rules"
	return root
}

const whereText = "which vehicles or components: an expression that reads `vehicle` and `component` alone"

func baseline() node {
	known := analytes.Names()
	analytes := func(what string) node {
		return node{"type": "object", "description": what, "propertyNames": either(choice(known...), node{"type": "string", "pattern": "^[a-z][A-Za-z0-9 -]{3,}$"}), // or a measure

			"additionalProperties": either(node{"type": "number"}, pattern(`^`+number+` ?\S+$`, "40 mg/kg"), toFill())}
	}
	n := object(nil, map[string]node{
		"where":     expression(whereText),
		"over":      about(texts(), "the baselines that this one takes precedence over where both match"),
		"fluid age": about(either(quantity("60000 km", unit.Distance, unit.Time), toFill()), "the age of the fluid at which the means were taken"),
		"source":    source(),
		"from":      about(choice("fleet"), "made from the fleet's own samples, in groups"),
		"group by": about(oneOrMore(node{"type": "string", "pattern": `^(component\.(kind|fluid|name)|vehicle\.(kind|name)|vehicle\.tags\["[^"]+"\])$`}),
			"of the fleet's samples, those that share the values of these fields make a group"),
		"at least": about(either(whole(5, 10_000), object(nil, map[string]node{"samples": whole(5, 10_000), "vehicles": whole(1, 10_000)})),
			"the fewest samples (and vehicles) by which a group judges"),
		"of the last": about(quantity("24 months", unit.Months, unit.Days), "how far back samples count"),
		"mean":        analytes("what is usual, by analyte"),
		"spread":      analytes("the standard deviation about the mean, by analyte"),
		"fresh":       analytes("what fresh fluid contains, by analyte"),
		"starting":    about(yes(), "figures that count until the fleet's own, the book's or the sheet's are known"),
	})
	n["anyOf"] = []node{{"required": []string{"mean"}}, {"required": []string{"fresh"}}, {"required": []string{"from"}}}
	ofFluid := node{"required": []string{"mean"}, "properties": map[string]node{"mean": {"propertyNames": choice(known...)}}}
	n["if"], n["then"] = ofFluid, node{"required": []string{"fluid age"}} // what is measured by hand has none
	n["dependentRequired"] = map[string][]string{"spread": {"mean"}, "group by": {"from"}, "at least": {"from"}, "of the last": {"from"}}
	n["dependentSchemas"] = node{"from": node{"properties": map[string]node{"mean": {"not": node{}}, "spread": {"not": node{}}, "fluid age": {"not": node{}}}}}
	return n
}

func limits() node { return limitsOr() }

// every is how often a task recurs.
func every() node {
	n := limitsOr(toFill())
	n["properties"].(map[string]node)["year"] = about(either(pattern(`^([0-9]{1,2} [A-Za-z]{3,9}\.?|[A-Za-z]{3,9}\.? [0-9]{1,2})$`, "1 November"), toFill()), "the day on which it is due each year, in place of time")
	worn := node{"type": "object", "minProperties": 1, "additionalProperties": either(pattern(`^`+number+` ?\S+$`, "3 mm"), toFill())}
	n["properties"].(map[string]node)["until"] = about(worn, "the values of measures at which it is due, by name")
	n["properties"].(map[string]node)["of"] = about(text(), "the meter that counts the distance or the hours, by its name in the register")
	return n
}

// limitsOr are limits of which each may be something else instead.
func limitsOr(instead ...node) node {
	or := func(n node) node { return either(append([]node{n}, instead...)...) }
	n := object(nil, map[string]node{
		"distance": or(quantity("45000 km", unit.Distance)),
		"time":     or(quantity("36 months", unit.Months, unit.Days)),
		"hours":    or(quantity("500 h", unit.Time)),
	})
	n["minProperties"] = 1
	return n
}

// toFill stands where a figure is to be filled in.
func toFill() node { return choice("fill in") }

// source is where figures come from: a text for all, or texts by key.
func source() node {
	n := text()
	for range 3 {
		n = either(text(), node{"type": "object", "additionalProperties": n, "minProperties": 1})
	}
	return about(n, "where the figures come from: one source for all, or one for each key, with `otherwise` for the rest")
}

// followUps are those of a task, which may lapse, or of a rule, which stand.
func followUps(lapse bool) node {
	n := object(nil, map[string]node{
		"after": about(limits(), "due at that point"), "within": about(limits(), "on the list at once, due by then"),
		"early": about(limits(), "how long before that point it is soon"), "tolerance": about(tolerance(), "how far past it is overdue"),
		"settled by": choice("sample"), "title": text(), "cautions": texts(),
	})
	n["oneOf"] = []node{{"required": []string{"after"}}, {"required": []string{"within"}}}
	if lapse {
		l := object(nil, map[string]node{"distance": quantity("5000 km", unit.Distance), "hours": quantity("100 h", unit.Time)})
		l["minProperties"] = 1
		n["properties"].(map[string]node)["lapses"] = about(l, "how far past it is dropped")
	}
	return named(n)
}

func tolerance() node { return either(share(), limits(), node{"const": 0}) }

func pullIns() node {
	n := named(object([]string{"within"}, map[string]node{"within": about(limits(), "how far from what raised the alarm")}))
	n["minProperties"] = 1
	return n
}

// measure is the unit of what is measured by hand, or that with more to say.
func measure() node {
	u := choice(rules.MeasureUnits()...)
	return either(u, object([]string{"unit"}, map[string]node{
		"unit":       u,
		"renewed by": about(texts(), "the tasks that renew the part, beside those that are due by it"),
		"wears":      about(choice("down", "up", "down by time", "up by time"), "which way its values go; by time for what wears by the calendar"),
	}))
}

// every is how often a task is due, by limits or until something is worn.
func task() node {
	need := either(
		object([]string{"fluid"}, map[string]node{"fluid": text(), "volume": quantity("4 L", unit.Volume)}),
		object([]string{"part"}, map[string]node{"part": text(), "count": whole(1, 1000)}),
	)
	return object([]string{"every"}, map[string]node{
		"title":           about(text(), "what is to be done, for people"),
		"over":            about(texts(), "the tasks whose place this one takes where both match"),
		"was":             about(texts(), "the earlier name, or names, whose history goes on"),
		"where":           expression(whereText),
		"every":           about(either(every(), choice("when reported")), "distance, time, hours, or until a measure is worn, whichever comes first; or when somebody reports a defect"),
		"first":           about(limitsOr(toFill()), "the first interval of a vehicle that began new"),
		"contains":        about(texts(), "other tasks that are done with it"),
		"early":           about(limitsOr(toFill()), "how long before a limit it is soon"),
		"tolerance":       about(tolerance(), "how far past a limit it is overdue"),
		"shorten":         expression("a number by which `every` is multiplied"),
		"unknown history": choice("due", "from first reading", "from in-service date"),
		"count from":      choice("done", "schedule"),
		"settled by":      choice("sample"),
		"statutory":       about(yes(), "whether the law asks for it"),
		"share":           about(share(), "the part of all the fluid that it renews, where a service does not tell it"),
		"needs":           list(need),
		"cautions":        about(texts(), "what to mind"),
		"source":          source(),
		"follow up":       about(followUps(true), "one-off tasks that the work opens, by name"),
	})
}

// rule has two forms: measured, with a number and limits, and a pattern.
func rule() node {
	expr := expression(words())
	limit := byStage(expression("a limit: a number or an expression"))
	shared := map[string]node{
		"on":        about(oneOrMore(choice("sample", "reading", "service", "clock")), "when it is judged"),
		"was":       about(texts(), "the earlier name, or names, whose history goes on"),
		"title":     text(),
		"over":      about(texts(), "the rules whose place this one takes where both match"),
		"where":     expression(whereText),
		"say":       about(text(), "the message; ${ expression } is filled in"),
		"points to": about(texts(), "the likely sources"),
		"advise":    about(onceOrByStage(text()), "what to do"),
		"follow up": either(followUps(false), byStage(followUps(false))),
		"pull in":   about(either(pullIns(), byStage(pullIns())), "tasks to bring forward, by name"),
		"cautions":  onceOrByStage(texts()),
		"source":    source(),
		"confirm":   about(onceOrByStage(node{"type": "integer", "minimum": 1}), "judged samples in a row that it takes"),
		"masked": about(either(yes(), object([]string{"distance", "hours"}, map[string]node{"distance": quantity("1500 km", unit.Distance), "hours": quantity("50 h", unit.Time)})),
			"no for what an exchange of fluid does cure, or how far the fluid must have run since one"),
	}
	measured := map[string]node{
		"measure": expr, "above": limit, "below": limit,
		"deadband":      about(either(share(), quantity("2 mm2/s"), node{"type": "number", "minimum": 0}), "how far the measure must come back: a share, or in the measure's unit"),
		"soften by age": about(yes(), "whether fluid older than the baseline's raises the limits of advisory and caution; never a warning's"),
	}
	patternOnly := map[string]node{"raise": expr, "clear": expression("what ends it; without it, that raise is false"), "stage": choice(rules.StageNames[1:]...)}
	m := object([]string{"on", "measure"}, measured, shared)
	m["oneOf"] = []node{{"required": []string{"above"}}, {"required": []string{"below"}}}
	return node{"oneOf": []node{m, object([]string{"on", "raise", "stage"}, patternOnly, shared)}}
}

func caseOf() node {
	expect := object([]string{"on", "rule"}, map[string]node{
		"on": date(), "vehicle": text(), "component": text(), "rule": text(),
		"to":         choice("normal", "soon", "due", "overdue", "advisory", "caution", "warning"),
		"transition": choice("raised", "worsened", "eased", "cleared", "acknowledged", "shelved", "unshelved", "withdrawn"),
	})
	expect["anyOf"] = []node{{"required": []string{"to"}}, {"required": []string{"transition"}}}
	return object([]string{"given", "expect"}, map[string]node{
		"given":     about(someOf(pattern(`^[0-9]{4}-[0-9]{2}-[0-9]{2}\S* +[a-z]+`, "2031-04-02 sample bus-07 transmission odo 81200 Cu 131")), "what happens, an event in short form an entry"),
		"expect":    about(either(choice("none"), someOf(expect)), "the transitions that should follow"),
		"baselines": about(named(baseline()), "baselines that take precedence over those of the book while the case runs"),
		"of":        about(texts(), "the rules and tasks that the case is about, in addition to those in expect"),
	})
}

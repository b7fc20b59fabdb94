package schema

import "telltale/rules/unit"

func peopleFile() node {
	root := object(nil, map[string]node{
		"people": keyed(node{"type": "object", "additionalProperties": person(), "propertyNames": node{"pattern": "^[A-Za-z0-9_-]{1,64}$"}},
			"Everyone who gets messages or signs in, each under an id of letters, digits, `-` and `_`. The id is used in `who` and in the register.", "{ines: {mail: ines@example.org}}", "nobody gets messages"),
		"groups": keyed(node{"type": "object", "additionalProperties": oneOrMore(text())},
			"Names for several people, to be used in `who`, `stand-in` and `operator`.", "{night shift: [ines, tobias]}", "none"),
		"operator": keyed(oneOrMore(text()),
			"Who is told about problems of the service itself: messages that could not be sent or have waited for more than an hour, and settings that stop it.", "[ines]", "only the log says so"),
		"holidays": keyed(holidays(), "Days on which nobody gets a list and only what cannot wait is sent.", "[2031-12-25, 2031-12-27 to 2032-01-02]", "none"),
		"tell": keyed(node{"type": "object", "additionalProperties": entry()},
			"Who is told what. Each entry has a name, which its messages show.", "{what cannot wait: {who: [ines], stages: [overdue, warning]}}", "nobody is told anything"),
		"rights": keyed(node{"type": "object", "additionalProperties": right()},
			"Who may do what on the board, once people sign in there. Each entry has a name. One without `where` for an `operator` must be among them.", "{the office: {who: [ines], may: operator}}", "`operator` may do everything, and the people of a vehicle are its keepers"),
		"programs": keyed(node{"type": "object", "additionalProperties": program(), "propertyNames": node{"pattern": "^[A-Za-z0-9_-]{1,64}$"}},
			"Which programs may speak to the service, each under a name of letters, digits, `-` and `_`. Once the file has this key, even with nothing in it (`{}`), nobody gets in over NATS without a key.", "{gateway-3: {key: UA3QTDOAUZOTDKBNIXNZUHAOVGMDQX36MEA4TAPCNZIVRNMU2EZJGDJI, sends: [reading]}}", "whoever reaches the NATS server may send and ask, until people sign in on the board"),
	})
	root["title"] = "Telltale people"
	return root
}

func right() node {
	return object([]string{"who", "may"}, map[string]node{
		"who": keyed(oneOrMore(text()), "Ids, groups, or `people of the vehicle`: those named in the register, each for their own vehicles.", "[ines]", "required"),
		"may": keyed(choice("look", "driver", "keeper", "workshop", "operator"), "What they may do: `look` at everything; as a `driver`, see what stands and enter readings; as a `keeper`, also enter work, answer alarms and postpone; as a `workshop`, also enter samples and tables; as an `operator`, do everything and see how the service runs.",
			"workshop", "required"),
		"where": keyed(expression("which vehicles"), "A condition on the vehicle alone: its id, kind, tags, people.", `vehicle.tags["depot"] == "north"`, "all vehicles"),
	})
}

func program() node {
	p := object(nil, map[string]node{
		"key":        keyed(pattern("^U[A-Z2-7]{55}$", "UA3QTDOAUZOTDKBNIXNZUHAOVGMDQX36MEA4TAPCNZIVRNMU2EZJGDJI"), "The public half of its key, by which it signs in over NATS. `telltale programs add` makes the pair.", "UA3QTDOAUZOTDKBNIXNZUHAOVGMDQX36MEA4TAPCNZIVRNMU2EZJGDJI", "it cannot sign in over NATS"),
		"token file": keyed(text(), "A file with the SHA-256 of its token, by which it sends over HTTP. `telltale programs add --token` makes both. A relative path starts in the fleet's folder.", "tokens/till.sha256", "it cannot send over HTTP"),
		"sends": keyed(oneOrMore(choice("vehicle", "meter-replaced", "reading", "sample", "service", "answer", "void")),
			"The kinds of events that it may send.", "[reading]", "none"),
		"where":    keyed(expression("of which vehicles it sends"), "A condition on the vehicle alone, as in `rights`: of which vehicles it may send. With it, only vehicles that are registered count.", `vehicle.tags["depot"] == "north"`, "all vehicles"),
		"asks":     keyed(yes(), "Whether it may ask questions on `telltale.query.>`; the answers are about all vehicles.", "yes", "no"),
		"operator": keyed(yes(), "Whether it may do what anyone can who can read the service's folder: send and ask everything, and read what is stored. For the key of a person who uses the command line from elsewhere.", "yes", "no"),
	})
	p["anyOf"] = []node{{"required": []string{"key"}}, {"required": []string{"token file"}}}
	return p
}

func holidays() node {
	return oneOrMore(pattern(`^[0-9]{4}-[0-9]{2}-[0-9]{2}( to [0-9]{4}-[0-9]{2}-[0-9]{2})?$`, "2031-12-25"))
}

func person() node {
	return object(nil, map[string]node{
		"name":        keyed(text(), "The name that messages and pages show.", "Ines Thornbeck", "the id"),
		"mail":        keyed(pattern(`^[^ "\\@]+@[^ "\\@]+$`, "ines@example.org"), "The e-mail address, without a name.", "ines@example.org", "no mail"),
		"zone":        keyed(text(), "The person's time zone, by its IANA name.", "Europe/London", "UTC"),
		"distance":    keyed(choice(unit.Distances()...), "Unit of distance in messages. A vehicle's own `reads` goes before it.", "mi", "the folder's, or km"),
		"volume":      keyed(choice(unit.Volumes()...), "Unit of volume in messages.", "qt", "the folder's, or L"),
		"temperature": keyed(choice(unit.Read(unit.Temperature)...), "Unit of temperature in messages.", "degF", "the folder's, or degC"),
		"pressure":    keyed(choice(unit.Read(unit.Pressure)...), "Unit of pressure in messages.", "psi", "the folder's, or kPa"),
		"dates":       keyed(choice("day first", "month first", "year first"), "How dates are written: 3 Feb 2031, Feb 3, 2031, or 2031-02-03.", "month first", "day first"),
		"numbers":     keyed(choice("point", "comma"), "The decimal mark in numbers that the person types into a form: 4.5 or 4,5. The other one may stand between thousands. Messages have a point.", "comma", "point"),
		"spelling":    keyed(choice("en-GB", "en-US"), "`en-US` uses American spelling and words (tire, gasoline), and puts the month first unless `dates` says otherwise. Your own names and notes stay as they are.", "en-US", "en-GB"),
		"digest": keyed(pattern(`^\S+( +\S+){4}$|^@\S+$`, "30 6 * * 1-5"), "When the list is sent, at most once a day: a cron schedule of minute, hour, day of the month, month and weekday (1 is Monday). It needs `mail`.",
			"30 6 * * 1-5", "no list"),
		"list": keyed(choice("workshop", "owner", "operator"), "How the list is laid out: `workshop` by urgency, with parts, fluids and a box to tick; `owner` by vehicle, in full sentences; `operator` as counts, what has changed, and the worst items.",
			"owner", "workshop"),
		"nothing due": keyed(choice("silent", "say so"), "Whether the list is sent when it is empty.", "say so", "silent"),
		"unchanged":   keyed(choice("say so", "silent"), "Whether the list is sent when nothing on it has changed.", "silent", "say so"),
		"quiet":       keyed(pattern(`^[0-9]{2}:[0-9]{2} to [0-9]{2}:[0-9]{2}$`, "21:00 to 07:00"), "Hours in which only what cannot wait is sent: warnings, and overdue work that the law requires. The rest is sent when they end.", "21:00 to 07:00", "none"),
		"holidays":    keyed(holidays(), "Days on which this person gets no list, in addition to everyone's. The whole day counts as quiet; the next list says which days it covers.", "[2031-08-04 to 2031-08-15]", "only everyone's"),
		"webhook": keyed(object([]string{"url", "secret file"}, map[string]node{
			"url":         keyed(text(), "Where messages are posted: an https or http address without a password in it.", "https://fleet.example.org/hook", "required"),
			"secret file": keyed(text(), "A file with `whsec_` and the secret in base64, with which each call is signed (Standard Webhooks). A relative path starts in the fleet's folder.", "secrets/hook", "required"),
		}), "A program that is called with each message as a CloudEvent.", "{url: https://fleet.example.org/hook, secret file: secrets/hook}", "no calls"),
		"nats":    keyed(text(), "A NATS subject on which each message is published as a CloudEvent.", "fleet.alarms", "nothing is published"),
		"subject": keyed(text(), "What the fleet's own sign-in knows the person by, where `telltale.yaml` names one. They then sign in there alone.", "ines.thornbeck", "they sign in by a link in a mail, or a passkey"),
		"file":    keyed(text(), "A folder into which each message is written as a file. A relative path starts in the fleet's folder.", "handover", "no files"),
	})
}

func entry() node {
	span := quantity("4 days", unit.Days, unit.Time)
	e := object([]string{"who"}, map[string]node{
		"who":   keyed(oneOrMore(text()), "Ids, groups, or `people of the vehicle`: those named in the register.", "[ines, people of the vehicle]", "required"),
		"where": keyed(expression("which vehicles, components and alarms"), "A condition on the vehicle and the alarm, as above.", `vehicle.tags["depot"] == "north"`, "everything"),
		"stages": keyed(oneOrMore(choice("soon", "due", "overdue", "advisory", "caution", "warning")), "At which stages: `soon`, `due` and `overdue` for tasks, `advisory`, `caution` and `warning` for rules.",
			"[overdue, caution, warning]", "all"),
		"when":           keyed(choice("at once", "digest", "never"), "`at once`: as a message of its own; `digest`: on the person's list; `never`: not at all, an exception to other entries.", "digest", "at once"),
		"by":             keyed(oneOrMore(choice("mail", "webhook", "nats", "file")), "Which of the person's addresses are used.", "[mail]", "all of them"),
		"remind after":   keyed(span, "The message is sent again after this time, three times at most, until somebody acknowledges the alarm. From 1 h to 366 days.", "4 days", "no reminder"),
		"stand-in":       keyed(oneOrMore(text()), "Who is told if nobody has acknowledged the alarm by `stand-in after`.", "[tobias]", "nobody"),
		"stand-in after": keyed(span, "How long to wait for an answer before the stand-in is told.", "2 days", "required with `stand-in`"),
	})
	e["dependentRequired"] = map[string][]string{"stand-in": {"stand-in after"}, "stand-in after": {"stand-in"}}
	return e
}

package audit

import (
	"slices"
	"strings"

	"telltale/rules/english"
)

// deed is a kind of what was done: as it was done, as it was wanted, and the words before
// a vehicle.
type deed struct{ done, wanted, of string }

var deeds = map[What]deed{
	SignIn:       {"signed in", "sign in", "for"},
	SignOut:      {"signed out", "sign out", "for"},
	LinkAsked:    {"asked for a link to sign in", "have a link to sign in", "for"},
	SessionEnded: {"ended a session", "end a session", "for"},
	PasskeyMade:  {"added a passkey", "add a passkey", "for"},
	PasskeyGone:  {"took a passkey away", "take a passkey away", "for"},
	Paired:       {"paired a tablet", "pair a tablet", "for"},
	Looked:       {"looked at a page", "look at a page", "of"},
	Reading:      {"entered readings", "enter readings", "of"},
	Work:         {"entered work", "enter work", "on"},
	Sample:       {"entered a sample", "enter a sample", "of"},
	Answer:       {"answered an alarm", "answer an alarm", "of"},
	Void:         {"took back an entry", "take back an entry", "of"},
	Table:        {"sent a table", "send a table", "of"},
	Changed:      {"changed something", "change something", "of"},
	Export:       {"saved a file", "save a file", "of"},
	Rules:        {"put rules into force", "put rules into force", "for"},
	People:       {"changed who hears of what, and who may do what", "change who hears of what, and who may do what", "for"},
	Vehicles:     {"put the register into force", "put the register into force", "for"},
	Settings:     {"changed how the service runs", "change how the service runs", "for"},
	Programs:     {"changed which programs may send", "change which programs may send", "for"},
}

// Kinds are all kinds that have words, in the order of their names.
func Kinds() (list []What) {
	for k := range deeds {
		list = append(list, k)
	}
	slices.Sort(list)
	return list
}

// Deed is a kind in words, as for a list to choose from: "entered work".
func (w What) Deed() string {
	if d, ok := deeds[w]; ok {
		return d.done
	}
	return "did: " + string(w)
}

var ways = map[How]string{
	Link: "by a link in a mail", Code: "by a code from a mail", Passkey: "by a passkey", Fleet: "by the fleet's own sign-in", Pairing: "on a paired tablet",
	File: "in the service's folder", Command: "by a command", MailLink: "by the link in an alarm's mail", Key: "by a key", Machine: "on the service's own machine",
}

// Way is how somebody made known who they are, in words: "by a passkey"; "" where nobody
// knows.
func (h How) Way() string { return ways[h] }

// Called is what people call who did it, without what people.yaml knows: the last part of
// a source, with what it is of.
func Called(who string) string {
	kind, name, _ := strings.Cut(strings.TrimPrefix(who, "/"), "/")
	switch {
	case who == "":
		return "somebody"
	case name == "":
		return who
	case kind == "people":
		return name
	case kind == "devices":
		return "the tablet " + name
	case kind == "programs":
		return "the program " + name
	}
	return who
}

// Says is the entry in a sentence. Who and vehicle are as people call them: "Ines Thornbeck
// entered work on Bus 7."
func (e Entry) Says(who, vehicle string) string {
	d, ok := deeds[e.What]
	if !ok {
		d = deed{e.What.Deed(), "do: " + string(e.What), "for"}
	}
	of := ""
	if vehicle != "" {
		of = " " + d.of + " " + vehicle
	}
	switch e.Outcome {
	case Refused:
		return english.Sentence(who + " wanted to " + d.wanted + of + " and was refused")
	case Failed:
		return english.Sentence(who + " wanted to " + d.wanted + of + ", and it did not work")
	}
	return english.Sentence(who + " " + d.done + of)
}

// Beside is what else there is to know, in a line: who did the work, why it was refused, and
// the words.
func (e Entry) Beside() string {
	var parts []string
	if e.By != "" {
		parts = append(parts, "done by "+e.By)
	}
	for _, s := range []string{e.Why, e.Words} {
		if s != "" {
			parts = append(parts, s)
		}
	}
	return strings.ReplaceAll(strings.Join(parts, "; "), ".; ", "; ")
}

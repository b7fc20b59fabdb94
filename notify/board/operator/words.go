package operator

import (
	"context"
	"regexp"
	"slices"
	"strings"

	"telltale/engine/alarm"
	"telltale/notify/board/frame"
	"telltale/notify/stages"
	"telltale/rules/analytes"
	"telltale/rules/dataalarm"
	"telltale/rules/english"
	"telltale/rules/unit"
	"telltale/rules/word"
)

// term is a word and what it means. A link may lead to it by its anchor.
type term struct {
	Anchor, Word string
	Badge        *frame.Badge // where it is a stage
	Meaning      string
}

type chapterOfWords struct {
	Anchor, Title string
	Terms         []term
}

// things are what pages and messages speak of.
var things = [][2]string{
	{"vehicle", "Anything with a meter: van, bus, gritter, loader, generator."},
	{"component", "What holds a fluid: engine, gearbox, final drive, hydraulics, cooling system."},
	{"meter, reading", "An odometer or an hour meter; a reading is what it shows at a time."},
	{"work", "What was done to a vehicle: tasks, with meter values, what was drained and filled, and notes."},
	{"sample", "Fluid drawn from a component, and what the laboratory says of it. A result is the value of one analyte, or “below” a limit."},
	{"measure", "What a workshop measures by hand: a lining, a tread, a voltage."},
	{"task", "Maintenance that comes back by distance, time or hours, whichever comes first."},
	{"follow-up", "Work that is to be done once, opened by other work or by an alarm."},
	{"rule", "A judgement: what it looks at, and from where on it speaks."},
	{"baseline", "What is usual for a kind of component and fluid of a stated age, to compare samples with."},
	{"chapter, book", "A chapter is one file of tasks, rules and baselines. The book is all of them that are in force, known by the hash of their text."},
	{"alarm", "What a rule or task says of one vehicle, and whether people know."},
	{"due point", "The distance, the hours or the day at which work is due, whichever comes first."},
	{"masked", "A fluid change took away the evidence, so the alarm does not ease before the new fluid has run for a while."},
	{"disputed reading", "A reading that cannot be right beside the others. Nothing is reckoned by it."},
	{"not judged", "Something was missing, so nobody can say. It is never taken as good."},
	{"event", "What somebody reported: a reading, work, a sample, an answer. Its source and id together are its own."},
	{"refused", "An event that could not be used, and why. It stays in the log."},
	{"operator", "Who runs the service, and hears of its troubles."},
	{"partition, replica", "The vehicles are shared out among 16 partitions, which one program or several of them, the replicas, look after."},
}

// words is what the words mean.
func (s *site) words(_ context.Context, r *frame.Request) (*frame.Page, error) {
	data := []chapterOfWords{
		{"stages", "How bad it is", ofStages()},
		{"standings", "Who knows of it", ofStandings()},
		{"changes", "What happens to an alarm", ofChanges()},
		{"things", "What there is", pairs(things)},
		{"data", "Alarms on the data itself", ofData()},
		{"units", "Units", ofUnits()},
		{"analytes", "What laboratories report", ofAnalytes()},
		{"asked", "What rules ask", ofRules()},
	}
	body, err := templates.Body("words", data)
	return &frame.Page{Section: frame.More, Title: "What the words mean", Body: body}, err
}

var notOfAnchor = regexp.MustCompile(`[^a-z0-9]+`)

// anchor is what a link to a word has behind its #.
func anchor(of, word string) string {
	return of + "-" + strings.Trim(notOfAnchor.ReplaceAllString(strings.ToLower(word), "-"), "-")
}

func ofStages() (out []term) {
	for _, list := range [][]alarm.Stage{{alarm.Warning, alarm.Caution, alarm.Advisory}, {alarm.Overdue, alarm.Due, alarm.Soon}} {
		for _, stage := range list {
			b := frame.BadgeOf(stage)
			out = append(out, term{anchor("stage", string(stage)), string(stage), &b, stages.Meaning(stage)})
		}
	}
	return out
}

func ofStandings() (out []term) {
	for _, one := range stages.Standings {
		out = append(out, term{Anchor: anchor("standing", string(one.Standing)), Word: string(one.Standing), Meaning: one.Meaning})
	}
	return out
}

func ofChanges() (out []term) {
	for _, one := range stages.Changes {
		out = append(out, term{Anchor: anchor("change", string(one.Change)), Word: string(one.Change), Meaning: one.Meaning})
	}
	return out
}

func pairs(list [][2]string) (out []term) {
	for _, p := range list {
		out = append(out, term{Anchor: anchor("word", p[0]), Word: p[0], Meaning: p[1]})
	}
	return out
}

func ofData() (out []term) {
	for _, name := range dataalarm.Names {
		out = append(out, term{Anchor: anchor("data", name), Word: name, Meaning: dataalarm.Meaning(name)})
	}
	return out
}

// ofUnits are the units by what they measure.
func ofUnits() (out []term) {
	for k := unit.Distance; k <= unit.Force; k++ {
		names := slices.DeleteFunc(unit.Names(k), func(n string) bool { return n == "index" })
		for i := range names {
			names[i] = english.Unit(names[i])
		}
		if len(names) > 0 {
			out = append(out, term{Anchor: anchor("unit", k.String()), Word: k.String(), Meaning: english.List("or", names)})
		}
	}
	return out
}

func ofAnalytes() (out []term) {
	for _, name := range analytes.Names() {
		a, _ := analytes.Of(name)
		in := "a bare number"
		if a.Unit != "" {
			in = "in " + english.Unit(a.Unit)
		}
		out = append(out, term{Anchor: anchor("analyte", name), Word: name, Meaning: english.Capital(a.Title) + ", " + in + "."})
	}
	return out
}

func ofRules() (out []term) {
	for _, w := range word.All() {
		out = append(out, term{Anchor: anchor("asked", w.Name), Word: w.Signature, Meaning: english.Sentence(w.Meaning)})
	}
	return out
}

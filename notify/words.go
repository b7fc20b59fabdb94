package notify

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"telltale/engine/alarm"
	"telltale/notify/delivery"
	"telltale/notify/stages"
	"telltale/notify/wording"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// Every sentence that a person reads in a message stands in this file and in package
// wording, but for the names of what rules ask for (word.Evidence). They are plain and short: the number, the
// limit, the comparison, the likely source, what to do, by when, what to mind. No blame, no exclamation marks.

const (
	// bareLead is the first line of a message that stands in for one with our words.
	bareLead = "This message could not be laid out properly. Here are the raw figures."

	ruleWords = "Texts that come from the rules give distances in %s."

	labelFound  = "Found"
	labelWhy    = "Why"
	labelNow    = "Now"
	labelFigure = "Figures"
	labelSource = "Likely source"
	labelThen   = "Now on the due list"
	labelPulls  = "Now due earlier"
	labelRests  = "Based on"

	changedFrom  = "Changed from %s to %s."
	reminderLead = "A reminder: first sent on %s, and nobody has acknowledged it yet."
	standInLead  = "This was sent to %s on %s, and nobody has acknowledged it yet. You are the stand-in."
	shelvedNote  = "%s not shown: put aside for now."

	shelfOver = "It was put aside for a while. That time is over, and the alarm is still active."
	quietLead = "What happened during your quiet hours."
	floodLead = "Many things happened at once, so they are in one message. The worst comes first."

	headOperator = "For the operator of the service"

	dueBy = "%s (by %s)"
)

func badgeOf(t *alarm.Transition) string {
	switch {
	case t.Lapsed:
		return "Dropped"
	case t.Transition == alarm.Cleared && t.Task:
		return "Done"
	case t.Transition == alarm.Cleared:
		return "OK"
	case t.Transition == alarm.Withdrawn:
		return "Withdrawn"
	case t.Transition == alarm.Eased:
		return "Eased to " + stages.Of(t.To).Head
	}
	return stages.Of(t.To).Head
}

// datePulls has news that asks for a task earlier say when it is due by, where that is
// news of the same message.
func (p reader) datePulls(mine []news) []news {
	by := map[string]string{}
	for _, n := range mine {
		if d := n.Due; n.Task && d != nil {
			day := wording.FirstDay(d.Limit, d.Date, d.Likely)
			by[n.Rule] = fmt.Sprintf(dueBy, wording.TitleOf(n.Transition), p.Date(day))
			if day == "" {
				delete(by, n.Rule)
			}
		}
	}
	out := slices.Clone(mine)
	for i, n := range out {
		if len(by) == 0 || len(n.PullsIn) == 0 {
			continue
		}
		t := *n.Transition
		t.PullsIn = slices.Clone(t.PullsIn)
		for j, name := range t.PullsIn {
			t.PullsIn[j] = cmp.Or(by[name], name)
		}
		out[i].Transition = &t
	}
	return out
}

const (
	ofList        = " (list of %s)"
	ownerTitle    = "What is due, %s"
	operatorTitle = "The fleet on %s"
	boxForDone    = "Tick what you have done, write down the meter reading, and enter both."
	groupOver     = "Done since the last list"
	groupEnded    = "Done or cleared"
	withoutParts  = "This list is incomplete: %s of %s parts of the fleet did not answer in time."
)

func summaryTitle(news, vehicles int) string {
	if vehicles == 0 {
		return english.Counted(news, "change", "changes")
	}
	return english.Counted(news, "change", "changes") + " on " + english.Counted(vehicles, "vehicle", "vehicles")
}

var kindWords = map[Kind]string{Lists: "due lists", Messages: "messages"}

// leaveWords tell the operators that someone wants no more of a kind, or again.
func leaveWords(p reader, kind Kind, back bool, entries []string) (title, text string) {
	what := kindWords[kind]
	if back {
		return fmt.Sprintf("%s wants %s again", p.Name, what), fmt.Sprintf("%s (%s) asked to get %s by mail again. Nothing to do.", p.Name, p.ID, what)
	}
	still := "They still get warnings, and overdue work that the law requires."
	if kind == Lists {
		still = "They still get messages."
	}
	text = fmt.Sprintf("%s (%s) asked not to get %s by mail any more. %s\n", p.Name, p.ID, what, still)
	if len(entries) > 0 {
		text += fmt.Sprintf("In people.yaml they are named in: %s. Please make sure that somebody else gets these, or talk to them.\n", strings.Join(entries, ", "))
	}
	return fmt.Sprintf("%s wants no more %s", p.Name, what), text + "To list who has unsubscribed: telltale deliveries --left\n"
}

func leftWords(l Left, p reader) string {
	return fmt.Sprintf("%s unsubscribed from %s on %s.", l.Person, kindWords[l.Kind], p.Day(l.Since))
}

// troubleWords is one trouble in sending.
func troubleWords(t delivery.Trouble) string {
	if t.Key == "" {
		return fmt.Sprintf("Nothing is sent by %s, because the settings are wrong: %s. It will be sent once they are fixed.", t.Way, t.Why)
	}
	if t.Late {
		return fmt.Sprintf("Not sent to %s (%s) by %s for more than an hour: %s It will be tried again.", t.Person, t.To, t.Way, english.Ended(t.Why))
	}
	return fmt.Sprintf("Not delivered to %s (%s) by %s: %s. To try again: telltale deliveries --retry %s", t.Person, t.To, t.Way, t.Why, t.Key)
}

func troubleTitle(all []delivery.Trouble) string {
	if i := slices.IndexFunc(all, func(t delivery.Trouble) bool { return t.Key == "" }); i >= 0 {
		return "Nothing goes out by " + all[i].Way
	}
	if !slices.ContainsFunc(all, func(t delivery.Trouble) bool { return !t.Late }) {
		return english.Counted(len(all), "message has", "messages have") + " waited for more than an hour"
	}
	return english.Counted(len(all), "message", "messages") + " not delivered"
}

// restOf says of a list that was cut where the rest of it is.
func restOf(n int) string { return "And " + unit.Grouped(float64(n)) + " more: telltale due" }

func moreOf(n int) string { return "And " + unit.Grouped(float64(n)) + " more not shown here." }

// because says by which parts of people.yaml a message comes.
func because(parts ...string) string {
	return fmt.Sprintf("You get this because of %s in people.yaml.", english.List("and", parts))
}

// whyYou names the entries of tell by which a message comes.
func whyYou(all []news) string {
	var entries []string
	for _, n := range all {
		entries = append(entries, `"`+n.entry+`"`)
	}
	slices.Sort(entries)
	return because(slices.Compact(entries)...)
}

// Of a backlog.
const (
	backlogRest  = "The %d worst are below; `telltale due` and `telltale alarms` list all."
	backlogOther = "A newer version of the program judges the same events differently"
)

// backlogWords are what brought a backlog about.
var backlogWords = [...]string{
	alarm.Registered: "vehicles were registered or changed", alarm.NewRules: "the rules changed",
	alarm.OldWork: "past work was entered", alarm.OldSample: "older samples came in",
	alarm.LateReading: "readings came in late", alarm.ClockPaused: "the service was off for a while",
}

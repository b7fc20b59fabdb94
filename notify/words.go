package notify

import (
	"cmp"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/notify/delivery"
	"telltale/notify/stages"
	"telltale/rules"
	"telltale/rules/english"
	"telltale/rules/unit"
	"telltale/rules/word"
)

// Every sentence that a person reads in a message stands in this file, but for the
// names of what rules ask for (word.Evidence). They are plain and short: the number, the
// limit, the comparison, the likely source, what to do, by when, what to mind. No blame, no exclamation marks.

const (
	// StandingNote stands on all that asks for work.
	StandingNote = "The maker's instructions, local law and the judgement of a licensed mechanic come before anything written here."
	stopFirst    = "Stop: have this inspected before the vehicle is used again."
	takenBack    = "The data behind the earlier message was withdrawn. Please ignore that message."
	backToNormal = "Back within limits. Nothing more to do."
	recordedDone = "Recorded as done. Nothing more to do."
	notInTime    = "Too late to be useful, so it was removed from the list."
	byLaw        = "This is required by law: check whether the vehicle may be used before it is done."

	// bareLead is the first line of a message that stands in for one with our words.
	bareLead = "This message could not be laid out properly. Here are the raw figures."

	ruleWords = "Texts that come from the rules give distances in %s."

	labelFound  = "Found"
	labelWhy    = "Why"
	labelNow    = "Now"
	labelNext   = "Next"
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

	headMind     = "Safety"
	alsoMind     = "Also, explained in full earlier today"
	alreadyMind  = "Explained in full earlier today"
	headOperator = "For the operator of the service"
	headReady    = "Have ready"

	dueBy           = "%s (by %s)"
	alreadyPast     = "Probably already past %s (about %s). Please read the %s."
	notAcknowledged = "Nobody has acknowledged it yet."
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

var opensWithStop = regexp.MustCompile(`(?i)^\W*(stop|inspect|do not (use|drive|run|start))\b`)

// lawWords mark work that the law asks for.
func lawWords(stage alarm.Stage) string {
	if stage == alarm.Soon || stage == alarm.Normal {
		return "Required by law."
	}
	return byLaw
}

// doFirst is what to do, the first thing that a block says.
func doFirst(task, statutory bool, stage alarm.Stage, advise string) string {
	switch {
	case stage == alarm.Warning && !opensWithStop.MatchString(advise):
		return english.Sentences(stopFirst, advise)
	case task && statutory:
		return english.Sentences(cmp.Or(advise, stages.Of(stage).Advise), lawWords(stage))
	case task:
		return cmp.Or(advise, stages.Of(stage).Advise)
	}
	return advise
}

// cautionsOf says what to mind, a sentence each: by the words of the book, by those
// that all books share, or by the caution's name alone.
func (p reader) cautionsOf(cautions []string, own map[string]string) (out []string) {
	for _, c := range cautions {
		out = append(out, english.Sentence(cmp.Or(own[c], p.ours(rules.CautionWords(c)), c)))
	}
	return out
}

// endOf says that something is over.
func endOf(t *alarm.Transition) string {
	switch {
	case t.Transition == alarm.Withdrawn:
		return takenBack
	case t.Lapsed:
		return notInTime
	case t.Task:
		return recordedDone
	}
	return backToNormal
}

// figures are the numbers of the evidence in words: "copper, times the baseline: 3.3". A
// distance or a volume is in the person's unit, and where a number comes from is said
// once and in short. What answers yes or no, and what a rule reckons on the way, is told
// by why alone.
func (p reader) figures(all []word.Evidence, task bool) (out []string) {
	said := map[string]bool{}
	for _, e := range alarm.EvidenceIn(all, p.units()) {
		what, yes := e.Told()
		reckoned := !task && e.Unit == "" && !strings.Contains(e.Of, "(")
		if yes || what == "" || reckoned {
			continue
		}
		figure := strings.TrimSpace(english.FourFigures(e.Value) + " " + english.Unit(e.Unit))
		var notes []string
		for note := range strings.SplitSeq(e.Note, "; ") {
			if note, _, _ = strings.Cut(note, ", "); note != "" && note != figure && !said[note] {
				said[note] = true
				notes = append(notes, note)
			}
		}
		if len(notes) > 0 {
			figure += " (" + strings.Join(notes, "; ") + ")"
		}
		what = p.ours(what, quotedNames(e.Of)...)
		out = append(out, what+": "+figure)
	}
	return out
}

// days is the whole days from one YYYY-MM-DD to another.
func days(from, to string) (int, bool) {
	a, err1 := time.Parse(time.DateOnly, from)
	b, err2 := time.Parse(time.DateOnly, to)
	return int(b.Sub(a).Hours() / 24), err1 == nil && err2 == nil
}

// whyDue says which limit makes the task due and how far past or ahead it is,
// in the person's units; today is YYYY-MM-DD. Where a meter went back, it says that the
// distance cannot be told.
func (p reader) whyDue(i *due.Item, today string) string {
	untold := p.DatesIn(i.Untold)
	switch {
	case untold == "" || i.Limit == "time":
		why := p.whyLimit(i, today)
		if i.Worn != "" && !strings.Contains(why, i.Worn) {
			why = english.Sentences(why, english.Sentence(p.DatesIn(i.Worn)))
		}
		return english.Sentences(why, untold)
	case i.Stage == alarm.Due || i.Stage == alarm.Overdue: // by what was read before
		return english.Sentence(p.DatesIn(i.Why))
	case i.DueDate != "":
		return english.Sentences(untold, "By the calendar it is due on "+p.Date(i.DueDate))
	}
	return english.Sentence(untold)
}

func (p reader) whyLimit(i *due.Item, today string) string {
	switch i.Limit {
	case alarm.NoHistory:
		return "No record of when this was last done."
	case "distance", "hours":
		if i.PastBy == nil || i.DueAt == nil && i.DueInAll == nil {
			break
		}
		at, past := p.dueAt(i), p.meter(math.Abs(*i.PastBy), i.Unit)
		if *i.PastBy < 0 && i.Likely != "" && i.Likely <= today && foreseen(i) {
			return fmt.Sprintf(alreadyPast, at, p.Date(i.Likely), meterNames[i.Unit])
		}
		if *i.PastBy < 0 {
			return fmt.Sprintf("%s to go until %s.", past, at)
		}
		if math.Abs(*i.PastBy) < leastPast[i.Unit] { // "0 mi past the limit" tells nobody anything
			return "Due at " + at + "."
		}
		return fmt.Sprintf("%s past the limit at %s.", past, at)
	case "time":
		n, ok := days(i.DueDate, today)
		if !ok {
			break
		}
		return p.whyDate(i.DueDate, n)
	}
	return english.Sentence(p.DatesIn(i.Why))
}

// dueAt is the meter value at which it is due: of the instrument in use and, where others
// were replaced, in all.
func (p reader) dueAt(i *due.Item) string {
	switch {
	case i.DueInAll == nil:
		return p.meter(*i.DueAt, i.Unit)
	case i.DueAt == nil:
		return p.meter(*i.DueInAll, i.Unit) + " in all, before the instrument was replaced"
	}
	return p.meter(*i.DueAt, i.Unit) + " on the new instrument (" + p.meter(*i.DueInAll, i.Unit) + " in all)"
}

func (p reader) whyDate(due string, past int) string {
	switch {
	case past > 0:
		return fmt.Sprintf("Was due on %s, %s ago.", p.Date(due), english.Counted(past, "day", "days"))
	case past == 0:
		return fmt.Sprintf("Due today, %s.", p.Date(due))
	}
	return fmt.Sprintf("Due on %s, in %s.", p.Date(due), english.Counted(-past, "day", "days"))
}

// dueNow says where a task stands that has just moved, in the person's units.
func (p reader) dueNow(t *alarm.Transition) string {
	d := t.Due
	if d == nil {
		return english.Sentence(p.DatesIn(messageOf(t)))
	}
	i := &due.Item{Limit: d.Limit, DueDate: d.Date, Early: d.Early, Likely: d.Likely, Late: d.Late, Stage: t.To, Why: messageOf(t), PulledIn: d.PulledIn, Postponed: d.Postponed, Untold: d.Untold, Worn: d.Worn}
	i.DueAt, i.DueInAll, i.PastBy = based(d.At), based(d.InAll), based(d.Past)
	i.Unit = "m"
	if d.Past != nil && d.Past.Unit == "h" {
		i.Unit = "s"
	}
	return english.Sentences(p.whyDue(i, d.On), p.forecast(i, d.On), p.pulledIn(i), i.Postponed)
}

// based is a quantity in metres or seconds; nil where there is none.
func based(q *unit.Quantity) *float64 {
	if q == nil {
		return nil
	}
	v, _, err := q.Base()
	if err != nil {
		return nil
	}
	return &v
}

// leastPast is how far past a limit is worth saying, in metres or seconds.
var leastPast = map[string]float64{"m": 1000, "s": 1800}

var meterNames = map[string]string{"m": "odometer", "s": "hour meter"}

// datePulls has news that asks for a task earlier say when it is due by, where that is
// news of the same message.
func (p reader) datePulls(mine []news) []news {
	by := map[string]string{}
	for _, n := range mine {
		if d := n.Due; n.Task && d != nil {
			day := firstDay(d.Limit, d.Date, d.Likely)
			by[n.Rule] = fmt.Sprintf(dueBy, titleOf(n.Transition), p.Date(day))
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

// foreseen reports whether a meter's limit lies ahead and has a likely date.
func foreseen(i *due.Item) bool {
	return i.Likely != "" && i.Stage != alarm.Due && i.Stage != alarm.Overdue && i.Limit != "time"
}

// forecast says when a limit that lies ahead is likely to be reached; that it is likely
// to lie behind by now, whyDue says.
func (p reader) forecast(i *due.Item, today string) string {
	switch {
	case !foreseen(i) || i.Likely <= today:
		return ""
	case i.Early == "" || i.Late == "" || i.Early == i.Late:
		return fmt.Sprintf("Likely on %s.", p.Date(i.Likely))
	}
	return fmt.Sprintf("Likely on %s, between %s and %s.", p.Date(i.Likely), p.Date(i.Early), p.Date(i.Late))
}

// lastDone says when it was last done, or what stands for that.
func (p reader) lastDone(i *due.Item) string {
	if i.Limit == alarm.NoHistory {
		return ""
	}
	if _, err := time.Parse(time.DateOnly, i.LastDone); err == nil {
		return "Last done " + p.Date(i.LastDone)
	}
	return p.DatesIn(i.LastDone)
}

// pulledIn names the alarms that asked for the work earlier than it would be due.
func (p reader) pulledIn(i *due.Item) string {
	if len(i.PulledIn) == 0 {
		return ""
	}
	var all []string
	for _, a := range i.PulledIn {
		all = append(all, fmt.Sprintf("%q of %s", a.Rule, p.Date(a.On)))
	}
	return "Brought forward by the alarm " + english.Ended(english.List("and", all))
}

func (p reader) dueTitle(date string) string {
	t, err := time.Parse(time.DateOnly, date)
	if err != nil {
		return "Due list, " + date
	}
	return "Due list, " + t.Format("Monday ") + p.Date(date)
}

const (
	ofList        = " (list of %s)"
	nothingDue    = "Nothing is due, and no alarm is active."
	ownerTitle    = "What is due, %s"
	operatorTitle = "The fleet on %s"
	headCounts    = "Counts"
	labelFleet    = "The fleet"
	labelService  = "The service"
	groupWorst    = "The worst first"
	boxForDone    = "Tick what you have done, write down the meter reading, and enter both."
	groupStop     = "Stop these first"
	groupLook     = "Look at these"
	groupWatch    = "Keep an eye on"
	groupOver     = "Done since the last list"
	groupEnded    = "Done or cleared"
	withoutParts  = "This list is incomplete: %s of %s parts of the fleet did not answer in time."
)

// groupOrder is the order of a summary.
var groupOrder = []struct {
	heading string
	weight  int
}{{groupStop, 3}, {stages.Of(alarm.Overdue).Head, 3}, {stages.Of(alarm.Due).Head, 2}, {groupLook, 2}, {stages.Of(alarm.Soon).Head, 1}, {groupWatch, 1}, {groupEnded, 0}}

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

func noted(when string) string { return "Since " + when + "." }

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

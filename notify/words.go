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
	"telltale/notify/page"
	"telltale/notify/people"
	"telltale/rules"
	"telltale/rules/english"
	"telltale/rules/unit"
	"telltale/rules/word"
)

// Every sentence that a person reads in a message stands in this file, but for the
// names of what rules ask for (word.Evidence). They are plain and short: the number, the limit, the comparison, the likely source, what to do, by
// when, what to mind. No blame, no exclamation marks.

const (
	standingNote = "The maker's instructions, local law and a licensed mechanic's judgement stand above anything written here."
	stopFirst    = "Stop: have this inspected before the vehicle is used again."
	takenBack    = "What the earlier message rested on has been taken back. Please disregard it."
	backToNormal = "Back within its limits. Nothing more to do about this one."
	recordedDone = "Recorded as done. Nothing more to do about this one."
	notInTime    = "Not done in time to tell anything, so it is not asked for any more."
	byLaw        = "This is required by law: check whether the vehicle may be used before it is done."

	// bareLead is the first line of a message that stands in for one with our words.
	bareLead = "This message could not be written as it should be. Here are the raw figures."

	ruleWords = "Where a rule's own words give %s, they stand as the rule was written."

	labelFound  = "Found"
	labelWhy    = "Why"
	labelNow    = "Now"
	labelNext   = "Next"
	labelFigure = "Figures"
	labelSource = "Likely source"
	labelThen   = "Now on the due list"
	labelPulls  = "Now asked for earlier"
	labelRests  = "Rests on"
	labelTimes  = "Times the baseline"
	labelOrigin = "Where it may come from"
	labelPast   = "%s so far"

	changedFrom  = "This was %s and is now %s."
	reminderLead = "A reminder: told on %s, and nobody has acknowledged it yet."
	standInLead  = "%s was told on %s, and nobody has acknowledged it yet. You are named to stand in."
	shelvedNote  = "%s not shown: shelved by someone who knows."

	shelfOver = "It was put aside for a while; that time is over, and it still stands."
	quietLead = "What came in your quiet hours."
	floodLead = "Much happened at once, so it is put together here. The worst comes first."

	headMind     = "Mind"
	headOperator = "For whoever looks after the service"
	headReady    = "Have ready"

	readMeter       = "By its usage it has passed this by now: please read the meter."
	notAcknowledged = "Nobody has acknowledged it yet."
)

// stage is how messages name a stage of a rule or a task.
type stage struct {
	severity  int    // orders stages, and rules' and tasks' stages among one another
	weight    int    // how much it stands out on the page, 0 to 3
	head      string // at the head of a block or a group
	noun      string // inside a sentence
	one, many string // counted
	advise    string // what to do about a task
}

var byStage = map[alarm.Stage]stage{
	alarm.Warning:  {6, 3, "Warning", "a warning", "warning", "warnings", ""},
	alarm.Overdue:  {5, 3, "Overdue", "overdue", "overdue", "overdue", "Book it in now."},
	alarm.Caution:  {4, 2, "Caution", "a caution", "caution", "cautions", ""},
	alarm.Due:      {3, 2, "Due", "due", "due", "due", "Book it in."},
	alarm.Advisory: {2, 1, "Advisory", "an advisory", "advisory", "advisories", ""},
	alarm.Soon:     {1, 1, "Soon", "due soon", "due soon", "due soon", "Plan it in."},
	alarm.Normal:   {0, 0, "", "normal", "coming up", "coming up", ""},
}

// countOrder is the order in which stages are counted.
var countOrder = [...]alarm.Stage{alarm.Warning, alarm.Overdue, alarm.Due, alarm.Soon, alarm.Caution, alarm.Advisory, alarm.Normal}

func badgeOf(t *alarm.Transition) string {
	switch {
	case t.Lapsed:
		return groupOver
	case t.Transition == alarm.Cleared && t.Task:
		return "Done"
	case t.Transition == alarm.Cleared:
		return "Cleared"
	case t.Transition == alarm.Withdrawn:
		return "Taken back"
	case t.Transition == alarm.Eased:
		return "Eased to " + string(t.To)
	}
	return byStage[t.To].head
}

var opensWithStop = regexp.MustCompile(`(?i)^\W*(stop|inspect|do not (use|drive|run|start))\b`)

// doFirst is what to do, the first thing that a block says.
func doFirst(task, statutory bool, stage alarm.Stage, advise string) string {
	switch {
	case stage == alarm.Warning && !opensWithStop.MatchString(advise):
		return english.Sentences(stopFirst, advise)
	case task && statutory && stage != alarm.Soon:
		return english.Sentences(cmp.Or(advise, byStage[stage].advise), byLaw)
	case task:
		return cmp.Or(advise, byStage[stage].advise)
	}
	return advise
}

// cautionsOf says what to mind, a sentence each: by the words of the book, by those
// that all books share, or by the caution's name alone.
func cautionsOf(cautions []string, own map[string]string) (out []string) {
	for _, c := range cautions {
		out = append(out, english.Sentence(cmp.Or(own[c], rules.CautionWords(c), c)))
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

var yesOrNo = map[bool]string{true: "yes", false: "no"}

// figures are the numbers of the evidence in words, without what a rule only asks to
// be there: "copper, times the baseline: 3.3". A distance or a volume is in the
// person's unit, and where a number comes from is said once.
func (p reader) figures(all []word.Evidence) (out []string) {
	said := map[string]bool{}
	for _, e := range all {
		if strings.HasPrefix(e.Of, "has") {
			continue
		}
		what, yes := e.Told()
		v, u := p.own(e.Value, e.Unit)
		figure := strings.TrimSpace(english.FourFigures(v) + " " + u)
		if yes {
			figure = yesOrNo[v != 0]
		}
		if e.Note != "" && e.Note != figure && !said[e.Note] {
			said[e.Note] = true
			figure += " (" + e.Note + ")"
		}
		out = append(out, what+": "+figure)
	}
	return out
}

// own puts a value into the person's unit, where it is a distance or a volume.
func (p reader) own(v float64, u string) (float64, string) {
	base, kind, err := unit.Base(v, u)
	to := map[unit.Kind]string{unit.Distance: p.Distance, unit.Volume: p.Volume}[kind]
	if err != nil || to == "" || to == u {
		return v, u
	}
	return unit.From(base, to), to
}

var distanceWritten = regexp.MustCompile(`\d ?(km|mi)\b`)

// asWritten is the note where the words of a rule speak of distances in another
// unit than the person's: they are the words of whoever wrote the rule.
func (p reader) asWritten(on *sheet) string {
	for _, b := range on.Blocks {
		for _, text := range append([]page.Line{{Text: b.Strong}}, b.Lines...) {
			for _, m := range distanceWritten.FindAllStringSubmatch(text.Text, -1) {
				if m[1] != p.Distance {
					return fmt.Sprintf(ruleWords, m[1])
				}
			}
		}
	}
	return ""
}

// meter writes metres or seconds of running as the person reads them.
func (p reader) meter(v float64, base string) string {
	if base == "s" {
		return english.Amount(v, "h")
	}
	return english.Amount(v, p.Distance)
}

func (p reader) volume(litres float64) string { return english.Volume(litres, p.Volume) }

var dateForms = [...]string{people.DayFirst: "2 Jan 2006", people.MonthFirst: "Jan 2, 2006", people.YearFirst: "2006-01-02"}

// date writes YYYY-MM-DD in the person's order; anything else stays as it is.
func (p reader) date(s string) string {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return s
	}
	return t.Format(dateForms[p.Dates])
}

var isoDate = regexp.MustCompile(`\b\d{4}-\d{2}-\d{2}\b`)

// dates writes the dates within a text in the person's order.
func (p reader) dates(s string) string { return isoDate.ReplaceAllStringFunc(s, p.date) }

func (p reader) day(t time.Time) string { return t.In(p.Zone).Format(dateForms[p.Dates]) }

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
	untold := p.dates(i.Untold)
	switch {
	case untold == "" || i.Limit == "time":
		return english.Sentences(p.whyLimit(i, today), untold)
	case i.Stage == alarm.Due || i.Stage == alarm.Overdue: // by what was read before
		return english.Sentence(p.dates(i.Why))
	case i.DueDate != "":
		return english.Sentences(untold, "By the calendar it is due on "+p.date(i.DueDate))
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
		if *i.PastBy < 0 {
			return fmt.Sprintf("%s to go until %s.", past, at)
		}
		return fmt.Sprintf("%s past the limit at %s.", past, at)
	case "time":
		n, ok := days(i.DueDate, today)
		if !ok {
			break
		}
		return p.whyDate(i.DueDate, n)
	}
	return english.Sentence(p.dates(i.Why))
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
		return fmt.Sprintf("Was due on %s, %s ago.", p.date(due), english.Counted(past, "day", "days"))
	case past == 0:
		return fmt.Sprintf("Due today, %s.", p.date(due))
	}
	return fmt.Sprintf("Due on %s, in %s.", p.date(due), english.Counted(-past, "day", "days"))
}

// dueNow says where a task stands that has just moved, in the person's units.
func (p reader) dueNow(t *alarm.Transition) string {
	d := t.Due
	if d == nil {
		return english.Sentence(p.dates(messageOf(t)))
	}
	i := &due.Item{Limit: d.Limit, DueDate: d.Date, Early: d.Early, Likely: d.Likely, Late: d.Late, Stage: t.To, Why: messageOf(t), PulledIn: d.PulledIn, Postponed: d.Postponed, Untold: d.Untold}
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

// forecast says when a limit that lies ahead is likely to be reached, or that it
// is likely to lie behind by now.
func (p reader) forecast(i *due.Item, today string) string {
	switch {
	case i.Likely == "" || i.Stage == alarm.Due || i.Stage == alarm.Overdue || i.Limit == "time":
		return ""
	case i.Likely <= today:
		return readMeter
	case i.Early == "" || i.Late == "" || i.Early == i.Late:
		return fmt.Sprintf("Likely on %s.", p.date(i.Likely))
	}
	return fmt.Sprintf("Likely on %s, between %s and %s.", p.date(i.Likely), p.date(i.Early), p.date(i.Late))
}

// lastDone says when it was last done, or what stands for that.
func (p reader) lastDone(i *due.Item) string {
	if i.Limit == alarm.NoHistory {
		return ""
	}
	if _, err := time.Parse(time.DateOnly, i.LastDone); err == nil {
		return "Last done " + p.date(i.LastDone)
	}
	return p.dates(i.LastDone)
}

// pulledIn names the alarms that asked for the work earlier than it would be due.
func (p reader) pulledIn(i *due.Item) string {
	if len(i.PulledIn) == 0 {
		return ""
	}
	var all []string
	for _, a := range i.PulledIn {
		all = append(all, fmt.Sprintf("%q of %s", a.Rule, p.date(a.On)))
	}
	return "Asked for early by the alarm " + english.Ended(english.List("and", all))
}

func (p reader) dueTitle(date string) string {
	t, err := time.Parse(time.DateOnly, date)
	if err != nil {
		return "Due list, " + date
	}
	return "Due list, " + t.Format("Monday ") + t.Format(dateForms[p.Dates])
}

const (
	nothingDue    = "Nothing is due, and nothing stands."
	ownerTitle    = "What is due, %s"
	operatorTitle = "The fleet on %s"
	headCounts    = "Counts"
	labelFleet    = "The fleet"
	labelService  = "The service"
	groupWorst    = "The worst first"
	boxForDone    = "Tick what is done, note the meter, and enter it."
	groupStop     = "Stop first"
	groupWatch    = "Keep an eye on"
	groupAhead    = "Coming up"
	groupOver     = "Over"
	withoutParts  = "This list is not complete: %s of %s parts of the fleet did not answer in time."
)

// groupOrder is the order of a summary.
var groupOrder = []struct {
	heading string
	weight  int
}{{groupStop, 3}, {byStage[alarm.Overdue].head, 3}, {byStage[alarm.Due].head, 2}, {groupWatch, 1}, {byStage[alarm.Soon].head, 1}, {groupOver, 0}}

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
		return fmt.Sprintf("%s wants %s again", p.Name, what), fmt.Sprintf("%s (%s) asked for %s by mail again. Nothing is left to do.", p.Name, p.ID, what)
	}
	still := "Warnings still come, and work overdue that the law asks for."
	if kind == Lists {
		still = "Messages still come."
	}
	text = fmt.Sprintf("%s (%s) asked for no more %s by mail. %s\n", p.Name, p.ID, what, still)
	if len(entries) > 0 {
		text += fmt.Sprintf("people.yaml tells them by: %s. Please see that someone else hears of it, or speak with them.\n", strings.Join(entries, ", "))
	}
	return fmt.Sprintf("%s wants no more %s", p.Name, what), text + "Who has asked for no more is listed by: telltale deliveries --left\n"
}

func leftWords(l Left, p reader) string {
	return fmt.Sprintf("%s has had no %s since %s, on their own wish.", l.Person, kindWords[l.Kind], p.day(l.Since))
}

// troubleWords is one trouble in sending.
func troubleWords(t delivery.Trouble) string {
	if t.Key == "" {
		return fmt.Sprintf("All that goes by %s is held, since the settings are at fault: %s. It goes out once they are right.", t.Way, t.Why)
	}
	if t.Late {
		return fmt.Sprintf("Waiting for more than an hour to go to %s (%s) by %s: %s It is tried again by itself.", t.Person, t.To, t.Way, english.Ended(t.Why))
	}
	return fmt.Sprintf("Not delivered to %s (%s) by %s: %s. To try again: telltale deliveries --retry %s", t.Person, t.To, t.Way, t.Why, t.Key)
}

func troubleTitle(all []delivery.Trouble) string {
	if i := slices.IndexFunc(all, func(t delivery.Trouble) bool { return t.Key == "" }); i >= 0 {
		return "Nothing goes out by " + all[i].Way
	}
	if !slices.ContainsFunc(all, func(t delivery.Trouble) bool { return !t.Late }) {
		return english.Counted(len(all), "message waits", "messages wait") + " for long"
	}
	return english.Counted(len(all), "message", "messages") + " not delivered"
}

func moreOf(n int) string { return "And " + unit.Grouped(float64(n)) + " more not shown here." }

// whyYou names the parts of people.yaml by which a message comes.
func whyYou(p reader, entries string) string {
	return fmt.Sprintf("Sent by Telltale to %s, as people.yaml asks under: %s.", p.Name, entries)
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
	alarm.OldWork: "work of the past was entered", alarm.OldSample: "samples of the past came in",
	alarm.LateReading: "readings came in late", alarm.ClockPaused: "the service was off for a while",
}

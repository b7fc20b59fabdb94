package notify

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/notify/page"
	"telltale/notify/people"
	"telltale/notify/stages"
	"telltale/notify/wording"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// maxDates bounds the days for a calendar that come with one list.
const maxDates = 120

// list gathers one person's digest.
type list struct {
	Listing
	p        reader
	today    string
	lines    []*line // the alarms, then the work
	shelved  int
	vehicles map[string]string // id -> name for people
	over     []*alarm.Listed   // what ended and nobody has acknowledged
	fleet    int               // vehicles in all
	now      time.Time         // of the turn
	cautions []string          // told in full
	paper    bool              // to be filled in by hand
}

// line is an alarm on the list, or work as if it were the alarm of its task.
type line struct {
	alarm.Listed
	work *due.Item // nil for an alarm
}

func lineOf(i *due.Item) *line {
	l := &line{alarm.Listed{Name: i.Name, Tags: i.Tags, People: i.People, Transition: alarm.Transition{
		Vehicle: i.Vehicle, First: i.First, Component: i.Component, Rule: i.Task, Title: i.Title, Task: true, To: i.Stage,
		Reads: i.Reads, Statutory: i.Statutory, Cautions: i.Cautions, OwnCautions: i.OwnCautions}}, i}
	if i.Shelved {
		l.Standing = alarm.Shelved
	}
	return l
}

// Digest makes a person's list from the parts of one turn, and what is to be kept
// of it for the next. ok is false where nothing is on the list, or the same as on
// the one before, and the person wants silence then.
//
// On it is what the person hears of, at once or in the list: the alarms that say
// stop, then overdue, due and soon, by date; then the other alarms that stand.
// What to have ready is summed over overdue, due and soon.
func Digest(d *people.Directory, reg Register, who *people.Person, g Listing) (m Message, kept Listed, ok bool) {
	p := readerOf(who)
	l := &list{Listing: g, p: p, vehicles: map[string]string{}, now: latest(g.Parts)}
	l.gather(d, reg)
	kept = l.kept()
	if g.Of <= len(g.Parts) && l.silent(kept) {
		kept.Date = cmp.Or(g.Last.Date, kept.Date) // what ends meanwhile is for the next one that goes out
		return Message{}, kept, false
	}
	pg := l.page()
	m = p.mail(listKey(p, l.today), "digest "+p.ID+" "+l.today, l.now)
	m.Subject, m.Stage, m.Leave, m.cautions = l.subject(), l.worst(), g.Leave, l.cautions
	if pg.Leave = g.Leave; p.Form == people.ForOwner {
		m.Dates = l.dates()
	}
	pg.fit(maxList)
	pg.write(&m)
	return m, kept, true
}

// latest is the moment of the part that was made last.
func latest(parts []engine.TurnPart) (now time.Time) {
	for i := range parts {
		if parts[i].Now.After(now) {
			now = parts[i].Now
		}
	}
	return now
}

// silent says whether the person wants no list of this.
func (l *list) silent(now Listed) bool {
	if len(l.lines) == 0 && len(l.overItems(l.Last.Date)) == 0 {
		return !l.p.SayNothingDue
	}
	return l.p.OnlyChanges && now.Print == l.Last.Print
}

func listKey(p reader, date string) string { return key("list", p.ID, date, people.Mail) }

// dates are the days of what is on the list, for the person's calendar.
func (l *list) dates() (out []Date) {
	for _, e := range l.lines {
		if d, ok := l.listedOn(e); ok && len(out) < maxDates {
			out = append(out, d)
		}
	}
	return out
}

func (l *list) title() string {
	switch l.p.Form {
	case people.ForOwner:
		return fmt.Sprintf(ownerTitle, l.p.Date(l.today))
	case people.ForOperator:
		return fmt.Sprintf(operatorTitle, l.p.Date(l.today))
	}
	return l.p.DueTitle(l.today)
}

// gather puts on the list what the person hears of, in order.
func (l *list) gather(d *people.Directory, reg Register) {
	var work []due.Item
	for _, part := range l.Parts {
		l.today, l.fleet = part.Date, l.fleet+part.Vehicles
		work = append(work, part.Items...)
		for i := range part.Alarms {
			switch s := &part.Alarms[i]; {
			case listedAt(s) == "":
			case s.To == alarm.Normal:
				ended := *s
				l.ended(d, reg, &ended)
			default:
				l.take(d, reg, &line{Listed: *s}, s.To)
			}
		}
	}
	l.sortLines()
	due.SortDue(work)
	for i := range work {
		l.take(d, reg, lineOf(&work[i]), workStage(&work[i]))
	}
}

// sortLines puts the alarms in order, the worst first.
func (l *list) sortLines() {
	slices.SortStableFunc(l.lines, func(a, b *line) int {
		return cmp.Or(stages.Of(b.To).Severity-stages.Of(a.To).Severity, a.Since.Compare(b.Since),
			strings.Compare(a.Vehicle, b.Vehicle), strings.Compare(a.Component, b.Component), strings.Compare(a.Rule, b.Rule))
	})
}

// take puts a line on the list, if the person hears of it at the stage.
func (l *list) take(d *people.Directory, reg Register, e *line, stage alarm.Stage) {
	if name, heard := l.hears(d, reg, &e.Listed, stage); heard {
		l.put(e, name)
	}
}

// ended keeps what an owner reads to be over.
func (l *list) ended(d *people.Directory, reg Register, s *alarm.Listed) {
	if l.p.Form != people.ForOwner || stages.Of(s.From).Severity < stages.Of(alarm.Due).Severity {
		return
	}
	if _, heard := l.hears(d, reg, s, s.From); heard {
		l.over = append(l.over, s)
	}
}

// hears says whether the person hears of it at a stage, and the vehicle's name. What
// the register does not have is filled in from the list.
func (l *list) hears(d *people.Directory, reg Register, s *alarm.Listed, stage alarm.Stage) (name string, heard bool) {
	v := reg(s.Home())
	v.ID, v.Name = cmp.Or(v.ID, s.Vehicle), cmp.Or(v.Name, s.Name, s.Vehicle)
	if v.Reads != nil {
		s.Reads = v.Reads
	}
	if v.Tags == nil {
		v.Tags = s.Tags
	}
	if v.People == nil {
		v.People = s.People
	}
	about := subjectOn(v, &s.Transition, stage)
	heard, _ = d.Hears(l.p.Person, &about)
	return event.Label(v.Name, v.Plate), heard
}

func (l *list) worst() alarm.Stage {
	worst := alarm.Normal
	for _, e := range l.lines {
		worst = worse(worst, e.To)
	}
	return worst
}

func worse(a, b alarm.Stage) alarm.Stage {
	if stages.Of(b).Severity > stages.Of(a).Severity {
		return b
	}
	return a
}

// afterHolidays says for which days the list stands too.
func (l *list) afterHolidays(days []string) string {
	first, last := l.p.Date(days[0]), l.p.Date(days[len(days)-1])
	if first == last {
		return fmt.Sprintf("No list was sent on %s, a holiday; this one covers that day too.", first)
	}
	return fmt.Sprintf("No list was sent from %s to %s (holidays); this one covers those days too.", first, last)
}

func (l *list) page() *sheet {
	pg := l.sheet()
	switch l.p.Form {
	case people.ForOwner:
		l.ownerPage(pg)
	case people.ForOperator:
		l.operatorPage(pg)
	default:
		l.workshopPage(pg)
	}
	if missing := l.Of - len(l.Parts); missing > 0 {
		pg.Blocks = slices.Insert(pg.Blocks, 0, page.Block{Weight: 2,
			Heading: fmt.Sprintf(withoutParts, unit.Grouped(float64(missing)), unit.Grouped(float64(l.Of)))})
	}
	if days := l.p.Skipped(l.today); len(days) > 0 {
		pg.Note(l.afterHolidays(days))
	}
	pg.Note(l.shelvedWords())
	if len(l.lines) > 0 && l.p.Form == people.ForWorkshop {
		pg.Note(boxForDone)
	}
	if len(l.lines) > 0 {
		pg.Note(l.p.Ours(wording.StandingNote))
	}
	pg.Note(because("your digest"))
	return pg
}

func (l *list) workshopPage(pg *sheet) {
	for _, g := range wording.Groups {
		pg.group(g.Heading, g.Weight, l.at(g.Stage))
	}
	pg.told(wording.HeadReady, l.ready())
	pg.told(wording.HeadMind, l.minds())
}

// counts is "1 warning, 2 overdue, 1 due on 3 vehicles."
func (l *list) counts() string {
	said := wording.Counts(l.byStage())
	if said == "" {
		return wording.NothingDue
	}
	if l.p.Form != people.ForOwner || len(l.vehicles) != 1 {
		said += " on " + english.Counted(len(l.vehicles), "vehicle", "vehicles")
	}
	return said + "."
}

// at are the items of what is at a stage.
func (l *list) at(stage alarm.Stage) (out []page.Item) {
	for _, e := range l.lines {
		if e.To == stage {
			out = append(out, l.item(e))
		}
	}
	return out
}

func (l *list) item(e *line) page.Item {
	var it page.Item
	if e.work != nil {
		it = l.p.On(e.Reads).Work(e.work, l.today)
		it.Box, it.Room = l.p.Form == people.ForWorkshop, l.paper
	} else {
		it = l.p.Alarm(&e.Listed)
	}
	it.Heading = l.vehicles[e.Vehicle]
	if l.Answer != nil && e.To != alarm.Normal {
		asked := e.Transition
		asked.Time = l.now // a link lives from the day of the list
		it.Link = l.Answer(l.p.ID, &asked)
	}
	return it
}

// ready sums what to have ready over what is overdue, due or soon.
func (l *list) ready() []page.Line {
	var work []*due.Item
	for _, e := range l.lines {
		if e.work != nil {
			work = append(work, e.work)
		}
	}
	return l.p.On(l.reads()).Ready(work)
}

// reads are the units of the vehicles on the list, where they have the same.
func (l *list) reads() (reads []string) {
	for i, e := range l.lines {
		if i > 0 && !slices.Equal(reads, e.Reads) {
			return nil
		}
		reads = e.Reads
	}
	return reads
}

func (l *list) minds() []page.Line {
	m := wording.Minds{Reader: l.p.Reader, Told: l.told}
	for _, e := range l.lines {
		m.Add(e.Cautions, e.OwnCautions)
	}
	l.cautions = m.Full
	return m.All()
}

package notify

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/notify/page"
	"telltale/notify/people"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// maxItems bounds one group of a list; a fleet of thousands reads the rest elsewhere.
const maxItems = 120

// list gathers one person's digest.
type list struct {
	p        reader
	today    string
	alarms   []alarm.Listed
	items    []due.Item
	shelved  int
	vehicles map[string]string                               // id -> name for people
	over     []alarm.Listed                                  // what ended and nobody has acknowledged
	fleet    int                                             // vehicles in all
	now      time.Time                                       // of the turn
	answer   func(person string, t *alarm.Transition) string // nil for no links
}

// Digest makes a person's list from the parts of one turn, and what is to be kept
// of it for the next. ok is false where nothing is on the list, or the same as on
// the one before, and the person wants silence then.
//
// On it is what the person hears of, at once or in the list: the alarms that say
// stop, then overdue, due and soon, by date; then the other alarms that stand.
// What to have ready is summed over overdue, due and soon.
func Digest(d *people.Directory, reg Register, who *people.Person, g Listing) (m Message, kept Listed, ok bool) {
	parts, p := g.Parts, reader{who}
	l := &list{p: p, vehicles: map[string]string{}, answer: g.Answer}
	for i := range parts {
		l.today = parts[i].Date
		l.gather(d, reg, &parts[i])
	}
	l.now = latest(parts)
	l.sort()
	kept = l.kept()
	if g.Of <= len(parts) && l.silent(g, kept) {
		kept.Date = cmp.Or(g.Last.Date, kept.Date) // what ends meanwhile is for the next one that goes out
		return Message{}, kept, false
	}
	m = p.mail(listKey(p, l.today), "digest "+p.ID+" "+l.today, l.now)
	m.Subject, m.Stage, m.Leave = l.title(), l.worst(), g.Leave
	pg := l.page(g)
	if pg.Leave = g.Leave; p.Form == people.ForOwner {
		m.Subject = page.Clean(pg.Title, 120)
		m.Dates = l.dates(l.now)
	}
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
func (l *list) silent(g Listing, now Listed) bool {
	if len(l.items)+len(l.alarms) == 0 && len(l.overItems(g.Last.Date)) == 0 {
		return !l.p.SayNothingDue
	}
	return l.p.OnlyChanges && now.Print == g.Last.Print
}

func listKey(p reader, date string) string { return key("list", p.ID, date, people.Mail) }

// dates are the days of what is on the list, for the person's calendar.
func (l *list) dates(said time.Time) (out []Date) {
	for i := range l.items {
		if d, ok := l.listedOn(&l.items[i], said); ok && len(out) < maxItems {
			out = append(out, d)
		}
	}
	return out
}

func (l *list) title() string {
	switch l.p.Form {
	case people.ForOwner:
		return fmt.Sprintf(ownerTitle, l.p.date(l.today))
	case people.ForOperator:
		return fmt.Sprintf(operatorTitle, l.p.date(l.today))
	}
	return l.p.dueTitle(l.today)
}

func (l *list) gather(d *people.Directory, reg Register, part *engine.TurnPart) {
	l.fleet += part.Vehicles
	for _, i := range part.Items {
		v := known(reg(i.Vehicle), i.Vehicle, i.Name, i.Tags, i.People)
		about := people.Subject{Vehicle: v, Component: i.Component, Rule: i.Task, Task: true, Statutory: i.Statutory, Stages: []alarm.Stage{i.Stage}}
		if i.Stage == alarm.Normal {
			about.Stages[0] = alarm.Soon // a list that reaches ahead
		}
		if !l.hears(d, &about) {
			continue
		}
		if i.Shelved {
			l.shelved++
			continue
		}
		l.vehicles[i.Vehicle] = v.Name
		l.items = append(l.items, i)
	}
	for _, s := range part.Alarms {
		if s.To == alarm.Normal && s.Transition.Transition == alarm.Cleared {
			l.ended(d, reg, s)
			continue
		}
		if s.Task || s.To == alarm.Normal || s.Standing == alarm.Returned || s.Standing == alarm.OutOfService {
			continue
		}
		v := known(reg(s.Vehicle), s.Vehicle, s.Name, s.Tags, s.People)
		about := people.Subject{Vehicle: v, Component: s.Component, Rule: s.Rule, Statutory: s.Statutory, Stages: []alarm.Stage{s.To}}
		if !l.hears(d, &about) {
			continue
		}
		if s.Standing == alarm.Shelved || !s.ShelvedUntil.IsZero() {
			l.shelved++
			continue
		}
		l.vehicles[s.Vehicle] = v.Name
		l.alarms = append(l.alarms, s)
	}
}

// ended keeps what an owner reads to be over.
func (l *list) ended(d *people.Directory, reg Register, s alarm.Listed) {
	if l.p.Form != people.ForOwner || byStage[s.From].severity < byStage[alarm.Due].severity {
		return
	}
	v := known(reg(s.Vehicle), s.Vehicle, s.Name, s.Tags, s.People)
	if l.hears(d, &people.Subject{Vehicle: v, Component: s.Component, Rule: s.Rule, Task: s.Task, Statutory: s.Statutory, Stages: []alarm.Stage{s.From}}) {
		l.over = append(l.over, s)
	}
}

func (l *list) hears(d *people.Directory, s *people.Subject) bool {
	heard, _ := d.Hears(l.p.Person, s)
	return heard
}

// known fills in from the list what the register does not have.
func known(v people.Vehicle, id, name string, tags map[string]string, of []string) people.Vehicle {
	v.ID, v.Name = cmp.Or(v.ID, id), cmp.Or(v.Name, name, id)
	if v.Tags == nil {
		v.Tags = tags
	}
	if v.People == nil {
		v.People = of
	}
	return v
}

func (l *list) sort() {
	due.SortDue(l.items)
	slices.SortStableFunc(l.alarms, func(a, b alarm.Listed) int {
		return cmp.Or(byStage[b.To].severity-byStage[a.To].severity, a.Since.Compare(b.Since),
			strings.Compare(a.Vehicle, b.Vehicle), strings.Compare(a.Component, b.Component), strings.Compare(a.Rule, b.Rule))
	})
}

func (l *list) worst() alarm.Stage {
	worst := alarm.Normal
	for _, s := range l.alarms {
		worst = worse(worst, s.To)
	}
	for _, i := range l.items {
		worst = worse(worst, i.Stage)
	}
	return worst
}

func worse(a, b alarm.Stage) alarm.Stage {
	if byStage[b].severity > byStage[a].severity {
		return b
	}
	return a
}

func (l *list) page(g Listing) *sheet {
	var pg *sheet
	switch l.p.Form {
	case people.ForOwner:
		pg = l.ownerPage(g)
	case people.ForOperator:
		pg = l.operatorPage(g)
	default:
		pg = l.workshopPage()
	}
	if missing := g.Of - len(g.Parts); missing > 0 {
		pg.Blocks = slices.Insert(pg.Blocks, 0, page.Block{Weight: 2,
			Heading: fmt.Sprintf(withoutParts, unit.Grouped(float64(missing)), unit.Grouped(float64(g.Of)))})
	}
	if l.shelved > 0 {
		pg.Note(shelvedNote(l.shelved))
	}
	if len(l.items)+len(l.alarms) > 0 && l.p.Form == people.ForWorkshop {
		pg.Note(boxForDone)
	}
	if len(l.items)+len(l.alarms) > 0 {
		pg.Note(standingNote)
	}
	pg.Note(whyYouList(l.p))
	return pg
}

func (l *list) workshopPage() *sheet {
	pg := &sheet{page.Page{Title: l.title(), Lead: l.counts()}}
	var stop, watch []alarm.Listed
	for _, s := range l.alarms {
		if s.To == alarm.Warning {
			stop = append(stop, s)
		} else {
			watch = append(watch, s)
		}
	}
	pg.group(groupStop, 3, eachOf(stop, l.alarmItem))
	for _, stage := range []alarm.Stage{alarm.Overdue, alarm.Due, alarm.Soon} {
		pg.group(byStage[stage].head, byStage[stage].weight, l.ofStage(stage))
	}
	pg.group(groupWatch, 1, eachOf(watch, l.alarmItem))
	pg.group(groupAhead, 0, l.ofStage(alarm.Normal))
	if len(l.items) > 0 {
		pg.ready(l.ready())
	}
	pg.mind(l.minds())
	return pg
}

// counts is "1 warning, 2 overdue, 1 due on 3 vehicles."
func (l *list) counts() string {
	n := l.byStage()
	var all []string
	for _, name := range countOrder {
		if s := byStage[name]; n[name] > 0 {
			all = append(all, english.Counted(n[name], s.one, s.many))
		}
	}
	if len(all) == 0 {
		return nothingDue
	}
	if l.p.Form == people.ForOwner && len(l.vehicles) == 1 {
		return strings.Join(all, ", ") + "."
	}
	return strings.Join(all, ", ") + " on " + english.Counted(len(l.vehicles), "vehicle", "vehicles") + "."
}

func eachOf[T any](all []T, do func(*T) page.Item) []page.Item {
	var out []page.Item
	for i := range all {
		out = append(out, do(&all[i]))
	}
	return out
}

func (l *list) ofStage(stage alarm.Stage) []page.Item {
	var out []page.Item
	for i := range l.items {
		if l.items[i].Stage == stage {
			out = append(out, l.dueItem(&l.items[i]))
		}
	}
	return out
}

func (l *list) dueItem(i *due.Item) page.Item {
	it := page.Item{Box: true, Heading: l.vehicles[i.Vehicle], What: cmp.Or(i.Title, i.Task)}
	if i.Component != "" {
		it.What += " (" + i.Component + ")"
	}
	why := english.Sentences(l.p.whyDue(i, l.today), l.p.forecast(i, l.today), l.p.pulledIn(i), postponed(i), l.p.lastDone(i))
	it.Lines = append(it.Lines, page.Line{Text: why})
	if i.Figures != nil {
		it.Lines = append(it.Lines, page.Line{Text: english.Sentence(i.Figures.Text(l.p.volume))})
	}
	if i.Statutory && i.Stage != alarm.Soon && i.Stage != alarm.Normal {
		it.Strong = byLaw
	}
	if l.answer != nil && i.Stage != alarm.Normal {
		it.Link = l.answer(l.p.ID, &alarm.Transition{Vehicle: i.Vehicle, Component: i.Component, Rule: i.Task, Task: true, Time: l.now})
	}
	return it
}

func (l *list) alarmItem(s *alarm.Listed) page.Item {
	it := page.Item{Heading: l.vehicles[s.Vehicle], What: titleOf(&s.Transition)}
	if s.Component != "" {
		it.What = s.Component + ", " + it.What
	}
	text := english.Sentences(l.p.dates(s.Message), noted(l.p.day(s.Since)))
	advise := english.Sentences(doFirst(false, s.Statutory, s.To, s.Advise))
	if s.To == alarm.Warning {
		it.Strong = advise
	} else {
		text = english.Sentences(text, advise)
	}
	if s.Standing == alarm.Unacknowledged {
		text = english.Sentences(text, notAcknowledged)
	}
	it.Lines = []page.Line{{Text: text}}
	if l.answer != nil {
		asked := s.Transition
		asked.Time = l.now // a link lives from the day of the list
		it.Link = l.answer(l.p.ID, &asked)
	}
	return it
}

// ready sums what to have ready over what is overdue, due or soon.
func (l *list) ready() []page.Line {
	fluids, parts := map[string]float64{}, map[string]int{}
	for _, i := range l.items {
		if i.Stage == alarm.Normal {
			continue
		}
		for _, n := range i.Needs {
			if n.Fluid != "" {
				fluids[n.Fluid] += n.Volume
			}
			if n.Part != "" {
				parts[n.Part] += max(1, n.Count)
			}
		}
	}
	var out []page.Line
	for _, f := range slices.Sorted(maps.Keys(fluids)) {
		text := f
		if fluids[f] > 0 {
			text = l.p.volume(fluids[f]) + " " + f
		}
		out = append(out, page.Line{Text: text})
	}
	for _, part := range slices.Sorted(maps.Keys(parts)) {
		out = append(out, page.Line{Text: fmt.Sprintf("%d × %s", parts[part], part)})
	}
	return out
}

func (l *list) minds() (m minds) {
	for _, s := range l.alarms {
		m.add(s.Cautions, s.OwnCautions)
	}
	for _, i := range l.items {
		m.add(i.Cautions, i.OwnCautions)
	}
	return m
}

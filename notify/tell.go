package notify

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/notify/page"
	"telltale/notify/people"
	"telltale/notify/stages"
	"telltale/notify/wording"
	"telltale/rules/english"
)

// Register answers what is known of a vehicle; the zero Vehicle with its ID where
// nothing is.
type Register func(vehicle string) people.Vehicle

// VehicleOf is what a registration says of a vehicle, of which the record is kept under an
// id; d may be nil.
func VehicleOf(id string, d *event.VehicleData) people.Vehicle {
	v := people.Vehicle{ID: id, Name: id}
	if d == nil {
		return v
	}
	v.ID = cmp.Or(d.Key, id)
	v.Name, v.Kind, v.Tags, v.People = d.Name, d.Kind, d.Tags, d.People
	v.Plate, v.Present, v.Reads = d.Plate, d.Present(), d.Reads
	for _, c := range d.Components {
		v.Components = append(v.Components, people.Component{Name: c.Name, Kind: c.Kind, Fluid: c.Fluid})
	}
	return v
}

// OutOfService are the vehicles of which an alarm stands so, by the names of their records.
func OutOfService(all []alarm.Listed) map[string]bool {
	out := map[string]bool{}
	for _, s := range all {
		if s.Standing == alarm.OutOfService {
			out[s.Home()] = true
		}
	}
	return out
}

// Cause is what made a batch of outputs: one event or one tick, as folded by one
// partition.
type Cause struct {
	// Key is unlike that of any other batch and the same when the batch is read
	// again; "" for a batch that must not be told.
	Key       string
	Partition int
	Time      time.Time
	// Answer gives the address at which a person answers an alarm; nil for none.
	Answer func(person string, t *alarm.Transition) string
	// Leave gives the address at which a person asks for no more; nil for none.
	Leave func(person string, kind Kind, at time.Time) string

	told []string // the cautions that the person has read in full today
}

// CauseOf is the cause of what a partition said under a key, at the time of the last of it.
func CauseOf(key string, partition int, out []engine.Output) Cause {
	c := Cause{Key: key, Partition: partition}
	for _, o := range out {
		switch {
		case o.Transition != nil:
			c.Time = o.Transition.Time
		case o.Turn != nil:
			c.Time = o.Turn.Now
		}
	}
	return c
}

// maxBlocks bounds what one message tells; a book that came new can change
// hundreds of alarms of one vehicle at once.
const maxBlocks = 40

// news is a transition that someone may hear of, and what entries see of it.
type news struct {
	*alarm.Transition
	about people.Subject
	entry string // of tell, by which a person hears of it
}

// Tell makes the messages that a batch of outputs calls for: for each person and
// vehicle at most one, worst first, in order of person and vehicle.
//
// Whoever reads an owner's list reads there that work is done.
//
// Raised and worsened are told, and eased and withdrawn, and what wakes from a shelf.
// Cleared is told once where it ends a caution, a warning, or a task that was due or
// overdue; from an advisory or from soon it is left to the list. Nothing is told of
// what is shelved or of a vehicle out of service, nor of people's own answers.
func Tell(d *people.Directory, reg Register, c Cause, out []engine.Output) []Message {
	var told []Message
	for _, t := range tellings(d, reg, c, out) {
		told = append(told, t.message(c))
	}
	return told
}

// tellings is what Tell makes messages of.
func tellings(d *people.Directory, reg Register, c Cause, out []engine.Output) (all []telling) {
	fresh := newsOf(reg, out)
	if len(fresh) == 0 || c.Key == "" {
		return nil
	}
	for _, p := range d.People() {
		for _, way := range p.Ways() {
			all = append(all, tellingsBy(d, readerOf(p), way, fresh)...)
		}
	}
	return all
}

// tellingsBy is what one person hears by one way, by vehicle.
func tellingsBy(d *people.Directory, p reader, way string, fresh []news) (all []telling) {
	t := telling{p: p, way: way}
	for i, n := range fresh {
		if slices.Contains(d.Ways(p.Person, &n.about), way) && !(way == people.Mail && p.readsIt(n)) {
			_, n.entry = d.Hears(p.Person, &n.about)
			t.mine = append(t.mine, n)
		}
		last := i == len(fresh)-1 || fresh[i+1].Vehicle != n.Vehicle
		if last && len(t.mine) > 0 {
			all = append(all, t)
			t = telling{p: p, way: way}
		}
	}
	return all
}

// readsIt says whether the news is for the person's list: that work is done, or put off.
func (p reader) readsIt(n news) bool {
	what := n.Transition.Transition
	return p.Form == people.ForOwner && p.Digest != "" && n.Task && (what == alarm.Cleared || what == alarm.Eased)
}

// message is the telling in words, or as a program takes it.
func (t telling) message(c Cause) Message {
	if t.way == people.Mail {
		return letter(c, t, "")
	}
	return t.told(c)
}

// newsOf picks the transitions worth telling, by vehicle, worst first.
func newsOf(reg Register, out []engine.Output) []news {
	var all []news
	for _, o := range out {
		t := o.Transition
		if t == nil || t.Shelved || t.Standing == alarm.OutOfService || t.Standing == alarm.Shelved {
			continue
		}
		if stages := tellable(t); stages != nil {
			v := reg(t.Home())
			t = presented(v, t)
			all = append(all, news{Transition: t, about: subjectOn(v, t, stages...)})
		}
	}
	slices.SortStableFunc(all, func(a, b news) int {
		return cmp.Or(strings.Compare(a.Vehicle, b.Vehicle), b.urgency()-a.urgency(),
			strings.Compare(a.Component, b.Component), strings.Compare(a.Rule, b.Rule))
	})
	return all
}

// presented is the transition by the names that its vehicle and component have now, and
// the units in which people read of it: it may have waited, or be told again.
func presented(v people.Vehicle, t *alarm.Transition) *alarm.Transition {
	reads := t.Reads
	if v.Reads != nil {
		reads = v.Reads
	}
	if component := v.Present.Component(t.Component); v.ID != t.Vehicle || component != t.Component || !slices.Equal(reads, t.Reads) {
		c := *t
		c.Reads = reads
		c.Vehicle, c.First, c.Component = v.ID, "", component
		if c.Vehicle != t.Home() {
			c.First = t.Home()
		}
		return &c
	}
	return t
}

func subjectOn(v people.Vehicle, t *alarm.Transition, stages ...alarm.Stage) people.Subject {
	return people.Subject{Vehicle: v, Component: t.Component, Rule: t.Rule, Task: t.Task, Statutory: t.Statutory, Stages: stages}
}

// tellable gives the stages that the transition is about, nil where it is not told.
func tellable(t *alarm.Transition) []alarm.Stage {
	switch t.Transition {
	case alarm.Raised, alarm.Worsened, alarm.Unshelved:
		if stages.Of(t.To).Severity > 0 {
			return []alarm.Stage{t.To}
		}
	case alarm.Eased:
		return []alarm.Stage{t.From, t.To}
	case alarm.Withdrawn:
		return []alarm.Stage{t.From}
	case alarm.Cleared:
		if stages.Of(t.From).Severity >= stages.Of(alarm.Due).Severity {
			return []alarm.Stage{t.From}
		}
	}
	return nil
}

// urgency puts what got worse before what got better.
func (n news) urgency() int {
	switch n.Transition.Transition {
	case alarm.Raised, alarm.Worsened, alarm.Unshelved:
		u := 10 + 2*stages.Of(n.To).Severity
		if n.Statutory {
			u++
		}
		return u
	}
	return stages.Of(n.To).Severity
}

// letter is one message to one person about one vehicle; intro stands above all
// else, "" for none.
func letter(c Cause, about telling, intro string) Message {
	p := about.p.on(about.mine[0].Reads)
	mine := p.datePulls(p.worded(about.mine))
	lead := mine[0]
	m := p.mail(key("alarm", c.Key, lead.Home(), p.ID, "mail"), c.Key, c.Time)
	m.Subject, m.Vehicle, m.Stage = subjectOf(mine), lead.Vehicle, lead.To
	m.Urgent = slices.ContainsFunc(mine, news.stops)
	m.Thread = key("thread", lead.Home(), lead.Component, lead.Rule, p.ID)
	pg := &sheet{page.Page{Title: lead.label(), Lead: intro}}
	mind := wording.Minds{Reader: p.Reader, Told: c.told}
	shown := map[string]bool{} // the pictures, once each
	for i, n := range mine {
		if n.Time.After(m.Time) {
			m.Time = n.Time
		}
		if i < maxBlocks {
			b := blockOf(p, n.Transition)
			if drawn := about.drawn[n.Component]; drawn != nil && !n.Task && !shown[n.Component] {
				shown[n.Component] = true
				b.Chart = drawn
				m.Charts = append(m.Charts, *drawn)
			}
			if d, ok := p.dueOn(n); ok {
				m.Dates = append(m.Dates, d)
			}
			b.Link = c.link(p, n)
			pg.Blocks = append(pg.Blocks, b)
		}
		if n.urgency() >= 10 || n.Transition.Transition == alarm.Eased {
			mind.Add(n.Cautions, n.OwnCautions)
		}
	}
	pg.more(len(mine) - maxBlocks)
	pg.end(&m, c, &mind, mine)
	return m
}

// link is where the person answers the news; "" for nowhere.
func (c Cause) link(p reader, n news) string {
	if c.Answer == nil || n.To == alarm.Normal {
		return ""
	}
	return c.Answer(p.ID, n.Transition)
}

// blockOf says what to do, what was found, the figures, the likely source.
func blockOf(p reader, t *alarm.Transition) page.Block {
	b := page.Block{Badge: badgeOf(t), Weight: stages.Of(t.To).Weight, Heading: english.Capital(wording.TitleOf(t))}
	if t.Component != "" {
		b.Heading = english.Capital(t.Component) + ": " + wording.TitleOf(t)
	}
	add := func(label, text string) {
		if text != "" {
			b.Lines = append(b.Lines, page.Line{Label: label, Text: text})
		}
	}
	switch t.Transition {
	case alarm.Cleared:
		b.Weight, b.Strong = 0, wording.EndOf(t)
		switch {
		case !t.Task:
			add(labelNow, english.Sentence(p.DatesIn(wording.MessageOf(t))))
		case t.Due != nil:
			add(wording.LabelNext, p.DueNow(t))
		}
		return b
	case alarm.Withdrawn:
		b.Weight, b.Strong = 0, wording.EndOf(t)
		return b
	}
	b.Strong = english.Sentences(wording.DoFirst(t.Task, t.Statutory, t.To, t.Advise))
	switch t.Transition {
	case alarm.Raised:
	case alarm.Unshelved:
		add("", shelfOver)
	default:
		add("", fmt.Sprintf(changedFrom, stages.Of(t.From).Head, stages.Of(t.To).Head))
	}
	if t.Task {
		add(labelWhy, p.DueNow(t))
	} else {
		add(labelFound, english.Sentence(p.DatesIn(t.Message)))
		add(labelFigure, english.Ended(strings.Join(p.Figures(t.Evidence, t.Task), "; ")))
	}
	add(labelSource, english.Ended(english.List("or", t.PointsTo)))
	add(labelThen, english.Ended(english.List("and", t.FollowUps)))
	add(labelPulls, english.Ended(english.List("and", t.PullsIn)))
	add(labelRests, english.Ended(p.DatesIn(strings.Join(t.BasedOn, "; "))))
	return b
}

// label is the vehicle's name with its plate.
func (n news) label() string { return event.Label(n.vehicle(), n.about.Vehicle.Plate) }

func (n news) vehicle() string { return cmp.Or(n.about.Vehicle.Name, n.Vehicle) }

// cannotWait is what passes quiet hours: a warning, and work overdue that the law
// asks for.
func (n news) cannotWait() bool {
	return n.stops() || n.Statutory && n.To == alarm.Overdue
}

// stops says whether the news is a warning: the vehicle is to be stopped.
func (n news) stops() bool {
	return n.To == alarm.Warning && n.Transition.Transition != alarm.Eased
}

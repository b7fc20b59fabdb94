package notify

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"telltale/engine"
)

// Register answers what is known of a vehicle; the zero Vehicle with its ID where
// nothing is.
type Register func(vehicle string) Vehicle

// Cause is what made a batch of outputs: one event or one tick, as folded by one
// partition.
type Cause struct {
	// Key is unlike that of any other batch and the same when the batch is read
	// again; "" for a batch that must not be told.
	Key       string
	Partition int
	Time      time.Time
	// Answer gives the address at which a person answers an alarm; nil for none.
	Answer func(person string, t *engine.Transition) string
	// Leave gives the address at which a person asks for no more; nil for none.
	Leave func(person, kind string, at time.Time) string
}

// maxBlocks bounds what one message tells; a book that came new can change
// hundreds of alarms of one vehicle at once.
const maxBlocks = 40

// news is a transition that someone may hear of, and what entries see of it.
type news struct {
	*engine.Transition
	about subject
}

// Tell makes the messages that a batch of outputs calls for: for each person and
// vehicle at most one, worst first, in order of person and vehicle.
//
// Whoever reads an owner's list reads there that work is done.
//
// Raised and worsened are told, and eased and withdrawn, and what wakes from a
// shelf. Cleared is told once
// where it ends a caution, a warning, or a task that was due or overdue; from an
// advisory or from soon it is left to the list. Nothing is told of what is
// shelved or of a vehicle out of service, nor of people's own answers.
func Tell(d *Directory, reg Register, c Cause, out []engine.Output) []Message {
	var told []Message
	for _, t := range tellings(d, reg, c, out) {
		told = append(told, t.message(c))
	}
	return told
}

// tellings is what Tell makes messages of.
func tellings(d *Directory, reg Register, c Cause, out []engine.Output) (all []telling) {
	fresh := newsOf(reg, out)
	if len(fresh) == 0 || c.Key == "" {
		return nil
	}
	for _, p := range d.People() {
		for _, way := range p.ways() {
			all = append(all, tellingsBy(d, p, way, fresh)...)
		}
	}
	return all
}

// tellingsBy is what one person hears by one way, by vehicle.
func tellingsBy(d *Directory, p *Person, way string, fresh []news) (all []telling) {
	t := telling{p: p, way: way}
	for i, n := range fresh {
		if slices.Contains(d.ways(p, &n.about), way) && !(way == "mail" && p.readsIt(n)) {
			_, why := d.hears(p, &n.about)
			t.mine, t.entries = append(t.mine, n), append(t.entries, why)
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
func (p *Person) readsIt(n news) bool {
	what := n.Transition.Transition
	return p.form == forOwner && p.turn != nil && n.Task && (what == "cleared" || what == "eased")
}

// message is the telling in words, or as a program takes it.
func (t telling) message(c Cause) Message {
	if t.way == "mail" {
		return letter(t.p, c, t, "")
	}
	return t.told(c)
}

// newsOf picks the transitions worth telling, by vehicle, worst first.
func newsOf(reg Register, out []engine.Output) []news {
	var all []news
	for _, o := range out {
		t := o.Transition
		if t == nil || t.Shelved || t.Standing == "out of service" || t.Standing == "shelved" {
			continue
		}
		if stages := tellable(t); stages != nil {
			v := reg(t.Vehicle)
			all = append(all, news{t, subject{env{Vehicle: v, Component: v.component(t.Component),
				Rule: t.Rule, Task: t.Task, Statutory: t.Statutory}, stages}})
		}
	}
	slices.SortStableFunc(all, func(a, b news) int {
		return cmp.Or(strings.Compare(a.Vehicle, b.Vehicle), b.urgency()-a.urgency(),
			strings.Compare(a.Component, b.Component), strings.Compare(a.Rule, b.Rule))
	})
	return all
}

// tellable gives the stages that the transition is about, nil where it is not told.
func tellable(t *engine.Transition) []string {
	switch t.Transition {
	case "raised", "worsened":
		return []string{t.To}
	case "unshelved":
		if severity[t.To] > 0 {
			return []string{t.To}
		}
	case "eased":
		return []string{t.From, t.To}
	case "withdrawn":
		return []string{t.From}
	case "cleared":
		if severity[t.From] >= severity["due"] {
			return []string{t.From}
		}
	}
	return nil
}

// urgency puts what got worse before what got better.
func (n news) urgency() int {
	switch n.Transition.Transition {
	case "raised", "worsened", "unshelved":
		u := 10 + 2*severity[n.To]
		if n.Statutory {
			u++
		}
		return u
	}
	return severity[n.To]
}

// letter is one message to one person about one vehicle; intro stands above all
// else, "" for none.
func letter(p *Person, c Cause, about telling, intro string) Message {
	mine, entries := about.mine, about.entries
	lead := mine[0]
	v := lead.about.Vehicle
	m := Message{
		Key:   key("alarm", c.Key, lead.Vehicle, p.ID, "mail"),
		Cause: c.Key, Person: p.ID, Name: p.Name, Way: "mail", To: p.Mail,
		Subject: clean(vehicleName(v, lead.Vehicle)+inComponent(lead.Component)+": "+titleOf(lead.Transition), 120),
		Thread:  key("thread", lead.Vehicle, lead.Component, lead.Rule, p.ID),
		Time:    c.Time, Vehicle: lead.Vehicle, Stage: lead.To,
	}
	pg := &page{Title: vehicleName(v, lead.Vehicle), Lead: intro}
	var mind minds
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
				m.Charts = append(m.Charts, Chart{drawn.id, drawn.png})
			}
			if d, ok := p.dueOn(n); ok {
				m.Dates = append(m.Dates, d)
			}
			if c.Answer != nil && n.To != "normal" {
				b.Link = c.Answer(p.ID, n.Transition)
			}
			pg.Blocks = append(pg.Blocks, b)
		}
		if n.urgency() >= 10 || n.Transition.Transition == "eased" {
			mind.add(n.Cautions, n.OwnCautions)
		}
	}
	if more := len(mine) - maxBlocks; more > 0 {
		pg.Blocks = append(pg.Blocks, block{Heading: moreOf(more)})
	}
	pg.mind(mind)
	pg.note(p.asWritten(pg), standingNote, whyYou(p, describe(entries)))
	if c.Leave != nil && !about.cannotWait() {
		m.Leave = c.Leave(p.ID, Messages, m.Time)
		pg.Leave = m.Leave
	}
	pg.write(&m)
	return m
}

// blockOf says what to do, what was found, the figures, the likely source.
func blockOf(p *Person, t *engine.Transition) block {
	b := block{Badge: badgeOf(t), Weight: weights[t.To], Heading: capital(titleOf(t))}
	if t.Component != "" {
		b.Heading = capital(t.Component) + ": " + titleOf(t)
	}
	add := func(label, text string) {
		if text != "" {
			b.Lines = append(b.Lines, line{label, text})
		}
	}
	switch t.Transition {
	case "cleared":
		b.Weight, b.Strong = 0, backToNormal
		switch {
		case t.Task && t.Due != nil:
			b.Strong = recordedDone
			add(labelNext, p.dueNow(t))
		case t.Task:
			b.Strong = recordedDone
		default:
			add(labelNow, sentence(p.dates(messageOf(t))))
		}
		return b
	case "withdrawn":
		b.Weight, b.Strong = 0, takenBack
		return b
	}
	b.Strong = join(doFirst(t.Task, t.Statutory, t.To, t.Advise))
	switch t.Transition {
	case "raised":
	case "unshelved":
		add("", shelfOver)
	default:
		add("", changeOf(t))
	}
	if t.Task {
		add(labelWhy, p.dueNow(t))
	} else {
		add(labelFound, sentence(p.dates(t.Message)))
		add(labelFigure, ended(strings.Join(p.figures(t.Evidence), "; ")))
	}
	add(labelSource, ended(listed(t.PointsTo, "or")))
	add(labelThen, ended(listed(t.FollowUps, "and")))
	add(labelPulls, ended(listed(t.PullsIn, "and")))
	add(labelRests, eventsOf(t.Events))
	return b
}

// messageOf leaves out a title that the heading says already.
func messageOf(t *engine.Transition) string { return strings.TrimPrefix(t.Message, titleOf(t)+": ") }

// eventsOf names what the judgement rests on, so that it can be looked up.
func eventsOf(ids []engine.ID) string {
	var all []string
	for _, id := range ids {
		all = append(all, id.Source+" "+id.ID)
		if len(all) == 4 {
			break
		}
	}
	return strings.Join(all, "; ")
}

// minds are what to mind, each caution once, in order of first mention.
type minds struct {
	seen  []string
	lines []line
}

// add takes cautions, with the words of those that their book explains itself.
func (m *minds) add(names []string, own map[string]string) {
	for _, c := range names {
		if c != "" && !slices.Contains(m.seen, c) {
			m.seen = append(m.seen, c)
			m.lines = append(m.lines, line{Text: sentence(cautionSentence(c, own))})
		}
	}
}

func (p *page) mind(m minds) {
	if len(m.lines) > 0 {
		p.Blocks = append(p.Blocks, block{Heading: headMind, Lines: m.lines})
	}
}

func titleOf(t *engine.Transition) string { return or(t.Title, t.Rule) }

func vehicleName(v Vehicle, id string) string { return or(v.Name, id) }

func inComponent(c string) string {
	if c == "" {
		return ""
	}
	return ", " + c
}

// VehicleOf is what a registration says of a vehicle; d may be nil.
func VehicleOf(id string, d *engine.VehicleData) Vehicle {
	v := Vehicle{ID: id, Name: id}
	if d == nil {
		return v
	}
	v.Name, v.Kind, v.Tags, v.People = d.Name, d.Kind, d.Tags, d.People
	for _, c := range d.Components {
		v.Components = append(v.Components, Component{Name: c.Name, Kind: c.Kind, Fluid: c.Fluid})
	}
	return v
}

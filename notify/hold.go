package notify

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/notify/page"
	"telltale/notify/people"
	"telltale/notify/stages"
	"telltale/notify/wording"
	"telltale/rules/english"
)

const (
	// floodOf messages within floodWithin go out one by one; what comes on top of
	// them waits for the next tick and becomes one summary. Common practice, no source.
	floodOf     = 10
	floodWithin = 10 * time.Minute
	// maxHeld bounds what waits for one person; the least severe are then counted only.
	maxHeld = 100
)

// piece is something to be told, kept until it is: a transition without what a
// summary does not show.
type piece struct {
	T     alarm.Transition `json:"t"`
	Entry string           `json:"entry"` // of tell
	Cause string           `json:"cause"`
}

func pieceOf(n news, cause string) piece {
	t := *n.Transition
	t.DropEvidence()
	t.Events, t.Book = nil, ""
	t.Message, t.Advise = page.Clean(t.Message, 300), page.Clean(t.Advise, 300)
	return piece{t, n.entry, cause}
}

// on has the days of a task counted up to another date than that on which it was told.
func (p piece) on(date string) piece {
	if p.T.Due != nil && p.T.Due.On != "" {
		due := *p.T.Due
		due.On, p.T.Due = date, &due
	}
	return p
}

// held is what waits for one person, until a moment.
type held struct {
	Since  time.Time `json:"since"`
	Until  time.Time `json:"until"`
	Key    string    `json:"key"` // of the cause that came first
	Pieces []piece   `json:"pieces"`
	More   int       `json:"more,omitempty"` // not kept
}

// telling is what one cause says to one person of one vehicle.
type telling struct {
	p     reader
	way   string
	mine  []news
	drawn map[string]*page.Picture // by component
}

func (t telling) cannotWait() bool { return slices.ContainsFunc(t.mine, news.cannotWait) }

// mayGo decides whether a message goes out now; if not, it is held.
func (k *mark) mayGo(t telling, c Cause) bool {
	now := c.Time
	if k.Clock.After(now) {
		now = k.Clock
	}
	urgent := t.cannotWait()
	if wakes := t.p.Wakes(now); wakes.After(now) && !urgent {
		k.hold(t, c, now, wakes)
		return false
	}
	recent := slices.DeleteFunc(k.Recent[t.p.ID], func(at time.Time) bool { return now.Sub(at) >= floodWithin })
	if len(recent) >= floodOf {
		k.Recent[t.p.ID] = recent
		k.hold(t, c, now, now)
		return false
	}
	k.Recent[t.p.ID] = append(recent, now)
	return true
}

// hold keeps the news of a telling. What takes back or ends something that is
// still held takes it out: who was not told needs no correction.
func (k *mark) hold(t telling, c Cause, now, until time.Time) {
	h := k.Held[t.p.ID]
	if h == nil {
		h = &held{Since: now, Until: until, Key: c.Key}
		k.Held[t.p.ID] = h
	}
	for _, n := range t.mine {
		h.Pieces = slices.DeleteFunc(h.Pieces, func(p piece) bool { return p.Cause == c.Key && sameAlarm(&p.T, n.Transition) })
		h.Pieces = append(h.Pieces, pieceOf(n, c.Key))
	}
	if len(h.Pieces) > maxHeld {
		slices.SortStableFunc(h.Pieces, func(a, b piece) int { return stages.Of(b.T.To).Severity - stages.Of(a.T.To).Severity })
		h.More += len(h.Pieces) - maxHeld
		h.Pieces = h.Pieces[:maxHeld]
	}
}

// settleHeld looks at a transition with the eyes of those who have not been told
// yet: an alarm that ended before they were needs no word at all. It returns
// whom to leave out.
func (k *mark) settleHeld(t *alarm.Transition) (untold []string) {
	if t.To != alarm.Normal && t.Standing != alarm.Shelved && t.Standing != alarm.Acknowledged {
		return nil
	}
	for id, h := range k.Held {
		n := len(h.Pieces)
		fresh := false
		h.Pieces = slices.DeleteFunc(h.Pieces, func(p piece) bool {
			same := sameAlarm(&p.T, t)
			fresh = fresh || same && p.T.From == alarm.Normal
			return same
		})
		if fresh {
			untold = append(untold, id)
		}
		if n > 0 && len(h.Pieces) == 0 && h.More == 0 {
			delete(k.Held, id)
		}
	}
	return untold
}

func sameAlarm(a, b *alarm.Transition) bool {
	return a.Home() == b.Home() && a.Component == b.Component && a.Rule == b.Rule && a.Task == b.Task
}

// newsFrom makes news of pieces again, in the order of a message.
func newsFrom(reg Register, pieces []piece) []news {
	var out []engine.Output
	entries := map[*alarm.Transition]string{}
	for i := range pieces {
		t := &pieces[i].T
		t = presented(reg(t.Home()), t)
		out, entries[t] = append(out, engine.Output{Transition: t}), pieces[i].Entry
	}
	all := newsOf(reg, out)
	for i := range all {
		all[i].entry = entries[all[i].Transition]
	}
	return all
}

// summary is one message of what many would have said. Where it is about one
// vehicle alone it is the message that vehicle would have got.
func summary(reg Register, p reader, c Cause, lead string, pieces []piece, more int) Message {
	return titledSummary(reg, p, c, "", lead, pieces, more)
}

// titledSummary is a summary by its title; "" for how much changed.
func titledSummary(reg Register, p reader, c Cause, title, lead string, pieces []piece, more int) Message {
	all := p.worded(newsFrom(reg, pieces))
	if len(all) > 0 && all[0].Vehicle == all[len(all)-1].Vehicle && more == 0 {
		return letter(c, telling{p: p, way: people.Mail, mine: all}, lead)
	}
	slices.SortStableFunc(all, func(a, b news) int {
		return cmp.Or(b.urgency()-a.urgency(), strings.Compare(a.Vehicle, b.Vehicle))
	})
	m := p.mail(key("summary", c.Key, p.ID, "mail"), c.Key, c.Time)
	pg := &sheet{page.Page{Lead: lead}}
	vehicles := map[string]bool{}
	mind := wording.Minds{Reader: p.Reader, Told: c.told}
	groups := map[string][]page.Item{}
	for _, n := range all {
		vehicles[n.Vehicle] = true
		m.Stage = worse(m.Stage, n.To)
		g := groupOf(n.Transition)
		it := summaryItem(p, n)
		it.Link = c.link(p, n)
		groups[g] = append(groups[g], it)
		mind.Add(n.Cautions, n.OwnCautions)
	}
	m.Urgent = slices.ContainsFunc(all, news.stops)
	if more > 0 {
		clear(vehicles) // nobody knows on how many
	}
	pg.Title = cmp.Or(title, summaryTitle(len(all)+more, len(vehicles)))
	m.Subject = subjectOfMany(all, more, len(vehicles))
	for _, g := range wording.Groups {
		pg.group(g.Heading, g.Weight, groups[g.Heading])
	}
	pg.group(groupEnded, 0, groups[groupEnded])
	pg.more(more)
	pg.end(&m, c, &mind, all)
	return m
}

func groupOf(t *alarm.Transition) string {
	if t.To == alarm.Normal {
		return groupEnded
	}
	return wording.GroupOf(t.To).Heading
}

func summaryItem(p reader, n news) page.Item {
	p = p.on(n.Reads)
	b := blockOf(p, n.Transition)
	it := page.Item{Heading: n.label(), What: wording.AlarmOn(n.Transition)}
	text := b.Strong
	if n.To == alarm.Warning {
		it.Strong, text = b.Strong, ""
	}
	said := p.DatesIn(wording.MessageOf(n.Transition))
	if n.Task && n.To != alarm.Normal {
		said = p.DueNow(n.Transition)
	}
	it.Lines = []page.Line{{Text: english.Sentences(said, text)}}
	return it
}

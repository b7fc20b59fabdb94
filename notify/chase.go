package notify

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"time"

	"telltale/engine/alarm"
	"telltale/notify/people"
)

// maxReminders is how often one person is reminded of one alarm; after that it
// stands in the lists. Common practice, no source.
const maxReminders = 3

// maxOpen bounds the alarms that are chased at a time, each some hundred bytes of
// the checkpoint.
const maxOpen = 2000

// chased is an alarm that was told and that nobody has acknowledged.
type chased struct {
	Piece piece            `json:"piece"`
	To    map[string]*told `json:"to"` // by person
}

type told struct {
	At       time.Time `json:"at"`
	Reminded int       `json:"reminded,omitempty"`
	StoodIn  bool      `json:"stoodIn,omitempty"`
}

func alarmKey(t *alarm.Transition) string { return key("open", t.Home(), t.Component, t.Rule) }

// follow keeps the list of what is chased in step with a transition.
func (k *mark) follow(t *alarm.Transition) {
	ak := alarmKey(t)
	c := k.Open[ak]
	if c == nil {
		return
	}
	if t.Standing != alarm.Unacknowledged || t.Shelved || t.To == alarm.Normal {
		delete(k.Open, ak)
		return
	}
	c.Piece = pieceOf(news{Transition: t, entry: c.Piece.Entry}, c.Piece.Cause)
}

// watch begins to chase what a person has been told.
func (k *mark) watch(d *people.Directory, t telling, c Cause) {
	for _, n := range t.mine {
		remind, standIn, _ := d.Chase(t.p.Person, &n.about)
		if n.Standing != alarm.Unacknowledged || n.To == alarm.Normal || n.Transition.Transition == alarm.Eased || remind+standIn == 0 {
			continue
		}
		ak := alarmKey(n.Transition)
		if k.Open[ak] == nil {
			if len(k.Open) >= maxOpen {
				continue
			}
			k.Open[ak] = &chased{To: map[string]*told{}}
		}
		k.Open[ak].Piece = pieceOf(n, c.Key)
		k.Open[ak].To[t.p.ID] = &told{At: c.Time}
	}
}

// Tick moves the notifier's clock to a tick of the log, once everything that came
// before it has been handled: what was held goes out when its time has come, and
// what nobody has acknowledged is said again, or to a stand-in. The keys of the
// messages do not hang on the tick, so that none is made twice after a crash.
func (n *Notifier) Tick(ctx context.Context, now time.Time) error {
	if !now.After(n.mark.Clock) {
		return nil // also a clock put back: nothing comes twice
	}
	last := n.mark.Clock
	if last.IsZero() {
		last = now
	}
	n.mark.Clock = now
	d := n.Directory()
	if err := n.releaseHeld(ctx, d, now); err != nil {
		return err
	}
	if err := n.releaseBacklog(ctx, d, now); err != nil {
		return err
	}
	if err := n.remind(ctx, d, span{last, now}); err != nil {
		return err
	}
	if err := n.tellTroubles(ctx, now); err != nil {
		return err
	}
	if err := n.tellCertificate(ctx, now); err != nil {
		return err
	}
	return n.saveDue(ctx, max(n.last, n.mark.Seq))
}

// sum writes and stores one message of what many would have said.
func (n *Notifier) sum(ctx context.Context, doing string, p reader, c Cause, lead string, pieces []piece, more int) error {
	c.Answer, c.Leave, c.told = n.Answer, n.Unsubscribe, n.mark.toldToday(p, c.Time)
	m := n.written(doing, func() Message { return summary(n.Register, p, c, lead, pieces, more) },
		func() Message { return barePieces(p, c, pieces) })
	if err := n.create(ctx, n.last, m); err != nil {
		return err
	}
	n.mark.noteMinded(p, m, c.Time)
	return nil
}

func (n *Notifier) releaseHeld(ctx context.Context, d *people.Directory, now time.Time) error {
	for _, id := range slices.Sorted(maps.Keys(n.mark.Held)) {
		h := n.mark.Held[id]
		if h.Until.After(now) {
			continue
		}
		if p := d.Person(id); p != nil && p.To[people.Mail] != "" && len(h.Pieces)+h.More > 0 {
			c := Cause{Key: key("held", h.Key, id), Time: h.Until}
			lead := floodLead
			if h.Until.After(h.Since) {
				lead = quietLead
			}
			if err := n.sum(ctx, "telling what was held for "+id, readerOf(p), c, lead, h.Pieces, h.More); err != nil {
				return err
			}
			n.mark.watch(d, telling{p: readerOf(p), way: people.Mail, mine: newsFrom(n.Register, h.Pieces)}, c)
		}
		delete(n.mark.Held, id)
	}
	return nil
}

// nudge is what one person is reminded of at one tick.
type nudge struct {
	key, lead string
	pieces    []piece
}

// remind sends at most one reminder and one stand-in's message to a person at a
// tick. Reminders keep to quiet hours, unless what they are about passes them.
func (n *Notifier) remind(ctx context.Context, d *people.Directory, by span) error {
	nudges := map[string]*nudge{}
	var silent map[string]bool
	if n.Silent != nil && len(n.mark.Open) > 0 {
		silent = n.Silent()
	}
	for _, ak := range slices.Sorted(maps.Keys(n.mark.Open)) {
		c := n.mark.Open[ak]
		if silent[c.Piece.T.Home()] {
			continue
		}
		c.Piece.T = *presented(n.Register(c.Piece.T.Home()), &c.Piece.T)
		if now := alarmKey(&c.Piece.T); now != ak { // its component was renamed
			delete(n.mark.Open, ak)
			if n.mark.Open[now] != nil {
				continue
			}
			ak, n.mark.Open[now] = now, c
		}
		all := newsFrom(n.Register, []piece{c.Piece})
		if len(all) == 0 {
			continue
		}
		for _, id := range slices.Sorted(maps.Keys(c.To)) {
			if p := d.Person(id); p != nil && p.To[people.Mail] != "" && (all[0].cannotWait() || !n.mark.left(id, Messages)) {
				n.chaseOne(d, readerOf(p), ak, c, all[0], by, nudges)
			}
		}
	}
	for _, who := range slices.Sorted(maps.Keys(nudges)) {
		g := nudges[who]
		p := readerOf(d.Person(who[1:]))
		c := Cause{Key: g.key, Time: by.now}
		if err := n.sum(ctx, "reminding "+p.ID, p, c, g.lead, g.pieces, 0); err != nil {
			return err
		}
	}
	return nil
}

type span struct{ last, now time.Time }

// reached says whether the person could be told by now of what fell due at a moment.
func (s span) reached(p reader, due time.Time, urgent bool) bool {
	if due.After(s.now) {
		return false
	}
	if s.last.After(due) {
		due = s.last
	}
	return urgent || !p.Wakes(due).After(s.now)
}

func (n *Notifier) chaseOne(d *people.Directory, p reader, ak string, c *chased, what news, s span, nudges map[string]*nudge) {
	t := c.To[p.ID]
	remind, standIn, who := d.Chase(p.Person, &what.about)
	add := func(kind, to, lead, k string) {
		g := nudges[kind+to]
		if g == nil {
			g = &nudge{key: k, lead: lead}
			nudges[kind+to] = g
		}
		g.pieces = append(g.pieces, c.Piece.on(s.now.In(p.Zone).Format(time.DateOnly)))
	}
	since := t.At.UTC().Format(time.RFC3339)
	if due := t.At.Add(time.Duration(t.Reminded+1) * remind); remind > 0 && t.Reminded < maxReminders && s.reached(p, due, what.cannotWait()) {
		t.Reminded++
		add("r", p.ID, fmt.Sprintf(reminderLead, p.Day(t.At)), key("remind", ak, since, p.ID, strconv.Itoa(t.Reminded)))
	}
	if standIn <= 0 || t.StoodIn || t.At.Add(standIn).After(s.now) {
		return
	}
	t.StoodIn = true
	for _, id := range who {
		if sp := d.Person(id); sp != nil && sp.To[people.Mail] != "" && id != p.ID {
			add("s", id, fmt.Sprintf(standInLead, p.Name, p.Day(t.At)), key("standin", ak, since, p.ID, id))
		}
	}
}

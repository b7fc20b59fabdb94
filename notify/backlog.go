package notify

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"telltale/engine/alarm"
	"telltale/notify/people"
	"telltale/rules/english"
)

const (
	// A backlog is in where nothing more of it came between two ticks, or for
	// backlogStill; backlogAtMost after its beginning what is there is told anyway.
	// Common practice, no source.
	backlogStill  = time.Hour
	backlogAtMost = 2 * time.Hour
	// maxWaiting bounds the alarms that wait, each some hundred bytes of the checkpoint;
	// what comes on top of them is counted only.
	maxWaiting = 4000
	// maxShown bounds what a summary of a backlog shows of it, the worst first.
	maxShown = 20
	// maxBatch bounds the transitions in one message to a program.
	maxBatch = 500
)

// backlog is what came of old things, or of many at once (see [alarm.Backlog]): nobody is
// told before all of it is in, and then each once. What ended meanwhile needs no word.
type backlog struct {
	Since time.Time           `json:"since,omitzero"` // the first since it was last told
	Last  time.Time           `json:"last,omitzero"`
	Fresh bool                `json:"fresh,omitempty"` // something came since the last tick
	Key   string              `json:"key"`             // of the cause that came first
	Waits map[string]*waiting `json:"waits,omitempty"` // by alarm
	More  map[string]int      `json:"more,omitempty"`  // by hearer, not kept
}

// waiting is an alarm that waits: from what it was when it was last told of to what it is.
type waiting struct {
	T  alarm.Transition  `json:"t"`
	To map[string]string `json:"to"` // by hearer, the entry of tell
}

func (w *waiting) hears(hearer string) bool { _, ok := w.To[hearer]; return ok }

// hearer is a person by one way; an id holds no blank.
func (t telling) hearer() string { return t.p.ID + " " + t.way }

// isBacklog says that the news can wait until all of it is in. What a rule finds in a vehicle
// as it is now, by new rules or a new registration, cannot: it may say stop.
func (n news) isBacklog() bool {
	switch n.Backlog {
	case alarm.OldWork, alarm.OldSample, alarm.LateReading:
		return true
	}
	return n.Task && (n.Backlog != 0 || n.Reconciled)
}

// parted are the news that are told now and those that wait, each as a telling.
func (t telling) parted() (now, later telling) {
	now, later = t, t
	now.mine = slices.DeleteFunc(slices.Clone(t.mine), news.isBacklog)
	later.mine = slices.DeleteFunc(slices.Clone(t.mine), func(n news) bool { return !n.isBacklog() })
	return now, later
}

// settleBacklog takes an alarm that moves out of what waits, and gives it.
func (k *mark) settleBacklog(t *alarm.Transition) *waiting {
	if k.Backlog == nil {
		return nil
	}
	w := k.Backlog.Waits[alarmKey(t)]
	delete(k.Backlog.Waits, alarmKey(t))
	return w
}

// unheard leaves out of a telling what is again as it was when the person last heard of it.
func (t *telling) unheard(waited map[*alarm.Transition]*waiting) {
	t.mine = slices.DeleteFunc(t.mine, func(n news) bool {
		w := waited[n.Transition]
		return w != nil && w.T.From == n.To && w.hears(t.hearer())
	})
}

// await keeps the news of a telling until the backlog is in.
func (k *mark) await(t telling, c Cause, waited map[*alarm.Transition]*waiting) {
	if len(t.mine) == 0 {
		return
	}
	b := k.Backlog
	if b == nil {
		b = &backlog{Waits: map[string]*waiting{}, More: map[string]int{}}
		k.Backlog = b
	}
	now := c.Time
	if k.Clock.After(now) {
		now = k.Clock
	}
	if b.Since.IsZero() {
		b.Since, b.Key = now, c.Key
	}
	b.Last, b.Fresh = now, true
	for _, n := range t.mine {
		ak := alarmKey(n.Transition)
		w := b.Waits[ak]
		switch {
		case w != nil:
		case len(b.Waits) >= maxWaiting:
			b.More[t.hearer()]++
			continue
		default:
			w = &waiting{T: pieceOf(n, "").T, To: map[string]string{}}
			if before := waited[n.Transition]; before != nil {
				w.T.From = before.T.From
			}
			b.Waits[ak] = w
		}
		w.To[t.hearer()] = n.entry
	}
}

// in says whether the backlog is in at a tick.
func (b *backlog) in(now time.Time) bool {
	fresh := b.Fresh
	b.Fresh = false
	return !fresh || now.Sub(b.Last) >= backlogStill || now.Sub(b.Since) >= backlogAtMost
}

// releaseBacklog tells what waits, once it is in, to each who is awake.
func (n *Notifier) releaseBacklog(ctx context.Context, d *people.Directory, now time.Time) error {
	b := n.mark.Backlog
	if b == nil || !b.in(now) {
		return nil
	}
	pieces := b.pieces()
	for _, hearer := range slices.Sorted(maps.Keys(pieces)) {
		mine, more := pieces[hearer], b.More[hearer]
		id, way, _ := strings.Cut(hearer, " ")
		p := d.Person(id)
		if p != nil && p.To[way] != "" {
			if way == people.Mail && p.Wakes(now).After(now) && !slices.ContainsFunc(newsFrom(n.Register, mine), news.cannotWait) {
				continue // it waits for the morning
			}
			if err := n.tellBacklog(ctx, d, reader{p}, way, mine, more, now); err != nil {
				return err
			}
		}
		b.forget(hearer)
	}
	b.Since = time.Time{}
	if len(b.Waits) == 0 && len(b.More) == 0 {
		n.mark.Backlog = nil
	}
	n.unsaved = saveEvery
	return nil
}

// pieces are what waits by hearer, in order of the alarms' names.
func (b *backlog) pieces() map[string][]piece {
	out := map[string][]piece{}
	for hearer := range b.More {
		out[hearer] = nil
	}
	all := slices.SortedFunc(maps.Values(b.Waits), func(x, y *waiting) int {
		return cmp.Or(strings.Compare(x.T.Vehicle, y.T.Vehicle), strings.Compare(x.T.Component, y.T.Component), strings.Compare(x.T.Rule, y.T.Rule))
	})
	for _, w := range all {
		for hearer, entry := range w.To {
			out[hearer] = append(out[hearer], piece{T: w.T, Entry: entry})
		}
	}
	return out
}

// forget takes out what waited for a hearer.
func (b *backlog) forget(hearer string) {
	delete(b.More, hearer)
	maps.DeleteFunc(b.Waits, func(_ string, w *waiting) bool {
		delete(w.To, hearer)
		return len(w.To) == 0
	})
}

// tellBacklog makes what one person is told by one way: a mail, or as many messages to a
// program as its transitions ask for.
func (n *Notifier) tellBacklog(ctx context.Context, d *people.Directory, p reader, way string, mine []piece, more int, now time.Time) error {
	c := Cause{Key: key("backlog", n.mark.Backlog.Key, p.ID, way), Time: now, Answer: n.Answer, Leave: n.Unsubscribe}
	if way != people.Mail {
		for _, m := range batches(p, way, c, mine, more) {
			if err := n.create(ctx, n.last, m); err != nil {
				return err
			}
		}
		return nil
	}
	m := n.written("telling "+p.ID+" of a backlog", func() Message { return backlogMail(n.Register, p, c, mine, more) },
		func() Message { return barePieces(p, c, mine) })
	if err := n.create(ctx, n.last, m); err != nil {
		return err
	}
	n.mark.watch(d, telling{p: p, way: way, mine: newsFrom(n.Register, mine)}, c)
	return nil
}

// backlogMail says in one mail what a backlog came to: counts, and the worst of it.
func backlogMail(reg Register, p reader, c Cause, pieces []piece, more int) Message {
	title := backlogTitle(pieces, more)
	lead := english.Sentences(backlogWhy(pieces), english.Sentence(title))
	shown := worstFirst(pieces)
	if len(shown) > maxShown && vehiclesOf(pieces) > 1 {
		lead = english.Sentences(lead, fmt.Sprintf(backlogRest, maxShown))
		shown = shown[:maxShown]
	}
	return titledSummary(reg, p, c, title, lead, shown, len(pieces)-len(shown)+more)
}

// backlogTitle is "23 overdue, 11 due, 4 over on 40 vehicles".
func backlogTitle(pieces []piece, more int) string {
	return backlogCounts(pieces, more) + " on " + english.Counted(vehiclesOf(pieces), "vehicle", "vehicles")
}

func vehiclesOf(pieces []piece) int {
	vehicles := map[string]bool{}
	for i := range pieces {
		vehicles[pieces[i].T.Vehicle] = true
	}
	return len(vehicles)
}

// worstFirst are the pieces by how bad they are, what the law asks for before the rest.
func worstFirst(pieces []piece) []piece {
	return slices.SortedStableFunc(slices.Values(pieces), func(a, b piece) int {
		return (news{Transition: &b.T}).urgency() - (news{Transition: &a.T}).urgency()
	})
}

// backlogCounts is "23 overdue, 11 due, 4 over".
func backlogCounts(pieces []piece, more int) string {
	n := map[alarm.Stage]int{}
	for i := range pieces {
		n[pieces[i].T.To]++
	}
	var all []string
	for _, name := range countOrder {
		if s := byStage[name]; n[name] > 0 && name != alarm.Normal {
			all = append(all, english.Counted(n[name], s.one, s.many))
		}
	}
	if over := n[alarm.Normal]; over > 0 {
		all = append(all, fmt.Sprintf("%d over", over))
	}
	if more > 0 {
		all = append(all, fmt.Sprintf("%d more", more))
	}
	return strings.Join(all, ", ")
}

// backlogWhy says what brought a backlog about.
func backlogWhy(pieces []piece) string {
	var why []string
	for kind, words := range backlogWords {
		if slices.ContainsFunc(pieces, func(p piece) bool { return p.T.Backlog == alarm.Backlog(kind) }) && words != "" {
			why = append(why, words)
		}
	}
	if len(why) == 0 {
		why = append(why, backlogOther)
	}
	return english.Sentence(english.List("and", why))
}

// batch is what a program is told of a backlog: the transitions without their evidence,
// each with "backlog" set, in as many messages as they ask for. An alarm that moved more
// than once is in it once, from what it was to what it is.
type batch struct {
	To          string              `json:"to"` // the person of people.yaml
	Cause       string              `json:"cause"`
	Part        int                 `json:"part"` // from 1
	Parts       int                 `json:"parts"`
	Transitions []*alarm.Transition `json:"transitions"`
	// More are alarms that moved and were not kept: ask for those that stand.
	More int `json:"more,omitempty"`
}

func batches(p reader, way string, c Cause, pieces []piece, more int) (out []Message) {
	parts := max(1, (len(pieces)+maxBatch-1)/maxBatch)
	for i := range parts {
		mine := pieces[i*maxBatch : min(len(pieces), (i+1)*maxBatch)]
		data := batch{To: p.ID, Cause: c.Key, Part: i + 1, Parts: parts, More: more}
		m := p.by(way, key("summary", c.Key, p.ID, way, fmt.Sprint(i)), c.Key, c.Time)
		m.Subject = backlogTitle(pieces, more)
		for j := range mine {
			data.Transitions = append(data.Transitions, &mine[j].T)
			m.Stage = worse(m.Stage, mine[j].T.To)
		}
		m.tell("summary", data)
		out = append(out, m)
	}
	return out
}

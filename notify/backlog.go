package notify

import (
	"cmp"
	"context"
	"maps"
	"slices"
	"strings"
	"time"

	"telltale/engine/alarm"
	"telltale/notify/people"
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
			if err := n.tellBacklog(ctx, d, readerOf(p), way, mine, more, now); err != nil {
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
	c.told = n.mark.toldToday(p, c.Time)
	m := n.written("telling "+p.ID+" of a backlog", func() Message { return backlogMail(n.Register, p, c, mine, more) },
		func() Message { return barePieces(p, c, mine) })
	if err := n.create(ctx, n.last, m); err != nil {
		return err
	}
	n.mark.noteMinded(p, m, c.Time)
	n.mark.watch(d, telling{p: p, way: way, mine: newsFrom(n.Register, mine)}, c)
	return nil
}

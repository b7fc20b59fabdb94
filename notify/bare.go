package notify

import (
	"fmt"
	"runtime/debug"
	"strings"

	"telltale/engine"
	"telltale/notify/page"
	"telltale/notify/people"
)

// What stands in this file says a message in raw figures when our own words fail:
// it uses no template, no person's units, and nothing of a page.

// written is the message that words makes; where that panics, the one that bare does.
func (n *Notifier) written(doing string, words, bare func() Message) (m Message) {
	defer func() {
		if p := recover(); p != nil {
			n.Log.Error("a fault in writing a message; it goes out in raw figures", "doing", doing, "fault", p, "stack", string(debug.Stack()))
			m = Message{}
			n.guard(doing, func() { m = bare() })
		}
	}()
	m = words()
	if m.Fault != "" {
		n.Log.Error("a fault in writing a message; it goes out as text", "doing", doing, "fault", m.Fault)
	}
	return m
}

// bareNews is a letter or a summary in raw figures, under the key that it has in words.
func bareNews(p reader, k string, c Cause, transitions []*engine.Transition) Message {
	m := Message{Key: k, Cause: c.Key, Person: p.ID, Name: p.Name, Way: people.Mail, To: p.Mail, Time: c.Time, Subject: "Raw figures"}
	var b strings.Builder
	for i, t := range transitions {
		if i == maxBlocks {
			fmt.Fprintf(&b, "and %d more\n", len(transitions)-i)
			break
		}
		if i == 0 {
			m.Vehicle, m.Stage, m.Time = t.Vehicle, t.To, t.Time
			m.Subject = page.Clean(strings.Join(strings.Fields(t.Vehicle+" "+t.Component), ", ")+": "+t.Rule, 120)
		}
		bareTransition(&b, t)
	}
	return m.bare(b.String())
}

// bare is what the telling says, in raw figures.
func (t telling) bare(c Cause) Message {
	var all []*engine.Transition
	for _, n := range t.mine {
		all = append(all, n.Transition)
	}
	return bareNews(t.p, key("alarm", c.Key, t.mine[0].Vehicle, t.p.ID, people.Mail), c, all)
}

func barePieces(p reader, c Cause, pieces []piece) Message {
	var all []*engine.Transition
	for i := range pieces {
		all = append(all, &pieces[i].T)
	}
	return bareNews(p, key("summary", c.Key, p.ID, people.Mail), c, all)
}

func bareTransition(b *strings.Builder, t *engine.Transition) {
	say := func(label, text string) {
		if text = page.Clean(text, 300); text != "" {
			fmt.Fprintf(b, "  %s: %s\n", label, text)
		}
	}
	fmt.Fprintf(b, "%s\n", page.Clean(strings.Join([]string{t.Vehicle, t.Component, t.Rule, t.Transition, t.From, "to", t.To}, " "), 300))
	say("message", t.Message)
	if t.Measure != nil {
		say("measure", fmt.Sprint(*t.Measure))
	}
	for _, e := range t.Evidence {
		say(e.Of, fmt.Sprint(e.Value, " ", e.Unit))
	}
	if t.To == "warning" {
		say("first", stopFirst)
	}
	say("do", t.Advise)
	say("mind", strings.Join(t.Cautions, ", "))
	b.WriteByte('\n')
}

// bareList is a due list in raw figures.
func bareList(p reader, date string, parts []engine.TurnPart, k string) Message {
	m := Message{Key: k, Cause: "digest " + p.ID + " " + date, Person: p.ID, Name: p.Name, Way: people.Mail, To: p.Mail,
		Subject: "Due list " + date}
	var b strings.Builder
	for i := range parts {
		if parts[i].Now.After(m.Time) {
			m.Time = parts[i].Now
		}
		for _, d := range parts[i].Items {
			fmt.Fprintf(&b, "%s\n", page.Clean(strings.Join([]string{d.Stage, d.Vehicle, d.Component, d.Task, d.Why}, " "), 300))
		}
		for _, s := range parts[i].Alarms {
			fmt.Fprintf(&b, "%s\n", page.Clean(strings.Join([]string{s.To, s.Vehicle, s.Component, s.Rule, s.Message}, " "), 300))
		}
	}
	return m.bare(b.String())
}

// maxBare bounds the raw figures of one message.
const maxBare = 64 << 10

func (m Message) bare(figures string) Message {
	if len(figures) > maxBare {
		figures = strings.ToValidUTF8(figures[:maxBare], "") + "\nand more\n"
	}
	m.Text = bareLead + "\n\n" + figures + "\n" + standingNote + "\n"
	m.HTML = page.Plain(m.Text)
	return m
}

// carried composes a message for its way. One that cannot be composed with its
// pictures, dates and page is composed of its text alone.
func (n *Notifier) carried(m Message) (id string, raw []byte, err error) {
	compose := n.Compose[m.Way]
	if compose == nil {
		return "", nil, fmt.Errorf("no way called %q", m.Way)
	}
	id, raw, err = composed(compose, m)
	if err == nil && len(raw) <= maxRaw {
		return id, raw, nil
	}
	if err == nil {
		err = fmt.Errorf("it has %d bytes, over %d", len(raw), maxRaw)
	}
	n.Log.Error("composing a message; its text alone is tried", "delivery", m.Key, "to", m.To, "error", err)
	m.Charts, m.Dates, m.HTML = nil, nil, page.Plain(m.Text)
	if id, raw, plain := composed(compose, m); plain == nil && len(raw) <= maxRaw {
		return id, raw, nil
	}
	return "", nil, err
}

// maxRaw bounds a composed message: in the store it is a third longer, within what
// one message of a NATS server may have by default, 1 MiB.
const maxRaw = 700 << 10

func composed(do Composer, m Message) (id string, raw []byte, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("a fault: %v", p)
		}
	}()
	return do(m)
}

package notify

import (
	"fmt"
	"strings"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/notify/page"
	"telltale/notify/wording"
	"telltale/rules/english"
)

// What stands in this file says a message in raw figures when our own words fail:
// it uses no template, and nothing of a page.

// written is the message that words makes; where that panics, the one that bare does.
func (n *Notifier) written(doing string, words, bare func() Message) (m Message) {
	if !n.guard(doing, "the message goes out in raw figures", func() { m = words() }) {
		m = Message{}
		n.guard(doing, "what it was about is not told", func() { m = bare() })
	}
	if m.Fault != "" {
		n.Log.Error("a fault in writing a message; it goes out as text", "doing", doing, "fault", m.Fault)
	}
	return m
}

// maxBare bounds the raw figures of one message.
const maxBare = 64 << 10

// bare gives the message figures for words, a line each; a label alone is left out.
func (m Message) bare(figures []string) Message {
	var b strings.Builder
	for _, line := range figures {
		if line = page.Clean(line, 300); line == "" || strings.HasSuffix(line, ":") {
			continue
		}
		if b.Len()+len(line) > maxBare {
			b.WriteString("and more\n")
			break
		}
		b.WriteString(line + "\n")
	}
	m.Text = bareLead + "\n\n" + b.String() + "\n" + wording.StandingNote + "\n"
	m.HTML = page.Plain(m.Text)
	return m
}

// bareNews is a letter or a summary, under the key that it has in words.
func bareNews(p reader, m Message, all []piece) Message {
	var figures []string
	for i := range all {
		t := p.on(all[i].T.Reads).plainly(&all[i].T)
		if i == 0 {
			m.Vehicle, m.Stage, m.Time = t.Vehicle, t.To, t.Time
			m.Subject = page.Clean(strings.Join(strings.Fields(t.Vehicle+" "+t.Component), ", ")+": "+t.Rule, 120)
		}
		figures = append(figures, strings.Join([]string{t.Vehicle, t.Component, t.Rule, string(t.Transition), string(t.From), "to", string(t.To)}, " "), "message: "+t.Message)
		if t.Measure != nil {
			figures = append(figures, fmt.Sprint("measure: ", *t.Measure))
		}
		for _, e := range t.Evidence {
			figures = append(figures, fmt.Sprint(e.Of, ": ", e.Value, " ", english.Unit(e.Unit)))
		}
		if t.To == alarm.Warning {
			figures = append(figures, "first: "+wording.StopFirst)
		}
		figures = append(figures, "do: "+t.Advise, "mind: "+strings.Join(t.Cautions, ", "))
	}
	return m.bare(figures)
}

func (t telling) bare(c Cause) Message {
	var all []piece
	for _, n := range t.mine {
		all = append(all, piece{T: *n.Transition})
	}
	return bareNews(t.p, t.p.mail(key("alarm", c.Key, t.mine[0].Home(), t.p.ID, "mail"), c.Key, c.Time), all)
}

func barePieces(p reader, c Cause, all []piece) Message {
	return bareNews(p, p.mail(key("summary", c.Key, p.ID, "mail"), c.Key, c.Time), all)
}

// bareList is a due list.
func bareList(p reader, date string, parts []engine.TurnPart, k string) Message {
	m := p.mail(k, "digest "+p.ID+" "+date, latest(parts))
	m.Subject = "Due list " + date
	var figures []string
	for i := range parts {
		for _, d := range parts[i].Items {
			figures = append(figures, strings.Join([]string{string(d.Stage), d.Vehicle, d.Component, d.Task, p.SaidOf(&d).Why}, " "))
		}
		for _, s := range parts[i].Alarms {
			figures = append(figures, strings.Join([]string{string(s.To), s.Vehicle, s.Component, s.Rule, p.on(s.Reads).plainly(&s.Transition).Message}, " "))
		}
	}
	return m.bare(figures)
}

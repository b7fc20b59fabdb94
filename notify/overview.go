package notify

import (
	"fmt"
	"slices"
	"strings"

	"telltale/engine/alarm"
	"telltale/notify/wording"
	"telltale/rules/english"
)

// What a backlog comes to, as a mail and for programs.
const (
	// maxShown bounds what a mail shows of it, the worst first.
	maxShown = 20
	// maxBatch bounds the transitions in one message to a program.
	maxBatch = 500
)

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
	over := n[alarm.Normal]
	delete(n, alarm.Normal)
	var all []string
	if said := wording.Counts(n); said != "" {
		all = append(all, said)
	}
	if over > 0 {
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
// than once is in it once, from what it was to what it is. A program that keeps the alarms
// as they stand needs each of them, so counts alone would not do; and one that makes a
// ticket or a message of each call must not be called two thousand times on its first day,
// so they do not come one by one either.
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
			data.Transitions = append(data.Transitions, p.on(mine[j].T.Reads).Said(&mine[j].T))
			m.Stage = worse(m.Stage, mine[j].T.To)
		}
		m.tell("summary", data)
		out = append(out, m)
	}
	return out
}

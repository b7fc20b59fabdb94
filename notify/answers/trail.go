package answers

import (
	"net/http"

	"telltale/engine/event"
	"telltale/engine/stream/audit"
	"telltale/engine/stream/entry"
)

const (
	wordForged = "the link is none of this service's"
	wordGone   = "the link is of somebody who is in people.yaml no more"
)

// noteDown writes down who did what by a link: the person whom it was made for. The link itself
// is never written, for it is the right to answer.
func (b *Pages) noteDown(r *http.Request, l Link, e audit.Entry) {
	if l.Person != "" {
		e.Who = "/people/" + l.Person
	}
	e.How, e.Vehicle, e.From = audit.MailLink, l.Vehicle, audit.Network(b.Proxies.From(r).String())
	b.Audit.Write(r.Context(), e)
}

// notLet writes down a link that opened nothing. One that expired is an honest one.
func (b *Pages) notLet(r *http.Request, l Link, err error) {
	e := audit.Entry{What: audit.Answer, Outcome: audit.Refused, Why: wordForged}
	switch {
	case err != nil:
		l = Link{} // what it says is anybody's
	case b.Person(l.Person) == nil:
		e.Why = wordGone
	}
	b.noteDown(r, l, e)
}

// entered writes down what became of an answer. One that was sent before is written already.
func (b *Pages) entered(r *http.Request, l Link, ev event.Event, became *entry.Became, err error) {
	e := audit.Entry{What: audit.Answer, Outcome: audit.Done, Events: []event.ID{ev.ID}}
	if ev.Kind == event.ServiceEvent {
		e.What = audit.Work
	}
	switch {
	case err != nil:
		e.Outcome, e.Events = audit.Failed, nil
	case became.Before != nil:
		e.Outcome, e.Events, e.Why = audit.Refused, nil, "the form was sent before and said something else"
	case became.Why != nil:
		e.Outcome, e.Events, e.Why = audit.Refused, nil, became.Why.Refused
	case became.Known():
		return
	}
	if d, ok := ev.Data.(*event.AnswerData); ok {
		e.Words = d.Answer
	}
	b.noteDown(r, l, e)
}

// left writes down that somebody wants no more mails of a kind, or wants them again.
func (b *Pages) left(r *http.Request, l Link, back bool, err error) {
	e := audit.Entry{What: audit.Changed, Outcome: audit.Done, Words: "no more mails of this kind: " + string(l.Kind)}
	if back {
		e.Words = "mails of this kind again: " + string(l.Kind)
	}
	if err != nil {
		e.Outcome = audit.Failed
	}
	b.noteDown(r, l, e)
}

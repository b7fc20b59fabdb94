package programs

import (
	"fmt"
	"slices"
	"strings"

	"telltale/engine/intake"
	"telltale/notify/people"
	"telltale/rules/english"
)

// Why says why a program may not publish to a subject, or not hear it, for whoever reads the
// log; p is nil for one that nobody knows.
func Why(p *people.Program, subject string, hear bool, vehicles []Vehicle) string {
	token, kind, event := cut(subject)
	switch {
	case p == nil && subject == "":
		return "no program in people.yaml has its key"
	case p == nil:
		return "only the service itself may"
	case p.Operator:
		return "only the service itself writes there"
	case hear:
		return "a program hears only the answers to what it sends or asks (_INBOX.>)"
	case strings.HasPrefix(subject, "telltale.query."):
		return "it may not ask; people.yaml does not say `asks: yes`"
	case !event:
		return "a program sends events alone, to telltale.in.<vehicle>.<kind>"
	case !slices.Contains(p.Sends, kind):
		return fmt.Sprintf("it may send %s, not %s", sends(p), kind)
	}
	name, err := intake.Untoken(token)
	if err != nil {
		return err.Error()
	}
	i := slices.IndexFunc(vehicles, func(v Vehicle) bool { return slices.Contains(v.Names, name) })
	switch {
	case p.Where == "":
		return "its rights were changing at that moment; the next try will be taken"
	case i < 0:
		return fmt.Sprintf("no vehicle %s is registered, and with `where` it sends of registered ones alone", name)
	case !p.Speaks(vehicles[i].Vehicle):
		return fmt.Sprintf("`where` does not hold for %s: %s", name, p.Where)
	}
	return "its rights were changing at that moment, or all programs together have too many vehicles"
}

// sends are the kinds that a program may send, as people read them.
func sends(p *people.Program) string {
	if len(p.Sends) == 0 {
		return "questions"
	}
	return english.List("and", p.Sends)
}

// cut takes a subject of an event apart.
func cut(subject string) (token, kind string, ok bool) {
	rest, ok := strings.CutPrefix(subject, "telltale.in.")
	if !ok {
		return "", "", false
	}
	token, kind, ok = strings.Cut(rest, ".")
	return token, kind, ok && token != "" && kind != "" && !strings.Contains(kind, ".")
}

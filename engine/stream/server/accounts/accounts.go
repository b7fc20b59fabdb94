// Package accounts writes who may do what on the service's NATS server, as the text of its
// configuration.
//
// It is text, and not made by calls, because only what the server has read as text outlives
// a reload: accounts made by calls lose their imports and their store with it.
//
// There are three accounts. The log and the service are in [Own]. Programs are in others,
// into which the service lets events and, for some, questions; so a program sees nothing of
// the store, however it names a subject. Those that ask are in an account of their own: the
// answers to questions come to inboxes, which everyone in an account can read along. What
// gateways could read along of each other is that an event was stored, and no more.
package accounts

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// The accounts: of the service, of programs that send, and of those that also ask.
const (
	Own      = "TELLTALE"
	Gateways = "GATEWAYS"
	Askers   = "ASKERS"
)

// Inboxes are where clients have replies sent, if nothing else was chosen.
const Inboxes = "_INBOX.>"

// Program is one that may sign in.
type Program struct {
	// Name is what people call it: letters, digits, - and _.
	Name string
	// Key is the public half of its key, U….
	Key string
	// Publishes are the subjects that it may publish to.
	Publishes []string
	// Asks: it may ask questions, which are answered for all vehicles.
	Asks bool
	// Operator: it may do what whoever can read the service's folder may.
	Operator bool
}

// Users are those in the service's own account, each by the public half of a key.
type Users struct {
	// Service may do everything.
	Service string
	// Operator is whoever can read the service's folder: all but what the service alone
	// writes; "" for nobody.
	Operator string
	// Anyone is who comes without a key; "" lets nobody in so. They may do what Operator may.
	Anyone string
	// Shut lets Anyone in no more. A server that runs cannot forget who Anyone was.
	Shut bool
}

// Inbox is where answers to the service go: whoever could listen there would read what it
// reads, and whoever could write there would answer in the server's place.
const Inbox = "_INBOX_SERVICE"

// Denied is what nobody but the service may publish: all that it alone writes, what changes
// the store and, of private streams, all ways to read: their messages, and their subjects,
// which say who and which vehicle. Events in, questions and other reading are left. Who may
// read the service's folder may also read who did what, and streams from end to end. Others
// may not: the server delivers to wherever a consumer says, whatever its maker may write, so
// whoever may make one can have a session of his own making stored among the others.
var (
	Denied         = append(denied("AUDIT", "KV_SESSIONS", "KV_PASSKEYS"), "$JS.API.CONSUMER.CREATE.>", "$JS.API.CONSUMER.DURABLE.>")
	DeniedOperator = denied("KV_SESSIONS", "KV_PASSKEYS")
)

// unasked is what is not answered to programs that ask: messages with the addresses of
// people, and what is done to messages.
var unasked = []string{"telltale.query.deliveries", "telltale.query.left", "telltale.query.retry", "telltale.query.leave"}

func denied(private ...string) []string {
	out := []string{
		"telltale.all.>", "telltale.event.>", "telltale.alarm.>", "telltale.state.>", "telltale.book.>",
		"telltale.said.>", "telltale.delivery.>", "telltale.notify",
		"$JS.API.STREAM.CREATE.>", "$JS.API.STREAM.UPDATE.>", "$JS.API.STREAM.DELETE.>", "$JS.API.STREAM.PURGE.>",
		"$JS.API.STREAM.MSG.DELETE.>", "$JS.API.CONSUMER.PAUSE.>", "$JS.API.CONSUMER.UNPIN.>",
		"$JS.API.CONSUMER.LEADER.>", "$JS.API.STREAM.LEADER.>", "$JS.API.STREAM.PEER.>", "$JS.API.META.>", "$JS.API.SERVER.>", "$JS.API.ACCOUNT.PURGE.>", "$JS.API.STREAM.RESTORE.>", "$JS.API.STREAM.SNAPSHOT.>",
		"telltale.audit.>", "$KV.>", "$O.>", Inbox + ".>",
	}
	for _, s := range private {
		out = append(out, "$JS.API.STREAM.INFO."+s, "$JS.API.STREAM.MSG.GET."+s, "$JS.API.DIRECT.GET."+s, "$JS.API.DIRECT.GET."+s+".>",
			"$JS.API.CONSUMER.*."+s, "$JS.API.CONSUMER.*."+s+".>", "$JS.API.CONSUMER.*.*."+s+".>")
	}
	return out
}

// Unheard is what nobody but the service may hear: what is stored in private streams. What
// the service asks the server names a session.
var Unheard = []string{"telltale.audit.>", "$KV.>", "$JS.API.>", "$JS.EVENT.>", Inbox + ".>"}

// Text is the accounts part of a NATS server's configuration.
func Text(u Users, programs []Program) string {
	programs = slices.SortedFunc(slices.Values(programs), func(a, b Program) int { return cmp.Compare(a.Name, b.Name) })
	var b strings.Builder
	b.WriteString("accounts {\n")
	own(&b, u, programs)
	others(&b, Gateways, programs, false)
	others(&b, Askers, programs, true)
	b.WriteString("}\n")
	if u.Anyone != "" {
		fmt.Fprintf(&b, "no_auth_user: %s\n", strconv.Quote(u.Anyone))
	}
	return b.String()
}

// own writes the account with the log. Questions have a stream of replies: an answer comes
// in pages.
func own(b *strings.Builder, u Users, programs []Program) {
	fmt.Fprintf(b, "  %s {\n    jetstream: enabled\n    exports: [\n", Own)
	fmt.Fprintf(b, "      {service: \"telltale.in.>\", accounts: [%s, %s]}\n", Gateways, Askers)
	fmt.Fprintf(b, "      {service: \"telltale.query.>\", response: stream, accounts: [%s]}\n", Askers)
	fmt.Fprintf(b, "    ]\n    users: [\n      {nkey: %s} # the service\n", strconv.Quote(u.Service))
	type user struct {
		key, is string
		denied  []string
	}
	users := []user{{u.Operator, "who can read the service's folder", DeniedOperator}}
	if u.Anyone != "" && u.Shut {
		fmt.Fprintf(b, "      # nobody: there are no leaf nodes\n      {nkey: %s, allowed_connection_types: [LEAFNODE], permissions: {publish: {deny: [\">\"]}, subscribe: {deny: [\">\"]}}}\n", strconv.Quote(u.Anyone))
	} else {
		users = append(users, user{u.Anyone, "who comes without a key", Denied})
	}
	for _, p := range programs {
		if p.Operator {
			users = append(users, user{p.Key, p.Name, DeniedOperator})
		}
	}
	for _, user := range users {
		if user.key != "" {
			fmt.Fprintf(b, "      # %s\n      {nkey: %s, permissions: {publish: {deny: %s}, subscribe: {deny: %s}}}\n", user.is, strconv.Quote(user.key), list(user.denied), list(Unheard))
		}
	}
	b.WriteString("    ]\n  }\n")
}

// others writes an account of programs. Nobody in it may subscribe to anything but inboxes:
// what another one publishes there could be read along else.
func others(b *strings.Builder, name string, programs []Program, ask bool) {
	fmt.Fprintf(b, "  %s {\n    imports: [\n      {service: {account: %s, subject: \"telltale.in.>\"}}\n", name, Own)
	if ask {
		fmt.Fprintf(b, "      {service: {account: %s, subject: \"telltale.query.>\"}}\n", Own)
	}
	b.WriteString("    ]\n    users: [\n")
	for _, p := range programs {
		if p.Asks == ask && !p.Operator {
			fmt.Fprintf(b, "      # %s\n      {nkey: %s, permissions: {publish: %s, subscribe: %s}}\n", p.Name, strconv.Quote(p.Key), p.may(), "{allow: "+list([]string{Inboxes})+"}")
		}
	}
	b.WriteString("    ]\n  }\n")
}

// may lets the program publish what is its own alone. An empty list of what is allowed would
// be taken for everything, so then all is denied.
func (p *Program) may() string {
	switch {
	case p.Asks:
		return fmt.Sprintf("{allow: %s, deny: %s}", list(append(slices.Clip(p.Publishes), "telltale.query.>")), list(unasked))
	case len(p.Publishes) == 0:
		return `{deny: [">"]}`
	}
	return "{allow: " + list(p.Publishes) + "}"
}

func list(subjects []string) string {
	quoted := make([]string, len(subjects))
	for i, s := range subjects {
		quoted[i] = strconv.Quote(s)
	}
	return "[" + strings.Join(quoted, ", ") + "]"
}

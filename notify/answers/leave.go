package answers

import (
	"errors"
	"net/http"

	"telltale/notify"
)

const (
	wordLeave = "Unsubscribe from these mails?"
	wordLeft  = "You are unsubscribed from these mails."
	wordBack  = "You are subscribed to these mails again."
)

// leaveLeads says by kind what one press of the button ends.
var leaveLeads = map[notify.Kind]string{
	notify.Lists:    "You would no longer get the due lists.",
	notify.Messages: "You would no longer get messages about what happened to a vehicle. You would still get warnings, and overdue work that the law requires.",
}

// askLeave shows the button. Programs that look at links in mails open them, so that
// opening one ends nothing.
func (b *Pages) askLeave(w http.ResponseWriter, code int, l Link) {
	b.show(w, code, view{Title: wordLeave, Lead: leaveLeads[l.Kind], Leave: true, Back: true})
}

// takeLeave takes the button's POST, or that of a mail program (RFC 8058).
func (b *Pages) takeLeave(w http.ResponseWriter, r *http.Request, l Link) {
	err := r.ParseMultipartForm(maxForm)
	back := r.PostFormValue("again") != ""
	if err != nil && !errors.Is(err, http.ErrNotMultipart) || !back && r.PostFormValue("List-Unsubscribe") != "One-Click" {
		b.askLeave(w, http.StatusUnprocessableEntity, l)
		return
	}
	err = b.Leave(r.Context(), l.Person, l.Kind, back)
	b.left(r, l, back, err)
	if err != nil {
		b.trouble(w, err)
		return
	}
	title := wordLeft
	if back {
		title = wordBack
	}
	b.show(w, http.StatusOK, view{Title: title, Leave: back, Back: !back})
}

package board

import (
	"errors"
	"net/http"

	"telltale/notify"
)

const (
	wordLeave = "No more of these mails?"
	wordLeft  = "You get no more of these mails."
	wordBack  = "You get these mails again."
)

// leaveLeads says by kind what one press of the button ends.
var leaveLeads = map[notify.Kind]string{
	notify.Lists:    "The due lists would no longer be sent to you.",
	notify.Messages: "Messages about what happened to a vehicle would no longer be sent to you. Warnings, and work overdue that the law asks for, come all the same.",
}

// leave shows the button, and takes its POST or that of a mail program (RFC 8058).
// Programs that look at links in mails open them, so that opening one ends nothing.
func (b *Board) leave(w http.ResponseWriter, r *http.Request, l Link) {
	p := b.Person(l.Person)
	lead := leaveLeads[l.Kind]
	switch {
	case p == nil || lead == "":
		b.show(w, http.StatusNotFound, view{Title: wordNothing})
	case r.Method == http.MethodGet || r.Method == http.MethodHead:
		b.show(w, http.StatusOK, view{Title: wordLeave, Lead: lead, Leave: true, Back: true})
	case r.Method == http.MethodPost:
		r.Body = http.MaxBytesReader(w, r.Body, maxForm)
		b.takeLeave(w, r, l)
	default:
		w.Header().Set("Allow", "GET, HEAD, POST")
		b.show(w, http.StatusMethodNotAllowed, view{Title: wordNothing})
	}
}

func (b *Board) takeLeave(w http.ResponseWriter, r *http.Request, l Link) {
	err := r.ParseMultipartForm(maxForm)
	back := r.PostFormValue("again") != ""
	if err != nil && !errors.Is(err, http.ErrNotMultipart) || !back && r.PostFormValue("List-Unsubscribe") != "One-Click" {
		b.show(w, http.StatusUnprocessableEntity, view{Title: wordLeave, Lead: leaveLeads[l.Kind], Leave: true, Back: true})
		return
	}
	if err := b.Leave(r.Context(), l.Person, l.Kind, back); err != nil {
		b.trouble(w, err)
		return
	}
	title := wordLeft
	if back {
		title = wordBack
	}
	b.show(w, http.StatusOK, view{Title: title, Leave: back, Back: !back})
}

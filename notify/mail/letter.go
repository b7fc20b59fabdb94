// Package mail composes messages as mails and carries them: to an SMTP server,
// or into a folder as .eml files where there is none.
package mail

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/mail"
	"strings"

	gomail "github.com/wneessen/go-mail"

	"telltale/notify"
)

// Compose writes m as a mail from the address from ("Telltale <alerts@…>"), with
// plain text and HTML alternatives. The same message gives the same bytes: date,
// identity and part boundary are the message's own.
//
// The Message-ID is made of the message's key. What follows on one alarm names
// the same root in References and In-Reply-To and has the same Subject, which is
// what mail programs thread by; no mail with the root's identity need exist.
// Auto-Submitted (RFC 3834) and X-Auto-Response-Suppress keep away answers from
// machines.
func Compose(m notify.Message, from string) (messageID string, raw []byte, err error) {
	sender, err := mail.ParseAddress(from)
	if err != nil {
		return "", nil, fmt.Errorf("reading the sender's address %q: %w", from, err)
	}
	_, domain, _ := strings.Cut(sender.Address, "@")
	msg := gomail.NewMsg(gomail.WithNoDefaultUserAgent(), gomail.WithBoundary(boundary(m)))
	msg.FromMailAddress(sender)
	to, err := mail.ParseAddress(m.To)
	if err != nil || to.Address != m.To {
		return "", nil, fmt.Errorf("recipient %q is not an address like ines@example.org", m.To)
	}
	msg.ToMailAddress(&mail.Address{Name: m.Name, Address: m.To})
	id := m.Key + "@" + domain
	msg.SetMessageIDWithValue(id)
	msg.SetDateWithValue(m.Time)
	// A name that looks like an encoded word (RFC 2047) must not be decoded as one.
	msg.Subject(strings.ReplaceAll(m.Subject, "=?", "= ?"))
	if m.Thread != "" {
		root := "<" + m.Thread + "@" + domain + ">"
		msg.SetGenHeader(gomail.HeaderReferences, root)
		msg.SetGenHeader(gomail.HeaderInReplyTo, root)
	}
	msg.SetGenHeader("Auto-Submitted", "auto-generated")
	msg.SetGenHeader("X-Auto-Response-Suppress", "All")
	msg.SetGenHeader("List-Id", "Telltale <telltale."+domain+">")
	msg.SetBodyString(gomail.TypeTextPlain, m.Text)
	msg.AddAlternativeString(gomail.TypeTextHTML, m.HTML)
	var b bytes.Buffer
	if _, err := msg.WriteTo(&b); err != nil {
		return "", nil, fmt.Errorf("writing mail %q: %w", m.Key, err)
	}
	return "<" + id + ">", b.Bytes(), nil
}

// boundary is a hash of what it parts, so that nobody can write a text that holds
// it; letters and digits only, since it is written without quotes.
func boundary(m notify.Message) string {
	sum := sha256.Sum256([]byte(m.Key + "\x00" + m.Text + "\x00" + m.HTML))
	return "part" + hex.EncodeToString(sum[:16])
}

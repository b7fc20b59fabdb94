// Package mail composes messages as mails and carries them: to an SMTP server,
// or into a folder as .eml files where there is none.
package mail

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/mail"
	"regexp"
	"strconv"
	"strings"

	gomail "github.com/wneessen/go-mail"

	"telltale/notify"
)

// Composer writes messages as mails.
type Composer struct {
	From string // the sender, like "Telltale <telltale@example.org>"
	// Calendar writes dates for the recipient's calendar, published by the address
	// organiser; nil for none.
	Calendar func(organiser string, dates []notify.Date) ([]byte, error)
}

// Compose writes m as a mail with plain text and HTML alternatives, the pictures
// that the HTML shows, and its dates as a file for a calendar. The same message
// gives the same bytes: date, identity and part boundaries are the message's own.
//
// The Message-ID is made of the message's key. What follows on one alarm names
// the same root in References and In-Reply-To, which is what mail programs thread by;
// no mail with the root's identity need exist. The Subject begins with the stage, so
// that an inbox shows it, and is another once that changes.
// A warning has Importance: high and Priority: urgent, which RFC 2156 defines and
// RFC 4021, section 2.1, registers for mails.
// Auto-Submitted (RFC 3834) and X-Auto-Response-Suppress keep away answers from
// machines. A message that can be left says so in List-Unsubscribe (RFC 2369) and,
// by one click, in List-Unsubscribe-Post (RFC 8058).
func (c Composer) Compose(m notify.Message) (messageID string, raw []byte, err error) {
	sender, err := mail.ParseAddress(c.From)
	if err != nil {
		return "", nil, fmt.Errorf("reading the sender's address %q: %w", c.From, err)
	}
	_, domain, _ := strings.Cut(sender.Address, "@")
	msg := gomail.NewMsg(gomail.WithNoDefaultUserAgent())
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
	headers(msg, m, domain)
	msg.SetBodyString(gomail.TypeTextPlain, m.Text)
	msg.AddAlternativeString(gomail.TypeTextHTML, m.HTML)
	if err := c.files(msg, m, sender.Address); err != nil {
		return "", nil, err
	}
	var b bytes.Buffer
	if _, err := msg.WriteTo(&b); err != nil {
		return "", nil, fmt.Errorf("writing mail %q: %w", m.Key, err)
	}
	return "<" + id + ">", withBoundaries(m, b.Bytes()), nil
}

func headers(msg *gomail.Msg, m notify.Message, domain string) {
	if m.Thread != "" {
		root := "<" + m.Thread + "@" + domain + ">"
		msg.SetGenHeader(gomail.HeaderReferences, root)
		msg.SetGenHeader(gomail.HeaderInReplyTo, root)
	}
	if m.Urgent {
		msg.SetGenHeader("Importance", "high")
		msg.SetGenHeader("Priority", "urgent")
	}
	msg.SetGenHeader("Auto-Submitted", "auto-generated")
	msg.SetGenHeader("X-Auto-Response-Suppress", "All")
	msg.SetGenHeader("List-Id", "Telltale <telltale."+domain+">")
	if m.Leave != "" {
		msg.SetGenHeader(gomail.HeaderListUnsubscribe, "<"+m.Leave+">")
		if strings.HasPrefix(m.Leave, "https://") { // RFC 8058 knows no other way
			msg.SetGenHeader(gomail.HeaderListUnsubscribePost, "List-Unsubscribe=One-Click")
		}
	}
}

// files puts in the pictures and the dates.
func (c Composer) files(msg *gomail.Msg, m notify.Message, organiser string) error {
	for i, chart := range m.Charts {
		name := fmt.Sprintf("sample-%d.png", i+1)
		err := msg.EmbedReader(name, bytes.NewReader(chart.PNG), gomail.WithFileContentID("<"+chart.ID+">"), gomail.WithFileContentType("image/png"))
		if err != nil {
			return fmt.Errorf("putting in a picture: %w", err)
		}
	}
	if c.Calendar == nil || len(m.Dates) == 0 {
		return nil
	}
	body, err := c.Calendar(organiser, m.Dates)
	if err != nil {
		return err
	}
	err = msg.AttachReader("due.ics", bytes.NewReader(body), gomail.WithFileContentType("text/calendar; charset=utf-8; method=PUBLISH"))
	if err != nil {
		return fmt.Errorf("attaching dates: %w", err)
	}
	return nil
}

// drawn finds the boundaries that the library drew by lot. No text of a part can
// hold such a line: all parts are in quoted-printable or base64, where a body has
// no "=" before letters that are not upper-case hex.
var drawn = regexp.MustCompile(`\r\nContent-Type: multipart/[a-z]+;\r\n boundary=([0-9a-f]{40,70})\r\n`)

// withBoundaries puts boundaries in place of those drawn by lot. Each is a hash of
// what it parts, so that nobody can write a text that holds it; the library would
// give the nested parts of a mail one and the same.
func withBoundaries(m notify.Message, raw []byte) []byte {
	for i, found := range drawn.FindAllSubmatch(raw, -1) {
		sum := sha256.Sum256([]byte(m.Key + "\x00" + m.Text + "\x00" + m.HTML + "\x00" + strconv.Itoa(i)))
		// Letters and digits only, since it is written without quotes.
		raw = bytes.ReplaceAll(raw, found[1], []byte("part"+hex.EncodeToString(sum[:16])))
	}
	return raw
}

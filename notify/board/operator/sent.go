package operator

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/mail"
	"net/textproto"
	"strings"

	"telltale/notify/page"
)

// headed is a line of a mail's head.
type headed struct{ Name, Text string }

// heads are the lines of a mail's head that people ask after.
var heads = []string{"From", "To", "Date", "Subject", "Importance", "Message-Id", "In-Reply-To"}

// asSent is what a message says: of a mail some of its head and its plain text; of what went
// to a program what it got.
func asSent(raw []byte) (head []headed, text string) {
	if json.Valid(raw) {
		var b bytes.Buffer
		if err := json.Indent(&b, raw, "", "  "); err == nil {
			return nil, b.String()
		}
	}
	m, err := mail.ReadMessage(bytes.NewReader(raw))
	if err != nil {
		return nil, string(raw)
	}
	var words mime.WordDecoder
	for _, name := range heads {
		v := m.Header.Get(name)
		if decoded, err := words.DecodeHeader(v); err == nil {
			v = decoded
		}
		if v != "" {
			head = append(head, headed{name, page.Clean(v, 500)})
		}
	}
	text, _ = plain(textproto.MIMEHeader(m.Header), m.Body)
	text = strings.ReplaceAll(text, "\r\n", "\n")
	return head, text
}

// plain is the first plain text of a part of a mail, however deep.
func plain(h textproto.MIMEHeader, body io.Reader) (text string, found bool) {
	kind, params, err := mime.ParseMediaType(h.Get("Content-Type"))
	switch {
	case err == nil && strings.HasPrefix(kind, "multipart/"):
		parts := multipart.NewReader(body, params["boundary"])
		for {
			p, err := parts.NextRawPart()
			if err != nil {
				return "", false
			}
			if text, found = plain(p.Header, p); found {
				return text, true
			}
		}
	case err == nil && kind != "text/plain":
		return "", false
	}
	switch strings.ToLower(h.Get("Content-Transfer-Encoding")) {
	case "quoted-printable":
		body = quotedprintable.NewReader(body)
	case "base64":
		body = base64.NewDecoder(base64.StdEncoding, body)
	}
	b, err := io.ReadAll(body)
	return string(b), err == nil
}

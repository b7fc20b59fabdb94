package mail

import (
	"bytes"
	"encoding/base64"
	"io"
	"mime"
	"mime/multipart"
	"net/mail"
	"reflect"
	"strings"
	"testing"

	"telltale/notify"
	"telltale/notify/page"
)

// tree takes a mail apart: the kinds of its parts, nested by indent, and their bodies.
func tree(t *testing.T, indent, contentType string, body io.Reader) (kinds []string, bodies map[string]string) {
	t.Helper()
	kind, params, err := mime.ParseMediaType(contentType)
	if err != nil {
		t.Fatal(err)
	}
	kinds, bodies = []string{indent + kind}, map[string]string{}
	if !strings.HasPrefix(kind, "multipart/") {
		b, err := io.ReadAll(body)
		if err != nil {
			t.Fatal(err)
		}
		bodies[kind] = string(b)
		return kinds, bodies
	}
	for parts := multipart.NewReader(body, params["boundary"]); ; {
		p, err := parts.NextPart()
		if err == io.EOF {
			return kinds, bodies
		}
		if err != nil {
			t.Fatalf("%s: %v", kind, err)
		}
		var in io.Reader = p
		if p.Header.Get("Content-Transfer-Encoding") == "base64" {
			in = base64.NewDecoder(base64.StdEncoding, p)
		}
		more, inside := tree(t, indent+" ", p.Header.Get("Content-Type"), in)
		kinds = append(kinds, more...)
		for k, b := range inside {
			bodies[k] = b
		}
		bodies[kind+" id"] += p.Header.Get("Content-Id")
	}
}

// A mail with a picture and a date is mixed(related(alternative(text, html), png),
// ics), each level with a boundary of its own (RFC 2046 section 5.1.2), and has the
// same bytes each time.
func TestComposeParts(t *testing.T) {
	m := told(t, "Bus 7", "copper over baseline")
	m.Charts = []page.Picture{{ID: "chart-1@telltale", PNG: []byte("\x89PNG\r\n\x1a\npicture")}}
	m.Dates = []notify.Date{{Key: "due-1", Day: "2031-05-13", Title: "Bus 7: Change the oil", Said: m.Time}}
	_, raw, err := compose(m)
	if err != nil {
		t.Fatal(err)
	}
	if _, again, _ := compose(m); !bytes.Equal(raw, again) {
		t.Error("the same message gives other bytes")
	}
	checkLines(t, "parts", raw)
	msg, err := mail.ReadMessage(bytes.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	kinds, bodies := tree(t, "", msg.Header.Get("Content-Type"), msg.Body)
	want := []string{"multipart/mixed", " multipart/related", "  multipart/alternative", "   text/plain", "   text/html", "  image/png", " text/calendar"}
	if !reflect.DeepEqual(kinds, want) {
		t.Errorf("got %q, want %q", kinds, want)
	}
	if bodies["image/png"] != string(m.Charts[0].PNG) || bodies["multipart/related id"] != "<chart-1@telltale>" {
		t.Errorf("the picture is %q, named %q", bodies["image/png"], bodies["multipart/related id"])
	}
	if ics := bodies["text/calendar"]; !strings.HasPrefix(ics, "BEGIN:VCALENDAR\r\n") || !strings.Contains(ics, "UID:due-1@larkfell.example\r\n") {
		t.Errorf("the dates are\n%s", ics)
	}
	if strings.ReplaceAll(bodies["text/plain"], "\r\n", "\n") != m.Text {
		t.Errorf("the text is not what was written:\n%s", bodies["text/plain"])
	}
}

// RFC 8058 section 3.1: both headers, one https address, in a message that can be
// left, and none in another.
func TestComposeLeave(t *testing.T) {
	m := told(t, "Bus 7", "copper over baseline")
	m.Leave = "https://fleet.larkfell.example/u/" + strings.Repeat("token", 40)
	_, raw, err := compose(m)
	if err != nil {
		t.Fatal(err)
	}
	checkLines(t, "leave", raw)
	h, _, _ := read(t, raw)
	if got := h.Get("List-Unsubscribe"); got != "<"+m.Leave+">" {
		t.Errorf("List-Unsubscribe %q", got)
	}
	if got := h.Get("List-Unsubscribe-Post"); got != "List-Unsubscribe=One-Click" {
		t.Errorf("List-Unsubscribe-Post %q", got)
	}
	m.Leave = "http://127.0.0.1:8080/u/token"
	if _, raw, err = compose(m); err != nil {
		t.Fatal(err)
	}
	if h, _, _ := read(t, raw); h.Get("List-Unsubscribe") != "<"+m.Leave+">" || h.Get("List-Unsubscribe-Post") != "" {
		t.Errorf("without TLS: %q, %q", h.Get("List-Unsubscribe"), h.Get("List-Unsubscribe-Post"))
	}
	m.Leave = ""
	_, raw, _ = compose(m)
	if h, _, _ := read(t, raw); h.Get("List-Unsubscribe") != "" || h.Get("List-Unsubscribe-Post") != "" {
		t.Errorf("a message that cannot be left says how: %v", h)
	}
}

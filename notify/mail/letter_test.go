package mail

import (
	"bytes"
	"flag"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/mail"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/notify"
	"telltale/notify/calendar"
	"telltale/notify/people"
	"telltale/testdata/hostile"
)

var update = flag.Bool("update", false, "write the golden files anew")

const sender = "Telltale <telltale@larkfell.example>"

func compose(m notify.Message) (string, []byte, error) {
	return Composer{From: sender, Calendar: calendar.Write}.Compose(m)
}

// told makes the mail that one person gets of a warning about a vehicle of that name.
func told(t *testing.T, name, rule string) notify.Message {
	t.Helper()
	d, err := people.Parse("people.yaml", []byte(
		"people: {ines: {name: Ines Calderó, mail: ines@larkfell.example}}\ntell: {all: {who: ines}}\n"))
	if err != nil {
		t.Fatal(err)
	}
	tr := alarm.Transition{
		Time: time.Date(2031, 2, 19, 9, 30, 0, 0, time.UTC), Vehicle: "bus-07", Component: "transmission", Rule: rule,
		Transition: "raised", From: "normal", To: "warning", Standing: "unacknowledged",
		Message: "Copper 214 mg/kg is 5.4 × the baseline", Advise: "Stop and have the transmission inspected before further use.",
		Cautions: []string{"hot fluid"},
	}
	all := notify.Tell(d, func(id string) people.Vehicle { return people.Vehicle{ID: id, Name: name} },
		notify.Cause{Key: "/laboratory s-1"}, []engine.Output{{Transition: &tr}})
	if len(all) != 1 {
		t.Fatalf("%d messages", len(all))
	}
	return all[0]
}

func TestComposeGolden(t *testing.T) {
	m := told(t, "Bus 7", "copper over baseline")
	id, raw, err := compose(m)
	if err != nil {
		t.Fatal(err)
	}
	if want := "<" + m.Key + "@larkfell.example>"; id != want {
		t.Errorf("Message-ID %s, want %s", id, want)
	}
	if _, again, _ := compose(m); !bytes.Equal(raw, again) {
		t.Error("the same message gives other bytes")
	}
	path := filepath.Join("testdata", "warning.eml")
	if *update {
		if err := os.WriteFile(path, raw, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(raw, want) {
		t.Errorf("%s differs (write it anew with -update):\n%s", path, raw)
	}
}

// read takes a mail apart by the standard library: header, text, HTML.
func read(t *testing.T, raw []byte) (h mail.Header, text, html string) {
	t.Helper()
	msg, err := mail.ReadMessage(bytes.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	kind, params, err := mime.ParseMediaType(msg.Header.Get("Content-Type"))
	if err != nil || kind != "multipart/alternative" {
		t.Fatalf("%s %v", kind, err)
	}
	var bodies []string
	parts := multipart.NewReader(msg.Body, params["boundary"])
	for {
		p, err := parts.NextRawPart()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		b, err := io.ReadAll(quotedprintable.NewReader(p))
		if err != nil {
			t.Fatal(err)
		}
		bodies = append(bodies, strings.ReplaceAll(string(b), "\r\n", "\n"))
	}
	if len(bodies) != 2 {
		t.Fatalf("%d parts", len(bodies))
	}
	return msg.Header, bodies[0], bodies[1]
}

func TestComposeHeaders(t *testing.T) {
	m := told(t, "Bus 7", "copper over baseline")
	_, raw, err := compose(m)
	if err != nil {
		t.Fatal(err)
	}
	h, text, html := read(t, raw)
	root := "<" + m.Thread + "@larkfell.example>"
	for name, want := range map[string]string{
		"Subject": "Stop: Bus 7 transmission, copper over baseline", "Importance": "high", "Priority": "urgent", "Date": "Wed, 19 Feb 2031 09:30:00 +0000",
		"From": `"Telltale" <telltale@larkfell.example>`, "References": root, "In-Reply-To": root,
		"Auto-Submitted": "auto-generated", "X-Auto-Response-Suppress": "All", "List-Id": "Telltale <telltale.larkfell.example>",
		"Mime-Version": "1.0", "X-Mailer": "", "User-Agent": "",
	} {
		if got := h.Get(name); got != want {
			t.Errorf("%s: got %q, want %q", name, got, want)
		}
	}
	to, err := mail.ParseAddress(h.Get("To"))
	if err != nil || *to != (mail.Address{Name: "Ines Calderó", Address: "ines@larkfell.example"}) {
		t.Errorf("To: %v %v", to, err)
	}
	if text != m.Text || html != m.HTML {
		t.Errorf("the parts are not what was written:\n%q\n%q", text, m.Text)
	}
	m.Thread = ""
	_, raw, _ = compose(m)
	if h, _, _ := read(t, raw); h.Get("References") != "" || h.Get("In-Reply-To") != "" {
		t.Errorf("a list is in a thread: %v", h)
	}
}

func TestComposeRefuses(t *testing.T) {
	m := told(t, "Bus 7", "x")
	if _, _, err := (Composer{From: "nobody"}).Compose(m); err == nil {
		t.Error("a sender that is none was taken")
	}
	for _, to := range []string{"", "a b@larkfell.example", "ines@larkfell.example\r\nBcc: all@larkfell.example", "ines@larkfell.example, all@larkfell.example"} {
		m.To = to
		if _, raw, err := compose(m); err == nil {
			t.Errorf("%q was taken:\n%s", to, raw)
		}
	}
}

func TestComposeHostile(t *testing.T) {
	clean, _, _ := read(t, mustCompose(t, told(t, "Bus 7", "copper")))
	for _, h := range append(slices.Clone(hostile.Text), "=?utf-8?q?=0D=0ABcc:_x?=", "--=_0\r\nContent-Type: text/html\r\n", ".\r\nQUIT\r\n") {
		for _, m := range []notify.Message{told(t, h, "copper"), told(t, "Bus 7", h)} {
			raw := mustCompose(t, m)
			got, text, html := read(t, raw)
			if len(got) != len(clean) || got.Get("Bcc") != "" {
				t.Errorf("%.30q: headers %v", h, got)
			}
			if strings.Contains(m.Subject, "=?") && strings.Contains(got.Get("Subject"), "=?utf-8?q?=0D") {
				t.Errorf("%.30q: a mail program decodes the subject %q", h, got.Get("Subject"))
			}
			if text != m.Text || html != m.HTML {
				t.Errorf("%.30q: the parts are not what was written", h)
			}
			checkLines(t, h, raw)
		}
		m := told(t, "Bus 7", "copper")
		m.Name = h
		if got, _, _ := read(t, mustCompose(t, m)); len(got) != len(clean) {
			t.Errorf("%.30q as a person's name: headers %v", h, got)
		}
	}
}

func mustCompose(t *testing.T, m notify.Message) []byte {
	t.Helper()
	_, raw, err := compose(m)
	if err != nil {
		t.Fatal(err)
	}
	return raw
}

// checkLines: RFC 5322 section 2.1.1 allows 998 characters a line; all are ASCII
// and end in CRLF.
func checkLines(t *testing.T, h string, raw []byte) {
	t.Helper()
	for _, l := range strings.SplitAfter(string(raw), "\n") {
		if len(l) > 998+2 || l != "" && !strings.HasSuffix(l, "\r\n") {
			t.Errorf("%.30q: a line of %d: %.80q", h, len(l), l)
		}
		if strings.IndexFunc(l, func(r rune) bool { return r > 126 || r < 32 && r != '\r' && r != '\n' && r != '\t' }) >= 0 {
			t.Errorf("%.30q: not plain ASCII: %.80q", h, l)
		}
	}
}

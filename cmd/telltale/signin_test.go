package main

import (
	"io"
	"log/slog"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"telltale/notify/delivery"
)

// TestSignInByMail has two services on one NATS server. A link is asked for at the board of
// the one that does not tell; the other one sends the mail, at once, though its reader's
// hours are quiet; it is pressed at either board, and nothing of it is kept.
func TestSignInByMail(t *testing.T) {
	t.Parallel()
	server := natsServer(t)
	files := replicaFiles(server)
	files["telltale.yaml"] += "board: {listen: \"127.0.0.1:0\", sign in: always}\n"
	files["people.yaml"] = strings.Replace(files["people.yaml"], "mail: ines@larkfell.example}", "mail: ines@larkfell.example, quiet: 00:01 to 00:00}", 1)
	var all []*app
	for range 2 {
		dir := t.TempDir()
		write(t, dir, files)
		f, err := loadFleet(dir)
		if err != nil {
			t.Fatal(err)
		}
		a, err := startApp(t.Context(), f, slog.New(slog.DiscardHandler), func(string) {})
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { a.stop() })
		all = append(all, a)
	}
	if !poll(patience, func() bool { return slices.ContainsFunc(all, (*app).tells) }) {
		t.Fatal("nobody tells")
	}
	sends := slices.IndexFunc(all, (*app).tells)
	other := all[1-sends]
	b := browsing(t, other.look)
	if status, where, _ := b.get("/due"); status != http.StatusOK || where != "/sign-in?to=%2Fdue" {
		t.Fatalf("a stranger is led to %q (%d)", where, status)
	}
	if status, where, body := b.post("/sign-in", url.Values{"email": {"ines@larkfell.example"}, "to": {"/due"}}); status != http.StatusOK || where != "/sign-in/sent" {
		t.Fatalf("asked: %d, %q\n%s", status, where, body)
	}
	var names []string
	if !poll(patience, func() bool {
		names, _ = filepath.Glob(filepath.Join(all[sends].fleet.dir, "mail", "*.eml"))
		return len(names) == 1
	}) {
		t.Fatalf("no mail was written")
	}
	mail, err := os.ReadFile(names[0])
	if err != nil {
		t.Fatal(err)
	}
	text := strings.ReplaceAll(string(mail), "=\r\n", "") // quoted-printable breaks the link
	link := regexp.MustCompile(`/sign-in/[A-Z0-9]{52}`).FindString(text)
	if link == "" || !strings.Contains(text, other.look+link) {
		t.Fatalf("no link in\n%s", text)
	}
	var d []delivery.Delivery
	if !poll(patience, func() bool {
		d, err = delivery.All(t.Context(), other.log.Deliveries())
		return err == nil && len(d) == 1 && d[0].State == delivery.Sent
	}) {
		t.Fatalf("%+v (%v)", d, err)
	}
	if d[0].Raw != nil || d[0].Attempts != 1 {
		t.Errorf("after %d tries the mail is kept: %q", d[0].Attempts, d[0].Raw)
	}
	b.at(all[sends].look) // cookies are a host's, whatever its port
	if status, where, body := b.post(link, nil); status != http.StatusOK || where != "/due" || !strings.Contains(body, "Ines Thornbeck") {
		t.Errorf("pressed: %d, %q\n%s", status, where, body)
	}
	b.at(other.look)
	if status, where, _ := b.get("/me"); status != http.StatusOK || where != "/me" {
		t.Errorf("at the other board: %d, %q", status, where)
	}
	if code, out, said := told(t, "deliveries", "--json", "--nats", server); code != 0 || strings.Contains(out, "raw") || strings.Contains(out, link) {
		t.Errorf("%d: %s%s", code, out, said)
	}
}

// browser asks as one does that keeps cookies and follows where pages lead.
type browser struct {
	t    *testing.T
	look string
	http.Client
}

func browsing(t *testing.T, look string) *browser {
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	return &browser{t, look, http.Client{Jar: jar}}
}

func (b *browser) at(look string) { b.look = look }

func (b *browser) get(path string) (status int, where, body string) {
	b.t.Helper()
	r, err := b.Client.Get(b.look + path)
	return b.read(r, err)
}

func (b *browser) post(path string, form url.Values) (status int, where, body string) {
	b.t.Helper()
	r, err := b.Client.PostForm(b.look+path, form)
	return b.read(r, err)
}

func (b *browser) read(r *http.Response, err error) (status int, where, body string) {
	b.t.Helper()
	if err != nil {
		b.t.Fatal(err)
	}
	defer r.Body.Close()
	text, err := io.ReadAll(r.Body)
	if err != nil {
		b.t.Fatal(err)
	}
	return r.StatusCode, r.Request.URL.RequestURI(), string(text)
}

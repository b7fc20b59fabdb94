package browser

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"slices"
	"strings"
	"testing"
)

func TestMain(m *testing.M) {
	code := m.Run()
	Close()
	os.Exit(code)
}

// TestSeesFaults: a page with faults is found out, so that a page without findings says
// something.
func TestSeesFaults(t *testing.T) {
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Security-Policy", "default-src 'none'; form-action 'self'; style-src 'unsafe-inline'")
		fmt.Fprint(w, `<!doctype html><title>Bad</title><main style="width:900px"><h3>Bad</h3><img src="x.png"><input name="a">
			<p style="color:#bbb;background:#fff">faint</p><a href="/next">Next one</a> <a href="/next" style="outline:none">Unseen</a>
			<form method="post" action="/next"><label>Name <input name="b" value="old"></label><button>Send it</button></form></main>`)
		if r.Method == "POST" {
			fmt.Fprintf(w, `<p>got %s</p>`, r.FormValue("b"))
		}
	}))
	defer srv.Close()
	b := Open(t, 320)
	if status := b.Go(srv.URL); status != 200 || b.Wide() <= 320 || b.Title() != "Bad" {
		t.Errorf("%d, %d wide, %q", status, b.Wide(), b.Title())
	}
	all := strings.Join(b.Findings(), "\n")
	for _, want := range []string{"image-alt", "label:", "color-contrast", "html-has-lang"} {
		if !strings.Contains(all, want) {
			t.Errorf("axe-core does not find %s:\n%s", want, all)
		}
	}
	if stops, lost := b.Stops(); !slices.Equal(stops, []string{"a", "Next one", "Unseen", "Name", "Send it"}) || !slices.Equal(lost, []string{"Unseen"}) {
		t.Errorf("the Tab key comes to %q; no focus seen at %q", stops, lost)
	}
	b.NoScript(true)
	b.Go(srv.URL)
	b.Type("Name", "new one")
	b.Press("Send it")
	if got := b.Path(); got != "/next" {
		t.Error(got)
	}
	if text := eval[string](b, "document.body.innerText"); !strings.Contains(text, "got new one") {
		t.Error(text)
	}
	b.Press("Next one")
	if _, sheets := b.Print(); sheets != 1 {
		t.Errorf("printed on %d sheets", sheets)
	}
}

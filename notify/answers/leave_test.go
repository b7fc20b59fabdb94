package answers

import (
	"bytes"
	"context"
	"errors"
	"mime/multipart"
	"net/http/httptest"
	"net/url"
	"reflect"
	"strings"
	"testing"

	"telltale/notify"
)

// One POST ends the mails of a kind, as a mail program sends it or as the page does;
// opening the link ends nothing, and a link of one page does nothing at the other.
func TestLeaving(t *testing.T) {
	var got []string
	b := somePages(copper(), &got)
	away := Link{Person: "tobias", Kind: notify.Lists, Expires: mine.Expires}
	unknown := away
	unknown.Kind = "everything"
	oneClick := url.Values{"List-Unsubscribe": {"One-Click"}}
	path := "/u/" + key.Token(away)
	for _, c := range []struct {
		method, path string
		form         url.Values
		code         int
		says         string
	}{
		{"GET", path + "?List-Unsubscribe=One-Click", oneClick, 200, "You would no longer get the due lists."},
		{"HEAD", path, nil, 200, ""},
		{"PUT", path, oneClick, 405, wordNothing},
		{"POST", path + "?List-Unsubscribe=One-Click", nil, 422, wordLeave},
		{"POST", "/u/" + key.Token(mine), oneClick, 404, wordNothing},
		{"POST", "/a/" + key.Token(away), url.Values{"answer": {"not mine"}}, 404, wordNothing},
		{"POST", "/u/" + key.Token(unknown), oneClick, 404, wordNothing},
		{"POST", "/u/" + path, oneClick, 404, wordNothing},
		{"POST", "/u/a/" + key.Token(away), oneClick, 404, wordNothing},
		{"POST", path, oneClick, 200, wordLeft},
		{"POST", path, url.Values{"again": {"yes"}}, 200, wordBack},
	} {
		if code, page := ask(b, c.method, c.path, c.form); code != c.code || !strings.Contains(page, c.says) {
			t.Errorf("%s %.12s %v: %d, want %d with %q\n%s", c.method, c.path, c.form, code, c.code, c.says, page)
		}
	}
	if want := []string{"tobias lists false", "tobias lists true"}; !reflect.DeepEqual(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	got = nil
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	if err := errors.Join(form.WriteField("List-Unsubscribe", "One-Click"), form.Close()); err != nil {
		t.Fatal(err)
	}
	r := httptest.NewRequest("POST", path, &body)
	r.Header.Set("Content-Type", form.FormDataContentType())
	w := httptest.NewRecorder()
	if b.ServeHTTP(w, r); w.Code != 200 || !reflect.DeepEqual(got, []string{"tobias lists false"}) {
		t.Errorf("as multipart/form-data: %d, %q", w.Code, got)
	}
	b.Leave = func(context.Context, string, notify.Kind, bool) error { return errors.New("nobody tells just now") }
	if code, page := ask(b, "POST", path, oneClick); code != 503 || !strings.Contains(page, wordTrouble) {
		t.Errorf("while nobody tells: %d\n%s", code, page)
	}
}

package answers

import (
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/notify"
	"telltale/notify/people"
)

// A link that is changed in any place, cut or lengthened is none.
func TestGuessedLinks(t *testing.T) {
	token := key.Token(mine)
	var published []string
	b := somePages(copper(), &published)
	try := func(what, token string) {
		for _, path := range []string{"/a/", "/u/"} {
			r := httptest.NewRequest("POST", "/", strings.NewReader("answer=acknowledge&List-Unsubscribe=One-Click"))
			r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
			r.URL.Path = path + token
			w := httptest.NewRecorder()
			if b.ServeHTTP(w, r); w.Code != 404 {
				t.Errorf("%s: %d", what, w.Code)
			}
		}
	}
	const digits = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_."
	for i := range token {
		try("cut", token[:i])
		for _, d := range []byte{digits[i%len(digits)], digits[(i+31)%len(digits)]} {
			if d != token[i] {
				try("changed", token[:i]+string(d)+token[i+1:])
			}
		}
		try("lengthened", token[:i]+"A"+token[i:])
	}
	text, sig, _ := strings.Cut(token, ".")
	for _, odd := range []string{token + "=", token + "/", token + "/x", "/" + token, token + ".", token + "." + sig, text + "." + sig + sig, "." + sig, text + ".", ".", sig + "." + text, text + "%2e" + sig, strings.ToUpper(token),
		"../a/" + token, token + "\x00", " " + token, token + "\n", strings.Repeat("A", 1<<20) + "." + sig, text + "." + key.sign(""), text + "." + key.sign(text)[:42]} {
		try("odd", odd)
	}
	if published != nil {
		t.Errorf("published %q", published)
	}
}

// A link answers the alarm that it was made for, whatever the form says of others.
func TestAnswersOneAlarm(t *testing.T) {
	task := copper()
	task.Task, task.To = true, "due"
	for _, answer := range []string{"acknowledge", "shelve", "done", "not mine"} {
		var published []string
		b := somePages(task, &published)
		form := url.Values{"answer": {answer, "not mine"}, "form": {"0123456789abcdef0123"}, "until": {"2031-03-01"}, "day": {"2031-02-18"}, "why": {"x"}}
		for _, name := range []string{"vehicle", "subject", "rule", "component", "person", "by", "source", "id", "p", "v", "r", "c", "e", "time", "expires"} {
			form.Set(name, "bus-09")
		}
		code, _ := ask(b, "POST", "/a/"+key.Token(mine)+"?vehicle=bus-09&by=tobias&answer=done", form)
		if code != 200 || len(published) != 1 {
			t.Fatalf("%s: %d, %q", answer, code, published)
		}
		ev, err := intake.Decode([]byte(published[0]))
		if err != nil || ev.Vehicle != "bus-07" || ev.ID.Source != "/people/ines" || strings.Contains(published[0], "bus-09") || strings.Contains(published[0], "tobias") {
			t.Errorf("%s: %v, %s", answer, err, published[0])
		}
		if d, ok := ev.Data.(*event.AnswerData); ok && (d.Answer != answer || d.By != "ines") {
			t.Errorf("%s: %+v", answer, d)
		}
	}
}

// A link for another vehicle, rule or component, however well signed, shows and answers
// nothing of this one.
func TestLinkOfAnother(t *testing.T) {
	for name, change := range map[string]func(*Link){
		"vehicle":    func(l *Link) { l.Vehicle = "bus-09" },
		"rule":       func(l *Link) { l.Rule = "iron over baseline" },
		"component":  func(l *Link) { l.Component = "engine" },
		"no vehicle": func(l *Link) { l.Vehicle = "" },
	} {
		l := mine
		change(&l)
		var published []string
		b := somePages(copper(), &published)
		for _, method := range []string{"GET", "POST"} {
			code, page := ask(b, method, "/a/"+key.Token(l), url.Values{"answer": {"acknowledge"}, "vehicle": {"bus-07"}, "rule": {mine.Rule}, "component": {mine.Component}})
			if code != 200 || !strings.Contains(page, wordOver) || strings.Contains(page, "Bus 7") || strings.Contains(page, "Copper") {
				t.Errorf("%s, %s: %d\n%s", name, method, code, page)
			}
		}
		if published != nil {
			t.Errorf("%s: %q", name, published)
		}
	}
}

// Whoever is in people.yaml no more answers by no link that they kept.
func TestLinkOfWhoLeft(t *testing.T) {
	var published []string
	b := somePages(copper(), &published)
	b.Person = func(string) *people.Person { return nil }
	for _, path := range []string{"/a/" + key.Token(mine), "/u/" + key.Token(Link{Person: "ines", Kind: notify.Lists, Expires: mine.Expires})} {
		for _, method := range []string{"GET", "POST"} {
			code, page := ask(b, method, path, url.Values{"answer": {"acknowledge"}, "List-Unsubscribe": {"One-Click"}})
			if code != 404 || strings.Contains(page, "Bus 7") {
				t.Errorf("%s %.4s: %d\n%s", method, path, code, page)
			}
		}
	}
	if published != nil {
		t.Errorf("published %q", published)
	}
}

// A form that is too large, or none of ours, is refused, and enters nothing.
func TestOddAnswerForms(t *testing.T) {
	const plain = "application/x-www-form-urlencoded"
	parts := strings.Repeat("--x\r\nContent-Disposition: form-data; name=\"answer\"\r\n\r\nacknowledge\r\n", 10_000) + "--x--\r\n"
	for name, c := range map[string][2]string{
		"100,000 fields":        {plain, "answer=acknowledge" + strings.Repeat("&a=b", 100_000)},
		"2,000 fields, 100,000": {plain, strings.Repeat("why=x&", 2_000) + "answer=acknowledge&why=" + strings.Repeat("x", 100_000)},
		"10,000 parts":          {"multipart/form-data; boundary=x", parts},
		"one part":              {"multipart/form-data; boundary=x", "--x\r\nContent-Disposition: form-data; name=\"answer\"\r\n\r\nacknowledge\r\n--x--\r\n"},
		"a file":                {"multipart/form-data; boundary=x", "--x\r\nContent-Disposition: form-data; name=\"answer\"; filename=\"../x\"\r\n\r\nacknowledge\r\n--x--\r\n"},
		"no boundary":           {"multipart/form-data", "x"},
		"no kind":               {"", "answer=acknowledge"},
		"text":                  {"text/plain", "answer=acknowledge"},
		"JSON":                  {"application/json", `{"answer":"acknowledge"}`},
		"half an escape":        {plain, "answer=acknowledge&why=%"},
		"semicolons":            {plain, "answer=acknowledge;why=x"},
		"two kinds":             {plain + ", text/plain", "answer=acknowledge"},
	} {
		for _, of := range []Link{mine, {Person: "ines", Kind: notify.Lists, Expires: mine.Expires}} {
			path := "/a/"
			if of.Kind != "" {
				path = "/u/"
				c[1] = strings.NewReplacer("answer=acknowledge", "List-Unsubscribe=No", `name="answer"`, `name="no"`).Replace(c[1])
			}
			var published []string
			b := somePages(alarm.Listed(copper()), &published)
			r := httptest.NewRequest("POST", path+key.Token(of), strings.NewReader(c[1]))
			if r.Header.Del("Content-Type"); c[0] != "" {
				r.Header.Set("Content-Type", c[0])
			}
			w := httptest.NewRecorder()
			b.ServeHTTP(w, r)
			if w.Code != 400 && w.Code != 413 && w.Code != 422 || published != nil {
				t.Errorf("%s at %s: %d, %q", name, path, w.Code, published)
			}
		}
	}
}

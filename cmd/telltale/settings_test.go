package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"telltale/rules/schema"
	"telltale/rules/source"
	"telltale/testdata/certs"
)

// settingsOf reads the text as telltale.yaml of a folder that holds a password.
func settingsOf(t *testing.T, text string) (settings, error) {
	t.Helper()
	dir := t.TempDir()
	write(t, dir, map[string]string{"telltale.yaml": text, "password": "secret\n"})
	return loadSettings(dir)
}

// TestSettingsSchema holds the schema of telltale.yaml, and so the reference made from it,
// to what the program reads: the same keys, and every example is taken.
func TestSettingsSchema(t *testing.T) {
	var file map[string]any
	if err := json.Unmarshal(schema.Of("settings"), &file); err != nil {
		t.Fatal(err)
	}
	known := regexp.MustCompile(`hint: known here: (.*)`)
	top := file["properties"].(map[string]any)
	parts := map[string]map[string]any{"": top}
	for _, key := range []string{"mail", "smtp", "answers", "board", "webhooks"} {
		parts[key] = top[key].(map[string]any)["properties"].(map[string]any)
	}
	for of, keys := range parts {
		frame := "%s: %s\n"
		if of != "" {
			frame = of + ": {%s: %s}\n"
		}
		_, err := settingsOf(t, fmt.Sprintf(frame, "qqqqqqqqqq", "1"))
		if err == nil || !known.MatchString(err.Error()) {
			t.Fatalf("%s: %v", of, err)
		}
		want := strings.Split(known.FindStringSubmatch(err.Error())[1], ", ")
		if got := slices.Sorted(maps.Keys(keys)); !slices.Equal(got, slices.Sorted(slices.Values(want))) {
			t.Errorf("%s: the schema has %q, the program knows %q", of, got, want)
		}
		for key, n := range keys {
			example, _, _ := strings.Cut(strings.TrimPrefix(n.(map[string]any)["$comment"].(string), "as "), "; default: ")
			if key == "password file" {
				example = "password" // one that is there
			}
			text := fmt.Sprintf(frame, key, "'"+example+"'")
			if strings.HasPrefix(example, "{") || strings.HasPrefix(example, "[") {
				text = fmt.Sprintf(frame, key, example)
			}
			if key == "port" || key == "max log" {
				text = fmt.Sprintf(frame, key, example)
			}
			if of == "smtp" && key != "host" {
				text = strings.Replace(text, "{", "{host: mail.example.org, ", 1)
			}
			if key == "smtp" || of == "smtp" {
				text += "mail: {from: telltale@example.org}\n"
			}
			switch key { // which goes with the other one, and with something that it is for
			case "certificate":
				text += "key: key.pem\nlisten: 0.0.0.0:4222\n"
			case "fleet sign-in":
				text = strings.Replace(strings.Replace(text, "secrets/login", "password", 1), "board: {", "board: {url: https://fleet.example.org, ", 1)
			case "key":
				if of == "" {
					text += "certificate: certificate.pem\nlisten: 0.0.0.0:4222\n"
				}
			}
			if _, err := settingsOf(t, text); err != nil {
				t.Errorf("%s%v", text, err)
			}
		}
	}
}

// TestSettingsPage: the example of the reference is taken.
func TestSettingsPage(t *testing.T) {
	page, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	text := strings.Replace(fenced(t, string(page), "## telltale.yaml"), "/etc/telltale/smtp-password", "password", 1)
	set, err := settingsOf(t, text)
	if err != nil || set.Mail.Host != "mail.larkfell.example" || set.Answers.URL != "https://fleet.larkfell.example" {
		t.Errorf("%+v (%v)", set, err)
	}
}

// TestOpenSettings: what would stand open is a fault of the settings, at its place and with
// the cure; what may be open is taken.
func TestOpenSettings(t *testing.T) {
	const pair = "certificate: certificate.pem\nkey: key.pem\n"
	for _, tt := range []struct {
		name, text string
		faults     []string // as "line:column: text; hint"
	}{
		{"the loopback", "listen: 127.0.0.1:-1\nboard: {listen: \"[::1]:0\"}\nanswers: {listen: localhost:8080}\n", nil},
		{"NATS without a certificate", "listen: 0.0.0.0:4222\n",
			[]string{`1:9: NATS cannot be open on "0.0.0.0:4222" without a certificate: whoever is on the way could read along and change what is sent; write certificate: and key:, or listen: 127.0.0.1:4222`}},
		{"NATS that is joined", "nats: nats://nats.example.org:4222\n", nil},
		{"NATS with one", pair + "listen: 0.0.0.0:4222\n", nil},
		{"the board without a certificate", "board: {listen: 10.1.2.3:4280}\n",
			[]string{`1:17: the board cannot be open on "10.1.2.3:4280" without a certificate: whoever is on the way could read along and change what is sent; ` +
				`write certificate: and key:, or listen: 127.0.0.1:4280 for a proxy on this machine, or proxy: with the address of one elsewhere`}},
		{"the answers without one", "answers: {listen: \":8080\", url: \"https://fleet.example.org\"}\n",
			[]string{`1:19: the pages of the answers cannot be open on ":8080" without a certificate: whoever is on the way could read along and change what is sent; ` +
				`write certificate: and key:, or listen: 127.0.0.1:8080 for a proxy on this machine, or proxy: with the address of one elsewhere`}},
		{"both with one", pair + "board: {listen: 0.0.0.0:4280, url: \"https://fleet.example.org:4280\"}\nanswers: {listen: fleet.example.org:8080}\n", nil},
		{"both behind a proxy", "proxy: [10.20.0.5, fd00::/8]\nboard: {listen: 0.0.0.0:4280, url: \"https://fleet.example.org\"}\nanswers: {listen: 0.0.0.0:8080, url: \"https://fleet.example.org\"}\n", nil},
		{"no name", pair + "board: {listen: 0.0.0.0:4280}\nanswers: {listen: 0.0.0.0:8080}\n",
			[]string{`3:17: no url says under which name people reach the board: "0.0.0.0:4280" is every address of this machine; write url: "https://fleet.example.org:4280" under board`,
				`4:19: no url says under which name people reach the pages of the answers: "0.0.0.0:8080" is every address of this machine; write url: "https://fleet.example.org:8080" under answers`}},
		{"a name without TLS", pair + "board: {listen: 0.0.0.0:4280, url: \"http://fleet.example.org:4280\"}\n",
			[]string{`3:36: url "http://fleet.example.org:4280" is without TLS, and the board is served with the certificate; write https://fleet.example.org:4280`}},
		{"names without TLS, through proxies", "proxy: [10.20.0.5]\nboard: {url: \"http://fleet.example.org\"}\nanswers: {listen: 0.0.0.0:8080, url: \"http://fleet.example.org:8080\"}\n", []string{
			`2:14: url "http://fleet.example.org" is without TLS: whoever is on the way could read along and sign in as others; write https://fleet.example.org, and have the proxy serve it with a certificate`,
			`3:38: url "http://fleet.example.org:8080" is without TLS: whoever is on the way could read along and answer for others; write https://fleet.example.org:8080, and have the proxy serve it with a certificate`}},
		{"a certificate alone", "certificate: certificate.pem\n", []string{`1:14: certificate without key: both are needed to be served with; write key: beside it`}},
		{"a key alone", "key: key.pem\n", []string{`1:6: key without certificate: both are needed to be served with; write certificate: beside it`}},
		{"a certificate for nothing", pair + "nats: nats://nats.example.org:4222\n",
			[]string{`1:14: the certificate serves nothing: all that listens here listens on the loopback, where no TLS is needed; ` +
				`write board: {listen: 0.0.0.0:4280, url: "https://fleet.example.org:4280"}, or delete certificate and key`}},
		{"never to sign in, and open", pair + "board: {listen: 0.0.0.0:4280, url: \"https://fleet.example.org\", sign in: never}\n",
			[]string{`3:74: whoever reaches the board could do everything: without signing in it may be open to this machine alone; delete it, or write listen: 127.0.0.1:4280 and no url`}},
		{"never to sign in, and under a name", "board: {url: \"https://fleet.example.org\", sign in: never}\n",
			[]string{`1:52: whoever reaches the board could do everything: without signing in it may be open to this machine alone; delete it, or write listen: 127.0.0.1:4280 and no url`}},
		{"never to sign in here", "board: {url: \"http://localhost:4280\", sign in: never}\n", nil},
		{"sign in, misspelt", "board: {sign in: no}\n", []string{`1:18: sign in must be always or never, not "no"; `}},
		{"odd proxies", "proxy: [0.0.0.0/0, 10.20.0.5/16, the proxy]\n", []string{
			`1:9: proxy "0.0.0.0/0" is everybody, who could then say that they come from anywhere; write the proxy's own address, like 10.20.0.5`,
			`1:20: proxy "10.20.0.5/16" is not an address or a range of addresses; write it like 10.20.0.5 or 10.20.0.0/16`,
			`1:34: proxy "the proxy" is not an address or a range of addresses; write it like 10.20.0.5 or 10.20.0.0/16`}},
	} {
		_, err := settingsOf(t, tt.text)
		var got []string
		faults, _ := errors.AsType[source.Faults](err)
		for _, f := range faults {
			got = append(got, fmt.Sprintf("%d:%d: %s; %s", f.Line, f.Col, f.Text, f.Hint))
		}
		if !slices.Equal(got, tt.faults) || (err == nil) != (tt.faults == nil) {
			t.Errorf("%s: got %v\n%s\nwant\n%s", tt.name, err, strings.Join(got, "\n"), strings.Join(tt.faults, "\n"))
		}
	}
}

// TestPairBefore: a certificate that cannot be used keeps the service from starting, and is a
// fault at its place; also NATS that a flag opens.
func TestPairBefore(t *testing.T) {
	dir := t.TempDir()
	write(t, dir, map[string]string{"rules/own.yaml": "book: 1\n", "key.pem": "x", "certificate.pem": "y",
		"telltale.yaml": "certificate: certificate.pem\nkey: key.pem\nlisten: 0.0.0.0:-1\n"})
	for _, tt := range []struct{ want, flag string }{
		{want: "telltale.yaml:1:14: the file " + filepath.Join(dir, "certificate.pem") + " has no certificate that can be read\n"},
		{want: "telltale.yaml:2:6: the key " + filepath.Join(dir, "key.pem") + " does not belong to the certificate " + filepath.Join(dir, "certificate.pem") + "\n"},
		{want: `NATS cannot be open on "0.0.0.0:-1" without a certificate`, flag: "0.0.0.0:-1"},
	} {
		var stderr bytes.Buffer
		args := []string{"serve", "--dir", dir}
		if tt.flag != "" {
			write(t, dir, map[string]string{"telltale.yaml": "{}\n"})
			args = append(args, "--listen", tt.flag)
		}
		if code := run(t.Context(), args, strings.NewReader(""), io.Discard, &stderr); code != 2 || !strings.Contains(stderr.String(), tt.want) || !strings.Contains(stderr.String(), "hint: ") {
			t.Errorf("exit code %d, said\n%s\nwant %s", code, &stderr, tt.want)
		}
		a := certs.New(t)
		a.Pair(t, dir, time.Now().Add(time.Hour), "fleet.example.org")
		key, err := os.ReadFile(filepath.Join(dir, "key.pem"))
		if err != nil {
			t.Fatal(err)
		}
		a.Pair(t, dir, time.Now().Add(time.Hour), "fleet.example.org")
		write(t, dir, map[string]string{"key.pem": string(key)})
	}
}

// TestSignsIn: who has to sign in hangs on who can reach the board.
func TestSignsIn(t *testing.T) {
	for _, tt := range []struct {
		text         string
		without, all bool // without and with rights in people.yaml
	}{
		{"{}", false, true},
		{"board: {url: \"http://127.0.0.1:4280\"}", false, true},
		{"board: {sign in: always}", true, true},
		{"board: {sign in: never}", false, false},
		{"board: {url: \"https://fleet.example.org\"}", true, true},
		{"proxy: 10.20.0.5\nboard: {listen: 0.0.0.0:4280, url: \"https://fleet.example.org\"}", true, true},
		{"certificate: c\nkey: k\nboard: {listen: 10.1.2.3:4280}", true, true},
		{"board: {listen: off}", false, true},
	} {
		set, err := settingsOf(t, tt.text+"\n")
		if err != nil || set.SignsIn(false) != tt.without || set.SignsIn(true) != tt.all {
			t.Errorf("%s: %t, with rights %t (%v)", tt.text, set.SignsIn(false), set.SignsIn(true), err)
		}
	}
}

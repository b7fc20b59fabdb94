package listen

import (
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"telltale/notify/board/signin/fleet"
	"telltale/rules/source"
)

func fleetOf(t *testing.T, text string) (fleet.Config, error) {
	t.Helper()
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "login"), []byte("the secret\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	s, root := source.Read("telltale.yaml", []byte(text))
	set := Read(s, s.Mapping(root, "the settings", Keys...), dir)
	return set.Board.Fleet, s.Err()
}

func TestFleetSignIn(t *testing.T) {
	got, err := fleetOf(t, "board: {url: https://fleet.example.org, fleet sign-in: {issuer: https://login.example.org, client: telltale, secret file: login, second factor: [phr, mfa]}}\n")
	want := fleet.Config{Issuer: "https://login.example.org", Client: "telltale", Secret: "the secret", SecondFactor: []string{"phr", "mfa"}}
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v (%v), want %+v", got, err, want)
	}
	for _, tt := range []struct{ keys, says string }{
		{"client: a, secret file: login", "fleet sign-in has no issuer"},
		{"issuer: http://login.example.org, client: a, secret file: login", `issuer "http://login.example.org" is without TLS: whoever is on the way could sign in as anybody`},
		{"issuer: login.example.org, client: a, secret file: login", `issuer "login.example.org" is not a web address`},
		{"issuer: https://a.example, client: a, secret file: none", "reading the secret"},
		{"issuer: https://a.example, client: a, secret: login", `unknown key "secret"`},
	} {
		_, err := fleetOf(t, "board: {url: https://fleet.example.org, fleet sign-in: {"+tt.keys+"}}\n")
		if err == nil || !strings.Contains(err.Error(), tt.says) {
			t.Errorf("%s: %v, want %s", tt.keys, err, tt.says)
		}
	}
	_, err = fleetOf(t, "board: {fleet sign-in: {issuer: https://a.example, client: a, secret file: login}}\n")
	if err == nil || !strings.Contains(err.Error(), "no url says to where") {
		t.Errorf("without a url: %v", err)
	}
}

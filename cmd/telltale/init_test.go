package main

import (
	"bytes"
	"errors"
	"io"
	"net"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"testing/fstest"

	"telltale/cmd/telltale/internal/cli"
)

// TestInitAsks answers the questions as a person would: wrong at first.
func TestInitAsks(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "fleet")
	var out, said bytes.Buffer
	in := strings.NewReader("\nMaud\nleagues\nmi\nEurope/London\nmaud\nmaud@larkfell.example\nengin-oil\nengine-oil, data-quality\n")
	if err := initFolder(cli.Env{In: in, Out: &out, Err: &said}, dir, [5]string{}, true); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"Whose vehicles are they? an answer is needed\n",
		"\"leagues\" is no unit of distance\nhint: write km or mi\n",
		"the mail address \"maud\" has no @\n",
		"hint: did you mean engine-oil?\n",
	} {
		if !strings.Contains(said.String(), want) {
			t.Errorf("it does not say %q:\n%s", want, said.String())
		}
	}
	f, err := loadFleet(dir)
	if err != nil {
		t.Fatal(err)
	}
	if len(f.files) != 3 {
		t.Errorf("%d rule files, want two chapters and own.yaml", len(f.files))
	}
	text, err := os.ReadFile(filepath.Join(dir, "people.yaml"))
	if err != nil || !strings.Contains(string(text), "distance: mi") {
		t.Errorf("people.yaml (%v):\n%s", err, text)
	}
}

// TestInitBreaksOff leaves nothing behind when the answers end.
func TestInitBreaksOff(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "fleet")
	var out, said bytes.Buffer
	err := initFolder(cli.Env{In: strings.NewReader("Maud\nkm\n"), Out: &out, Err: &said}, dir, [5]string{}, true)
	if want := "the questions ended before the last answer; nothing was written"; err == nil || err.Error() != want {
		t.Errorf("the error is %v, want %s", err, want)
	}
	if cli.Exists(dir) {
		t.Error("a folder was made")
	}
}

func TestInitNearZone(t *testing.T) {
	list := fstest.MapFS{"Europe/London": {}, "Europe/Paris": {}}
	for zone, want := range map[string]string{
		"Europe/Lodnon": "did you mean Europe/London?",
		"Local":         "it is a name like Europe/London",
	} {
		var h cli.HintError
		if err := takeZone(&newFleet{}, zone, list); !errors.As(err, &h) || h.Hint != want {
			t.Errorf("zone %s: %v, hint %q, want %q", zone, err, h.Hint, want)
		}
	}
}

// newFolder is one made by flags.
func newFolder(t *testing.T, chapters string) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "fleet")
	s := cli.Env{In: strings.NewReader(""), Out: io.Discard, Err: io.Discard}
	if err := initFolder(s, dir, [5]string{"Maud", "km", "UTC", "maud@larkfell.example", chapters}, false); err != nil {
		t.Fatal(err)
	}
	return dir
}

// TestServePortTaken starts a new fleet where another program has the port.
func TestServePortTaken(t *testing.T) {
	dir := newFolder(t, "none")
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	var out, said bytes.Buffer
	code := run(t.Context(), []string{"serve", "--dir", dir, "--listen", taken.Addr().String()}, strings.NewReader(""), &out, &said)
	want := "\nhint: another program listens there; name a free port: telltale serve --dir " + dir + " --listen 127.0.0.1:4223, or listen: in " + filepath.Join(dir, "telltale.yaml") + "\n"
	if code != 1 || !strings.HasSuffix(said.String(), want) {
		t.Errorf("exit code %d; it says\n%s\nwant at its end%s", code, &said, want)
	}
}

// TestInitExample holds the commented example to the register's form.
func TestInitExample(t *testing.T) {
	t.Parallel()
	dir := newFolder(t, "all")
	path := filepath.Join(dir, "vehicles.yaml")
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	_, example, _ := strings.Cut(string(text), "vehicles: {}\n")
	taken := "vehicles:\n" + strings.ReplaceAll("\n"+example, "\n#", "\n ")
	if err := os.WriteFile(path, []byte(strings.TrimRight(taken, " \n")+"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	f, err := loadFleet(dir)
	if err != nil {
		t.Fatal(err)
	}
	if len(f.register) != 1 {
		t.Errorf("%d vehicles in the register, want the example's one", len(f.register))
	}
}

// TestInitSettings takes the commented settings in.
func TestInitSettings(t *testing.T) {
	t.Parallel()
	dir := newFolder(t, "none")
	path := filepath.Join(dir, "telltale.yaml")
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	password := filepath.Join(dir, "password")
	if err := os.WriteFile(password, []byte("secret\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	taken := regexp.MustCompile(`(?m)^# (smtp:|answers:|  [a-z])`).ReplaceAllString(string(text), "$1")
	taken = strings.Replace(taken, "/etc/telltale/smtp-password", password, 1)
	if err := os.WriteFile(path, []byte(taken), 0o644); err != nil {
		t.Fatal(err)
	}
	set, err := loadSettings(dir)
	if err != nil {
		t.Fatal(err)
	}
	if set.Mail.Host != "mail.example.org" || set.Mail.Password != "secret" || set.Answers.URL != "https://fleet.example.org" {
		t.Errorf("the settings are %+v", set)
	}
}

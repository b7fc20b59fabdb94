package main

import (
	"bytes"
	"io"
	"net"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"telltale/cmd/telltale/internal/cli"
	"telltale/cmd/telltale/internal/setup"
	"telltale/notify/people"
)

// TestInitAsks answers the questions as a person would: wrong at first.
func TestInitAsks(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "fleet")
	var out, said bytes.Buffer
	in := strings.NewReader("\nMaud\nhauler\n\nCentral\nleagues\nmiles and quarts\n\nmaud\nmaud@larkfell.example\nengin-oil\nengine-oil, data-quality\n")
	if err := setup.Folder(cli.Env{In: in, Out: &out, Err: &said}, dir, make([]string, 8), true, ready); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"Whose vehicles are they? an answer is needed\n",
		"\"hauler\" is not who the messages are for\nhint: write owner, workshop, fleet\n",
		"\"leagues\" is not a unit to read in\nhint: write km or mi, and L, qt or gal, and degC or degF, and kPa, bar or psi, such as mi,qt\n",
		"Dates: day first, month first or year first? [month first] ",
		"the e-mail address \"maud\" has no @\n",
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
	keeper := f.people.Person("keeper")
	if keeper == nil || keeper.Distance != "mi" || keeper.Volume != "qt" || keeper.Dates != people.MonthFirst || keeper.Zone.String() != "America/Chicago" {
		t.Errorf("the keeper is %+v", keeper)
	}
}

// TestInitBreaksOff leaves nothing behind when the answers end.
func TestInitBreaksOff(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "fleet")
	var out, said bytes.Buffer
	err := setup.Folder(cli.Env{In: strings.NewReader("Maud\nowner\n"), Out: &out, Err: &said}, dir, make([]string, 8), true, ready)
	if want := "the input ended before the last answer; nothing was written"; err == nil || err.Error() != want {
		t.Errorf("the error is %v, want %s", err, want)
	}
	if cli.Exists(dir) {
		t.Error("a folder was made")
	}
}

// newFolder is one made by flags.
func newFolder(t *testing.T, chapters string) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "fleet")
	s := cli.Env{In: strings.NewReader(""), Out: io.Discard, Err: io.Discard}
	if err := setup.Folder(s, dir, []string{"Maud", "", "UTC", "", "", "maud@larkfell.example", chapters, ""}, false, ready); err != nil {
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
	want := "\nhint: another program is listening there; name a free port: telltale serve --dir " + dir + " --listen 127.0.0.1:4223, or listen: in " + filepath.Join(dir, "telltale.yaml") + "\n"
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

// TestInitOwn takes the example of an own interval in: it goes over the chapter's, and no
// case of the chapter fails.
func TestInitOwn(t *testing.T) {
	t.Parallel()
	dir := newFolder(t, "engine-oil")
	path := filepath.Join(dir, "rules", "own.yaml")
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	before, example, _ := strings.Cut(string(text), "# tasks:\n")
	taken := before + "tasks:\n" + strings.ReplaceAll("\n"+example, "\n# ", "\n")[1:]
	if err := os.WriteFile(path, []byte(taken), 0o644); err != nil {
		t.Fatal(err)
	}
	code, _, said := told(t, "check", dir)
	if code != 0 || !strings.Contains(said, "38 rules, 2 tasks") {
		t.Errorf("exit code %d:\n%s", code, said)
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

package main

import (
	"bufio"
	"cmp"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"net/mail"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"text/template"
	"time"
	"unicode"

	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
	"telltale/rules/chapters"
	"telltale/rules/english"
	"telltale/rules/source"
	"telltale/rules/unit"
)

//go:embed init/*
var initFiles embed.FS

func initCommand(s cli.Env) *cobra.Command {
	var given [5]string
	cmd := &cobra.Command{
		Use:   "init [DIR]",
		Short: "Make a new fleet's folder: five questions on a terminal, or flags",
		Example: `  telltale init fleet
  telltale init fleet --name "Ines Thornbeck" --mail ines@larkfell.example --zone Europe/London --distance mi --chapters engine-oil,data-quality`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			return initFolder(s, append(args, ".")[0], given, cli.Terminal(s.In)) // in this folder, if none is named
		},
	}
	for i, q := range questions {
		cmd.Flags().StringVar(&given[i], q.flag, "", q.help)
	}
	return cmd
}

// newFleet is what the five answers say.
type newFleet struct {
	Name, Distance, Zone, Mail string
	Chapters                   []chapters.Chapter
}

// question is one of the five. Usual is the answer to an empty line, and to a flag
// that is left out; where it is nil an answer is needed.
type question struct {
	flag, help, ask string
	usual           func() string
	take            func(f *newFleet, answer string) error
}

var questions = [5]question{
	{"name", "who keeps the vehicles, by name", "Whose vehicles are they?", nil, takeName},
	{"distance", "unit of distance in messages: km or mi (km)", "Kilometres or miles (km, mi)?", always("km"), takeDistance},
	{"zone", "time zone, such as Europe/London (this machine's)", "Time zone, such as Europe/London?", localZone, func(f *newFleet, a string) error {
		return takeZone(f, a, os.DirFS("/usr/share/zoneinfo"))
	}},
	{"mail", "address that mails go to", "Which mail address is told?", nil, takeMail},
	{"chapters", "ready-made rules to begin with, by commas, or all, or none (all)", "Which ready-made rules (names with commas between, all, or none)?", always("all"), takeChapters},
}

func always(s string) func() string { return func() string { return s } }

// localZone is this machine's time zone by name, UTC where it tells none.
func localZone() string {
	if name := time.Now().Location().String(); name != "Local" {
		return name
	}
	target, err := os.Readlink("/etc/localtime")
	if _, name, ok := strings.Cut(target, "zoneinfo/"); err == nil && ok {
		if _, err := time.LoadLocation(name); err == nil {
			return name
		}
	}
	return "UTC"
}

func takeName(f *newFleet, a string) error {
	if strings.ContainsFunc(a, unicode.IsControl) || len(a) > 100 {
		return cli.Hint(fmt.Errorf("the name %q is no name of up to 100 letters on a line", a), "write it like Ines Thornbeck")
	}
	f.Name = a
	return nil
}

func takeDistance(f *newFleet, a string) error {
	if all := unit.Distances(); !slices.Contains(all, a) {
		return cli.Hint(fmt.Errorf("%q is no unit of distance", a), "write "+english.List("or", all))
	}
	f.Distance = a
	return nil
}

// takeZone finds near names in the machine's own list of zones, if it has one.
func takeZone(f *newFleet, a string, list fs.FS) error {
	if _, err := time.LoadLocation(a); err == nil && a != "Local" {
		f.Zone = a
		return nil
	}
	var names []string
	_ = fs.WalkDir(list, ".", func(path string, d fs.DirEntry, err error) error { // no list: no near name
		if err == nil && !d.IsDir() {
			names = append(names, path)
		}
		return nil
	})
	hint := "it is a name like Europe/London"
	if near := source.Near(a, names); near != "" {
		hint = "did you mean " + near + "?"
	}
	return cli.Hint(fmt.Errorf("there is no time zone %q", a), hint)
}

func takeMail(f *newFleet, a string) error {
	const form = "write it like ines@larkfell.example"
	p, err := mail.ParseAddress(a)
	switch {
	case !strings.Contains(a, "@"):
		return cli.Hint(fmt.Errorf("the mail address %q has no @", a), form)
	case err != nil:
		return cli.Hint(fmt.Errorf("reading the mail address %q: %s", a, strings.TrimPrefix(err.Error(), "mail: ")), form)
	case p.Address != a || len(a) > 254 || strings.ContainsAny(a, "\"\\ "):
		return cli.Hint(fmt.Errorf("the mail address %q is more than an address alone", a), form)
	case strings.ContainsFunc(a, func(r rune) bool { return r < 33 || r > 126 }):
		return cli.Hint(fmt.Errorf("the mail address %q has letters beyond ASCII", a), "write the domain in its xn-- form")
	}
	f.Mail = a
	return nil
}

func takeChapters(f *newFleet, a string) error {
	f.Chapters = nil
	switch a {
	case "all":
		f.Chapters = chapters.All()
		return nil
	case "none":
		return nil
	}
	for name := range strings.FieldsFuncSeq(a, func(r rune) bool { return r == ',' || r == ' ' }) {
		c, err := namedChapter(name)
		if err != nil {
			return err
		}
		if !slices.ContainsFunc(f.Chapters, func(had chapters.Chapter) bool { return had.Name == c.Name }) {
			f.Chapters = append(f.Chapters, c)
		}
	}
	if len(f.Chapters) == 0 {
		return cli.Hint(errors.New("no chapter is named"), "telltale chapters lists them; or write all, or none")
	}
	return nil
}

func initFolder(s cli.Env, dir string, given [5]string, ask bool) error {
	if err := empty(dir); err != nil {
		return cli.Exit(2, err)
	}
	f, err := answered(s, given, ask)
	if err != nil {
		return cli.Exit(2, err)
	}
	if err := f.write(s, dir); err != nil {
		return fmt.Errorf("making the folder %q: %w", dir, err)
	}
	fleet, err := loadFleet(dir)
	if err != nil {
		return fmt.Errorf("reading what was written: %w", err)
	}
	fmt.Fprintf(s.Err, "%s and %s are ready", english.Plural(len(fleet.book.Tasks), "task"), english.Plural(len(fleet.book.Rules), "rule"))
	if n := len(fleet.book.ToFill); n > 0 {
		fmt.Fprintf(s.Err, "; %s only you can know, and the check lists them", english.Plural(n, "figure"))
	}
	fmt.Fprintf(s.Err, "\nnext: enter your vehicles in %s, then\n  telltale check %s\n  telltale serve --dir %s\n", filepath.Join(dir, "vehicles.yaml"), dir, dir)
	return nil
}

// empty says why a new fleet cannot be made in dir; a folder that is missing is made later.
func empty(dir string) error {
	const hint = "name a new folder: telltale init fleet"
	entries, err := os.ReadDir(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return cli.Hint(fmt.Errorf("looking into the folder: %w", err), hint)
	case len(entries) > 0:
		return cli.Hint(fmt.Errorf("the folder %s is not empty: it holds %s; nothing was written", dir, entries[0].Name()), hint)
	}
	return nil
}

// answered takes each answer from its flag, or asks for it, or takes the usual one.
// What the flags have wrong is said at once, before anything is asked.
func answered(s cli.Env, given [5]string, ask bool) (*newFleet, error) {
	f := &newFleet{}
	var missing []string
	var faults []error
	for i, q := range questions {
		answer := strings.TrimSpace(given[i])
		switch {
		case answer == "" && ask:
			continue
		case answer == "" && q.usual == nil:
			missing = append(missing, "--"+q.flag)
			continue
		case answer == "":
			answer = q.usual()
		}
		if err := q.take(f, answer); err != nil {
			faults = append(faults, errors.New("--"+q.flag+": "+cli.WithHint(err)))
		}
	}
	if len(missing) > 0 {
		faults = append(faults, cli.Hint(errors.New("nobody can be asked here: give "+english.List("and", missing)),
			`telltale init fleet --name "Ines Thornbeck" --mail ines@larkfell.example; --distance, --zone and --chapters may be left out`))
	}
	if err := errors.Join(faults...); err != nil || !ask {
		return f, err
	}
	in := bufio.NewScanner(s.In)
	for i, q := range questions {
		if strings.TrimSpace(given[i]) != "" {
			continue
		}
		if err := q.put(s, in, f); err != nil {
			return nil, err
		}
	}
	return f, nil
}

// put asks until the answer will do.
func (q *question) put(s cli.Env, in *bufio.Scanner, f *newFleet) error {
	for {
		fmt.Fprint(s.Err, q.ask+" ")
		if q.flag == "chapters" {
			fmt.Fprintln(s.Err)
			for _, c := range chapters.All() {
				fmt.Fprintf(s.Err, "  %s: %s\n", c.Name, c.About)
			}
		}
		usual := ""
		if q.usual != nil {
			usual = q.usual()
			fmt.Fprintf(s.Err, "[%s] ", usual)
		}
		if !in.Scan() {
			fmt.Fprintln(s.Err)
			return cli.Hint(errors.Join(errors.New("the questions ended before the last answer; nothing was written"), in.Err()), "answer all five, or give --"+q.flag)
		}
		answer := cmp.Or(strings.TrimSpace(in.Text()), usual)
		err := errors.New("an answer is needed")
		if answer != "" {
			err = q.take(f, answer)
		}
		if err == nil {
			return nil
		}
		fmt.Fprintln(s.Err, cli.WithHint(err))
	}
}

// write makes the folder's files and names each; none is ever overwritten.
func (f *newFleet) write(s cli.Env, dir string) error {
	texts, err := template.ParseFS(initFiles, "init/*")
	if err != nil {
		return err
	}
	for _, c := range f.Chapters {
		path, err := c.Copy(filepath.Join(dir, "rules"))
		if err != nil {
			return err
		}
		fmt.Fprintln(s.Out, path)
	}
	if err := os.MkdirAll(filepath.Join(dir, "rules"), 0o755); err != nil {
		return err
	}
	for _, t := range []string{"own.yaml", "vehicles.yaml", "people.yaml", "telltale.yaml"} {
		path := filepath.Join(dir, t)
		if t == "own.yaml" {
			path = filepath.Join(dir, "rules", t)
		}
		file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
		if err != nil {
			return err
		}
		if err := errors.Join(texts.ExecuteTemplate(file, t, f), file.Close()); err != nil {
			return err
		}
		fmt.Fprintln(s.Out, path)
	}
	return nil
}

package trail

import (
	"context"
	"crypto/sha256"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"telltale/engine/event"
	"telltale/engine/stream"
	"telltale/engine/stream/audit"
	"telltale/notify/people"
	"telltale/rules"
	"telltale/rules/english"
)

// Folder writes down what came into force of a service's folder: by its files alone, which
// do not say who changed them.
type Folder struct {
	*audit.Log
	files map[string]string     // hash of each file of rules as it was read last
	last  map[audit.What]string // what was written down last of each other kind
}

// Rules is told of the files of each book that was read. If it came into force, it writes
// that down, and which files are others than those read before.
func (f *Folder) Rules(ctx context.Context, book *rules.Book, files []rules.File, adopted bool) {
	var changed []string
	now := map[string]string{}
	for _, file := range files {
		now[file.Name] = hashed(file.Text)
		if f.files != nil && f.files[file.Name] != now[file.Name] {
			changed = append(changed, filepath.Base(file.Name))
		}
	}
	for name := range f.files {
		if now[name] == "" {
			changed = append(changed, filepath.Base(name)+" (gone)")
		}
	}
	f.files = now
	if !adopted {
		return
	}
	e := adoption(book)
	if e.How = audit.File; changed != nil {
		e.Words += "; changed: " + english.List("and", changed)
	}
	f.Write(ctx, e)
}

func adoption(book *rules.Book) audit.Entry {
	return audit.Entry{What: audit.Rules, Outcome: audit.Done,
		Words: fmt.Sprintf("book %s: %s, %s", rules.ShortHash(book.Hash), english.Plural(len(book.Rules), "rule"), english.Plural(len(book.Tasks), "task"))}
}

// Adopted writes down that a command put a book into force.
func Adopted(ctx context.Context, log *stream.Log, book *rules.Book) error {
	if _, err := audit.Open(ctx, log); err != nil { // which makes the stream, where there is none
		return err
	}
	l, err := audit.Find(ctx, log.Conn) // whoever typed the command need not read of it on their screen
	if err != nil {
		return err
	}
	e := adoption(book)
	if e.How = audit.Command; os.Getenv("USER") != "" {
		e.Words += "; by the user " + os.Getenv("USER") // as the machine calls them, which nobody has checked
	}
	l.Write(ctx, e)
	return nil
}

// Vehicles writes down which vehicles were registered or changed.
func (f *Folder) Vehicles(ctx context.Context, list []event.Event) {
	if len(list) == 0 {
		return
	}
	e := audit.Entry{How: audit.File, What: audit.Vehicles, Outcome: audit.Done}
	var names []string
	for _, ev := range list {
		e.Events, names = append(e.Events, ev.ID), append(names, ev.Vehicle)
	}
	const named = 5
	if len(names) == 1 {
		e.Vehicle, names = names[0], nil
	}
	if more := len(names) - named; more > 0 {
		names = append(names[:named:named], fmt.Sprintf("%d more", more))
	}
	e.Words = english.List("and", names)
	f.Write(ctx, e)
}

// others are the files whose changes are written down by their hash, and what they are.
var others = []struct {
	name string
	what audit.What
}{{"people.yaml", audit.People}, {"telltale.yaml", audit.Settings}}

// Files writes down which of the folder's other files, and which of the programs that
// people.yaml lets in, are not as they were when that was last written down, by an earlier
// start too.
func (f *Folder) Files(ctx context.Context, dir string, d *people.Directory) error {
	for _, file := range others {
		text, err := os.ReadFile(filepath.Join(dir, file.name))
		if os.IsNotExist(err) {
			continue
		}
		if err == nil {
			err = f.now(ctx, file.what, file.name+" "+hashed(text)[:12])
		}
		if err != nil {
			return fmt.Errorf("reading what changed: %w", err)
		}
	}
	return f.now(ctx, audit.Programs, letIn(d.Programs()))
}

// now writes down how something is, if that is not as it was last.
func (f *Folder) now(ctx context.Context, what audit.What, words string) error {
	if f.last == nil {
		f.last = map[audit.What]string{}
	}
	if f.last[what] == "" {
		p, err := f.List(ctx, audit.Query{What: what, Limit: 1})
		if err != nil {
			return err
		}
		if len(p.Entries) > 0 {
			f.last[what] = p.Entries[0].Words
		}
	}
	if f.last[what] == "" && what == audit.Programs && strings.HasSuffix(words, none) {
		return nil // there never were any
	}
	if f.last[what] != words {
		f.Write(ctx, audit.Entry{How: audit.File, What: what, Outcome: audit.Done, Words: words})
		f.last[what] = words
	}
	return nil
}

// none ends what is written where no program is let in.
const none = ": none"

// letIn says which programs there are, and by a hash what they may and by which keys.
func letIn(list []*people.Program) string {
	var names []string
	all := sha256.New()
	for _, p := range list {
		names = append(names, p.ID)
		fmt.Fprintf(all, "%q %q %q %q %q %t %t\n", p.ID, p.Key, p.TokenFile, p.Sends, p.Where, p.Asks, p.Operator)
	}
	const named = 12
	if more := len(names) - named; more > 0 {
		names = append(names[:named:named], fmt.Sprintf("%d more", more))
	}
	if names == nil {
		return "let in" + none
	}
	return fmt.Sprintf("let in, %x: %s", all.Sum(nil)[:6], english.List("and", names))
}

func hashed(text []byte) string { return fmt.Sprintf("%x", sha256.Sum256(text)) }

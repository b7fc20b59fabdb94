package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/mail"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/notify"
	"telltale/samples"
)

// toldAtOnce is every mail of the sample year that did not wait for a list.
const toldAtOnce = `
2031-02-11 abel Look: Gritter 1 engine, dirt in the engine oil
2031-02-19 tobias Look: Bus 7 transmission, copper over baseline
2031-04-08 abel OK: Gritter 1 engine, dirt in the engine oil
2031-05-09 ines Stop: Bus 3 transmission, copper over baseline
2031-05-09 north.workshop Stop: Bus 3 transmission, copper over baseline
2031-06-14 ines Due: Van 3, Annual test
2031-06-15 ines Overdue: Van 3, Annual test
2031-06-18 ines Done: Van 3, Annual test
2031-09-15 ines Stop: Bus 10 transmission, coolant in the fluid
2031-09-15 south.workshop Stop: Bus 10 transmission, coolant in the fluid
2031-10-08 tobias Eased to Watch: Bus 7 transmission, copper over baseline
2031-10-21 ines OK: Bus 10 transmission, coolant in the fluid
2031-10-21 south.workshop OK: Bus 10 transmission, coolant in the fluid
2031-12-16 ines OK: Bus 3 transmission, copper over baseline
2031-12-16 north.workshop OK: Bus 3 transmission, copper over baseline
`

func TestSampleYearTellsAtOnce(t *testing.T) {
	t.Parallel()
	var got []string
	for _, l := range sampleLetters(t) {
		if !l.list {
			got = append(got, l.date+" "+l.to+" "+l.subject)
		}
	}
	slices.Sort(got)
	if got := "\n" + strings.Join(got, "\n") + "\n"; got != toldAtOnce {
		t.Errorf("told at once:\n%s\nwant\n%s", got, toldAtOnce)
	}
}

// Whoever keeps one vehicle has a month with two mails at most, its list among them.
func TestKeepersOfOneVehicleGetTwoMailsAMonth(t *testing.T) {
	t.Parallel()
	n := map[string]int{}
	for _, l := range sampleLetters(t) {
		if l.to == "tobias" || l.to == "maud" {
			n[l.to+" "+l.date[:len("2031-01")]]++
		}
	}
	if len(n) == 0 {
		t.Error("they were told nothing")
	}
	for month, n := range n {
		if n > 2 {
			t.Errorf("%s: %d mails", month, n)
		}
	}
}

var (
	storyTitle = regexp.MustCompile(`^\*\*(.+) \((.+)\)\.\*\*`)
	storyDate  = regexp.MustCompile(`(\d{1,2}) (January|February|March|April|May|June|July|August|September|October|November|December)`)
	storyQuote = regexp.MustCompile(`"([^"]+)"`)
)

// TestSampleStories holds the stories of samples/README.md to the year: each date is
// one on which something was reported, recorded or told of the vehicle, what stands
// in quotes is in a mail of one of those dates, and each mail at once is in a story.
func TestSampleStories(t *testing.T) {
	t.Parallel()
	text, err := samples.FS.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, stories, _ := strings.Cut(string(text), "## The stories")
	letters, days, untold := sampleLetters(t), sampleDays(t), map[string]bool{}
	for line := range strings.Lines(strings.TrimSpace(toldAtOnce)) {
		untold[strings.TrimSpace(line)] = true
	}
	n := 0
	for p := range strings.SplitSeq(stories, "\n\n") {
		p = strings.Join(strings.Fields(p), " ")
		m := storyTitle.FindStringSubmatch(p)
		if m == nil {
			continue
		}
		n++
		var dates []string
		for _, d := range storyDate.FindAllString(p, -1) {
			at, err := time.Parse("2 January 2006", d+" 2031")
			if err != nil {
				t.Fatal(err)
			}
			dates = append(dates, at.Format(time.DateOnly))
		}
		on := slices.DeleteFunc(slices.Clone(letters), func(l letter) bool { return !slices.Contains(dates, l.date) })
		quoted := map[string]bool{}
		for _, q := range storyQuote.FindAllStringSubmatch(p, -1) {
			found := false
			for _, l := range on {
				if strings.Contains(l.subject+"\n"+l.text, q[1]) {
					found, quoted[l.date] = true, true
				}
				if aboutOf(l.subject) == q[1] {
					delete(untold, l.date+" "+l.to+" "+l.subject)
				}
			}
			if !found {
				t.Errorf("%s: no mail of %v says %q", m[1], dates, q[1])
			}
		}
		for _, d := range dates {
			if !quoted[d] && !happened(days, m[2], d) {
				t.Errorf("%s: nothing happened to %s on %s", m[1], m[2], d)
			}
		}
	}
	if n < 15 {
		t.Errorf("%d stories", n)
	}
	for l := range untold {
		t.Errorf("no story tells of the mail %s", l)
	}
}

// aboutOf is what a subject says after its stage, of several things the first.
func aboutOf(subject string) string {
	_, about, _ := strings.Cut(subject, ": ")
	return andMore.ReplaceAllString(about, "")
}

var andMore = regexp.MustCompile(`, and \d+ more.*$`)

func happened(days map[string]map[string]bool, vehicle, date string) bool {
	names := []string{vehicle}
	switch vehicle {
	case "the gritters":
		names = []string{"Gritter 1", "Gritter 2"}
	case "the mobile library":
		names = []string{"Mobile library"}
	case "Bus 11":
		names = []string{"Bus 11, the walkers' bus"}
	}
	return slices.ContainsFunc(names, func(n string) bool { return days[n][date] })
}

// letter is a mail of the sample year, as a preview writes it: the mail and its page.
type letter struct {
	date, to, subject, text string
	list                    bool
	raw, page               []byte
}

// toldYear is what a preview of the sample year to everyone prints and writes.
type toldYear struct {
	printed string
	letters []letter
}

var yearOnce = sync.OnceValues(previewYear)

func sampleYear(t *testing.T) toldYear {
	t.Helper()
	year, err := yearOnce()
	if err != nil {
		t.Fatal(err)
	}
	return year
}

func sampleLetters(t *testing.T) []letter {
	t.Helper()
	return sampleYear(t).letters
}

func previewYear() (year toldYear, err error) {
	dir, err := os.MkdirTemp("", "told")
	if err != nil {
		return year, err
	}
	defer os.RemoveAll(dir)
	var stdout, stderr bytes.Buffer
	code := run(context.Background(), []string{"preview", "--to", "everyone", "--out", dir, "--rules", "../../samples/rules",
		"--vehicles", "../../samples/vehicles.yaml", "--people", "../../samples/people.yaml", "--until", "2032-01-01", "../../samples/events.jsonl"},
		strings.NewReader(""), &stdout, &stderr)
	if code != 0 {
		return year, fmt.Errorf("preview: exit code %d: %s", code, stderr.String())
	}
	year.printed = stdout.String()
	names, err := filepath.Glob(filepath.Join(dir, "*.eml"))
	if err != nil {
		return year, err
	}
	for _, name := range names {
		l, err := readLetter(name)
		if err != nil {
			return year, fmt.Errorf("%s: %w", name, err)
		}
		year.letters = append(year.letters, l)
	}
	return year, nil
}

func readLetter(name string) (letter, error) {
	raw, err := os.ReadFile(name)
	if err != nil {
		return letter{}, err
	}
	page, err := os.ReadFile(strings.TrimSuffix(name, ".eml") + ".html")
	if err != nil {
		return letter{}, err
	}
	m, err := mail.ReadMessage(bytes.NewReader(raw))
	if err != nil {
		return letter{}, err
	}
	at, err := m.Header.Date()
	if err != nil {
		return letter{}, err
	}
	to, err := mail.ParseAddress(m.Header.Get("To"))
	if err != nil {
		return letter{}, err
	}
	subject, err := new(mime.WordDecoder).DecodeHeader(m.Header.Get("Subject"))
	if err != nil {
		return letter{}, err
	}
	text, err := plainPart(m.Header.Get("Content-Type"), m.Header.Get("Content-Transfer-Encoding"), m.Body)
	who, _, _ := strings.Cut(to.Address, "@")
	text = strings.ReplaceAll(text, "\n> ", "\n") // what to do is set off in a mail
	return letter{at.Format(time.DateOnly), who, subject, strings.Join(strings.Fields(text), " "), strings.Contains(filepath.Base(name), "-list-"), raw, page}, err
}

// plainPart is the first part that is plain text.
func plainPart(kind, encoding string, body io.Reader) (string, error) {
	kind, params, err := mime.ParseMediaType(kind)
	if err != nil {
		return "", err
	}
	if !strings.HasPrefix(kind, "multipart/") {
		if encoding == "quoted-printable" {
			body = quotedprintable.NewReader(body)
		}
		text, err := io.ReadAll(body)
		return strings.ReplaceAll(string(text), "\r\n", "\n"), err
	}
	part, err := multipart.NewReader(body, params["boundary"]).NextRawPart()
	if err != nil {
		return "", err
	}
	return plainPart(part.Header.Get("Content-Type"), part.Header.Get("Content-Transfer-Encoding"), part)
}

// sampleDays are the days, by the vehicle's name, on which something was
// observed or reported of it, or something said of it changed.
func sampleDays(t *testing.T) map[string]map[string]bool {
	t.Helper()
	register, err := cli.Register("../../samples/vehicles.yaml", time.Unix(0, 0))
	if err != nil {
		t.Fatal(err)
	}
	names, days := map[string]string{}, map[string]map[string]bool{}
	for _, ev := range register {
		name := notify.VehicleOf(ev.Vehicle, ev.Data.(*event.VehicleData)).Name
		names[ev.Vehicle], days[name] = name, map[string]bool{}
	}
	file, err := os.Open("../../samples/events.jsonl")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	err = intake.ReadFile(file, func(_ int, ev event.Event, err error) error {
		if name := names[ev.Vehicle]; err == nil && name != "" && ev.Kind != event.ReadingEvent {
			days[name][ev.Time.Format(time.DateOnly)] = true
			days[name][ev.Recorded.Format(time.DateOnly)] = true
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	for vehicle, lines := range byVehicle(replayedYear(t)) {
		for _, line := range lines {
			if name := names[vehicle]; name != "" {
				days[name][line[:len(time.DateOnly)]] = true
			}
		}
	}
	return days
}

var replayOnce = sync.OnceValues(func() (string, error) {
	var stdout, stderr bytes.Buffer
	const samples = "../../samples/"
	if code := run(context.Background(), []string{"replay", "--rules", samples + "rules", "--vehicles", samples + "vehicles.yaml", samples + "events.jsonl"},
		strings.NewReader(""), &stdout, &stderr); code != 0 {
		return "", fmt.Errorf("replay: exit code %d: %s", code, &stderr)
	}
	return stdout.String(), nil
})

// replayedYear is what a replay of the sample year prints.
func replayedYear(t *testing.T) string {
	t.Helper()
	text, err := replayOnce()
	if err != nil {
		t.Fatal(err)
	}
	return text
}

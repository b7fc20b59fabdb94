package main

import (
	"bytes"
	"context"
	"io"
	"maps"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
)

// demoed is the demo, run once for all tests: its folder, and what it printed.
type demoed struct {
	dir            string
	stdout, stderr bytes.Buffer
	code           int
}

var demoOnce = sync.OnceValue(func() *demoed {
	d := &demoed{dir: filepath.Join(suiteDir, "demo")}
	d.code = run(context.Background(), []string{"demo", "--dir", d.dir}, strings.NewReader(""), &d.stdout, &d.stderr)
	return d
})

// TestDemo runs the sample fleet's year through the real service, and compares what
// it says of each vehicle with a replay of the same files.
func TestDemo(t *testing.T) {
	t.Parallel()
	d := demoOnce()
	dir, stdout, stderr := d.dir, &d.stdout, &d.stderr
	if d.code != 0 {
		t.Fatalf("exit code %d\n%s", d.code, stderr)
	}
	if strings.Contains(stderr.String(), `"level":"ERROR"`) || strings.Contains(stderr.String(), "not delivered") {
		t.Errorf("it complains:\n%s", stderr)
	}

	year, rest, found := strings.Cut(stdout.String(), "\nThe due list for the week ahead:\n")
	if !found {
		t.Fatalf("no due list in\n%s", stdout.String())
	}
	last := regexp.MustCompile(`(?s)^.*\nThe mails are in (\S+)\ndemo: ([1-9]\d*) events, ([1-9]\d*) transitions, ([1-9]\d*) mails\n$`).FindStringSubmatch(rest)
	if last == nil {
		t.Fatalf("no summary with three counts in\n%s", rest)
	}
	if mails, err := filepath.Glob(filepath.Join(dir, "mail", "*.eml")); err != nil || last[1] != filepath.Join(dir, "mail") || strconv.Itoa(len(mails)) != last[4] {
		t.Errorf("%d mails in the folder (%v), it says %s in %s", len(mails), err, last[4], last[1])
	}

	live := byVehicle(year)
	replayed := byVehicle(replayedYear(t))
	transitions := 0
	for _, v := range slices.Sorted(maps.Keys(replayed)) {
		transitions += len(replayed[v])
		if !reflect.DeepEqual(live[v], replayed[v]) {
			t.Errorf("%s: the service said\n%s\na replay of the same file says\n%s", v, strings.Join(live[v], ""), strings.Join(replayed[v], ""))
		}
	}
	if len(live) != len(replayed) || strconv.Itoa(transitions) != last[3] {
		t.Errorf("%d vehicles and %s transitions, a replay has %d and %d", len(live), last[3], len(replayed), transitions)
	}

	// A folder that already holds a fleet is left alone.
	stderr = new(bytes.Buffer)
	if code := run(t.Context(), []string{"demo", "--dir", dir}, strings.NewReader(""), io.Discard, stderr); code != 2 ||
		stderr.String() != "telltale: "+dir+" already holds a fleet\nhint: name an empty folder, or run it: telltale serve --dir "+dir+"\n" {
		t.Errorf("again on the same folder: exit code %d\n%s", code, stderr)
	}
}

// byVehicle divides printed transitions by vehicle, each with its message, in their
// order; that of different vehicles is nobody's promise.
func byVehicle(text string) map[string][]string {
	out := map[string][]string{}
	vehicle := ""
	for line := range strings.Lines(text) {
		if line[0] == ' ' {
			list := out[vehicle]
			list[len(list)-1] += line
			continue
		}
		vehicle = strings.Fields(line)[2] // after date and time
		out[vehicle] = append(out[vehicle], line)
	}
	return out
}

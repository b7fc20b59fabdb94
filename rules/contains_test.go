package rules_test

import (
	"slices"
	"strings"
	"testing"

	"telltale/rules"
)

func TestContains(t *testing.T) {
	const head = "book: 1\nunits: {distance: km, volume: L}\ntasks:\n"
	const rest = " every: {distance: 10000 km}, cautions: [hot fluid]}\n"
	load := func(tasks string) (*rules.Book, error) {
		return rules.Load([]rules.File{{Name: "t.yaml", Text: []byte(head + tasks)}})
	}
	book, err := load("  a: {contains: [b]," + rest + "  b: {contains: [c]," + rest + "  c: {" + rest)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range [][]string{nil, {"a"}, {"a", "b"}} {
		if got := book.Tasks[i].In; !slices.Equal(got, want) {
			t.Errorf("task %s is in %q, want %q", book.Tasks[i].Name, got, want)
		}
	}
	for _, c := range []struct{ name, tasks, want string }{
		{"a circle", "  a: {contains: [b]," + rest + "  b: {contains: [a]," + rest, `task "a" contains itself, by way of a, b`},
		{"itself", "  a: {contains: [a]," + rest, `task "a" contains itself, by way of a`},
		{"no such task", "  a: {contains: [q]," + rest, `task "a" contains "q", which is not a task`},
		{"a first interval from nowhere", "  a: {first: {distance: 1000 km}," + rest, `task "a" has a first interval and nothing that it counts from`},
		{"a first interval of another kind", "  a: {first: {time: 1 months}, unknown history: from in-service date," + rest, `first sets time, but every does not`},
	} {
		_, err := load(c.tasks)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v\nwant %s", c.name, err, c.want)
		}
	}
}

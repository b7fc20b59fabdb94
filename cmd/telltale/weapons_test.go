package main

import (
	"fmt"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"telltale/testdata/hostile"
)

// yamlWeapons are texts made to take long or much of whoever reads YAML.
func yamlWeapons() map[string]string {
	aliases := "a: &a [x,x,x,x,x,x,x,x,x]\n"
	for c := 'b'; c < 'm'; c++ {
		aliases += string(c) + ": &" + string(c) + " [" + strings.Repeat("*"+string(c-1)+",", 9) + "]\n"
	}
	return map[string]string{
		"aliases":            aliases,
		"an alias in itself": "a: &a\n  b: *a\n",
		"merges":             "a: &a {x: y}\nb: {<<: [" + strings.Repeat("*a,", 20_000) + "]}\n",
		"deep lists":         "a: " + strings.Repeat("[", 100_000),
		"deep maps":          "a: " + strings.Repeat("{a: ", 50_000),
		"deep lines":         deepLines(2_000),
		"many keys":          strings.Repeat("x: y\n", 5_000),
		"one long key":       strings.Repeat("x", 1<<20) + ": y\n",
		"one long line":      "a: " + strings.Repeat("x ", 1<<19) + "\n",
		"documents":          strings.Repeat("---\na: b\n", 10_000),
		"tags":               "a: !!python/object/apply:os.system [id]\n",
		"a NUL":              "a: b\x00\n",
		"no UTF-8":           "a: \xff\xfe\n",
		"UTF-16":             "\xff\xfea\x00:\x00",
		"a bell":             "a: \a\x1b]0;title\a\n",
		"an escaped one":     "\"a\\u001b[31m\": \"\\u009b31m\\u202e\"\n",
	}
}

func deepLines(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "%sa:\n", strings.Repeat(" ", i))
	}
	return b.String()
}

// TestFilesAsWeapons: whatever a file of the folder holds, the check says that it is wrong,
// in a text that a person can read and that drives no terminal, and comes to an end.
func TestFilesAsWeapons(t *testing.T) {
	t.Parallel()
	good := map[string]string{"rules/oil.yaml": oilBook, "vehicles.yaml": "vehicles:\n  van-1: {kind: van, meters: {odometer: distance}}\n",
		"people.yaml": "people:\n  ines: {mail: ines@larkfell.example}\n", "telltale.yaml": "clock: wall\n"}
	try := func(t *testing.T, file, name, text string) {
		files := map[string]string{}
		for k, v := range good {
			files[k] = v
		}
		files[file] = text
		code, out, said := told(t, "check", folder(t, files))
		if code == 0 || len(out)+len(said) > 2<<20 {
			t.Errorf("%s in %s: exit %d, %d bytes", name, file, code, len(out)+len(said))
		}
		harmlessOnTerminal(t, name+" in "+file, strings.ReplaceAll(out+said, "\t", " "))
		if strings.Contains(out+said, "goroutine ") || strings.Contains(out+said, ".go:") {
			t.Errorf("%s in %s: %.500s", name, file, out+said)
		}
	}
	for file := range good {
		for name, text := range yamlWeapons() {
			try(t, file, name, text)
		}
	}
}

// TestHostileRules: what rules, people, vehicles and files are called drives no terminal, in
// what the check says of them and in what is listed.
func TestHostileRules(t *testing.T) {
	t.Parallel()
	for i, h := range hostile.Text {
		q := strconv.QuoteToASCII(h) // as YAML reads it
		dir := folder(t, map[string]string{
			"rules/oil.yaml": fmt.Sprintf("book: 1\n%s: 1\ntasks:\n  %s: {title: %s, every: {distance: 1000 km}, early: {distance: 100 km}, unknown history: from first reading, where: %s, steps: [%s]}\n", q, q, q, q, q),
			"vehicles.yaml":  fmt.Sprintf("vehicles:\n  %s: {name: %s, kind: %s, tags: {%s: %s}, meters: {%s: distance}, zone: %s, plate: %s}\n", q, q, q, q, q, q, q, q),
			"people.yaml":    fmt.Sprintf("people:\n  %s: {name: %s, mail: %s, zone: %s, digest: %s}\ntell:\n  %s: {who: [%s], where: %s}\n", q, q, q, q, q, q, q, q),
			"telltale.yaml":  fmt.Sprintf("mail: {from: %s, smtp: %s}\nnats: %s\nboard: {listen: %s, url: %s}\n", q, q, q, q, q),
		})
		_, out, said := told(t, "check", dir)
		harmlessOnTerminal(t, fmt.Sprintf("%d, check", i), strings.ReplaceAll(out+said, "\t", " "))
	}
	for _, name := range []string{"a\x1b[31mb.yaml", "a\nb.yaml", "a\u202eb.yaml", "\xff.yaml"} {
		dir := folder(t, map[string]string{filepath.Join("rules", name): "book: 1\nx: 1\n"})
		_, out, said := told(t, "check", dir)
		harmlessOnTerminal(t, fmt.Sprintf("a file called %q", name), out+said)
	}
}

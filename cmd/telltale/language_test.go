package main

import (
	"context"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/creachadair/jrpc2"
	"github.com/creachadair/jrpc2/channel"
)

// editor is a client of the language server, which runs as an editor runs it: a process,
// over its standard input and output.
type editor struct {
	t     *testing.T
	rpc   *jrpc2.Client
	cmd   *exec.Cmd
	found chan published
	uri   string // of the rule file
	n     int    // its version
}

type published struct {
	URI         string
	Version     int
	Diagnostics []diagnosed
}

type diagnosed struct {
	Range    json.RawMessage
	Severity int
	Message  string
}

func startEditor(t *testing.T, dir string) *editor {
	t.Helper()
	e := &editor{t: t, found: make(chan published, 100), cmd: exec.Command("telltale", "language-server"),
		uri: "file://" + filepath.Join(dir, "rules", "a.yaml")}
	in, err1 := e.cmd.StdinPipe()
	out, err2 := e.cmd.StdoutPipe()
	if err1 != nil || err2 != nil || e.cmd.Start() != nil {
		t.Fatal("the server does not start: ", err1, err2)
	}
	e.rpc = jrpc2.NewClient(channel.LSP(out, in), &jrpc2.ClientOptions{OnNotify: func(r *jrpc2.Request) {
		var p published
		if err := r.UnmarshalParams(&p); err != nil {
			t.Errorf("%s: %v", r.Method(), err)
		}
		e.found <- p
	}})
	t.Cleanup(func() { _ = e.rpc.Close(); _ = e.cmd.Process.Kill(); _ = e.cmd.Wait() })
	var answer struct {
		Capabilities struct{ HoverProvider bool }
	}
	e.ask("initialize", map[string]any{"processId": nil, "rootUri": nil, "capabilities": map[string]any{}}, &answer)
	if !answer.Capabilities.HoverProvider {
		t.Error("the server offers no hover")
	}
	e.say("initialized", map[string]any{})
	return e
}

func (e *editor) ask(method string, params, answer any) {
	e.t.Helper()
	if err := e.rpc.CallResult(context.Background(), method, params, answer); err != nil {
		e.t.Fatalf("%s: %v", method, err)
	}
}

func (e *editor) say(method string, params any) {
	e.t.Helper()
	if err := e.rpc.Notify(context.Background(), method, params); err != nil {
		e.t.Fatalf("%s: %v", method, err)
	}
}

// write has the rule file say a text, and gives what is found in it then.
func (e *editor) write(text string) []diagnosed {
	e.t.Helper()
	e.n++
	document := map[string]any{"uri": e.uri, "version": e.n, "languageId": "yaml", "text": text}
	if e.n == 1 {
		e.say("textDocument/didOpen", map[string]any{"textDocument": document})
	} else {
		e.say("textDocument/didChange", map[string]any{"textDocument": document, "contentChanges": []any{map[string]any{"text": text}}})
	}
	for {
		select {
		case p := <-e.found:
			if p.URI == e.uri && p.Version == e.n {
				return p.Diagnostics
			}
		case <-time.After(time.Minute):
			e.t.Fatal("nothing was found of the file, not even that it is right")
		}
	}
}

// at are the parameters of a question about the place of a mark within the file's text,
// so many characters into it.
func (e *editor) at(text, mark string, into int) map[string]any {
	e.t.Helper()
	i := strings.Index(text, mark)
	if i < 0 {
		e.t.Fatalf("no %q in the text", mark)
	}
	before := text[:i]
	place := map[string]any{"line": strings.Count(before, "\n"), "character": len(before) - strings.LastIndex(before, "\n") - 1 + into}
	return map[string]any{"textDocument": map[string]any{"uri": e.uri}, "position": place}
}

func (e *editor) offered(text, mark string, into int) []string {
	e.t.Helper()
	var items []struct{ Label string }
	e.ask("textDocument/completion", e.at(text, mark, into), &items)
	var out []string
	for _, i := range items {
		out = append(out, i.Label)
	}
	return out
}

const edited = `book: 1
units: {distance: km}
tasks:
  engine oil:
    title: Change the engine oil
    every: {distance: 15000 km}
    cautions: [hot fluid]
rules:
  high copper:
    on: sample
    where: component.kind == "diesel engine"
    measure: value("Cu")
    above: {caution: 90}
    say: copper is at ${value("Cu")} mg/kg after ${since("engine oil")}
    advise: Look again.
    cautions: [hot fluid]
`

func TestLanguageServer(t *testing.T) {
	dir := t.TempDir()
	writeFile(t, filepath.Join(dir, "rules", "a.yaml"), edited)
	writeFile(t, filepath.Join(dir, "vehicles.yaml"), `vehicles:
  bus-07:
    name: Bus 7
    kind: minibus
    tags: {depot: north}
    meters: {odometer: distance}
    components: {engine: {kind: diesel engine, fluid: 5W-30}}
`)
	e := startEditor(t, dir)
	for _, d := range e.write(edited) {
		if d.Severity == 1 {
			t.Errorf("a fault in a file without one: %+v", d)
		}
	}
	e.faults(t)
	e.hovers(t)
	e.completes(t)
	e.ask("shutdown", nil, new(any))
	e.say("exit", nil)
	if err := e.cmd.Wait(); err != nil {
		t.Errorf("after shutdown and exit: %v", err)
	}
}

// faults are told as they are typed, at their places in UTF-16, and mended.
func (e *editor) faults(t *testing.T) {
	text := strings.Replace(edited, `measure: value("Cu")`, `measure: valeu("Cu") # 🚌`, 1)
	text = strings.Replace(text, "    advise: Look again.\n", "    advise: Look again.\n    \"🚌\": 1\n", 1)
	got := e.write(text)
	want := []string{`{"start":{"line":11,"character":13},"end":{"line":11,"character":18}}`, `{"start":{"line":15,"character":4},"end":{"line":15,"character":8}}`}
	var ranges []string
	for _, d := range got {
		if d.Severity == 1 {
			ranges = append(ranges, string(d.Range))
		}
	}
	if !slices.Equal(ranges, want) {
		t.Errorf("faults at %s, want %s: %+v", ranges, want, got)
	}
	var actions []struct {
		Title string
		Edit  struct {
			Changes map[string][]struct{ NewText string }
		}
	}
	ask := e.at(text, "valeu", 2)
	ask["range"] = map[string]any{"start": ask["position"], "end": ask["position"]}
	e.ask("textDocument/codeAction", ask, &actions)
	if len(actions) != 1 || actions[0].Edit.Changes[e.uri][0].NewText != "value" {
		t.Errorf("cures of valeu: %+v", actions)
	}
	if left := e.write(edited); slices.ContainsFunc(left, func(d diagnosed) bool { return d.Severity == 1 }) {
		t.Errorf("after the cure: %+v", left)
	}
}

// hovers tell what words, keys, analytes and tasks mean.
func (e *editor) hovers(t *testing.T) {
	for _, c := range []struct{ mark, want string }{
		{`value("Cu")` + "\n    above", "value(analyte) number"}, {`Cu")` + "\n    above", "copper (Cu), mg/kg"},
		{"points", ""}, {"say:", "the message"}, {"every:", "whichever comes first"}, {`engine oil")`, "Change the engine oil"},
	} {
		if c.want == "" {
			continue
		}
		var h *struct {
			Contents struct{ Value string }
		}
		e.ask("textDocument/hover", e.at(edited, c.mark, 1), &h)
		if h == nil || !strings.Contains(h.Contents.Value, c.want) {
			t.Errorf("hover at %q: %+v, want %q", c.mark, h, c.want)
		}
	}
}

// completes offers words, analytes, tasks, keys, and tags and values of the register.
func (e *editor) completes(t *testing.T) {
	for _, c := range []struct {
		typed string // in the place of the rule's measure
		want  []string
	}{
		{"    measure: va", []string{"value", "timesForAge"}},
		{`    measure: value("`, []string{"Cu", "KV100"}},
		{`    measure: since("`, []string{"engine oil"}},
		{"    where: vehicle.tags.", []string{"depot"}},
		{`    where: vehicle.tags["depot"] == "`, []string{"north"}},
		{`    where: component.kind == "`, []string{"diesel engine"}},
		{"    where: component.", []string{"capacity", "fluid"}},
		{"    st", []string{"stage", "measure", "advise"}},
		{"    on: ", []string{"sample", "clock"}},
		{"    pull in: {", []string{"engine oil"}},
		{"    above: {", []string{"advisory", "warning"}},
		{"    say: ${", []string{"value"}},
		{"    cautions: [", []string{"hot fluid"}},
	} {
		text := strings.Replace(edited, `    measure: value("Cu")`, c.typed, 1)
		e.write(text)
		got := e.offered(text, c.typed, len(c.typed))
		for _, w := range c.want {
			if !slices.Contains(got, w) {
				t.Errorf("after %q: %q, want %q among them", c.typed, got, w)
			}
		}
	}
}

func writeFile(t *testing.T, path, text string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

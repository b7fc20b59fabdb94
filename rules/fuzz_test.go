package rules

import (
	"os"
	"reflect"
	"runtime"
	"strings"
	"testing"
	"time"

	"golang.org/x/tools/txtar"
	"gopkg.in/yaml.v3"
)

// bounded fails if the work takes over a second or 64 MiB. A busy machine gets three
// tries.
func bounded(t *testing.T, work func()) {
	t.Helper()
	const seconds, bytes = 1, 64 << 20
	var took time.Duration
	for range 3 {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		began := time.Now()
		work()
		took = time.Since(began)
		runtime.ReadMemStats(&after)
		if grown := after.TotalAlloc - before.TotalAlloc; grown > bytes {
			t.Fatalf("it takes %d bytes", grown)
		}
		if took <= seconds*time.Second {
			return
		}
	}
	t.Fatalf("it takes %v", took)
}

// FuzzLoad feeds whole files: nothing panics or hangs, what is wrong stands within
// the file, and the same file gives the same answer.
func FuzzLoad(f *testing.F) {
	f.Add(larkfell)
	raw, err := os.ReadFile("testdata/faults.txtar")
	if err != nil {
		f.Fatal(err)
	}
	for _, e := range txtar.Parse(raw).Files {
		text, _, _ := strings.Cut(string(e.Data), "---\n")
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		files := []File{{"a.yaml", []byte(text)}}
		var err error
		bounded(t, func() {
			var b *Book
			if b, err = Load(files); err == nil {
				exercise(b)
			}
		})
		if err == nil {
			return
		}
		lines := lineBreak.Split(strings.TrimPrefix(text, "\ufeff"), -1)
		for _, fault := range err.(Faults) {
			if fault.Line < 1 || fault.Line > len(lines) || fault.Col < 1 || fault.Col > len([]rune(lines[fault.Line-1]))+1 || fault.Text == "" {
				t.Errorf("outside the file: %+v", fault)
			}
		}
		if _, again := Load(files); !reflect.DeepEqual(err, again) {
			t.Errorf("not the same again:\n%v\n%v", err, again)
		}
	})
}

// exercise runs all that a book holds.
func exercise(b *Book) {
	j := NewJudge(b)
	f := &fakeFacts{comp: gearbox, numbers: map[string]float64{"odometer()": 1, `value("Fe")`: 2}, ends: map[string][2]float64{`value("Cu")`: {0, 1}}}
	b.For(j, f.Vehicle(), []Component{*gearbox})
	for _, t := range b.Tasks {
		if t.Shorten != nil {
			j.Number(t.Shorten, f)
		}
	}
	for _, r := range b.Rules {
		for _, e := range j.Run(r, f).Ends {
			j.Why(r, f, e)
		}
		for stage := Advisory; stage <= Warning; stage++ {
			j.Say(r, stage, f, 1)
			j.Advise(r, stage, f, 1)
		}
	}
}

// FuzzExpression feeds single expressions: nothing panics or hangs; what compiles
// runs, and runs the same again.
func FuzzExpression(f *testing.F) {
	raw, err := os.ReadFile("testdata/faults.txtar")
	if err != nil {
		f.Fatal(err)
	}
	for _, line := range strings.Split(string(raw), "\n") {
		if _, expression, ok := strings.Cut(line, "raise: "); ok {
			f.Add(expression)
		}
	}
	for _, w := range Words() {
		f.Add(w.Example)
	}
	f.Add(`reduce(1..40, #acc+#acc, "aaaaaaaa")`)
	f.Add(`sum(1..1000, sum(1..1000, #)) > 1`)
	f.Add(`let a = "x"; let b = a + a; b + b == "xxxx"`)
	f.Add(`1 < (1 < (1 < 2 < 3) < 2) < 1`)
	f.Fuzz(func(t *testing.T, text string) {
		d, l := scratch(text)
		n := &yaml.Node{Kind: yaml.ScalarNode, Value: text, Line: 1, Column: 1}
		c := d.compile(newSource(d, n, text), scope{what: "it", words: true, measure: true, stage: true}, newAsks())
		if (c == nil) != (len(l.faults) > 0) {
			t.Fatalf("compiled: %v, faults: %v", c != nil, l.faults)
		}
		if c == nil {
			return
		}
		run := func() string {
			j := NewJudge(l.book)
			facts := &fakeFacts{comp: gearbox, numbers: map[string]float64{`value("Fe")`: 2}}
			j.begin(facts, c.asks)
			return j.print(c)
		}
		bounded(t, func() {
			if a, b := run(), run(); a != b {
				t.Errorf("%s: %s, then %s", text, a, b)
			}
		})
	})
}

package rules

import (
	"os"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"golang.org/x/tools/txtar"

	"telltale/rules/source"
	"telltale/testdata/bounded"
)

// FuzzLoad feeds whole files: nothing panics or hangs, what is wrong stands within
// the file, and the same file gives the same answer.
func FuzzLoad(f *testing.F) {
	f.Add(larkfell)
	for _, path := range []string{"testdata/faults.txtar", "testdata/broken.txtar"} {
		raw, err := os.ReadFile(path)
		if err != nil {
			f.Fatal(err)
		}
		for _, e := range txtar.Parse(raw).Files {
			text, _, _ := strings.Cut(string(e.Data), "---\n")
			f.Add(text)
		}
	}
	f.Fuzz(func(t *testing.T, text string) {
		files := []File{{"a.yaml", []byte(text)}}
		var err error
		bounded.Run(t, func() {
			var b *Book
			if b, err = Load(files); err == nil {
				exercise(b)
			}
		})
		if err == nil {
			return
		}
		lines := regexp.MustCompile("\r\n|\n|\r").Split(strings.TrimPrefix(text, "\ufeff"), -1)
		for _, fault := range err.(source.Faults) {
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
	for _, p := range b.Parts() {
		j.Matches(p.Where, f.Vehicle(), gearbox)
	}
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

package word

import (
	"go/ast"
	"go/parser"
	"go/token"
	"strings"
	"testing"
)

// Every word has all that there is to say of it in its row, and the rows are in the
// order of the constants.
func TestRows(t *testing.T) {
	for _, d := range words {
		places := map[Argument]int{Analyte: 1, Task: 1, Grade: 1, Temperature: 1, OfMeter: 1, OfRule: 1, Target: 2}[d.Of]
		if d.Phrase == "" || strings.Count(d.Phrase, "%s") != places || strings.ContainsAny(d.Phrase, "()") {
			t.Errorf("%s is told as %q", d.Name, d.Phrase)
		}
		if d.Meaning == "" || d.Source == "" || d.Example == "" || d.Word == None {
			t.Errorf("%s: its row lacks something: %+v", d.Name, d)
		}
	}
	file, err := parser.ParseFile(token.NewFileSet(), "word.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	ast.Inspect(file, func(n ast.Node) bool {
		if g, ok := n.(*ast.GenDecl); ok && g.Tok == token.CONST && names == nil {
			for _, s := range g.Specs {
				names = append(names, s.(*ast.ValueSpec).Names[0].Name)
			}
		}
		return true
	})
	if len(names) != len(words)+1 || names[0] != "None" {
		t.Fatalf("%d rows, constants %q", len(words), names)
	}
	for i, d := range words {
		if got := strings.ToLower(d.Name[:1]) + names[i+1][1:]; got != d.Name || !strings.EqualFold(names[i+1], d.Name) {
			t.Errorf("row %d is of %s, constant %d is %s", i, d.Name, i+1, names[i+1])
		}
	}
}

// A name by which String knows each word, and by which it is called.
func TestNames(t *testing.T) {
	for w := None + 1; int(w) <= len(words); w++ {
		if d := Called(w.String()); d == nil || d.Word != w {
			t.Errorf("word %d is not in the list", w)
		}
	}
	if None.String() != "unknown word" || (Stage+1).String() != "unknown word" {
		t.Error("the list and the constants differ")
	}
}

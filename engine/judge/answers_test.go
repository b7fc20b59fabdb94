package judge

import (
	"testing"

	"telltale/rules/word"
)

// Every word that rules may ask has its answer, of the kind that its own row says.
func TestEveryWordIsAnswered(t *testing.T) {
	all := word.All()
	for _, w := range all {
		a := answers[w.Word]
		if (a.truth != nil) != w.Truth || (a.number != nil) == w.Truth {
			t.Errorf("%s: a truth %t, answered as a number %t and as a truth %t", w.Name, w.Truth, a.number != nil, a.truth != nil)
		}
		if a.rests != nil && !w.Sample {
			t.Errorf("%s rests on a sample, and its row says nothing of one", w.Name)
		}
	}
	if len(answers)-1 != len(all) {
		t.Errorf("%d answers, %d words", len(answers)-1, len(all))
	}
}

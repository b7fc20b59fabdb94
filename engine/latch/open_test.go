package latch

import (
	"fmt"
	"math"
	"reflect"
	"testing"

	"telltale/rules"
)

// What the ends of a result agree on, limit by limit.
func TestEnds(t *testing.T) {
	b, err := rules.Load([]rules.File{{Name: "a.yaml", Text: []byte(`book: 1
rules:
  lead: {on: sample, measure: value("Pb"), above: {advisory: 10, caution: 20, warning: 30}, cautions: [hot fluid]}
`)}})
	if err != nil {
		t.Fatal(err)
	}
	r := b.Rules[0]
	end := func(measure float64) rules.End {
		return rules.End{Measure: measure, Limits: [4]float64{0, 10, 20, 30}}
	}
	stood := func(stage int) (l Latch) {
		for s := 1; s <= stage; s++ {
			l.On[s] = true
		}
		l.Stage = stage
		return l
	}
	for _, c := range []struct {
		before    int
		low, high float64
		stage     int
		judged    bool
		missing   []string
	}{
		{0, 0, 5, 0, true, nil},
		{0, 0, 15, 0, false, nil},               // the advisory may have been reached
		{0, 25, 50, 2, true, []string{Inexact}}, // the caution was, and the warning may have been
		{0, 0, 50, 0, false, nil},               //
		{2, 12, 15, 1, true, nil},               // eased
		{3, 5, 15, 3, false, nil},               // nothing worse decides: it stands
		{1, 5, 50, 1, false, nil},               // all open
		{1, 35, 50, 3, true, nil},               // all reached
		{0, 15, 25, 1, true, []string{Inexact}}, // the advisory was
	} {
		l := stood(c.before)
		next, ok := l.Step(r, []rules.End{end(c.low), end(c.high)}, Of{Counts: true})
		if ok != c.judged || next.Stage != c.stage || ok && !reflect.DeepEqual(next.Missing, c.missing) {
			t.Errorf("%s: got stage %d, judged %v, missing %v", fmt.Sprint(c), next.Stage, ok, next.Missing)
		}
	}
	// What a limit lacks neither counts nor resets.
	l := Latch{State: State{Count: [4]int{0, 1}}}
	lacking := rules.End{Measure: 5, Limits: [4]float64{math.NaN(), math.NaN(), 20, 30}}
	if next, ok := l.Step(r, []rules.End{lacking}, Of{Counts: true}); !ok || next.Count[1] != 1 {
		t.Error(next, ok)
	}
}

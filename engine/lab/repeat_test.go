package lab

import (
	"fmt"
	"strings"
	"testing"
)

// Iron of 100 mg/kg repeats within .13 x^.80 = 5.18 (ASTM D5185, from memory); three
// analyses within 3.3/2.8 of that.
func TestRepeated(t *testing.T) {
	fe := func(v float64) Result { return Result{Analyte: "Fe", Value: v} }
	under := func(v float64) Result { return Result{Analyte: "Fe", Value: v, Censored: true} }
	over := func(v float64) Result { return Result{Analyte: "Fe", Value: v, Above: true} }
	for _, tt := range []struct {
		rs   []Result
		want string
	}{
		{[]Result{fe(98), fe(102)}, "{Fe 100 false false}"},
		{[]Result{fe(97), fe(103)}, "2 analyses lie 6 apart, more than the 5.18 that the method allows one laboratory; ask for a third"},
		{[]Result{fe(97), fe(100), fe(103)}, "{Fe 100 false false}"},
		{[]Result{fe(103.2), fe(96.8), fe(99)}, "{Fe 99 false false} 3 analyses lie 6.4 apart, more than the 6.08 that the method allows one laboratory; the median is taken"},
		{[]Result{fe(90), fe(96), fe(98), fe(120)}, "{Fe 97 false false} 4 analyses lie 30 apart, more than the 6.71 that the method allows one laboratory; the median is taken"},
		{[]Result{fe(96.8), fe(100), fe(100), fe(100), fe(100), fe(100), fe(103.2)}, "{Fe 100 false false}"},
		{[]Result{under(5), under(2)}, "{Fe 2 true false}"},
		{[]Result{over(500), over(1000)}, "{Fe 1000 false true}"},
		{[]Result{under(5), fe(4)}, "of 2 analyses some gave a value and some a limit; ask the laboratory"},
		{[]Result{over(500), fe(490), fe(480)}, "of 3 analyses some gave a value and some a limit; ask the laboratory"},
	} {
		r, apart, err := Repeated(tt.rs)
		got := strings.TrimSpace(fmt.Sprint(r, " ", apart))
		if err != nil {
			got = err.Error()
		}
		if got != tt.want {
			t.Errorf("%v: %s, want %s", tt.rs, got, tt.want)
		}
	}
}

package engine_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/rules"
)

// The analytes of a usual sheet.
var sheetOf24 = strings.Fields("Fe Cr Ni Al Pb Cu Sn Ag Ti Si Na K B Mo Mg Ca P Zn Ba V Mn Sb Li Cd")

// BenchmarkSample folds one more sample of 24 analytes into a vehicle that has 20,
// by a chapter of 40 rules.
func BenchmarkSample(b *testing.B) { benchmarkSample(b, `times("%[1]s")`) }

// BenchmarkSampleExcess is BenchmarkSample with each metal compared with what is usual
// for the fluid's age and in the component's own past.
func BenchmarkSampleExcess(b *testing.B) {
	benchmarkSample(b, `'excessIsReal("%[1]s") ? value("%[1]s") / max(usual("%[1]s"), 3) : 1'`)
}

// benchmarkSample has a rule of that measure for each of 24 analytes.
func benchmarkSample(b *testing.B, measure string) {
	rs, err := rules.Load([]rules.File{{Name: "chapter.yaml", Text: []byte(chapterOf40(measure))}})
	if err != nil {
		b.Fatal(err)
	}
	p := engine.NewPartition()
	p.Apply(bookEvent(rs))
	at := time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)
	say := func(format string, args ...any) event.Event {
		ev, err := intake.Short(fmt.Sprintf("%s %s", at.Format("2006-01-02T15:04"), fmt.Sprintf(format, args...)), at.String(), rs.Units)
		if err != nil {
			b.Fatal(err)
		}
		return ev
	}
	p.Apply(say(`vehicle bus-07 minibus meter odometer component transmission "automatic transmission" capacity 8L`))
	sheet := func(n int) event.Event {
		at = at.Add(24 * time.Hour)
		var s strings.Builder
		fmt.Fprintf(&s, "sample bus-07 transmission odometer %d age %dkm", 20000+100*n, 10000+100*n)
		for i, a := range sheetOf24 {
			fmt.Fprintf(&s, " %s %d", a, 5+(7*i+n)%9)
		}
		return say("%s", s.String())
	}
	for n := range 20 {
		p.Apply(sheet(n))
	}
	ev, again := sheet(20), p.Again("bus-07")
	b.ReportAllocs()
	for b.Loop() {
		again()
		if out := p.Apply(ev); len(out) > 0 {
			b.Fatal(out[0])
		}
	}
}

// chapterOf40 has a rule over the baseline for each analyte, and sixteen that look
// back, at the drain, or at several.
func chapterOf40(measure string) string {
	var s strings.Builder
	s.WriteString("book: 1\nbaselines:\n  fluid: {source: invented, fluid age: 20000 km, mean: {")
	for i, a := range sheetOf24 {
		if i > 0 {
			s.WriteString(", ")
		}
		s.WriteString(a + ": 10")
	}
	s.WriteString("}, fresh: {P: 20, Si: 2, Na: 2, K: 1}}\nrules:\n")
	rule := func(name, measure string) {
		fmt.Fprintf(&s, "  %s:\n    on: sample\n    measure: %s\n    above: {advisory: 200, caution: 300, warning: 500}\n    say: ${measure}\n    advise: Stop and have it inspected.\n", name, measure)
	}
	for _, a := range sheetOf24 {
		rule(a+" over baseline", fmt.Sprintf(measure, a))
	}
	for _, a := range sheetOf24[:4] {
		rule(a+" for its age", `timesForAge("`+a+`")`)
		rule(a+" rising", `rate("`+a+`")`)
		rule(a+" jumping", `change("`+a+`") / value("`+a+`")`)
		rule(a+" and dirt", `times("Si") * value("`+a+`") - fresh("Na")`)
	}
	return s.String()
}

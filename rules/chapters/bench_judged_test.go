package chapters_test

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"telltale/engine/alarm"
	"telltale/engine/sample"
	"telltale/rules"
	"telltale/rules/chapters/sheets"
)

// outcome is how the verdict on a sheet of known cause came out.
type outcome int

const (
	right     outcome = iota // the cause is named, and nothing that contradicts it; a sound sheet raises nothing
	more                     // the cause is named, and something else that does no harm
	vague                    // something is said, but nothing that names a cause; of a sound sheet, an advisory
	wrong                    // another cause at caution or above, and not the right one; or a warning of another, above it
	silent                   // nothing is said of what does no harm yet, or it is said that the sheet was not read
	allClear                 // it is called normal, and somebody comes to harm
	falseStop                // a warning on a sound sheet
	outcomes
)

var outcomeNames = [outcomes]string{"right", "with more", "vague", "wrong", "silent", "false all-clear", "false stop"}

// claims are what each rule claims.
type claims map[string][]string

// readClaims reads testdata/bench-claims.txt and holds it to the rules of the book.
func readClaims(t *testing.T, b *rules.Book) claims {
	t.Helper()
	text, err := os.ReadFile("testdata/bench-claims.txt")
	if err != nil {
		t.Fatal(err)
	}
	out := claims{}
	for line := range strings.Lines(string(text)) {
		name, list, ok := strings.Cut(strings.TrimSpace(line), " = ")
		if !ok {
			continue
		}
		for class := range strings.SplitSeq(list, ",") {
			class = strings.TrimSpace(class)
			if sheets.Classes[class] == "" {
				t.Errorf("bench-claims.txt: %q claims %q, which is no class", name, class)
			}
			out[name] = append(out[name], class)
		}
	}
	known := map[string]bool{}
	for _, r := range b.Rules {
		known[r.Name] = true
		if r.On&rules.OnSample != 0 && out[r.Name] == nil {
			t.Errorf("bench-claims.txt does not say what %q claims", r.Name)
		}
	}
	for name := range out {
		if !known[name] {
			t.Errorf("bench-claims.txt has %q, which is no rule of the chapters", name)
		}
	}
	return out
}

// anyOf reports whether the reason claims one of the classes.
func (c claims) anyOf(r *sample.Reason, classes ...[]string) bool {
	for _, class := range c[r.Rule] {
		if slices.Contains(slices.Concat(classes...), class) {
			return true
		}
	}
	return false
}

var (
	// noCause are classes that name no cause and contradict none.
	noCause = []string{"metal", "aged"}
	stages  = map[alarm.Stage]int{alarm.Normal: 0, alarm.Advisory: 1, alarm.Caution: 2, alarm.Warning: 3}
)

const caution, warning = 2, 3

// judgedAs compares what is said of a sheet with its cause.
func (c claims) judgedAs(s *sheets.Sheet, v *sample.Verdict) outcome {
	if s.Cause.Sound {
		return c.soundAs(s, v)
	}
	if v.Stage == alarm.Normal {
		if s.Danger && saysAllIsWell(v) {
			return allClear
		}
		return silent
	}
	named, foreign, others := 0, 0, 0 // the worst stage of each
	for i := range v.Reasons {
		r := &v.Reasons[i]
		switch at := stages[r.Stage]; {
		case c.anyOf(r, s.Right):
			named = max(named, at)
		case c.anyOf(r, s.Cause.Also):
			others = max(others, at)
		case !c.anyOf(r, noCause):
			foreign = max(foreign, at)
		}
	}
	switch {
	case foreign >= caution && named == 0, foreign == warning && named < warning:
		return wrong
	case named == 0:
		return vague
	case foreign > 0 || others > 0:
		return more
	}
	return right
}

// soundAs is of a sheet that should raise nothing. An advisory that says what it is, as
// that copper alone is a cooler's, is right.
func (c claims) soundAs(s *sheets.Sheet, v *sample.Verdict) outcome {
	said := slices.ContainsFunc(v.Reasons, func(r sample.Reason) bool { return !c.anyOf(&r, s.Right) })
	switch {
	case v.Stage == alarm.Warning:
		return falseStop
	case v.Stage == alarm.Normal, v.Stage == alarm.Advisory && !said:
		return right
	case v.Stage == alarm.Advisory:
		return vague
	}
	return wrong
}

// saysAllIsWell reports whether the headline calls the sheet normal. Counting the rules
// that could not judge is no reservation that a reader acts on; naming results that
// nobody looked at is.
func saysAllIsWell(v *sample.Verdict) bool { return strings.HasPrefix(v.Summary, "Normal by ") }

// tally counts outcomes by cause.
type tally map[*sheets.Cause]*[outcomes]int

func (t tally) add(c *sheets.Cause, o outcome) {
	if t[c] == nil {
		t[c] = &[outcomes]int{}
	}
	t[c][o]++
}

// total is of all sound causes, or of all faults.
func (t tally) total(sound bool) (sum [outcomes]int, n int) {
	for c, counts := range t {
		for o, k := range counts {
			if c.Sound == sound {
				sum[o] += k
				n += k
			}
		}
	}
	return sum, n
}

// table is cause by verdict, with the totals in per cent.
func (t tally) table() string {
	var b strings.Builder
	row := func(name string, cell func(o outcome) string) {
		line := fmt.Sprintf("%-46s", name)
		for o := range outcomes {
			line += fmt.Sprintf(" %*s", len(outcomeNames[o]), cell(o))
		}
		b.WriteString(strings.TrimRight(line, " ") + "\n")
	}
	row("", func(o outcome) string { return outcomeNames[o] })
	for i := range sheets.Causes {
		if counts := t[&sheets.Causes[i]]; counts != nil {
			row(sheets.Causes[i].Name, func(o outcome) string {
				if counts[o] == 0 {
					return "."
				}
				return fmt.Sprint(counts[o])
			})
		}
	}
	for _, of := range []struct {
		name  string
		sound bool
	}{{"all faults, %", false}, {"all sound, %", true}} {
		sum, n := t.total(of.sound)
		row(of.name, func(o outcome) string { return fmt.Sprintf("%.1f", 100*float64(sum[o])/float64(n)) })
	}
	return b.String()
}

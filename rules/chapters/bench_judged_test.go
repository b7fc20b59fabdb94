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
		if r.On&rules.OnSample != 0 && !r.ByMeasures && out[r.Name] == nil { // what is measured by hand is on no sheet
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
func saysAllIsWell(v *sample.Verdict) bool {
	return strings.HasPrefix(v.Summary, "Normal: ") || strings.HasSuffix(v.Summary, "found nothing.") && len(v.NotJudged) <= v.Judged
}

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

// What is called right, vague and wrong, by verdicts that are made up.
func TestJudgedAs(t *testing.T) {
	c := claims{"is dust": {"dust"}, "is iron": {"iron"}, "is a bearing": {"bearing"}, "is much": {"metal"}, "is a cooler": {"leaching"}}
	dusty := &sheets.Sheet{Cause: &sheets.Cause{Also: []string{"iron"}}, Right: []string{"dust"}, Danger: true}
	harmless := &sheets.Sheet{Cause: &sheets.Cause{}, Right: []string{"dust"}}
	sound := &sheets.Sheet{Cause: &sheets.Cause{Sound: true}, Right: []string{"leaching"}}
	said := func(rules ...string) *sample.Verdict { // "is dust caution", the worst first
		v := &sample.Verdict{Stage: alarm.Normal, Summary: "Normal: all 3 checks found nothing."}
		for _, r := range rules {
			i := strings.LastIndex(r, " ")
			v.Reasons = append(v.Reasons, sample.Reason{Rule: r[:i], Stage: alarm.Stage(r[i+1:])})
			v.Stage, v.Summary = v.Reasons[0].Stage, "Something."
		}
		return v
	}
	unread := said()
	unread.Summary = "Nothing stands, and no rule looked at glycol."
	for _, is := range []struct {
		s    *sheets.Sheet
		v    *sample.Verdict
		want outcome
	}{
		{dusty, said("is dust caution"), right},
		{dusty, said("is dust advisory", "is much advisory"), right},
		{dusty, said("is iron warning", "is dust caution"), more},
		{dusty, said("is dust caution", "is a bearing caution"), more},
		{dusty, said("is dust warning", "is a bearing warning"), more},
		{dusty, said("is a bearing warning", "is dust caution"), wrong},
		{dusty, said("is a bearing caution"), wrong},
		{dusty, said("is a bearing advisory"), vague},
		{dusty, said("is iron caution"), vague},
		{dusty, said("is much warning"), vague},
		{dusty, said(), allClear},
		{dusty, unread, silent},
		{harmless, said(), silent},
		{sound, said(), right},
		{sound, said("is a cooler advisory"), right},
		{sound, said("is a cooler advisory", "is dust advisory"), vague},
		{sound, said("is a cooler caution"), wrong},
		{sound, said("is a cooler warning"), falseStop},
	} {
		if got := c.judgedAs(is.s, is.v); got != is.want {
			t.Errorf("%v is judged %s, want %s", is.v.Reasons, outcomeNames[got], outcomeNames[is.want])
		}
	}
}

package rules

import "regexp"

// Limit is the limit of a stage; ok is false where the stage has none, or it is reckoned
// anew each time.
func (r *Rule) Limit(stage int) (v float64, ok bool) {
	if c := r.compiled.limits[stage]; c != nil {
		return c.Constant()
	}
	return 0, false
}

// LimitText is the limit of a stage as it is written; "" where the stage has none.
func (r *Rule) LimitText(stage int) string {
	if c := r.compiled.limits[stage]; c != nil {
		return c.Text
	}
	return ""
}

// MeasuredIn is the unit of the rule's measure and limits, where people may read them in
// another than the file's; else "".
func (r *Rule) MeasuredIn() string {
	if r.compiled.measure == nil {
		return ""
	}
	return r.compiled.measure.In()
}

// oneAnalyte is a measure that reads one result and nothing else.
var oneAnalyte = regexp.MustCompile(`^(value|times)\("([^"\\]+)"\)$`)

// OneAnalyte is the analyte whose value, or times the baseline, is all that a rule with
// upper limits measures; ok is false of any other rule.
func (r *Rule) OneAnalyte() (analyte string, times, ok bool) {
	if !r.Measured || r.Below {
		return "", false, false
	}
	m := oneAnalyte.FindStringSubmatch(r.Condition())
	if m == nil {
		return "", false, false
	}
	return m[2], m[1] == "times", true
}

// OneMeasure is what is measured by hand whose value is all that the rule measures; ok is
// false of any other rule.
func (r *Rule) OneMeasure() (name string, ok bool) {
	if !r.Measured || !r.ByMeasures {
		return "", false
	}
	m := oneAnalyte.FindStringSubmatch(r.Condition())
	if m == nil || m[1] != "value" {
		return "", false
	}
	return m[2], true
}

package rules

import (
	"cmp"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"gopkg.in/yaml.v3"

	"telltale/rules/english"
	"telltale/rules/expression"
	"telltale/rules/source"
	"telltale/rules/unit"
	"telltale/rules/word"
)

// compiledRule holds the expressions and templates of a rule. The expressions
// share their questions; each template has its own, since what it cannot say
// does not keep the rule from being judged.
type compiledRule struct {
	program
	say     *expression.Template
	advise  [4]*expression.Template
	meaning string // by what the rule judges, without comments, layout and words for people
}

// everyAsks are the questions of the expressions, and of each template.
func (c *compiledRule) everyAsks() []*expression.Asks {
	all := []*expression.Asks{c.asks, c.say.Asks()}
	for _, t := range c.advise {
		all = append(all, t.Asks())
	}
	return all
}

var (
	sharedKeys   = []string{"on", "was", "title", "where", "over", "say", "points to", "advise", "follow up", "pull in", "cautions", "masked", "source", "confirm"}
	measuredKeys = []string{"measure", "above", "below", "deadband", "soften by age"}
	patternKeys  = []string{"raise", "clear", "stage"}
)

// ruleReader reads one rule.
type ruleReader struct {
	*entry
	r *Rule
}

// rule reads one judgement.
func (e *entry) rule() {
	part := e.part(slices.Concat(sharedKeys, measuredKeys, patternKeys)...)
	rr := &ruleReader{e, &Rule{Part: part, compiled: &compiledRule{program: program{asks: &expression.Asks{}}}}}
	if e.n.Kind == yaml.MappingNode {
		rr.read()
	}
}

func (rr *ruleReader) read() {
	r, f := rr.r, rr.f
	r.compiled.meaning = rr.meaning()
	if also := rr.l.fors[rr.Document]; also != nil {
		r.compiled.meaning += strconv.Quote(also.Text)
	}
	r.On = rr.on()
	switch {
	case f["measure"] != nil && f["raise"] != nil:
		rr.Fault(source.Key(rr.n, "raise"), "make two rules of it", "%s has both `measure` and `raise`", rr.what)
	case f["measure"] != nil:
		rr.measured()
	case f["raise"] != nil:
		rr.pattern()
	default:
		rr.Fault(rr.key, "a measured rule has `measure` with `above` or `below`, a pattern has `raise` and `stage`",
			"%s judges nothing: `measure` or `raise` is missing", rr.what)
	}
	r.Measures = r.compiled.asks.Measures()
	r.ByMeasures = len(r.Measures) > 0 && r.compiled.asks.Sample == nil
	rr.masked(f["masked"])
	r.PointsTo = rr.Texts(f["points to"], "points to of "+rr.what)
	rr.words()
	rr.mind()
	rr.opens()
	rr.pullIns()
	rr.components()
	r.run = rr.l.programOf(&r.compiled.program)
	rr.l.book.Rules = append(rr.l.book.Rules, r)
}

var onNames = []string{"sample", "reading", "service", "clock"}

// on reads a word or a list.
func (rr *ruleReader) on() On {
	n := rr.f["on"]
	if n == nil {
		rr.Fault(rr.key, "write `on: sample`, or a list of sample, reading, service, clock", "%s does not say when it is judged: `on` is missing", rr.what)
		return 0
	}
	list := source.Items(n)
	if len(list) == 0 {
		rr.Fault(n, "list some of sample, reading, service, clock", "on of %s is empty", rr.what)
	}
	var on On
	wrong := false
	for _, e := range list {
		before := rr.Faulty()
		i := rr.Choice(e, "on of "+rr.what, onNames...)
		if rr.Faulty() > before {
			wrong = true
			continue
		}
		if on&(1<<i) != 0 {
			rr.Fault(e, "", "on of %s names %q twice", rr.what, e.Value)
		}
		on |= 1 << i
	}
	if wrong {
		return 0 // unknown: no faults that follow from it
	}
	return on
}

// foreign reports keys of the other form of rule.
func (rr *ruleReader) foreign(keys []string, form, other string) {
	for _, k := range keys {
		if rr.f[k] != nil {
			rr.Fault(source.Key(rr.n, k), fmt.Sprintf("`%s` belongs to a %s rule", k, other), "a %s rule has no `%s`", form, k)
		}
	}
}

func (rr *ruleReader) expression(n *yaml.Node, key string, want expression.Kind, measure bool) *expression.Condition {
	return rr.l.lang.Condition(rr.Document, n, expression.Scope{What: key + " of " + rr.what, Want: want, Words: true, Rules: true, Measure: measure, Of: rr.r.compiled.measure, Units: rr.units}, rr.r.compiled.asks)
}

// pattern reads raise, clear and stage.
func (rr *ruleReader) pattern() {
	r, c := rr.r, rr.r.compiled
	rr.foreign(measuredKeys, "pattern", "measured")
	c.raise = rr.expression(rr.f["raise"], "raise", expression.Truth, false)
	r.HasClear = rr.f["clear"] != nil
	c.clear = rr.expression(rr.f["clear"], "clear", expression.Truth, false)
	v := rr.f["stage"]
	if v == nil {
		rr.Fault(rr.key, "write `stage: caution`; a warning is for what needs action now", "%s has no `stage`", rr.what)
		return
	}
	r.Stage = 1 + rr.Choice(v, "stage of "+rr.what, StageNames[1:]...)
	r.Has[r.Stage] = true
	rr.confirm()
}

// measured reads measure, deadband, limits and confirm.
func (rr *ruleReader) measured() {
	r, f := rr.r, rr.f
	r.Measured = true
	rr.foreign(patternKeys, "measured", "pattern")
	r.compiled.measure = rr.expression(f["measure"], "measure", expression.Number, false)
	band := rr.deadband()
	rr.soften()
	above, below := f["above"], f["below"]
	switch {
	case above != nil && below != nil:
		rr.Fault(source.Key(rr.n, "below"), "make two rules of it", "%s has both `above` and `below`", rr.what)
	case above != nil:
		rr.stageLimits(above, "above")
	case below != nil:
		r.Below = true
		rr.stageLimits(below, "below")
	default:
		rr.Fault(rr.key, "write `above: {advisory: 2, caution: 3, warning: 5}`, or `below`", "%s has no limits: `above` or `below` is missing", rr.what)
	}
	rr.fitsLimits(band)
	rr.confirm()
}

// stageLimits reads the limit of each stage and checks the constant ones.
func (rr *ruleReader) stageLimits(n *yaml.Node, key string) {
	f := rr.Mapping(n, key+" of "+rr.what, StageNames[1:]...)
	if n.Kind == yaml.MappingNode && len(n.Content) == 0 {
		rr.Fault(n, "write {advisory: 2, caution: 3, warning: 5}, or some of them", "%s of %s is empty", key, rr.what)
	}
	lower := 0
	for stage := Advisory; stage <= Warning; stage++ {
		v := f[StageNames[stage]]
		if v == nil {
			continue
		}
		c := rr.expression(v, StageNames[stage], expression.Number, true)
		rr.r.Has[stage], rr.r.compiled.limits[stage] = true, c
		if c == nil {
			continue
		}
		if _, constant := c.Constant(); constant {
			if lower > 0 {
				rr.order(v, key, lower, stage)
			}
			lower = stage
		}
	}
}

// ratioAlone is a measure that grows with the fluid's age as the baseline's mean does.
var ratioAlone = regexp.MustCompile(`^\s*times\s*\(\s*"[^"]*"\s*\)\s*$`)

// soften reads `soften by age`, which fits a plain ratio with a limit that may be
// softened.
func (rr *ruleReader) soften() {
	n := rr.f["soften by age"]
	if n == nil {
		return
	}
	rr.r.Softened = rr.Yes(n, "soften by age of "+rr.what, false)
	m, above := rr.f["measure"], rr.f["above"]
	switch {
	case !rr.r.Softened:
	case m.Kind == yaml.ScalarNode && !ratioAlone.MatchString(m.Value):
		rr.Fault(n, `it fits "measure: times("Cu")"; timesForAge is scaled to the age already`,
			"soften by age of %s: its measure is not times(…) alone", rr.what)
	case rr.r.On != 0 && rr.r.On != OnSample:
		rr.Fault(n, "", "soften by age of %s is for rules that are `on: sample` alone", rr.what)
	case above == nil, above.Kind == yaml.MappingNode && source.Key(above, StageNames[Advisory]) == nil && source.Key(above, StageNames[Caution]) == nil:
		rr.Fault(n, "a warning is never softened", "soften by age of %s: it has no advisory or caution `above` to soften", rr.what)
	}
}

// eachStage calls read with the value for each stage: given once, the same for
// all, or by stage; names tells that a mapping may have names of its own instead.
func (rr *ruleReader) eachStage(key string, names bool, read func(n *yaml.Node, stage int)) {
	n := rr.f[key]
	if n == nil {
		return
	}
	if !byStage(n, names) {
		read(n, 0)
		return
	}
	f := rr.Mapping(n, key+" of "+rr.what, StageNames[1:]...)
	for stage := Advisory; stage <= Warning; stage++ {
		v := f[StageNames[stage]]
		if v == nil {
			continue
		}
		if k := source.Key(n, StageNames[stage]); k != nil && !rr.r.Has[stage] && rr.r.Has != [4]bool{} {
			rr.Fault(k, rr.hasStages(key), "%s of %s names a stage that the rule does not have: %s", key, rr.what, k.Value)
		}
		read(v, stage)
	}
}

// hasStages is the hint for a stage that the rule does not have.
func (rr *ruleReader) hasStages(key string) string {
	var has []string
	for stage, ok := range rr.r.Has {
		if ok {
			has = append(has, StageNames[stage])
		}
	}
	return "the rule has " + english.List("and", has) + "; leave this one out of `" + key + "`, or give it a limit"
}

// words reads what the rule says and advises.
func (rr *ruleReader) words() {
	c := rr.r.compiled
	sc := expression.Scope{What: "say of " + rr.what, Words: true, Rules: true, Measure: rr.r.Measured, Stage: true, Of: rr.r.compiled.measure, Units: rr.units}
	c.say = rr.l.lang.Template(rr.Document, rr.f["say"], sc)
	sc.What = "advise of " + rr.what
	rr.eachStage("advise", false, func(n *yaml.Node, stage int) {
		if n.Kind == yaml.MappingNode {
			rr.Fault(n, "write a text, or a text for each of advisory, caution, warning", "%s must be text", sc.What)
			return
		}
		t := rr.l.lang.Template(rr.Document, n, sc)
		for s := range c.advise {
			if stage == 0 || stage == s {
				c.advise[s] = t
			}
		}
		if (stage == 0 || stage == Warning) && rr.r.Has[Warning] && !acts.MatchString(n.Value) {
			rr.question(n, "a warning is for what needs action now", "the advice of %s at warning has neither \"stop\" nor \"inspect\"", rr.what)
		}
	})
}

// acts finds the advice that a warning should give.
var acts = regexp.MustCompile(`(?i)\b(stop|inspect)`)

// mind reads what to mind; who asks for work must say it.
func (rr *ruleReader) mind() {
	var said [4]bool
	rr.eachStage("cautions", false, func(n *yaml.Node, stage int) {
		list := rr.cautions(n, rr.what)
		for s := Advisory; s <= Warning; s++ {
			if stage == 0 || stage == s {
				rr.r.Cautions[s], said[s] = list, true
			}
		}
	})
	for s := Advisory; s <= Warning; s++ {
		asks := rr.r.compiled.advise[s] != nil || rr.f["pull in"] != nil
		if rr.r.Has[s] && asks && !said[s] {
			rr.mustMind(rr.what)
			return
		}
	}
}

// worst are the cautions of a stage, of the worst one where none is named.
func (rr *ruleReader) worst(stage int) []string {
	for s := Warning; stage == 0 && s > 0; s-- {
		if rr.r.Has[s] {
			stage = s
		}
	}
	return rr.r.Cautions[stage]
}

// opens reads the follow-ups.
func (rr *ruleReader) opens() {
	r := rr.r
	rr.eachStage("follow up", true, func(n *yaml.Node, stage int) {
		r.FollowUps = append(r.FollowUps, rr.followUps(n, "follow up of "+rr.what, stage)...)
		for k, v := range source.Pairs(n) {
			if l := source.Value(v, "lapses"); l != nil {
				rr.Fault(l, "work for an alarm stays due until it is done", "the follow-up %q of %s cannot lapse", k.Value, rr.what)
			}
		}
	})
	inherit(r.FollowUps, rr.worst)
	if i := slices.IndexFunc(r.FollowUps, func(u FollowUp) bool { return u.Cautions == nil }); i >= 0 {
		rr.mustMind(fmt.Sprintf("the follow-up %q of %s", r.FollowUps[i].Name, rr.what))
	}
	slices.SortStableFunc(r.FollowUps, func(a, b FollowUp) int {
		return cmp.Or(strings.Compare(a.Name, b.Name), cmp.Compare(a.Stage, b.Stage))
	})
}

// pullIns reads the tasks that the rule's alarm asks for earlier than they are due.
func (rr *ruleReader) pullIns() {
	r := rr.r
	rr.eachStage("pull in", true, func(n *yaml.Node, stage int) {
		if n.Kind == yaml.MappingNode && len(n.Content) == 0 {
			rr.Fault(n, "write {transmission fluid: {within: {distance: 5000 km}}}, or leave it out", "pull in of %s is empty", rr.what)
		}
		for _, p := range rr.Entries(n, "pull in of "+rr.what) {
			what := fmt.Sprintf("pull in %q", p.Key.Value)
			within := rr.Mapping(p.Value, what, "within")["within"]
			if within == nil && p.Value.Kind == yaml.MappingNode {
				rr.Fault(p.Key, "write `within: {distance: 5000 km, time: 60 days}`: how far from what raised the alarm", "%s does not say by when", what)
			}
			r.PullIns = append(r.PullIns, PullIn{Task: p.Key.Value, Within: rr.limits(within, "within"), Stage: stage, key: p.Key})
		}
	})
	slices.SortStableFunc(r.PullIns, func(a, b PullIn) int {
		return cmp.Or(strings.Compare(a.Task, b.Task), cmp.Compare(a.Stage, b.Stage))
	})
}

// components decides whether the rule is kept for each component, and refuses
// one that asks about a fluid without being so.
func (rr *ruleReader) components() {
	r, c := rr.r, rr.r.compiled
	r.PerComponent = r.On&OnSample != 0 && !r.ByMeasures || c.say.ReadsComponent() || slices.ContainsFunc(c.advise[:], (*expression.Template).ReadsComponent)
	for _, e := range append([]*expression.Condition{r.Where, c.measure, c.raise, c.clear}, c.limits[:]...) {
		r.PerComponent = r.PerComponent || e != nil && e.ReadsComponent
	}
	if r.PerComponent || r.On == 0 || rr.faultyWhere(&r.Part) {
		return
	}
	for _, a := range c.everyAsks() {
		if a.Sample != nil {
			rr.Add(*a.Sample)
		}
	}
}

// masked reads no, or how far the fluid must have run since an exchange.
func (rr *ruleReader) masked(n *yaml.Node) {
	r, what := rr.r, "masked of "+rr.what
	if n != nil && r.ByMeasures {
		rr.Fault(n, "leave it out: no exchange of fluid hides what is measured by hand", "%s goes by measures alone", what)
		return
	}
	if n == nil || n.Kind != yaml.MappingNode {
		r.Masked = rr.Yes(n, what, !r.ByMeasures)
		return
	}
	r.Masked = true
	f := rr.Mapping(n, what, "distance", "hours")
	for _, by := range []struct {
		key  string
		kind unit.Kind
		to   *float64
	}{{"distance", unit.Distance, &r.MaskedFor.Distance}, {"hours", unit.Time, &r.MaskedFor.Hours}} {
		if q := f[by.key]; q == nil {
			rr.Fault(n, "write {distance: 1500 km, hours: 50 h}", "%s does not say %s", what, by.key)
		} else if v, _, ok := rr.Base(q, by.key+" of "+what, by.kind); ok && v <= 0 {
			rr.Fault(q, "", "%s of %s must be more than zero", by.key, what)
		} else {
			*by.to = v
		}
	}
}

// Judges reports whether the book has the rule, by its name or the one that it had before,
// and has it judge by the same: comments, order, layout and words for people make no
// difference. A nil book has none.
func (b *Book) Judges(r *Rule) bool {
	if b == nil {
		return false
	}
	i := slices.IndexFunc(b.Rules, func(o *Rule) bool { return o.Name == r.Name || slices.Contains(r.Was, o.Name) })
	return i >= 0 && b.Rules[i].compiled.meaning == r.compiled.meaning
}

// forPeople are the keys of a rule that change nothing of how it judges.
var forPeople = []string{"was", "title", "say", "points to", "advise", "cautions", "source"}

// meaning writes out by what the rule judges.
func (rr *ruleReader) meaning() string {
	judges := *rr.n
	judges.Content = nil
	for k, v := range source.Pairs(rr.n) {
		if !slices.Contains(forPeople, k.Value) {
			judges.Content = append(judges.Content, k, v)
		}
	}
	return fmt.Sprint(rr.units.Or(unit.Metric)) + meaningOf(&judges)
}

// meaningOf writes out what a node holds.
func meaningOf(n *yaml.Node) string {
	var parts []string
	for i := range n.Content {
		if n.Kind != yaml.MappingNode {
			parts = append(parts, meaningOf(n.Content[i]))
		} else if i%2 == 1 {
			parts = append(parts, strconv.Quote(n.Content[i-1].Value)+meaningOf(n.Content[i]))
		}
	}
	if n.Kind == yaml.MappingNode {
		slices.Sort(parts)
	}
	return strconv.Quote(n.Value) + "[" + strings.Join(parts, " ") + "]"
}

// Asks lists the analytes of which the rule, its message or its advice asks the word,
// sorted.
func (r *Rule) Asks(w word.Word) []string {
	var out []string
	for _, a := range r.compiled.everyAsks() {
		out = append(out, a.Arguments(w)...)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// Elsewhere lists the other components that the rule, its message or its advice asks of, by
// name or kind, sorted.
func (r *Rule) Elsewhere() []string {
	var out []string
	for _, a := range r.compiled.everyAsks() {
		out = append(out, a.Elsewhere()...)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// Reads lists what the words of the rule's condition and limits are asked of
// (analytes, tasks, grades), sorted.
func (r *Rule) Reads() []string { return r.compiled.asks.Arguments(word.None) }

// Condition is the rule's measure, or what raises it, as it is written.
func (r *Rule) Condition() string {
	c := r.compiled.measure
	if c == nil {
		c = r.compiled.raise
	}
	return strings.TrimSpace(c.Text)
}

package rules

import (
	"cmp"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"

	"gopkg.in/yaml.v3"

	"telltale/rules/english"
)

// compiledRule holds the expressions and templates of a rule. The expressions
// share their questions; each template has its own, since what it cannot say
// does not keep the rule from being judged.
type compiledRule struct {
	asks    *asks
	measure *Condition // nil for a pattern
	limits  [4]*Condition
	raise   *Condition
	clear   *Condition
	say     *template
	advise  [4]*template
	was     wasAt
}

var (
	sharedKeys   = []string{"on", "was", "title", "where", "over", "say", "points to", "advise", "follow up", "pull in", "cautions", "masked", "source"}
	measuredKeys = []string{"measure", "above", "below", "deadband", "confirm", "soften by age"}
	patternKeys  = []string{"raise", "clear", "stage"}
)

// ruleReader reads one rule.
type ruleReader struct {
	d    *document
	key  *yaml.Node
	n    *yaml.Node
	f    fields
	r    *Rule
	what string
}

// rule reads one judgement.
func (d *document) rule(key, n *yaml.Node) {
	what := fmt.Sprintf("rule %q", key.Value)
	figures, blanks := d.figures(n, what), d.blanks(n, what)
	rr := &ruleReader{d: d, key: key, n: n, what: what,
		f: d.mapping(n, what, slices.Concat(sharedKeys, measuredKeys, patternKeys)...),
		r: &Rule{Sources: figures, ToFill: blanks, Name: key.Value, Title: key.Value, At: d.place(key), compiled: &compiledRule{asks: newAsks()}}}
	if n.Kind == yaml.MappingNode {
		rr.read()
	}
}

func (rr *ruleReader) read() {
	d, r, f := rr.d, rr.r, rr.f
	d.source(f.get("source"), rr.n, rr.what)
	if v := f.get("title"); v != nil {
		r.Title = d.text(v, "title of "+rr.what)
	}
	r.Was, r.compiled.was = d.was(rr.key, f.get("was"), rr.what)
	if v := f.get("where"); v != nil {
		r.Where = d.where(v, rr.what)
	}
	r.Over, r.over = d.texts(f.get("over"), "over of "+rr.what), overAt{rr.key, items(f.get("over")), d}
	r.On = rr.on()
	switch {
	case f.get("measure") != nil && f.get("raise") != nil:
		d.fault(f["raise"].key, "make two rules of it", "%s has both `measure` and `raise`", rr.what)
	case f.get("measure") != nil:
		rr.measured()
	case f.get("raise") != nil:
		rr.pattern()
	default:
		d.fault(rr.key, "a measured rule has `measure` with `above` or `below`, a pattern has `raise` and `stage`",
			"%s judges nothing: `measure` or `raise` is missing", rr.what)
	}
	r.Masked = d.yes(f.get("masked"), "masked of "+rr.what, true)
	r.PointsTo = d.texts(f.get("points to"), "points to of "+rr.what)
	rr.templates()
	rr.cautions()
	rr.followUps()
	rr.pullIns()
	rr.components()
	d.l.book.Rules = append(d.l.book.Rules, r)
}

var onNames = []string{"sample", "reading", "service", "clock"}

// on reads a word or a list.
func (rr *ruleReader) on() On {
	n := rr.f.get("on")
	if n == nil {
		rr.d.fault(rr.key, "write `on: sample`, or a list of sample, reading, service, clock", "%s does not say when it is judged: `on` is missing", rr.what)
		return 0
	}
	list := []*yaml.Node{n}
	if n.Kind == yaml.SequenceNode {
		list = n.Content
		if len(list) == 0 {
			rr.d.fault(n, "list some of sample, reading, service, clock", "on of %s is empty", rr.what)
		}
	}
	var on On
	wrong := false
	for _, e := range list {
		before := len(rr.d.l.faults)
		i := rr.d.choice(e, "on of "+rr.what, onNames...)
		if len(rr.d.l.faults) > before {
			wrong = true
			continue
		}
		if on&(1<<i) != 0 {
			rr.d.fault(e, "", "on of %s names %q twice", rr.what, e.Value)
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
		if e, ok := rr.f[k]; ok {
			rr.d.fault(e.key, fmt.Sprintf("`%s` belongs to a %s rule", k, other), "a %s rule has no `%s`", form, k)
		}
	}
}

func (rr *ruleReader) expression(n *yaml.Node, key string, want kind, measure bool) *Condition {
	return rr.d.condition(n, scope{what: key + " of " + rr.what, want: want, words: true, measure: measure}, rr.r.compiled.asks)
}

// pattern reads raise, clear and stage.
func (rr *ruleReader) pattern() {
	d, r, c := rr.d, rr.r, rr.r.compiled
	rr.foreign(measuredKeys, "pattern", "measured")
	c.raise = rr.expression(rr.f.get("raise"), "raise", truth, false)
	if v := rr.f.get("clear"); v != nil {
		r.HasClear = true
		c.clear = rr.expression(v, "clear", truth, false)
	}
	r.Confirm = [4]int{1, 1, 1, 1}
	v := rr.f.get("stage")
	if v == nil {
		d.fault(rr.key, "write `stage: caution`; a warning is for what must be acted on now", "%s has no `stage`", rr.what)
		return
	}
	r.Stage = 1 + d.choice(v, "stage of "+rr.what, StageNames[1:]...)
	r.Has[r.Stage] = true
}

// measured reads measure, limits, deadband and confirm.
func (rr *ruleReader) measured() {
	d, r, f := rr.d, rr.r, rr.f
	r.Measured = true
	rr.foreign(patternKeys, "measured", "pattern")
	r.compiled.measure = rr.expression(f.get("measure"), "measure", number, false)
	rr.deadband()
	rr.confirm()
	rr.soften()
	above, below := f.get("above"), f.get("below")
	switch {
	case above != nil && below != nil:
		d.fault(f["below"].key, "make two rules of it", "%s has both `above` and `below`", rr.what)
	case above != nil:
		rr.limits(above, "above")
	case below != nil:
		r.Below = true
		rr.limits(below, "below")
	default:
		d.fault(rr.key, "write `above: {advisory: 2, caution: 3, warning: 5}`, or `below`", "%s has no limits: `above` or `below` is missing", rr.what)
	}
}

// limits reads the limit of each stage and checks the constant ones.
func (rr *ruleReader) limits(n *yaml.Node, key string) {
	f := rr.d.mapping(n, key+" of "+rr.what, StageNames[1:]...)
	if n.Kind == yaml.MappingNode && len(n.Content) == 0 {
		rr.d.fault(n, "write {advisory: 2, caution: 3, warning: 5}, or some of them", "%s of %s is empty", key, rr.what)
	}
	for stage := Advisory; stage <= Warning; stage++ {
		v := f.get(StageNames[stage])
		if v == nil {
			continue
		}
		rr.r.Has[stage] = true
		rr.r.compiled.limits[stage] = rr.expression(v, StageNames[stage], number, true)
	}
	lower := 0
	for stage := Advisory; stage <= Warning; stage++ {
		c := rr.r.compiled.limits[stage]
		if c == nil || !c.value.constant {
			continue
		}
		if lower > 0 {
			rr.order(f.get(StageNames[stage]), key, lower, stage)
		}
		lower = stage
	}
}

// order checks two limits that are constant: the worse stage lies further out,
// and the deadband of the worse does not reach over the other.
func (rr *ruleReader) order(n *yaml.Node, key string, lower, upper int) {
	l := rr.r.compiled.limits
	a, b := l[lower].value.value, l[upper].value.value
	gap := b - a
	if rr.r.Below {
		gap = a - b
	}
	band := rr.r.Deadband
	if b > 0 {
		band *= b
	}
	switch {
	case gap < 0:
		rr.d.fault(n, "the worse the stage, the further out its limit", "%s: %s at %s comes before %s at %s", key,
			StageNames[upper], english.Number(b), StageNames[lower], english.Number(a))
	case gap > 0 && band > gap && !Equal(band, gap):
		rr.d.fault(rr.f.get("deadband"), fmt.Sprintf("at most %s fits between %s and %s", rr.widest(gap, b), english.Number(a), english.Number(b)),
			"the deadband of %s is wider than the gap between %s and %s", rr.what, StageNames[lower], StageNames[upper])
	}
}

// widest is the deadband that just fits a gap under limit b.
func (rr *ruleReader) widest(gap, b float64) string {
	if b > 0 {
		return english.Number(math.Floor(1000*gap/b)/10) + "%"
	}
	return english.Number(gap)
}

// deadband reads "10%", or a number where limits are zero or less.
func (rr *ruleReader) deadband() {
	n := rr.f.get("deadband")
	if n == nil {
		return
	}
	if n.Kind == yaml.ScalarNode && (n.Tag == "!!int" || n.Tag == "!!float") {
		v, ok := rr.d.number(n, "deadband of "+rr.what)
		if ok && v < 0 {
			rr.d.fault(n, "", "deadband of %s is less than nothing", rr.what)
		}
		rr.r.Deadband = v
		return
	}
	v, ok := rr.d.share(n, "deadband of "+rr.what)
	if ok && v >= 1 {
		rr.d.fault(n, "5% to 20% are usual", "deadband of %s must be under 100%%", rr.what)
	}
	rr.r.Deadband = v
}

// confirmLimit is how many samples a record keeps of a component.
const confirmLimit = 50

// confirm reads how many judged samples in a row must reach a limit: a number, by
// which a warning still acts at once, or by stage.
func (rr *ruleReader) confirm() {
	rr.r.Confirm = [4]int{1, 1, 1, 1}
	n := rr.f.get("confirm")
	if n == nil {
		return
	}
	if rr.r.On != 0 && rr.r.On&OnSample == 0 {
		rr.d.fault(rr.f["confirm"].key, "", "confirm counts samples, but %s is not `on: sample`", rr.what)
	}
	if n.Kind != yaml.MappingNode {
		v := rr.d.whole(n, "confirm of "+rr.what, 1, confirmLimit)
		rr.r.Confirm[Advisory], rr.r.Confirm[Caution] = v, v
		return
	}
	f := rr.d.mapping(n, "confirm of "+rr.what, StageNames[1:]...)
	for stage := Advisory; stage <= Warning; stage++ {
		if v := f.get(StageNames[stage]); v != nil {
			rr.r.Confirm[stage] = rr.d.whole(v, "confirm of "+rr.what, 1, confirmLimit)
		}
	}
}

// ratioAlone is a measure that grows with the fluid's age as the baseline's mean does.
var ratioAlone = regexp.MustCompile(`^\s*times\s*\(\s*"[^"]*"\s*\)\s*$`)

// soften reads `soften by age`, which fits a plain ratio with a limit that may be
// softened.
func (rr *ruleReader) soften() {
	n := rr.f.get("soften by age")
	if n == nil {
		return
	}
	rr.r.Softened = rr.d.yes(n, "soften by age of "+rr.what, false)
	m, above := rr.f.get("measure"), rr.f.get("above")
	switch {
	case !rr.r.Softened:
	case m.Kind == yaml.ScalarNode && !ratioAlone.MatchString(m.Value):
		rr.d.fault(n, `it fits "measure: times("Cu")"; timesForAge is scaled to the age already`,
			"soften by age of %s: its measure is not times(…) alone", rr.what)
	case rr.r.On != 0 && rr.r.On != OnSample:
		rr.d.fault(n, "", "soften by age of %s is for rules that are `on: sample` alone", rr.what)
	case above == nil, above.Kind == yaml.MappingNode && !names(above, StageNames[Advisory], StageNames[Caution]):
		rr.d.fault(n, "a warning is never softened", "soften by age of %s: it has no advisory or caution `above` to soften", rr.what)
	}
}

// names reports whether a mapping has one of the keys.
func names(n *yaml.Node, keys ...string) bool {
	for i := 0; i < len(n.Content); i += 2 {
		if slices.Contains(keys, n.Content[i].Value) {
			return true
		}
	}
	return false
}

// eachStage calls read with the value for each stage: given once, the same for
// all, or by stage.
func (rr *ruleReader) eachStage(key string, read func(n *yaml.Node, stage int)) {
	n := rr.f.get(key)
	if n == nil {
		return
	}
	if !byStage(n) {
		read(n, 0)
		return
	}
	for _, e := range rr.d.entries(n, key+" of "+rr.what) {
		stage := stageNumber(e.key.Value)
		if !rr.r.Has[stage] && rr.r.Has != [4]bool{} {
			rr.d.fault(e.key, "", "%s of %s speaks of a stage that the rule does not have: %s", key, rr.what, e.key.Value)
		}
		read(e.value, stage)
	}
}

func (rr *ruleReader) templates() {
	c := rr.r.compiled
	sc := scope{what: "say of " + rr.what, words: true, measure: rr.r.Measured, stage: true}
	if v := rr.f.get("say"); v != nil {
		c.say = rr.d.template(v, sc, newAsks())
	}
	sc.what = "advise of " + rr.what
	rr.eachStage("advise", func(n *yaml.Node, stage int) {
		if n.Kind == yaml.MappingNode {
			rr.d.fault(n, "write a text, or a text for each of advisory, caution, warning", "advise of %s must be text", rr.what)
			return
		}
		t := rr.d.template(n, sc, newAsks())
		for s := range c.advise {
			if stage == 0 || stage == s {
				c.advise[s] = t
			}
		}
		if (stage == 0 || stage == Warning) && rr.r.Has[Warning] && !acts.MatchString(n.Value) {
			rr.d.question(n, "a warning is for what must be acted on now", "the advice of %s at warning says neither stop nor inspect", rr.what)
		}
	})
}

// acts finds the advice that a warning should give.
var acts = regexp.MustCompile(`(?i)\b(stop|inspect)`)

// cautions reads what to mind; who asks for work must say it.
func (rr *ruleReader) cautions() {
	var said [4]bool
	rr.eachStage("cautions", func(n *yaml.Node, stage int) {
		list := rr.d.cautions(n, rr.what)
		for s := Advisory; s <= Warning; s++ {
			if stage == 0 || stage == s {
				rr.r.Cautions[s], said[s] = list, true
			}
		}
	})
	for s := Advisory; s <= Warning; s++ {
		asks := rr.r.compiled.advise[s] != nil || rr.f.get("pull in") != nil
		if rr.r.Has[s] && asks && !said[s] {
			rr.d.mustMind(rr.key, rr.what)
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

func (rr *ruleReader) followUps() {
	rr.eachStage("follow up", func(n *yaml.Node, stage int) {
		rr.r.FollowUps = append(rr.r.FollowUps, rr.d.followUps(n, "follow up of "+rr.what, stage)...)
		for i := 1; n.Kind == yaml.MappingNode && i < len(n.Content); i += 2 {
			if l := valueOf(n.Content[i], "lapses"); l != nil {
				rr.d.fault(l, "what an alarm asks for stands until it is done", "the follow-up %q of %s cannot lapse", n.Content[i-1].Value, rr.what)
			}
		}
	})
	inherit(rr.r.FollowUps, rr.worst)
	if i := slices.IndexFunc(rr.r.FollowUps, func(u FollowUp) bool { return u.Cautions == nil }); i >= 0 {
		rr.d.mustMind(rr.key, fmt.Sprintf("the follow-up %q of %s", rr.r.FollowUps[i].Name, rr.what))
	}
	slices.SortStableFunc(rr.r.FollowUps, func(a, b FollowUp) int {
		return cmp.Or(strings.Compare(a.Name, b.Name), cmp.Compare(a.Stage, b.Stage))
	})
}

// components decides whether the rule is kept for each component, and refuses
// one that asks about a fluid without being so.
func (rr *ruleReader) components() {
	r, c := rr.r, rr.r.compiled
	r.PerComponent = r.On&OnSample != 0
	for _, e := range append([]*Condition{r.Where, c.measure, c.raise, c.clear}, c.limits[:]...) {
		r.PerComponent = r.PerComponent || e != nil && e.ReadsComponent
	}
	all := append([]*template{c.say}, c.advise[:]...)
	for _, t := range all {
		r.PerComponent = r.PerComponent || t.readsComponent()
	}
	if r.PerComponent || r.On == 0 {
		return
	}
	questions := []*Fault{c.asks.sample}
	for _, t := range all {
		if t != nil {
			questions = append(questions, t.asks.sample)
		}
	}
	for _, q := range questions {
		if q != nil {
			rr.d.l.add(*q)
		}
	}
}

// Asks lists the analytes of which the rule, its message or its advice asks the word,
// sorted.
func (r *Rule) Asks(w Word) []string {
	all := []*asks{r.compiled.asks}
	for _, t := range append([]*template{r.compiled.say}, r.compiled.advise[:]...) {
		if t != nil {
			all = append(all, t.asks)
		}
	}
	var out []string
	for _, a := range all {
		for _, q := range a.list {
			if of, _, _ := strings.Cut(q.arg, " "); q.info.word == w {
				out = append(out, of)
			}
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// Reads lists what the words of the rule's condition and limits are asked of
// (analytes, tasks, grades), sorted.
func (r *Rule) Reads() []string {
	var out []string
	for _, q := range r.compiled.asks.list {
		of, _, _ := strings.Cut(q.arg, " ")
		out = append(out, of)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// Condition is the rule's measure, or what raises it, as it is written.
func (r *Rule) Condition() string {
	c := r.compiled.measure
	if c == nil {
		c = r.compiled.raise
	}
	return strings.TrimSpace(c.Text)
}

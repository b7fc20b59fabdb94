package rules

import (
	"fmt"
	"slices"
	"strings"

	"telltale/rules/unit"

	"gopkg.in/yaml.v3"
)

var taskKeys = []string{"title", "was", "where", "over", "every", "first", "contains", "early", "tolerance", "shorten", "unknown history",
	"count from", "statutory", "share", "needs", "cautions", "follow up", "source"}

// task reads maintenance that recurs.
func (d *document) task(key, n *yaml.Node) {
	what := fmt.Sprintf("task %q", key.Value)
	f := d.mapping(n, what, taskKeys...)
	t := &Task{Name: key.Value, At: d.place(key), Title: key.Value, Sources: d.figures(n, what), ToFill: d.blanks(n, what)}
	d.source(f.get("source"), n, what)
	if v := f.get("title"); v != nil {
		t.Title = d.text(v, "title of "+what)
	}
	t.Was, t.was = d.was(key, f.get("was"), what)
	if v := f.get("where"); v != nil {
		t.Where = d.where(v, what)
	}
	t.Over, t.over = d.texts(f.get("over"), "over of "+what), overAt{key, items(f.get("over")), d}
	d.interval(key, t, f, what, n.Kind == yaml.MappingNode)
	if v := f.get("shorten"); v != nil {
		t.Shorten = d.shorten(v, what)
	}
	t.PerComponent = t.Where != nil && t.Where.ReadsComponent || t.Shorten != nil && t.Shorten.ReadsComponent
	if t.Shorten != nil && t.Shorten.asks.sample != nil && !t.PerComponent {
		d.l.add(*t.Shorten.asks.sample)
	}
	t.History = History(d.choice(f.get("unknown history"), "unknown history of "+what, "due", "from first reading", "from in-service date"))
	d.first(t, f.get("first"), what)
	d.contains(t, f.get("contains"), what)
	t.FromSchedule = d.choice(f.get("count from"), "count from of "+what, "done", "schedule") == 1
	t.Statutory = d.yes(f.get("statutory"), "statutory of "+what, false)
	d.exchanged(t, f.get("share"), what)
	t.Needs = d.needs(f.get("needs"), "needs of "+what)
	t.Cautions = d.cautions(f.get("cautions"), what)
	if f.get("cautions") == nil && n.Kind == yaml.MappingNode {
		d.mustMind(key, what)
	}
	if v := f.get("follow up"); v != nil {
		t.FollowUps = d.followUps(v, "follow up of "+what, 0)
	}
	inherit(t.FollowUps, func(int) []string { return t.Cautions })
	d.l.book.Tasks = append(d.l.book.Tasks, t)
}

// was reads the earlier name of a task or rule.
func (d *document) was(key, n *yaml.Node, what string) (string, wasAt) {
	at := wasAt{d.place(key), d}
	if n == nil {
		return "", at
	}
	at.at = d.place(n)
	name := d.text(n, "was of "+what)
	if name == key.Value {
		d.fault(n, "`was` is for the earlier name of something renamed", "%s was always called so", what)
		return "", at
	}
	return name, at
}

// interval reads every, early and tolerance.
func (d *document) interval(key *yaml.Node, t *Task, f fields, what string, isMapping bool) {
	if v := f.get("every"); v != nil {
		t.Every = d.limits(v, "every")
	} else if isMapping {
		d.fault(key, "write `every: {distance: 45000 km, time: 36 months}`", "%s does not say how often: `every` is missing", what)
	}
	t.Early, t.Tolerance = d.margins(f, what, t.Every, "every")
}

// margins reads the early limits and the tolerance of an interval.
func (d *document) margins(f fields, what string, of Limits, key string) (early Limits, tol Tolerance) {
	if v := f.get("early"); v != nil {
		early = d.limits(v, "early")
		d.within(v, "early", early, of, key)
	}
	v := f.get("tolerance")
	switch {
	case v == nil || v.Kind == yaml.ScalarNode && v.Value == "0":
		return early, tol
	case v.Kind == yaml.MappingNode:
		tol.Fixed = d.limits(v, "tolerance")
		d.within(v, "tolerance", tol.Fixed, of, key)
		return early, tol
	}
	share, ok := d.share(v, "tolerance of "+what)
	if ok && share > 1 {
		d.fault(v, "a task this late has been left out once", "tolerance of %s is over 100%%", what)
	}
	tol.Share = share
	return early, tol
}

// shorten reads the factor by which intervals are multiplied.
func (d *document) shorten(n *yaml.Node, what string) *Condition {
	c := d.condition(n, scope{what: "shorten of " + what, want: number, words: true}, newAsks())
	switch {
	case c == nil || !c.value.constant:
	case !(c.value.value > 0):
		d.fault(n, "0.75 makes the interval three quarters as long", "shorten of %s must be more than zero", what)
	case c.value.value > 1:
		d.fault(n, "write the longer interval under `every:`", "shorten of %s makes every interval longer", what)
	}
	return c
}

// exchanged reads the share of the fluid that the task renews.
func (d *document) exchanged(t *Task, n *yaml.Node, what string) {
	if n == nil {
		return
	}
	v, ok := d.share(n, "share of "+what)
	switch {
	case ok && (v <= 0 || v > 1):
		d.fault(n, "a drain and refill of a half is 50%", "share of %s must be over 0%% and at most 100%%", what)
	case ok && !t.PerComponent:
		d.fault(n, "let `where` read component, so that it is known whose fluid it is", "share of %s: the task is kept once a vehicle and renews no one's fluid", what)
	case ok:
		t.Share = v
	}
}

// needs reads the fluids and parts to have ready.
func (d *document) needs(n *yaml.Node, what string) []Need {
	if n == nil {
		return nil
	}
	if n.Kind != yaml.SequenceNode {
		d.fault(n, "write [{fluid: ATF, volume: 4 L}, {part: filter}]", "%s must be a list, not %s", what, kindName(n))
		return nil
	}
	var out []Need
	for _, e := range n.Content {
		if need, ok := d.need(e, what); ok {
			out = append(out, need)
		}
	}
	return out
}

func (d *document) need(n *yaml.Node, what string) (Need, bool) {
	f := d.mapping(n, "an entry of "+what, "fluid", "volume", "part", "count")
	need := Need{Fluid: d.text(f.get("fluid"), "fluid"), Part: d.text(f.get("part"), "part")}
	switch {
	case n.Kind != yaml.MappingNode:
		return need, false
	case (need.Fluid == "") == (need.Part == ""):
		d.fault(n, "write {fluid: ATF, volume: 4 L} or {part: filter}", "an entry of %s names a fluid or a part, one of them", what)
	case need.Fluid != "" && f.get("count") != nil:
		d.fault(f["count"].key, "write `volume: 4 L`", "a fluid has a volume, not a count")
	case need.Part != "" && f.get("volume") != nil:
		d.fault(f["volume"].key, "write `count: 2`", "a part has a count, not a volume")
	}
	if v := f.get("volume"); v != nil {
		need.Volume = d.positive(v, "volume", unit.Volume)
	}
	if need.Part != "" {
		need.Count = 1
	}
	if v := f.get("count"); v != nil {
		need.Count = d.whole(v, "count", 1, 1000)
	}
	return need, true
}

// byStage reports whether a mapping is given by stage: all its keys are names of stages.
func byStage(n *yaml.Node) bool {
	if n.Kind != yaml.MappingNode || len(n.Content) == 0 {
		return false
	}
	for i := 0; i < len(n.Content); i += 2 {
		if stageNumber(n.Content[i].Value) == 0 {
			return false
		}
	}
	return true
}

// stageNumber is 1..3 for the name of a stage, else 0.
func stageNumber(name string) int { return max(slices.Index(StageNames[:], name), 0) }

// followUps reads the one-off tasks that a service or an alarm opens, by name.
func (d *document) followUps(n *yaml.Node, what string, stage int) []FollowUp {
	var out []FollowUp
	for _, f := range d.entries(n, what) {
		if d.named(f.key, "a follow-up") {
			out = append(out, d.followUp(f.key, f.value, stage))
		}
	}
	slices.SortFunc(out, func(a, b FollowUp) int { return strings.Compare(a.Name, b.Name) })
	return out
}

// inherit gives follow-ups that name no cautions those of what opens them.
func inherit(list []FollowUp, from func(stage int) []string) {
	for i := range list {
		if u := &list[i]; u.Cautions == nil {
			u.Cautions = from(u.Stage)
		}
	}
}

func (d *document) followUp(key, n *yaml.Node, stage int) FollowUp {
	what := fmt.Sprintf("follow-up %q", key.Value)
	f := d.mapping(n, what, "after", "within", "early", "tolerance", "lapses", "settled by", "title", "cautions")
	u := FollowUp{Name: key.Value, Title: key.Value, Stage: stage, Cautions: d.cautions(f.get("cautions"), what)}
	if v := f.get("title"); v != nil {
		u.Title = d.text(v, "title of "+what)
	}
	if v := f.get("settled by"); v != nil {
		d.choice(v, "settled by of "+what, "sample")
		u.BySample = true
	}
	after, within := f.get("after"), f.get("within")
	switch {
	case n.Kind != yaml.MappingNode:
	case after != nil && within != nil:
		d.fault(f["within"].key, "`after` is due at that point; `within` is asked for at once and due by then", "%s says both `after` and `within`", what)
	case after != nil:
		u.At = d.limits(after, "after")
	case within != nil:
		u.Within, u.At = true, d.limits(within, "within")
	default:
		d.fault(key, "write `after: {distance: 500 km}` or `within: {time: 30 days}`", "%s does not say when", what)
	}
	limits := "after"
	if u.Within {
		limits = "within"
		if e, ok := f["early"]; ok {
			d.fault(e.key, "what is asked for `within` some limits is soon at once", "%s needs no `early`", what)
			delete(f, "early")
		}
	}
	u.Early, u.Tolerance = d.margins(f, what, u.At, limits)
	if v := f.get("lapses"); v != nil {
		u.Lapses = d.lapses(v, what, u, limits)
	}
	return u
}

// lapses reads how far past its point a follow-up of a task is dropped, by its meters,
// which is later than it is overdue.
func (d *document) lapses(n *yaml.Node, what string, u FollowUp, of string) Limits {
	l := d.limits(n, "lapses")
	for i := 0; i+1 < len(n.Content); i += 2 {
		k, v := n.Content[i], n.Content[i+1]
		mine, at := l.part(k.Value), u.At.part(k.Value)
		switch {
		case k.Value == "time":
			d.fault(k, "write a distance or hours: a vehicle that stands would lose it", "%s cannot lapse by the calendar", what)
		case mine > 0 && at == 0:
			d.noSuchLimit(k, "lapses", of)
		case mine > 0 && mine <= max(u.Tolerance.Fixed.part(k.Value), u.Tolerance.Share*at):
			d.fault(v, "it lapses far past its point, when the answer is of no use any more", "%s lapses before it is overdue", what)
		}
	}
	return l
}

package rules

import (
	"slices"
	"strings"

	"gopkg.in/yaml.v3"

	"telltale/rules/expression"
	"telltale/rules/source"
	"telltale/rules/unit"
)

var taskKeys = []string{"title", "was", "where", "over", "every", "first", "contains", "early", "tolerance", "shorten", "unknown history",
	"count from", "settled by", "statutory", "share", "needs", "cautions", "follow up", "source"}

// task reads maintenance that recurs.
func (e *entry) task() {
	t := &Task{Part: e.part(taskKeys...)}
	f, isMapping := e.f, e.n.Kind == yaml.MappingNode
	t.Every, t.Shorten = e.limits(f["every"], "every"), e.shorten()
	if f["every"] == nil && isMapping {
		e.Fault(e.key, "write `every: {distance: 45000 km, time: 36 months}`", "%s does not say how often: `every` is missing", e.what)
	}
	e.yearly(t)
	t.Meter = e.meterOf(t)
	t.Until = e.until(source.Value(f["every"], "until"))
	within := t.Every
	if source.Value(f["every"], "until") != nil {
		within = within.worn()
	}
	t.Early, t.Tolerance = e.margins(f, e.what, within, "every")
	e.whenReported(t)
	t.PerComponent = t.Where != nil && t.Where.ReadsComponent || t.Shorten != nil && t.Shorten.ReadsComponent
	if t.Shorten != nil && t.Shorten.Asks().Sample != nil && !t.PerComponent && !e.faultyWhere(&t.Part) {
		e.Add(*t.Shorten.Asks().Sample)
	}
	t.History = History(e.Choice(f["unknown history"], "unknown history of "+e.what, "due", "from first reading", "from in-service date"))
	t.First = e.first(t)
	e.Texts(f["contains"], "contains of "+e.what)
	t.FromSchedule = e.Choice(f["count from"], "count from of "+e.what, "done", "schedule") == 1
	t.BySample = e.bySample(t)
	t.Statutory = e.Yes(f["statutory"], "statutory of "+e.what, false)
	t.Share = e.exchanged(t)
	t.Needs = e.needs(f["needs"], "needs of "+e.what)
	t.Cautions = e.cautions(f["cautions"], e.what)
	if f["cautions"] == nil && isMapping {
		e.mustMind(e.what)
	}
	if v := f["follow up"]; v != nil {
		t.FollowUps = e.followUps(v, "follow up of "+e.what, 0)
	}
	inherit(t.FollowUps, func(int) []string { return t.Cautions })
	e.l.book.Tasks = append(e.l.book.Tasks, t)
	e.l.tasks[t.Name] = t
}

// bySample reads whether a sample settles the task.
func (e *entry) bySample(t *Task) bool {
	n := e.f["settled by"]
	if n == nil {
		return false
	}
	e.Choice(n, "settled by of "+e.what, "sample")
	if v := source.Key(e.n, "follow up"); v != nil {
		e.Fault(v, "let a rule on the sample open it", "%s is settled by a sample, which opens no follow-up", e.what)
	}
	return true
}

// first reads the interval of a vehicle that began new.
func (e *entry) first(t *Task) Limits {
	n := e.f["first"]
	first := e.limits(n, "first")
	e.inside(n, "first", first, t.Every, "every")
	if n != nil && t.History != HistoryInService {
		e.Fault(n, "write `unknown history: from in-service date`: it counts from when the vehicle was new", "%s has a first interval and nothing that it counts from", e.what)
	}
	return first
}

// whenReported stands for an interval where work is due when somebody reports a defect.
const whenReported = "when reported"

func isReported(n *yaml.Node) bool {
	return n != nil && n.Kind == yaml.ScalarNode && n.Value == whenReported
}

// whenReported reads a task that is due when somebody reports a defect: it has no interval,
// and nothing that goes by one.
func (e *entry) whenReported(t *Task) {
	if t.Reported = isReported(e.f["every"]); !t.Reported {
		return
	}
	for _, k := range []string{"first", "early", "shorten", "unknown history", "count from", "settled by", "share"} {
		if e.f[k] != nil {
			e.Fault(source.Key(e.n, k), "leave it out", "%s is due when something is reported, so it has no `%s`", e.what, k)
		}
	}
	if tol := t.Tolerance; tol.Share > 0 || tol.Fixed.Distance > 0 || tol.Fixed.Hours > 0 {
		e.Fault(e.f["tolerance"], "write `tolerance: {time: 3 days}`: how long after the report it is overdue", "tolerance of %s must be a time", e.what)
	}
}

// yearly reads the day on which the task is due each year.
func (e *entry) yearly(t *Task) {
	n := source.Value(e.f["every"], "year")
	if n == nil {
		return
	}
	month, day, ok := e.Day(n, "every year")
	t.Year = DayOfYear{month, day}
	if t.Every.Months+t.Every.Days > 0 {
		e.Fault(source.Key(e.f["every"], "time"), "leave one of the two out: a day of the year does not move with the work", "%s has both a `time` and a day of the `year`", e.what)
	}
	if k := source.Key(e.f["first"], "time"); k != nil {
		e.Fault(k, "the first is due on that day, too", "%s has a day of the year, and a first time beside it", e.what)
	}
	if ok {
		t.Every.Months, t.Every.Days = 12, 0
	}
}

// meterOf reads the name of the meter by which the task counts.
func (e *entry) meterOf(t *Task) string {
	n := source.Value(e.f["every"], "of")
	if n == nil {
		return ""
	}
	name := e.Text(n, "of in every")
	if name != "" && (t.Every.Distance > 0) == (t.Every.Hours > 0) {
		e.Fault(source.Key(e.f["every"], "of"), "write {hours: 500 h, of: engine hours}", "%s must have either `distance` or `hours`, so that it is known what the %s counts", e.what, name)
	}
	return name
}

// margins reads the early limits and the tolerance of an interval.
func (e *entry) margins(f map[string]*yaml.Node, what string, of Limits, key string) (early Limits, tol Tolerance) {
	early = e.limits(f["early"], "early")
	e.inside(f["early"], "early", early, of, key)
	v := f["tolerance"]
	switch {
	case v == nil || v.Kind == yaml.ScalarNode && v.Value == "0":
	case v.Kind == yaml.MappingNode:
		tol.Fixed = e.limits(v, "tolerance")
		e.inside(v, "tolerance", tol.Fixed, of, key)
	default:
		share, ok := e.Share(v, "tolerance of "+what)
		if ok && share > 1 {
			e.Fault(v, "at 100% a whole interval is missed", "tolerance of %s is over 100%%", what)
		}
		tol.Share = share
	}
	return early, tol
}

// shorten reads the factor by which intervals are multiplied.
func (e *entry) shorten() *expression.Condition {
	n := e.f["shorten"]
	c := e.l.lang.Condition(e.Document, n, expression.Scope{What: "shorten of " + e.what, Want: expression.Number, Words: true, Units: e.units}, &expression.Asks{})
	if c == nil {
		return nil
	}
	switch factor, always := c.Constant(); {
	case c.Measures() != "":
		e.Fault(n, "divide it by its like: 0.75 makes the interval three quarters as long", "shorten of %s must be a number without a unit, this is %s", e.what, c.Measures())
	case !always:
	case !(factor > 0):
		e.Fault(n, "0.75 makes the interval three quarters as long", "shorten of %s must be more than zero", e.what)
	case factor > 1:
		e.Fault(n, "write the longer interval under `every:`", "shorten of %s makes every interval longer", e.what)
	}
	return c
}

// faultyWhere reports whether the part has a where that could not be read.
func (e *entry) faultyWhere(p *Part) bool { return e.f["where"] != nil && p.Where == nil }

// exchanged reads the share of the fluid that the task renews.
func (e *entry) exchanged(t *Task) float64 {
	n := e.f["share"]
	if n == nil {
		return 0
	}
	v, ok := e.Share(n, "share of "+e.what)
	switch {
	case ok && (v <= 0 || v > 1):
		e.Fault(n, "a drain and refill of a half is 50%", "share of %s must be over 0%% and at most 100%%", e.what)
	case ok && !t.PerComponent && e.faultyWhere(&t.Part): // nobody knows
	case ok && !t.PerComponent:
		e.Fault(n, "let `where` read component, so that it is known whose fluid it is", "share of %s: the task is kept once a vehicle, so no component's fluid is renewed", e.what)
	}
	return v
}

// needs reads the fluids and parts to have ready.
func (e *entry) needs(n *yaml.Node, what string) []Need {
	if n == nil {
		return nil
	}
	if n.Kind != yaml.SequenceNode {
		e.Fault(n, "write [{fluid: ATF, volume: 4 L}, {part: filter}]", "%s must be a list, not %s", what, source.KindName(n))
		return nil
	}
	var out []Need
	for _, c := range n.Content {
		if need, ok := e.need(c, what); ok {
			out = append(out, need)
		}
	}
	return out
}

func (e *entry) need(n *yaml.Node, what string) (Need, bool) {
	f := e.Mapping(n, "an entry of "+what, "fluid", "volume", "part", "count")
	need := Need{Fluid: e.Text(f["fluid"], "fluid"), Part: e.Text(f["part"], "part")}
	switch {
	case n.Kind != yaml.MappingNode:
		return need, false
	case (need.Fluid == "") == (need.Part == ""):
		e.Fault(n, "write {fluid: ATF, volume: 4 L} or {part: filter}", "each entry of %s names either a fluid or a part", what)
	case need.Fluid != "" && f["count"] != nil:
		e.Fault(source.Key(n, "count"), "write `volume: 4 L`", "a fluid has a volume, not a count")
	case need.Part != "" && f["volume"] != nil:
		e.Fault(source.Key(n, "volume"), "write `count: 2`", "a part has a count, not a volume")
	}
	need.Volume = e.positive(f["volume"], "volume", unit.Volume)
	if v := f["count"]; v != nil {
		need.Count = e.Whole(v, "count", 1, 1000)
	} else if need.Part != "" {
		need.Count = 1
	}
	return need, true
}

// byStage reports whether a mapping is given by stage. One that may have names of its own
// is where a key is a stage, or nearly one and holds more names.
func byStage(n *yaml.Node, names bool) bool {
	if n.Kind != yaml.MappingNode || len(n.Content) == 0 || !names {
		return n.Kind == yaml.MappingNode && len(n.Content) > 0
	}
	for k, v := range source.Pairs(n) {
		if stageNumber(k.Value) > 0 || source.Near(k.Value, StageNames[1:]) != "" && holdsNames(v) {
			return true
		}
	}
	return false
}

// holdsNames reports whether all values of a mapping are mappings, and none of its keys is
// one of a follow-up or of what is pulled in.
func holdsNames(n *yaml.Node) bool {
	for k, v := range source.Pairs(n) {
		if v.Kind != yaml.MappingNode || slices.Contains(followUpKeys, k.Value) {
			return false
		}
	}
	return n.Kind == yaml.MappingNode && len(n.Content) > 0
}

var followUpKeys = []string{"after", "within", "early", "tolerance", "lapses", "settled by", "title", "cautions"}

// stageNumber is 1..3 for the name of a stage, else 0.
func stageNumber(name string) int { return max(slices.Index(StageNames[:], name), 0) }

// followUps reads the one-off tasks that a service or an alarm opens, by name.
func (e *entry) followUps(n *yaml.Node, what string, stage int) []FollowUp {
	var out []FollowUp
	for _, p := range e.Entries(n, what) {
		if e.Named(p.Key, "a follow-up") {
			out = append(out, e.within(p, "follow-up").followUp(stage))
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

func (e *entry) followUp(stage int) FollowUp {
	e.f = e.Mapping(e.n, e.what, followUpKeys...)
	u := FollowUp{Name: e.key.Value, Title: e.titled(), Stage: stage, Cautions: e.cautions(e.f["cautions"], e.what)}
	if v := e.f["settled by"]; v != nil {
		e.Choice(v, "settled by of "+e.what, "sample")
		u.BySample = true
	}
	limits, after, within := "after", e.f["after"], e.f["within"]
	switch {
	case e.n.Kind != yaml.MappingNode:
	case after != nil && within != nil:
		e.Fault(source.Key(e.n, "within"), "`after` is due at that point; `within` is on the list at once and due by then", "%s says both `after` and `within`", e.what)
	case after != nil:
		u.At = e.limits(after, "after")
	case within != nil:
		limits, u.Within, u.At = "within", true, e.limits(within, "within")
		if e.f["early"] != nil {
			e.Fault(source.Key(e.n, "early"), "`within` is soon from the start", "%s needs no `early`", e.what)
			delete(e.f, "early")
		}
	default:
		e.Fault(e.key, "write `after: {distance: 500 km}` or `within: {time: 30 days}`", "%s does not say when", e.what)
	}
	u.Early, u.Tolerance = e.margins(e.f, e.what, u.At, limits)
	if u.Lapses = e.lapses(u, limits); e.f["tolerance"] == nil {
		u.Tolerance.Fixed = u.Lapses // due for as long as it is asked for, and never overdue by that limit
	}
	return u
}

// lapses reads how far past its point a follow-up of a task is dropped, by its meters,
// which is later than it is overdue.
func (e *entry) lapses(u FollowUp, of string) Limits {
	n := e.f["lapses"]
	l := e.limits(n, "lapses")
	for k, v := range source.Pairs(n) {
		mine, at := l.part(k.Value), u.At.part(k.Value)
		switch {
		case k.Value == "time":
			e.Fault(k, "give a distance or hours; by the calendar a parked vehicle would lose it", "%s cannot lapse by the calendar", e.what)
		case mine > 0 && at == 0 && source.Key(e.f[of], k.Value) != nil: // which is wrong itself
		case mine > 0 && at == 0:
			e.noSuchLimit(k, "lapses", of)
		case mine > 0 && mine <= max(u.Tolerance.Fixed.part(k.Value), u.Tolerance.Share*at):
			e.Fault(v, "give it more: a check lapses long after its point, when the answer is no longer useful", "%s lapses before it is overdue", e.what)
		}
	}
	return l
}

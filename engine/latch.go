package engine

import (
	"math"
	"slices"
	"sort"
	"strings"

	"telltale/engine/lab"
	"telltale/rules"
)

// Latch is how far a rule has got on one vehicle or component: which of its
// limits are on, and what it opened. It is a function of the record's facts and
// can be made anew by walking them in order.
type Latch struct {
	AlarmKey
	Stage int     `json:"stage,omitempty"`
	On    [4]bool `json:"on"`    // limits by stage number; a pattern has the one of its stage
	Count [4]int  `json:"count"` // judged samples in a row that reached the limit
	// Reached is the event at which the stage was reached, Age the age of the
	// fluid then: metres and seconds, negative where unknown.
	Reached ID         `json:"reached,omitzero"`
	Age     [2]float64 `json:"age"`
	Masked  bool       `json:"masked,omitempty"` // at the last judgement an exchange hid the evidence
	// Opened are the follow-ups opened in this life of the alarm, Openings all of
	// those that may still count.
	Opened   []string  `json:"opened,omitempty"`
	Openings []Opening `json:"openings,omitempty"`
	// Pulls are the tasks pulled in, the last PullsNow of them in this life of the alarm.
	Pulls    []Opening `json:"pulls,omitempty"`
	PullsNow int       `json:"pullsNow,omitempty"`
	Judged   ID        `json:"judged,omitzero"`   // the event at the last judgement
	Missing  []string  `json:"missing,omitempty"` // why the last event was not judged
}

// Opening is a follow-up that a rule opened, or a task that it pulled in: where the
// vehicle stood then.
type Opening struct {
	Name     string  `json:"name"`
	By       ID      `json:"by"`
	Stage    int     `json:"stage,omitempty"` // of the rule; 0 where a service opened it
	At       int64   `json:"t"`               // Unix nanoseconds
	Distance float64 `json:"distance"`        // metres, negative where unknown
	Hours    float64 `json:"hours"`           // seconds, negative where unknown
	// Stated: what opened it rests on a share of the fluid that nobody measured.
	Stated bool `json:"stated,omitempty"`
}

// Openings kept for a rule, and as many of tasks pulled in.
const keptOpenings = 16

// judgement is a place at which a rule is judged: a sample, an accepted reading,
// a service or a tick.
type judgement struct {
	before place
	at     int64 // readings up to this moment count
	id     ID
}

// latch returns the latch of that key, a new one where there is none.
func (r *Record) latch(k AlarmKey) (Latch, bool) {
	i, ok := r.latchAt(k)
	if !ok {
		return Latch{AlarmKey: k}, false
	}
	return r.Latches[i], true
}

// latchAt is where the latch of that key stands, or would. A latch is large, and a
// search by value copies each that it looks at.
func (r *Record) latchAt(k AlarmKey) (int, bool) {
	i := sort.Search(len(r.Latches), func(i int) bool { return r.Latches[i].compare(k) >= 0 })
	return i, i < len(r.Latches) && r.Latches[i].AlarmKey == k
}

// setLatch puts the latch into the record, of which the latches are copied at the
// first of the fold.
func (f *fold) setLatch(l Latch) {
	r := f.rec
	if !f.ownLatches {
		r.Latches, f.ownLatches = slices.Clone(r.Latches), true
	}
	i, ok := r.latchAt(l.AlarmKey)
	if ok {
		r.Latches[i] = l
		return
	}
	r.Latches = slices.Insert(r.Latches, i, l)
}

// step judges the rule at one place and moves the latch. It reports whether the rule
// could be judged.
func (f *view) step(r *rules.Rule, comp int, l *Latch, at judgement) bool {
	x := f.sharedFacts(comp, at.before, at.at)
	got := f.Judge.Run(r, x)
	l.Missing = got.Missing
	if len(got.Missing) > 0 {
		return false
	}
	masked := r.Measured && !r.Below && r.Masked && r.On&rules.OnSample != 0 && l.Stage > 0 && f.masked(x, l)
	next := l.advance(r, got.Ends[0], masked)
	for _, e := range got.Ends[1:] {
		if o := l.advance(r, e, masked); o.On != next.On {
			l.Missing = []string{"the exact value of a result below its limit"}
			return false
		}
	}
	if x.stated {
		next.atMostAdvisory(l)
	}
	next.Masked = masked && next.Stage <= l.Stage // one that worsened shows what it rests on
	next.Judged = at.id
	if next.Stage != l.Stage {
		next.Reached = at.id
		next.Age = knownAges(x)
	}
	if next.Stage > l.Stage {
		next.open(r, l.Stage, f.stood(x, at))
	}
	*l = next
	return true
}

// masked reports whether an exchange since the stage was reached hides what the
// alarm saw.
func (f *view) masked(x *facts, l *Latch) bool {
	reached := slices.IndexFunc(x.steps.steps, func(s step) bool { return s.id() == l.Reached })
	return lab.Masked(x.steps.lab, reached, lab.Ages{Distance: known(l.Age[0]), Hours: known(l.Age[1])})
}

// known turns the stored form of an unknown number (negative) back into NaN;
// stored is the other way.
func known(v float64) float64 {
	if v < 0 {
		return math.NaN()
	}
	return v
}

func stored(v float64) float64 {
	if math.IsNaN(v) {
		return -1
	}
	return v
}

func knownAges(x *facts) [2]float64 {
	a := x.steps.lab.Ages(len(x.steps.lab) - 1)
	return [2]float64{stored(a.Distance), stored(a.Hours)}
}

// advance gives the latch after one judged end: each limit latches alone.
func (l Latch) advance(r *rules.Rule, e rules.End, masked bool) Latch {
	if !r.Measured {
		on := l.On[r.Stage]
		l.On[r.Stage] = e.Raise || on && !e.Clear
	} else {
		for s := rules.Advisory; s <= rules.Warning; s++ {
			if r.Has[s] {
				l.limit(r, s, e.Measure, e.Limits[s], masked)
			}
		}
	}
	l.Stage = 0
	for s := rules.Warning; s > 0 && l.Stage == 0; s-- {
		if l.On[s] {
			l.Stage = s
		}
	}
	return l
}

// atMostAdvisory takes back what rests on a share that nobody measured: it may raise
// an advisory, and no more than stood before.
func (l *Latch) atMostAdvisory(before *Latch) {
	held := false
	for s := rules.Caution; s <= rules.Warning; s++ {
		if l.On[s] && !before.On[s] {
			l.On[s], held = false, true
		}
	}
	if !held {
		return
	}
	l.Stage = rules.Advisory
	for s := rules.Caution; s <= rules.Warning; s++ {
		if l.On[s] {
			l.Stage = s
		}
	}
}

func (l *Latch) limit(r *rules.Rule, s int, m, limit float64, masked bool) {
	off := math.Abs(limit) * r.Deadband
	if limit <= 0 {
		off = r.Deadband
	}
	reached, released := atLeast(m, limit), less(m, limit-off)
	if r.Below {
		reached, released = atLeast(limit, m), less(limit+off, m)
	}
	if !reached {
		l.Count[s] = 0
	} else {
		l.Count[s] = min(l.Count[s]+1, r.Confirm[s])
	}
	switch {
	case !l.On[s]:
		l.On[s] = reached && l.Count[s] >= r.Confirm[s]
	case released && !masked:
		l.On[s] = false
	}
}

// atLeast and less compare as conditions do: what is a hair under a limit has reached it.
func atLeast(a, b float64) bool { return a >= b || rules.Equal(a, b) }
func less(a, b float64) bool    { return a < b && !rules.Equal(a, b) }

// open notes the follow-ups that reaching the stage opens, each once in a life of
// the alarm.
func (l *Latch) open(r *rules.Rule, from int, stood Opening) {
	if from == 0 {
		l.Opened, l.PullsNow = nil, 0
	}
	stood.Stage = l.Stage
	for i := range r.PullIns {
		l.pullIn(&r.PullIns[i], stood)
	}
	for _, fu := range r.FollowUps {
		if fu.Stage != 0 && fu.Stage != l.Stage || slices.Contains(l.Opened, fu.Name) {
			continue
		}
		l.Opened = append(slices.Clone(l.Opened), fu.Name)
		stood.Name = fu.Name
		l.Openings = latest(append(slices.Clone(l.Openings), stood), keptOpenings)
	}
}

// stood is where the vehicle stood at a judgement, for what it opens.
func (f *view) stood(x *facts, at judgement) Opening {
	o := Opening{By: at.id, At: at.at, Distance: -1, Hours: -1, Stated: x.stated}
	if at.at == math.MaxInt64 { // judged by the clock
		o.At = f.Now.UnixNano()
	}
	if v, _, ok := x.life(false); ok {
		o.Distance = v
	}
	if v, _, ok := x.life(true); ok {
		o.Hours = v
	}
	return o
}

// walk makes the latch anew from all the places at which the rule is judged, and gives
// the last at which it could be.
func (f *view) walk(r *rules.Rule, comp int, k AlarmKey) (l Latch, last judgement) {
	l.AlarmKey = k
	for _, at := range f.judgements(r, comp) {
		if f.step(r, comp, &l, at) {
			last = at
		}
	}
	return l, last
}

// keepOpenings keeps what an alarm by the clock opened when it did: the clock's past
// is no fact that could be walked again.
func (l *Latch) keepOpenings(r *rules.Rule, before *Latch) {
	if r.On == rules.OnClock && l.Stage > 0 && before.Stage > 0 {
		l.Opened, l.Openings, l.Pulls, l.PullsNow = before.Opened, before.Openings, before.Pulls, before.PullsNow
	}
}

// judgements lists the places at which the kept facts have the rule judged, in order.
func (f *view) judgements(r *rules.Rule, comp int) []judgement {
	var out []judgement
	if r.On&rules.OnSample != 0 && comp >= 0 {
		for _, s := range f.timeline(comp).steps {
			if s.sample != nil {
				out = append(out, judgement{s.place, max(s.at, s.sample.At), s.sample.ID})
			}
		}
	}
	if r.On&rules.OnReading != 0 {
		f.rec.ensureChains()
		for i := range f.rec.chains {
			for _, p := range f.rec.chains[i].points {
				if p.accepted {
					out = append(out, judgement{place{p.at, uint8(ServiceEvent)}, p.at, p.id})
				}
			}
		}
	}
	if r.On&rules.OnService != 0 {
		for i := range f.rec.Services {
			if s := &f.rec.Services[i]; !s.Void {
				out = append(out, judgement{s.Stamp.place(ServiceEvent), s.At, s.ID})
			}
		}
	}
	slices.SortStableFunc(out, func(a, b judgement) int { return a.before.compare(b.before) })
	if r.On&rules.OnClock != 0 && !f.Now.IsZero() {
		out = append(out, judgement{lastPlace, math.MaxInt64, ID{}})
	}
	return out
}

// judgeRule brings one rule up to date after the event and turns its alarm.
func (f *fold) judgeRule(ar rules.AppliedRule) {
	k := AlarmKey{Rule: ar.Rule.Name, Component: f.componentName(ar.Component)}
	l, had := f.rec.latch(k)
	var last judgement
	switch at, now := f.newJudgement(ar); {
	case f.anew(ar.Component) || !had:
		before := l
		l, last = f.walk(ar.Rule, ar.Component, k)
		l.keepOpenings(ar.Rule, &before)
	case now:
		if f.step(ar.Rule, ar.Component, &l, at) {
			last = at
		}
	default:
		return
	}
	f.setLatch(l)
	if len(l.Missing) > 0 {
		f.notJudged(k, l)
	}
	if i := f.rec.alarm(k); i >= 0 && f.rec.Alarms[i].Stage != l.Stage || i < 0 && l.Stage > 0 {
		f.moveRule(ar, l, last)
	}
}

// moveRule asks for the alarm's move to the latch's stage. It is apart so that a
// latch is copied to where closures live only when an alarm moves.
func (f *fold) moveRule(ar rules.AppliedRule, l Latch, at judgement) {
	f.move(alarmMove{AlarmKey: l.AlarmKey, stage: l.Stage, words: func(t *Transition, from, to int) {
		f.ruleWords(t, ar, l, at, from, to, f.causeIDs())
	}})
}

// ruleWords fills in what a rule says of its last judgement.
func (f *view) ruleWords(t *Transition, ar rules.AppliedRule, l Latch, at judgement, from, to int, causes []ID) {
	r, j := ar.Rule, f.Judge
	t.Title, t.Events = r.Title, causes
	if at.before == (place{}) {
		t.Message = noLonger(r)
		return
	}
	x := f.factsAt(ar.Component, at.before, at.at)
	x.reported = true
	if at.id != (ID{}) {
		x.use(at.id)
	}
	end, evidence, ok := j.Explain(r, x)
	if !ok {
		return
	}
	t.Evidence = evidence
	stage := max(from, to)
	if to > 0 {
		stage = to
		t.Advise, t.Cautions, t.PointsTo = f.advice(r, to, x, end.Measure), cautions(r, to), r.PointsTo
		t.OwnCautions, t.Source = f.Book.Own(t.Cautions), r.SourceOf(to)
		t.FollowUps, t.PullsIn = opened(l.Openings, at.id), opened(l.Pulls, at.id)
	}
	t.Message = j.Say(r, stage, x, end.Measure)
	if to == 0 && !r.Measured {
		t.Message = noLonger(r)
	}
	if r.Measured {
		m := end.Measure
		t.Measure = &m
	}
	for _, id := range t.Events {
		x.use(id)
	}
	t.Events = x.used
}

// advice is what the rule advises. Where it reckons how many drains thin a wear
// metal, it says what that does not do.
func (f *view) advice(r *rules.Rule, stage int, x *facts, measure float64) string {
	s := f.Judge.Advise(r, worded(r, stage), x, measure)
	for _, w := range []rules.Word{rules.WordExchangesTo, rules.WordLitresTo} {
		for _, a := range r.Asks(w) {
			if note := lab.DilutionNote(a); note != "" && !strings.Contains(s, note) {
				s = strings.TrimSpace(s + " " + note)
			}
		}
	}
	return s
}

// worded is the stage whose words a stage takes: its own, or where a rule is held to
// an advisory that it does not have, its mildest.
func worded(r *rules.Rule, stage int) int {
	for s := stage; s <= rules.Warning; s++ {
		if r.Has[s] {
			return s
		}
	}
	return stage
}

func cautions(r *rules.Rule, stage int) []string { return r.Cautions[worded(r, stage)] }

// opened are the names that the event opened.
func opened(list []Opening, by ID) []string {
	var out []string
	for _, o := range list {
		if o.By == by && !slices.Contains(out, o.Name) {
			out = append(out, o.Name)
		}
	}
	return out
}

package record

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"time"

	"telltale/engine/event"
	"telltale/engine/meter"
	"telltale/rules/unit"
)

// Chain is what one meter's readings are worth: those of gateways, services and
// samples together, in order of time, each accepted or disputed.
type Chain struct {
	Name   string
	Hours  bool
	Points []Point
	// healthy: nothing is disputed, and each reading follows the one before at a
	// plausible speed without any slack, so that one more which does can be appended
	// without looking at the others, and whatever is thinned out makes no difference.
	Healthy bool
	// ease is the least meter.Ease of the points' life values.
	Ease float64
	// usage up to the last reading; nil until it is asked for.
	usage *meter.Usage
	// Backs are where the readings go back and nobody has said why, what is open first.
	Backs []Back
	// Doubted are the values of replaced instruments that do not fit their readings.
	Doubted []Doubted
	// thinned are the accepted points that thinning keeps; nil until they are asked for.
	thinned []Point
}

// Point is one reading with its verdict. Life is the value over replaced
// instruments, in metres or seconds.
type Point struct {
	At       int64 // Unix nanoseconds
	Face     float64
	Life     float64
	Accepted bool
	Why      string      // why it is disputed
	Meant    meter.Meant // what was probably meant
	ID       event.ID
	key      uint32
	Own      bool // a service or sample stands on it
}

// BeforeService is why a reading is disputed that is dated before the vehicle came into
// service.
const BeforeService = "dated before the vehicle came into service"

// Seconds are Unix seconds of Unix nanoseconds.
func Seconds(ns int64) int64 { return ns / int64(time.Second) }

// Chains are those of all meters, derived where they are not at hand.
func (r *Record) Chains() []Chain {
	r.ensureChains()
	return r.chains
}

// DropChains frees what can be derived again.
func (r *Record) DropChains() { r.chains = nil }

// ensureChains derives the chains from the facts where they are not at hand.
func (r *Record) ensureChains() {
	if r.chains != nil || len(r.Meters) == 0 && len(r.Services) == 0 && len(r.Samples) == 0 {
		return
	}
	r.chains = make([]Chain, 0, len(r.Meters))
	for i := range r.Meters {
		r.chains = append(r.chains, r.makeChain(&r.Meters[i]))
	}
}

func (r *Record) makeChain(m *MeterLog) Chain {
	c := Chain{Name: m.Name, Hours: m.Hours}
	readings := r.thin(m.Readings)
	c.Points = make([]Point, 0, len(readings)+len(r.Services)+1)
	for _, p := range readings {
		if !p.Void {
			c.Points = append(c.Points, Point{At: p.At, Face: p.Value, ID: p.ID, key: p.Key})
		}
	}
	c.Points = append(c.Points, r.ownReadings(m)...)
	slices.SortStableFunc(c.Points, inOrder)
	early := c.beforeService(r.Registered())
	c.judge(m.Replaced, early)
	if len(readings) > 0 && readings[0].Void {
		c.Healthy = false // the first that counts can be thinned out, and due points count from it
	}
	return c
}

// inOrder compares points by their moment and, of what was entered for one moment or one
// day, by value: a meter goes up, and who typed the jobs of a day did not sort them.
func inOrder(a, b Point) int {
	return cmp.Or(cmp.Compare(a.At, b.At), cmp.Compare(a.Face, b.Face), strings.Compare(a.ID.Source, b.ID.Source), strings.Compare(a.ID.ID, b.ID.ID))
}

// ownReadings are the latest meter values of services and samples.
func (r *Record) ownReadings(m *MeterLog) []Point {
	var out []Point
	add := func(s *Stamp, q map[string]unit.Quantity) {
		if v, ok := meterValue(q, m.Name, m.Hours); ok && !s.Void {
			out = append(out, Point{At: s.At, Face: v, ID: s.ID, key: s.Key, Own: true})
		}
	}
	for i := range r.Services {
		add(&r.Services[i].Stamp, r.Services[i].Meters)
	}
	for i := range r.Samples {
		add(&r.Samples[i].Stamp, r.Samples[i].Meters)
	}
	slices.SortStableFunc(out, func(a, b Point) int { return cmp.Compare(a.At, b.At) })
	return latest(out, meter.KeptWeighty)
}

// beforeService disputes the points that are dated before the vehicle came into service,
// and tells how many those are.
func (c *Chain) beforeService(reg *event.VehicleData) int {
	if reg == nil || reg.InService == "" {
		return 0
	}
	day, err := time.ParseInLocation(time.DateOnly, reg.InService, reg.Location())
	n := 0
	for err == nil && n < len(c.Points) && c.Points[n].At < day.UnixNano() {
		p := &c.Points[n]
		p.Life, p.Why = p.Face, BeforeService
		n++
	}
	return n
}

// judge judges all points but the first early ones.
func (c *Chain) judge(replaced []Replaced, early int) {
	if len(replaced) == 0 && early == 0 && c.judgeHealthy() {
		return
	}
	points := c.Points[early:]
	in := make([]meter.Reading, len(points))
	for i, p := range points {
		in[i] = meter.Reading{At: Seconds(p.At), Value: p.Face}
		if p.Own {
			in[i].Weight = 1
		}
	}
	said, of, known := replacements(replaced)
	got := meter.Judge(in, said, c.kind())
	c.Healthy, c.Ease = early == 0, math.Inf(1)
	for i, v := range got.Verdicts {
		p := &points[i]
		p.Accepted, p.Life, p.Why, p.Meant = v.Accepted, v.Life, v.Why, v.Meant
		c.Healthy = c.Healthy && v.Accepted && (i == 0 || c.Follows(&points[i-1], p))
		c.Ease = min(c.Ease, meter.Ease(p.reading()))
	}
	c.Backs, c.Doubted = nil, nil
	for _, b := range got.Backs {
		if back := (Back{points[b.High], points[b.Low], b.Open}); b.Open || back.Low.At > known {
			c.Backs = append(c.Backs, back)
		}
	}
	for _, d := range got.Doubted {
		c.Doubted = append(c.Doubted, Doubted{*of[d.Of], d.First, d.Verdict})
	}
}

// judgeHealthy judges a chain of one instrument of which each reading follows the
// one before; false: it is not such a chain.
func (c *Chain) judgeHealthy() bool {
	c.Ease = math.Inf(1)
	for i := range c.Points {
		p := &c.Points[i]
		p.Life = p.Face
		prev := p // the first follows itself if it can be at all
		if i > 0 {
			prev = &c.Points[i-1]
		}
		if !(p.Face >= 0) || !c.Follows(prev, p) {
			return false
		}
		c.Ease = min(c.Ease, meter.Ease(p.reading()))
	}
	for i := range c.Points {
		c.Points[i].Accepted = true
	}
	c.Healthy = true
	return true
}

// Follows reports whether b plausibly follows a, and all points up to it, by life values.
func (c *Chain) Follows(a, b *Point) bool {
	return meter.Appends(a.reading(), b.reading(), min(c.Ease, meter.Ease(a.reading())), c.kind())
}

// reading is the point by its life value.
func (p *Point) reading() meter.Reading { return meter.Reading{At: Seconds(p.At), Value: p.Life} }

func (c *Chain) kind() meter.Kind {
	if c.Hours {
		return meter.Hours
	}
	return meter.Distance
}

// UnitKind is what the meter counts: distance or time.
func (c *Chain) UnitKind() unit.Kind {
	if c.Hours {
		return unit.Time
	}
	return unit.Distance
}

// appends adds a plain reading to the end of a healthy chain if it follows
// plausibly; it reports whether it did. The chain is not shared yet with an older
// record when it is called.
func (c *Chain) appends(p Reading) bool {
	if !c.Healthy || len(c.Points) == 0 {
		return false
	}
	last := c.Points[len(c.Points)-1]
	next := Point{At: p.At, Face: p.Value, Life: p.Value + (last.Life - last.Face), Accepted: true, ID: p.ID, key: p.Key}
	if p.At <= last.At || !c.Follows(&last, &next) {
		return false
	}
	c.push(p, last.Life-last.Face)
	return true
}

// push adds a reading that follows the last, whose life value is its face value
// and so much more.
func (c *Chain) push(p Reading, shift float64) {
	c.Points = append(c.Points, Point{At: p.At, Face: p.Value, Life: p.Value + shift, Accepted: true, ID: p.ID, key: p.Key})
	c.usage, c.thinned = nil, nil
	c.Ease = min(c.Ease, meter.Ease(c.Points[len(c.Points)-1].reading()))
}

// Last returns the last accepted point at or before the moment. There is none where the
// meter went back before and nobody has said why: how far it is from there cannot be told.
func (c *Chain) Last(at int64) (Point, bool) {
	if since, ok := c.UntoldSince(); ok && at >= since {
		return Point{}, false
	}
	return c.LastRead(at)
}

// LastRead is the last accepted point at or before the moment, whatever came after it.
func (c *Chain) LastRead(at int64) (Point, bool) {
	for i := len(c.Points) - 1; i >= 0; i-- {
		if p := c.Points[i]; p.At <= at && p.Accepted {
			return p, true
		}
	}
	return Point{}, false
}

// FirstSince returns the first accepted point from a moment on.
func (c *Chain) FirstSince(at int64) (Point, bool) {
	for _, p := range c.Points {
		if p.Accepted && p.At >= at {
			return p, true
		}
	}
	return Point{}, false
}

// After is the first accepted point after the moment.
func (c *Chain) After(at int64) (Point, bool) {
	i := slices.IndexFunc(c.Points, func(p Point) bool { return p.Accepted && p.At > at })
	if i < 0 {
		return Point{}, false
	}
	return c.Points[i], true
}

// of returns the point of that event.
func (c *Chain) of(s *Stamp) (Point, bool) {
	for i := len(c.Points) - 1; i >= 0; i-- {
		if p := c.Points[i]; p.key == s.Key && p.ID == s.ID {
			return p, true
		}
	}
	return Point{}, false
}

// Chain is the meter of that name; nil where nothing was read of one.
func (r *Record) Chain(name string) *Chain { return r.chain(name) }

func (r *Record) chain(name string) *Chain {
	r.ensureChains()
	for i := range r.chains {
		if r.chains[i].Name == name {
			return &r.chains[i]
		}
	}
	return nil
}

// ChainFor returns the chain that counts for a component (the vehicle where comp
// is nil): the first registered meter of that kind that it names.
func (r *Record) ChainFor(v *event.VehicleData, comp *event.ComponentDef, hours bool) *Chain {
	allowed := func(name string) bool {
		return comp == nil || len(comp.Meters) == 0 || slices.Contains(comp.Meters, name)
	}
	for _, m := range v.Meters {
		if (m.Kind == "hours") == hours && allowed(m.Name) {
			return r.chain(m.Name)
		}
	}
	if len(v.Meters) > 0 {
		return nil
	}
	r.ensureChains()
	for i := range r.chains {
		if r.chains[i].Hours == hours && allowed(r.chains[i].Name) {
			return &r.chains[i]
		}
	}
	return nil
}

func (r *Record) chainIfMade(name string) *Chain {
	for i := range r.chains {
		if r.chains[i].Name == name {
			return &r.chains[i]
		}
	}
	return nil
}

// WholeUnit is the coarsest unit in which people write the meter's values.
func (c *Chain) WholeUnit() float64 {
	if c.Hours {
		return 3600
	}
	return unit.Mile
}

// LifeAt is the life value that a service or sample stands on: its own accepted
// reading, else the last accepted one before it, which is then an estimate. A
// reading of its own that is too old to be kept in the chain is taken where it
// fits between those that are.
func (c *Chain) LifeAt(s *Stamp, own map[string]unit.Quantity) (life float64, estimated, ok bool) {
	if p, found := c.of(s); found && p.Accepted {
		return p.Life, false, true
	} else if !found {
		if v, has := meterValue(own, c.Name, c.Hours); has {
			if life, ok := c.fits(s.At, v); ok {
				return life, false, true
			}
		}
	}
	p, ok := c.Last(s.At)
	return p.Life, true, ok
}

// fits gives the life value of a face value between the accepted readings around
// a moment, and whether it lies between theirs.
func (c *Chain) fits(at int64, face float64) (life float64, ok bool) {
	before, hasBefore := c.Last(at)
	i := slices.IndexFunc(c.Points, func(p Point) bool { return p.Accepted && p.At > at })
	switch {
	case hasBefore:
		life = face + (before.Life - before.Face)
	case i >= 0:
		life = face + (c.Points[i].Life - c.Points[i].Face)
	default:
		return 0, false
	}
	return life, (!hasBefore || life >= before.Life) && (i < 0 || life <= c.Points[i].Life)
}

// Estimates reports whether a service or sample stands on the reading before it,
// for want of one of its own that is accepted, or work that was put off does.
func (r *Record) Estimates(c *Chain) bool {
	estimated := func(s *Stamp, own map[string]unit.Quantity) bool {
		_, est, ok := c.LifeAt(s, own)
		return ok && est && !s.Void
	}
	return slices.ContainsFunc(r.Services, func(s Service) bool { return estimated(&s.Stamp, s.Meters) }) ||
		slices.ContainsFunc(r.Samples, func(s Sample) bool { return estimated(&s.Stamp, s.Meters) }) ||
		slices.ContainsFunc(r.Postponed, func(p Postponed) bool { return r.waits(&p) })
}

// standsOtherwise reports whether a service or sample that stood on the reading before
// it stands on another value since the chain was made anew, or between others.
func (r *Record) standsOtherwise(before, after *Chain) bool {
	moved := func(s *Stamp, own map[string]unit.Quantity) bool {
		was, est, ok := before.LifeAt(s, own)
		if !ok || !est || s.Void {
			return false
		}
		is, _, ok := after.LifeAt(s, own)
		next, had := before.After(s.At)
		now, has := after.After(s.At)
		return !ok || is != was || had && (!has || now.Life != next.Life)
	}
	return slices.ContainsFunc(r.Services, func(s Service) bool { return moved(&s.Stamp, s.Meters) }) ||
		slices.ContainsFunc(r.Samples, func(s Sample) bool { return moved(&s.Stamp, s.Meters) })
}

// compareChains tells whether a reading that both hold got another verdict, or one
// that a service or sample stands on is kept no longer, and whether any is.
func compareChains(before, after []Point) (changed, dropped bool) {
	j := 0
	for _, b := range before {
		for j < len(after) && after[j].At < b.At {
			j++
		}
		found := false
		for k := j; k < len(after) && after[k].At == b.At; k++ {
			if a := after[k]; a.key == b.key && a.ID == b.ID {
				found = true
				changed = changed || a.Accepted != b.Accepted || a.Life != b.Life
			}
		}
		changed = changed || !found && b.Own
		dropped = dropped || !found
	}
	return changed, dropped
}

// Moments are when the meter was heard of, Unix seconds.
func (c *Chain) Moments() []int64 {
	out := make([]int64, len(c.Points))
	for i, p := range c.Points {
		out[i] = Seconds(p.At)
	}
	return out
}

// ReckonUsage is the chain's usage up to a moment, from the thinned accepted
// readings, so that it is a function of the set of facts.
func (c *Chain) ReckonUsage(at int64) *meter.Usage {
	whole := len(c.Points) == 0 || at >= c.Points[len(c.Points)-1].At
	if whole && c.usage != nil {
		return c.usage
	}
	var room [64]meter.Reading
	in := room[:0]
	for _, p := range c.Kept() {
		if p.At <= at {
			in = append(in, meter.Reading{At: Seconds(p.At), Value: p.Life})
		}
	}
	u := meter.Estimate(in)
	if whole {
		c.usage = &u
	}
	return &u
}

// KeptUntil are the readings up to a moment that thinning keeps, accepted, as life values.
func (c *Chain) KeptUntil(at int64) (out []meter.Reading) {
	for _, p := range c.Kept() {
		if p.At <= at {
			out = append(out, p.reading())
		}
	}
	return out
}

// Kept are the accepted points that thinning keeps, so that what is made of
// them is a function of the set of facts.
func (c *Chain) Kept() []Point {
	if c.thinned == nil && len(c.Points) > 0 {
		c.thinned = meter.ThinFunc(c.Points, func(p *Point) int64 { return Seconds(p.At) }, func(p *Point) bool { return p.Own })
		if slices.ContainsFunc(c.thinned, func(p Point) bool { return !p.Accepted }) {
			accepted := make([]Point, 0, len(c.thinned))
			for i := range c.thinned {
				if c.thinned[i].Accepted {
					accepted = append(accepted, c.thinned[i])
				}
			}
			c.thinned = accepted
		}
	}
	return c.thinned
}

// Steepest is the greatest slope between two points at least so many seconds apart.
func (c *Chain) Steepest(apart int64) float64 {
	most := 0.0
	for i, a := range c.Points {
		for j := len(c.Points) - 1; j > i; j-- {
			t := Seconds(c.Points[j].At) - Seconds(a.At)
			if t < apart {
				break
			}
			most = max(most, (c.Points[j].Life-a.Life)/float64(t))
		}
	}
	return most
}

// LimitAt is the life value up to which later points make no slope over pace with
// any that there are, nor with one another, where they are apart.
func (c *Chain) LimitAt(pace float64, apart int64) float64 {
	limit, last := math.Inf(1), Seconds(c.Points[len(c.Points)-1].At)
	for _, p := range c.Points {
		limit = min(limit, p.Life+float64(pace*float64(max(apart, last-Seconds(p.At)))))
	}
	return limit
}

// LastFact is the last moment of what is not a plain reading.
func (r *Record) LastFact(zone *time.Location) int64 {
	last := int64(math.MinInt64)
	for i := range r.Services {
		last = max(last, r.Services[i].At)
	}
	for i := range r.Samples {
		last = max(last, r.Samples[i].At, r.Samples[i].Place(zone).At)
	}
	for i := range r.Postponed {
		last = max(last, r.Postponed[i].At)
	}
	for i := range r.Meters {
		for j := range r.Meters[i].Replaced {
			last = max(last, r.Meters[i].Replaced[j].At)
		}
	}
	return last
}

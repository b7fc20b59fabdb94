package engine

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"telltale/engine/meter"
	"telltale/rules/unit"
	"time"
)

// chain is what one meter's readings are worth: those of gateways, services and
// samples together, in order of time, each accepted or disputed.
type chain struct {
	name   string
	hours  bool
	points []chainPoint
	// healthy: nothing is disputed, and each reading follows the one before at a
	// plausible speed without any slack, so that one more which does can be appended
	// without looking at the others, and whatever is thinned out makes no difference.
	healthy bool
	// ease is the least meter.Ease of the points' life values.
	ease float64
	// usage up to the last reading; nil until it is asked for.
	usage *meter.Usage
	// thinned are the accepted points that thinning keeps; nil until they are asked for.
	thinned []chainPoint
}

// chainPoint is one reading with its verdict. Life is the value over replaced
// instruments, in metres or seconds.
type chainPoint struct {
	at       int64 // Unix nanoseconds
	face     float64
	life     float64
	accepted bool
	why      string // why it is disputed
	meant    string // what was probably meant
	id       ID
	key      uint32
	own      bool // a service or sample stands on it
}

func seconds(ns int64) int64 { return ns / int64(time.Second) }

// allChains are those of all meters, derived where they are not at hand.
func (r *Record) allChains() []chain {
	r.ensureChains()
	return r.chains
}

// dropChains frees what can be derived again.
func (r *Record) dropChains() { r.chains = nil }

// ensureChains derives the chains from the facts where they are not at hand.
func (r *Record) ensureChains() {
	if r.chains != nil || len(r.Meters) == 0 && len(r.Services) == 0 && len(r.Samples) == 0 {
		return
	}
	r.chains = make([]chain, 0, len(r.Meters))
	for i := range r.Meters {
		r.chains = append(r.chains, r.makeChain(&r.Meters[i]))
	}
}

func (r *Record) makeChain(m *MeterLog) chain {
	c := chain{name: m.Name, hours: m.Hours}
	readings := thin(m.Readings)
	c.points = make([]chainPoint, 0, len(readings)+len(r.Services)+1)
	for _, p := range readings {
		if !p.Void {
			c.points = append(c.points, chainPoint{at: p.At, face: p.Value, id: p.ID, key: p.Key})
		}
	}
	if own := r.ownReadings(m); len(own) > 0 { // the others are in order
		c.points = append(c.points, own...)
		slices.SortStableFunc(c.points, func(a, b chainPoint) int {
			return cmp.Or(cmp.Compare(a.at, b.at), strings.Compare(a.id.Source, b.id.Source), strings.Compare(a.id.ID, b.id.ID))
		})
	}
	c.judge(m.Replaced)
	if len(readings) > 0 && readings[0].Void {
		c.healthy = false // the first that counts can be thinned out, and due points count from it
	}
	return c
}

// ownReadings are the latest meter values of services and samples.
func (r *Record) ownReadings(m *MeterLog) []chainPoint {
	var out []chainPoint
	add := func(s *Stamp, q map[string]unit.Quantity) {
		if v, ok := meterValue(q, m.Name, m.Hours); ok && !s.Void {
			out = append(out, chainPoint{at: s.At, face: v, id: s.ID, key: s.Key, own: true})
		}
	}
	for i := range r.Services {
		add(&r.Services[i].Stamp, r.Services[i].Meters)
	}
	for i := range r.Samples {
		add(&r.Samples[i].Stamp, r.Samples[i].Meters)
	}
	slices.SortStableFunc(out, func(a, b chainPoint) int { return cmp.Compare(a.at, b.at) })
	return latest(out, meter.KeptWeighty)
}

func (c *chain) judge(replaced []Replaced) {
	if len(replaced) == 0 && c.judgeHealthy() {
		return
	}
	in := make([]meter.Reading, len(c.points))
	for i, p := range c.points {
		in[i] = meter.Reading{At: seconds(p.at), Value: p.face}
		if p.own {
			in[i].Weight = 1
		}
	}
	var re []meter.Replaced
	for _, p := range replaced {
		if !p.Void {
			re = append(re, meter.Replaced{At: seconds(p.At), Last: p.Last, First: p.First})
		}
	}
	c.healthy, c.ease = true, math.Inf(1)
	for i, v := range meter.Judge(in, re, c.kind()) {
		p := &c.points[i]
		p.accepted, p.life, p.why, p.meant = v.Accepted, v.Life, v.Why, v.Meant
		c.healthy = c.healthy && v.Accepted && (i == 0 || c.follows(&c.points[i-1], p))
		c.ease = min(c.ease, meter.Ease(p.reading()))
	}
}

// judgeHealthy judges a chain of one instrument of which each reading follows the
// one before; false: it is not such a chain.
func (c *chain) judgeHealthy() bool {
	c.ease = math.Inf(1)
	for i := range c.points {
		p := &c.points[i]
		p.life = p.face
		prev := p // the first follows itself if it can be at all
		if i > 0 {
			prev = &c.points[i-1]
		}
		if !(p.face >= 0) || !c.follows(prev, p) {
			return false
		}
		c.ease = min(c.ease, meter.Ease(p.reading()))
	}
	for i := range c.points {
		c.points[i].accepted = true
	}
	c.healthy = true
	return true
}

// follows reports whether b plausibly follows a, and all points up to it, by life values.
func (c *chain) follows(a, b *chainPoint) bool {
	return meter.Appends(a.reading(), b.reading(), min(c.ease, meter.Ease(a.reading())), c.kind())
}

// reading is the point by its life value.
func (p *chainPoint) reading() meter.Reading { return meter.Reading{At: seconds(p.at), Value: p.life} }

func (c *chain) kind() meter.Kind {
	if c.hours {
		return meter.Hours
	}
	return meter.Distance
}

func (c *chain) unitKind() unit.Kind {
	if c.hours {
		return unit.Time
	}
	return unit.Distance
}

// appends adds a plain reading to the end of a healthy chain if it follows
// plausibly; it reports whether it did. The chain is not shared yet with an older
// record when it is called.
func (c *chain) appends(p Reading) bool {
	if !c.healthy || len(c.points) == 0 {
		return false
	}
	last := c.points[len(c.points)-1]
	next := chainPoint{at: p.At, face: p.Value, life: p.Value + (last.life - last.face), accepted: true, id: p.ID, key: p.Key}
	if p.At <= last.at || !c.follows(&last, &next) {
		return false
	}
	c.push(p, last.life-last.face)
	return true
}

// push adds a reading that follows the last, whose life value is its face value
// and so much more.
func (c *chain) push(p Reading, shift float64) {
	c.points = append(c.points, chainPoint{at: p.At, face: p.Value, life: p.Value + shift, accepted: true, id: p.ID, key: p.Key})
	c.usage, c.thinned = nil, nil
	c.ease = min(c.ease, meter.Ease(c.points[len(c.points)-1].reading()))
}

// last returns the last accepted point at or before the moment.
func (c *chain) last(at int64) (chainPoint, bool) {
	for i := len(c.points) - 1; i >= 0; i-- {
		if p := c.points[i]; p.at <= at && p.accepted {
			return p, true
		}
	}
	return chainPoint{}, false
}

// first returns the first accepted point.
func (c *chain) first() (chainPoint, bool) {
	for _, p := range c.points {
		if p.accepted {
			return p, true
		}
	}
	return chainPoint{}, false
}

// of returns the point of that event.
func (c *chain) of(s *Stamp) (chainPoint, bool) {
	for i := len(c.points) - 1; i >= 0; i-- {
		if p := c.points[i]; p.key == s.Key && p.id == s.ID {
			return p, true
		}
	}
	return chainPoint{}, false
}

// chain returns the chain of that meter, or nil.
func (r *Record) chain(name string) *chain {
	r.ensureChains()
	for i := range r.chains {
		if r.chains[i].name == name {
			return &r.chains[i]
		}
	}
	return nil
}

// chainFor returns the chain that counts for a component (the vehicle where comp
// is nil): the first registered meter of that kind that it names.
func (r *Record) chainFor(v *VehicleData, comp *ComponentDef, hours bool) *chain {
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
		if r.chains[i].hours == hours && allowed(r.chains[i].name) {
			return &r.chains[i]
		}
	}
	return nil
}

func (r *Record) chainIfMade(name string) *chain {
	for i := range r.chains {
		if r.chains[i].name == name {
			return &r.chains[i]
		}
	}
	return nil
}

// wholeUnit is the coarsest unit in which people write the meter's values.
func (c *chain) wholeUnit() float64 {
	if c.hours {
		return 3600
	}
	return unit.Mile
}

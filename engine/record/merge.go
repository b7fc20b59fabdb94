package record

import "slices"

// MergeData hands the facts of a vehicle over to the record of an earlier name of its:
// somebody gave it a new name first, and said later that it is the same vehicle. It is
// written by the service alone.
type MergeData struct {
	From string `json:"from"` // the name that the facts came under
	Into string `json:"into"` // the record that takes them
	// Of are the facts; nil asks the record of the name From to hand over what it has.
	Of *Record `json:"of,omitempty"`
}

// AnyDigest is that of a fact that came with a merge: it is known by its identity alone.
const AnyDigest = 0

// MostMerged is how long a record may be, as it is stored, that is handed over: it has to
// go through the log in one message.
const MostMerged = 700 << 10

// HandedOver is what another record takes in of this one: the facts. What stands follows
// from them.
func (r *Record) HandedOver() *Record {
	c := r.Thinned()
	c.Alarms, c.Latches, c.Register, c.Names, c.chains, c.Next = nil, nil, nil, nil, nil, 0
	return c
}

// merge takes in the facts of another record. Their digests are those of events under
// another name, which would be conflicts as soon as they come again; so such facts are
// known by their identity alone (see Known).
func (r *Record) merge(o *Record) {
	o.EachStamp(func(s *Stamp) { s.Key = KeyOf(s.ID) })
	r.Meters = slices.Clone(r.Meters)
	for _, m := range o.Meters {
		m.Readings, m.Replaced = fresh(r, m.Readings), fresh(r, m.Replaced)
		i := r.meter(m.Name, m.Hours)
		r.addLog(&r.Meters[i], m)
	}
	for _, f := range fresh(r, o.Services) {
		r.Services = insert(r.Services, f)
	}
	for _, f := range fresh(r, o.Samples) {
		r.Samples = insert(r.Samples, f)
	}
	for _, f := range fresh(r, o.Postponed) {
		r.PutOff(f)
	}
	for _, f := range fresh(r, o.Answers) {
		r.NoteAnswer(f)
	}
	r.Services, r.Samples = keepServices(r.Services), keepSamples(r.Samples)
	r.mergeVoids(fresh(r, o.Voids))
	r.KeepAhead(o.Ahead)
	if o.Out && !r.Out {
		r.Out, r.InOut, r.OutBy = true, o.InOut, o.OutBy
	}
	r.FirstSeen, r.Backlog = min(r.FirstSeen, o.FirstSeen), max(r.Backlog, o.Backlog)
	r.chains = nil
}

func (r *Record) mergeVoids(more []Voiding) {
	for _, f := range more {
		r.Voids = insert(r.Voids, f)
	}
	r.Voids = latest(r.Voids, keptVoids)
	for _, v := range r.Voids {
		for l := range r.lists {
			l.void(v.Target)
		}
	}
}

// fresh are the facts that the record does not hold, as known by their identity alone.
func fresh[T any, P stamped[T]](r *Record, facts []T) []T {
	var out []T
	for _, f := range facts {
		if s := P(&f).stamp(); r.Seen(s.ID) == nil {
			s.Digest = AnyDigest
			out = append(out, f)
		}
	}
	return out
}

// takeMerge takes a merge event in.
func (r *Record) takeMerge(c *Change, d *MergeData) {
	r.merge(d.Of)
	r.rename()
	c.All, c.Fact = true, true
}

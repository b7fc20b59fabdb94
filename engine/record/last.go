package record

// LastRead is when something last told a meter, Unix seconds: a reading, work or a sample,
// whether it is believed or not. 0 for never.
func (r *Record) LastRead() int64 {
	last := int64(0)
	for i := range r.Meters {
		last = max(last, lastOf(r.Meters[i].Readings, func(*Reading) bool { return true }), lastOf(r.Meters[i].Replaced, func(p *Replaced) bool { return p.Word == Reported }))
	}
	last = max(last, lastOf(r.Services, func(s *Service) bool { return len(s.Meters) > 0 }), lastOf(r.Samples, func(s *Sample) bool { return len(s.Meters) > 0 }))
	return Seconds(last)
}

// lastOf is when the latest of the facts was observed that counts, Unix nanoseconds.
func lastOf[T any, P stamped[T]](facts []T, counts func(P) bool) int64 {
	for i := len(facts) - 1; i >= 0; i-- {
		if f := P(&facts[i]); !f.stamp().Void && counts(f) {
			return f.stamp().At
		}
	}
	return 0
}

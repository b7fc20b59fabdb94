package engine

// Again gives a function that puts the vehicle's record back as it is now, for a
// benchmark that folds one event over and over. It holds for events whose folding
// makes the chains of readings anew, as samples do.
func (p *Partition) Again(vehicle string) func() {
	rec := p.records[vehicle]
	return func() { p.records[vehicle] = rec }
}

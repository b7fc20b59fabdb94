package engine

import "telltale/engine/reach"

// Reach counts how far each task and rule of the book reaches the vehicle that is kept under
// a name, if it is judged.
func (p *Partition) Reach(home string, c *reach.Count) {
	if v := p.AskedBy(p.By).judged(home); v != nil {
		c.Add(v)
	}
}

// Reached lists where on that vehicle the task or rule of a name stands or could not be
// judged.
func (p *Partition) Reached(home, rule string) []reach.Place {
	if v := p.AskedBy(p.By).judged(home); v != nil {
		return reach.On(v, rule)
	}
	return nil
}

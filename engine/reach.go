package engine

import "telltale/engine/reach"

// Reach counts how far each task and rule of the book reaches, over all vehicles that are
// judged.
func (p *Partition) Reach() []reach.Part {
	var c reach.Count
	for _, name := range p.Vehicles() {
		if v := p.AskedBy(p.By).judged(name); v != nil {
			c.Add(v)
		}
	}
	return c.Parts()
}

// Reached lists where the task or rule of that name stands or could not be judged, the worst
// first: at most [reach.MostPlaces].
func (p *Partition) Reached(rule string) (out []reach.Place) {
	for _, name := range p.Vehicles() {
		if v := p.AskedBy(p.By).judged(name); v != nil {
			out = append(out, reach.On(v, rule)...)
		}
	}
	reach.Sort(out)
	return out[:min(len(out), reach.MostPlaces)]
}

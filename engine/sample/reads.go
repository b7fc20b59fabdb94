package sample

import (
	"math"

	"telltale/engine/event"
	"telltale/engine/judge"
	"telltale/rules/unit"
)

// readIn turns a result, such as a flash point, into the unit in which people read of the
// vehicle; d is what the laboratory reported.
func (r *Result) readIn(v *judge.View, d *event.ResultData) {
	s := v.Units()
	r.Reported = d.ReadIn(v.Said()).String()
	k, _ := unit.Of(r.Unit)
	to := s.Of(k)
	if to == "" || to == r.Unit {
		return
	}
	ends := []*float64{r.Low, r.High, r.Average}
	if r.Past != nil {
		ends = append(ends, &r.Past.Least, &r.Past.Most)
	}
	for _, at := range ends {
		if at != nil {
			*at = unit.Quantity{Value: *at, Unit: r.Unit}.In(s).Value
		}
	}
	for _, at := range []*float64{r.Excess, r.Change} {
		if at != nil {
			*at = math.Round(unit.Difference(*at, r.Unit, to)*10) / 10
		}
	}
	if r.Drains != nil {
		r.Drains.To = unit.Quantity{Value: r.Drains.To, Unit: r.Unit}.In(s).Value
	}
	r.Unit = to
}

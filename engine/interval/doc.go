// Package interval reckons when recurring work is due: by distance, by hours of
// running and by the calendar, whichever comes first, counted from when it was
// done or from its schedule. All of it is arithmetic on what it is given; it
// looks at no clock.
//
// Distances are metres and hours are seconds of running, both life values that
// go on counting over replaced instruments; NaN is an unknown one. Dates are
// local to the vehicle.
package interval

// Limits is a set of limits, each absent where it is zero: metres, seconds of
// running, and a time of Months and Days by the calendar.
type Limits struct {
	Distance float64
	Hours    float64
	Months   int
	Days     int
}

func (l Limits) hasTime() bool { return l.Months != 0 || l.Days != 0 }

// Limit names one of the limits of a plan.
type Limit uint8

// The limits, in the order in which they decide where two are equally used up.
const (
	ByNone Limit = iota
	ByDistance
	ByHours
	ByTime
)

// String is the limit's name in lists: distance, hours, time.
func (l Limit) String() string { return [...]string{"", "distance", "hours", "time"}[l] }

// near reports whether two values count as equal: within 1e-9 of the greater.
func near(a, b float64) bool {
	d := a - b
	return max(d, -d) <= 1e-9*max(a, -a, b, -b)
}

// atLeast reports whether a has reached b; equal is reached, NaN never is.
func atLeast(a, b float64) bool { return a >= b || near(a, b) }

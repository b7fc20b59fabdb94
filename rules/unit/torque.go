package unit

import (
	"math"
	"strconv"
	"strings"
)

// torqueUnits are the units of torque with their full names, which keep pound-force
// inches and pound-force feet, twelve times as much, from being taken for one another.
var torqueUnits = []struct{ name, one, many string }{
	{"N m", "newton-metre", "newton-metres"},
	{"lbf ft", "pound-force foot", "pound-force feet"},
	{"lbf in", "pound-force inch", "pound-force inches"},
}

// TorqueWords gives a torque in its own unit as it was written, and in the others
// rounded to whole numbers from 10 up and to a tenth below: "35 newton-metres (26
// pound-force feet, 310 pound-force inches)". What is no torque is given as it stands.
func TorqueWords(q Quantity) string {
	base, err := q.As(Torque)
	if err != nil {
		return q.String()
	}
	own, others := "", []string(nil)
	for _, u := range torqueUnits {
		if u.name == q.Unit {
			own = counted(q.Value, u.one, u.many)
			continue
		}
		v := From(base, u.name)
		if v >= 9.95 {
			v = math.Round(v)
		} else {
			v = math.Round(v*10) / 10
		}
		others = append(others, counted(v, u.one, u.many))
	}
	return own + " (" + strings.Join(others, ", ") + ")"
}

func counted(v float64, one, many string) string {
	if v == 1 {
		return "1 " + one
	}
	return strconv.FormatFloat(v, 'f', -1, 64) + " " + many
}

package whole

import (
	"math"

	"telltale/rules/english"
)

// Uses says how much the meter runs in a week; "" while nobody knows.
func (m *Meter) Uses() string {
	if m.Week == nil {
		return ""
	}
	s := pace(m.Week.Value) + " " + m.Week.Unit + " a week"
	switch least, most := pace(m.WeekLeast.Value), pace(m.WeekMost.Value); {
	case m.LaidUp:
		return s + ", laid up recently"
	case least != most:
		return s + " (" + least + " to " + most + " in four of five cases)"
	}
	return s
}

// pace is a week's use with two figures that count: no week is like another.
func pace(v float64) string {
	if v == 0 {
		return "0"
	}
	step := math.Pow10(int(math.Floor(math.Log10(math.Abs(v)))) - 1)
	return english.FourFigures(math.Round(v/step) * step)
}

// Shown is what it showed last, over replaced instruments too where there were others; ""
// where it was never read.
func (m *Meter) Shown() string {
	if m.Read == nil {
		return ""
	}
	return m.ReadWords()
}

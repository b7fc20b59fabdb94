package whole

import (
	"testing"

	"telltale/engine/due"
	"telltale/rules/unit"
)

func TestUses(t *testing.T) {
	week := func(mean, least, most float64, u string) Meter {
		q := func(v float64) *unit.Quantity { return &unit.Quantity{Value: v, Unit: u} }
		return Meter{Week: q(mean), WeekLeast: q(least), WeekMost: q(most)}
	}
	laidUp := week(0, 0, 300, "km")
	laidUp.ReckonedMeter = due.ReckonedMeter{LaidUp: true}
	for want, m := range map[string]Meter{
		"": {},
		"420 km a week (380 to 470 in four of five cases)":       week(421.7, 379.9, 474, "km"),
		"1,200 mi a week (1,100 to 1,300 in four of five cases)": week(1234, 1149, 1251, "mi"),
		"3.4 h a week (0 to 3.9 in four of five cases)":          week(3.44, 0, 3.9, "h"),
		"60 km a week":                  week(60.2, 60.1, 60.4, "km"),
		"0 km a week, laid up recently": laidUp,
	} {
		if got := m.Uses(); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}

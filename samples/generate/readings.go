package main

import (
	"math"
	"slices"
	"time"

	"telltale/engine/event"
	"telltale/rules/unit"
)

// slip is a reading typed wrong: its face value times factor, in the unit.
type slip struct {
	factor float64
	unit   string
	// fixed is the day on which it was taken back and the right one sent; 0 never.
	fixed int
}

// readings is what gateways send and drivers type through the year.
func (y *year) readings(v *vehicle) {
	offset := slices.Index(y.fleet, v) % 2
	for day := 1; day <= lastDay; day++ {
		switch {
		case within(v.silent, day), v.unplugged && v.standing(day) && v.standing(day+1):
		case v.unplugged && v.standing(day): // plugged in again for the morning
			y.telematics(v, day)
		case v.byHand && at(day, 0, 0).Weekday() == time.Friday:
			y.byHand(v, day)
		case !v.byHand && day%2 == offset && y.dice.Float64() > 0.02: // some get lost on the way
			y.telematics(v, day)
		}
	}
}

func (y *year) telematics(v *vehicle, day int) {
	when := at(day, 18, 0).Add(time.Duration(y.dice.IntN(7000)) * time.Second)
	source := "/gateway/" + v.depot
	if v.kind == "gritter" {
		y.add(v, event.ReadingEvent, y.id(source, "r"), when, time.Time{}, &event.ReadingData{Meter: "hour meter", Value: v.hours[day], Unit: "h"})
	}
	y.add(v, event.ReadingEvent, y.id(source, "r"), when, time.Time{},
		&event.ReadingData{Meter: "odometer", Value: v.face(v.end[day], day), Unit: "km"})
}

// byHand is what the driver reads off the dashboard on a Friday.
func (y *year) byHand(v *vehicle, day int) {
	when := at(day, 19, y.dice.IntN(60))
	right := event.ReadingData{Meter: "odometer", Value: math.Floor(v.end[day]), Unit: "km"}
	if v.unit == "mi" {
		right.Value, right.Unit = math.Floor(v.end[day]/(unit.Mile/1000)), "mi"
	}
	s, wrong := v.slips[day]
	if !wrong {
		y.add(v, event.ReadingEvent, y.id("/form/"+v.id, "f"), when, time.Time{}, &right)
		return
	}
	typed := event.ReadingData{Meter: "odometer", Value: math.Round(right.Value * s.factor), Unit: s.unit}
	id := y.add(v, event.ReadingEvent, y.id("/form/"+v.id, "f"), when, time.Time{}, &typed)
	if s.fixed == 0 {
		return
	}
	void := event.VoidData(id)
	y.add(v, event.VoidEvent, y.id("/workshop/"+v.depot, "void"), at(s.fixed, 9, 0), time.Time{}, &void)
	y.add(v, event.ReadingEvent, y.id("/form/"+v.id, "f"), when, at(s.fixed, 9, 5), &right)
}

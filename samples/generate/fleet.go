package main

import (
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"time"

	"telltale/engine/event"
	"telltale/rules/unit"
)

// span is a stretch of days, both included.
type span struct{ from, to int }

// vehicle is one of the fleet, and how it is used.
type vehicle struct {
	id, kind, depot string
	hills           bool
	inService       string  // "" where nobody knows
	start           float64 // km at the end of 2030
	perDay          float64 // km on a usual day of use
	days            string  // days of the week it is out, Monday is 1
	byHand          bool    // read weekly by hand, not by telematics
	unit            string  // what its instrument shows where that is not km
	stands          []span  // days on which it does not move
	unplugged       bool    // while it stands, its gateway is without current
	silent          []span  // days on which nobody reads it
	// late holds work back to a date of the year, whatever is due.
	late map[string]string
	// last is when work was last done, where a story needs to know.
	last map[string]string

	end   [lastDay + 1]float64 // km at the end of each day
	hours [lastDay + 1]float64 // running hours, gritters alone
	// replaced is the day on which the instrument was, offset what it lost.
	replaced int
	offset   float64
	slips    map[int]slip // readings that were typed wrong, by day

	done   map[string]done // when each task was last done
	atf    *fluid          // in the transmission
	oil    *fluid          // in the engine
	tested bool            // the engine's oil is sampled at each change
}

func fleet() []*vehicle {
	north, south := "north", "south"
	return []*vehicle{
		{id: "bus-01", kind: "minibus", depot: north, hills: true, inService: "2026-09-14", start: 118240, perDay: 105, days: "12345", tested: true,
			last: map[string]string{"transmission fluid": "2030-01-03"}},
		{id: "bus-02", kind: "minibus", depot: north, inService: "2027-05-03", start: 96870, perDay: 120, days: "12345",
			last: map[string]string{"transmission fluid": "2028-11-06"}},
		{id: "bus-03", kind: "minibus", depot: north, hills: true, inService: "2027-03-01", start: 104310, perDay: 115, days: "12345",
			stands: []span{{on("05-12"), on("06-12")}},
			last:   map[string]string{"transmission fluid": "2030-07-02"}},
		{id: "bus-04", kind: "minibus", depot: north, inService: "2028-02-07", start: 71450, perDay: 110, days: "12345",
			last: map[string]string{"transmission fluid": "2029-08-23"}},
		{id: "bus-05", kind: "minibus", depot: north, hills: true, inService: "2028-08-21", start: 62880, perDay: 95, days: "12345",
			last: map[string]string{"transmission fluid": "2030-10-11"}},
		{id: "bus-06", kind: "minibus", depot: north, inService: "2025-10-06", start: 139700, perDay: 80, days: "12345", byHand: true, unit: "mi",
			last: map[string]string{"transmission fluid": "2030-04-19"}},
		{id: "bus-07", kind: "minibus", depot: south, hills: true, inService: "2028-05-22", start: 98300, perDay: 150, days: "12345",
			last: map[string]string{"transmission fluid": "2029-11-28"}},
		{id: "bus-08", kind: "minibus", depot: south, inService: "2028-05-15", start: 88960, perDay: 125, days: "12345",
			last: map[string]string{"engine oil": "2030-10-21", "transmission fluid": "2030-04-27"}, tested: true},
		{id: "bus-09", kind: "minibus", depot: south, hills: true, inService: "2029-01-15", start: 57900, perDay: 110, days: "12345",
			last: map[string]string{"transmission fluid": "2030-05-24"}},
		{id: "bus-10", kind: "minibus", depot: south, inService: "2029-06-04", start: 49300, perDay: 120, days: "12345",
			stands: []span{{on("09-16"), on("09-25")}},
			last:   map[string]string{"transmission fluid": "2029-06-04"}},
		{id: "bus-11", kind: "minibus", depot: south, hills: true, inService: "2026-04-06", start: 77600, perDay: 115, days: "123567",
			stands: []span{{1, on("03-31")}, {on("11-03"), lastDay}}, unplugged: true,
			last: map[string]string{"safety inspection": "2030-10-21", "engine oil": "2030-10-21", "annual test": "2030-04-02",
				"transmission fluid": "2029-12-03"},
			late: map[string]string{"safety inspection": "03-31", "annual test": "03-31"}},
		{id: "bus-12", kind: "minibus", depot: south, start: 143900, perDay: 90, days: "12345", stands: []span{{1, on("01-19")}},
			silent: []span{{on("07-16"), on("09-02")}}},
		{id: "van-01", kind: "van", depot: north, inService: "2028-11-06", start: 41200, perDay: 62, days: "12345", byHand: true},
		{id: "van-02", kind: "van", depot: north, hills: true, inService: "2029-03-19", start: 38450, perDay: 70, days: "12345", byHand: true},
		{id: "van-03", kind: "van", depot: south, inService: "2028-06-14", start: 47900, perDay: 66, days: "123456", tested: true,
			last: map[string]string{"annual test": "2030-06-14"}, late: map[string]string{"annual test": "06-18"}},
		{id: "van-04", kind: "van", depot: south, hills: true, inService: "2030-02-11", start: 18700, perDay: 75, days: "12345"},
		{id: "gritter-01", kind: "gritter", depot: north, hills: true, inService: "2026-10-05", start: 31800,
			unplugged: true, tested: true, stands: []span{{on("04-19"), on("10-12")}}},
		{id: "gritter-02", kind: "gritter", depot: south, hills: true, inService: "2028-09-25", start: 17350,
			unplugged: true, tested: true, stands: []span{{on("04-19"), on("10-12")}}},
		{id: "library-01", kind: "mobile library", depot: north, inService: "2027-04-12", start: 33700, perDay: 42, days: "1245", byHand: true, tested: true,
			last: map[string]string{"engine oil": "2030-05-13"}, late: map[string]string{"engine oil": "06-03"}},
	}
}

// drive reckons where the meters stand at the end of each day.
func (v *vehicle) drive(dice *rand.Rand) {
	v.end[0] = v.start
	v.hours[0] = math.Round(v.start / 22)
	for day := 1; day <= lastDay; day++ {
		km, h := 0.0, 0.0
		if v.kind == "gritter" {
			h = gritting(day, dice)
			km = h * (20 + 4*dice.Float64())
		} else if v.runs(day) {
			km = v.perDay * (0.75 + 0.5*dice.Float64())
		}
		if v.standing(day) {
			km, h = 0, 0
		}
		v.end[day] = v.end[day-1] + math.Round(km*10)/10
		v.hours[day] = math.Round((v.hours[day-1]+h)*10) / 10
	}
}

// gritting is how long a gritter is out in the night before a day.
func gritting(day int, dice *rand.Rand) float64 {
	icy := map[time.Month]float64{time.January: 0.6, time.February: 0.6, time.March: 0.35, time.April: 0.1, time.October: 0.1,
		time.November: 0.35, time.December: 0.6}[at(day, 0, 0).Month()]
	frost, hours := dice.Float64(), 4+4*dice.Float64()
	if frost >= icy {
		return 0
	}
	return hours
}

func (v *vehicle) runs(day int) bool {
	weekday := (int(at(day, 0, 0).Weekday())+6)%7 + 1
	return strings.Contains(v.days, strconv.Itoa(weekday)) && !holiday(day)
}

func (v *vehicle) standing(day int) bool { return within(v.stands, day) }

func within(spans []span, day int) bool {
	return slices.ContainsFunc(spans, func(s span) bool { return s.from <= day && day <= s.to })
}

// km is the distance run in its life by the morning of a day, running the hours.
func (v *vehicle) km(day int) float64      { return v.counted(&v.end, day) }
func (v *vehicle) running(day int) float64 { return v.counted(&v.hours, day) }

// counted is what was counted by the morning of a day; before the year, as if it had
// always been used alike.
func (v *vehicle) counted(end *[lastDay + 1]float64, day int) float64 {
	if day >= 1 {
		return end[day-1]
	}
	since := on(v.inService)
	return math.Round(end[0] * float64(day-since) / float64(-since))
}

// face is what the odometer shows, whole kilometres, at a life distance on a day.
func (v *vehicle) face(km float64, day int) float64 {
	if v.replaced > 0 && day >= v.replaced {
		km -= v.offset
	}
	return math.Floor(km)
}

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

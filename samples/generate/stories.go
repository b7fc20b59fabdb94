package main

import (
	"time"

	"telltale/engine/event"
	"telltale/rules/unit"
)

// stories is what does not happen to every vehicle. README.md tells them in words.
func (y *year) stories() {
	y.boughtUsed()
	y.halfDrain()
	y.copperClimbs()
	y.coolantInside()
	y.newSealant()
	y.milesTyped()
	y.newInstrument()
	y.laidUp()
	y.lateReport()
	y.library()
	y.gritters()
	y.correctedReport()
	y.quietTransmissions()
}

// boughtUsed: Bus 12 came from an auction with an empty glove box.
func (y *year) boughtUsed() {
	v := y.vehicle("bus-12")
	y.add(v, event.ServiceEvent, y.id("/workshop/south", "S"), time.Date(2030, 11, 28, 10, 0, 0, 0, time.UTC), at(on("01-09"), 9, 0),
		&event.ServiceData{Tasks: []string{"annual test"}, By: "seller", Note: "by the certificate that came with the bus"})
	y.service(v, on("01-15"), event.ServiceData{
		Tasks: []string{"first inspection", "safety inspection", "brake fluid"}, Note: "front pads renewed, two bulbs, rust at the step"})
	y.service(v, on("01-15"), event.ServiceData{
		Tasks: []string{"engine oil"}, Component: "engine", Filter: true,
		Fluid: &event.FluidData{Name: "5W-30", Drained: quantity(6.5, "L"), Filled: quantity(7, "L")}})
	y.service(v, on("01-16"), event.ServiceData{
		Tasks: []string{"coolant"}, Component: "cooling",
		Fluid: &event.FluidData{Name: "coolant", Drained: quantity(8.5, "L"), Filled: quantity(9, "L")}})
	for _, task := range []string{"safety inspection", "brake fluid", "engine oil"} {
		v.done[task] = v.stoodAt(on("01-15"))
		y.checks(v, task, on("01-15"))
	}
	v.done["coolant"] = v.stoodAt(on("01-15"))
	y.checks(v, "coolant", on("01-16"))
	v.done["annual test"] = done{day: on("2030-11-28")}
	v.atf = newTransmissionFluid(v.start - 58000) // what the fluid knows and the papers do not
	y.sample(v, sampling{component: "transmission", day: on("01-16"), reported: on("01-27"), ageUnknown: true})
	y.drain(v, on("01-16"), 4, "fluid dark, no history; filter full, magnet fair", "first transmission fluid")
	y.sample(v, sampling{component: "transmission", day: on("07-14"), reported: on("07-23"), ageUnknown: true})
}

// halfDrain: Bus 7 leached copper from a new cooler. The drain halved what the
// next sample saw; the alarm waits for a sample that can tell.
func (y *year) halfDrain() {
	v := y.vehicle("bus-07")
	day := on("02-10")
	v.atf.run(v.km(day))
	v.atf.values["Cu"] += 90
	y.sample(v, sampling{component: "transmission", day: day, reported: on("02-19")})
	y.drain(v, day, 4, "thin grey film on the magnet, no bronze; the cooler was renewed last spring")
	y.answer(v, at(on("02-20"), 8, 0), event.AnswerData{Answer: "acknowledge", Rule: "copper over baseline", Component: "transmission",
		By: "tobias", Why: "the workshop looked, and samples again"})
	y.sample(v, sampling{component: "transmission", day: on("02-13"), reported: on("02-24")})
	y.sample(v, sampling{component: "transmission", day: on("09-29"), reported: on("10-08")})
}

// copperClimbs: Bus 3 wears a thrust washer, and two samples say so.
func (y *year) copperClimbs() {
	v := y.vehicle("bus-03")
	v.atf.rate["Cu"], v.atf.rate["Pb"] = 7.1, 1.1
	y.sample(v, sampling{component: "transmission", day: on("02-24"), reported: on("03-05")})
	copper := event.AnswerData{Answer: "acknowledge", Rule: "copper over baseline", Component: "transmission", By: "ines",
		Why: "a second sample is booked for May"}
	y.answer(v, at(on("03-06"), 9, 10), copper)
	copper.Answer, copper.Until, copper.Why = "shelve", "2031-05-29T08:00:00Z", "waiting for the second sample"
	y.answer(v, at(on("03-06"), 9, 12), copper)
	v.atf.run(v.km(on("02-24")))
	v.atf.rate["Cu"] = 18
	y.sample(v, sampling{component: "transmission", day: on("05-05"), reported: on("05-09")})
	y.answer(v, at(on("05-09"), 15, 0), event.AnswerData{Answer: "acknowledge", Rule: "copper over baseline", Component: "transmission",
		By: "ines", Why: "stopped; the transmission comes out on Monday"})
	fresh := newTransmissionFluid(0).rate
	v.atf.rate["Cu"], v.atf.rate["Pb"] = fresh["Cu"], fresh["Pb"]
	y.drain(v, on("06-12"), 8, "rear thrust washer worn through to the steel, renewed; converter and cooler flushed")
	y.sample(v, sampling{component: "transmission", day: on("12-08"), reported: on("12-16")})
}

// coolantInside: the cooler of Bus 10 leaked into its transmission.
func (y *year) coolantInside() {
	v := y.vehicle("bus-10")
	y.sample(v, sampling{component: "transmission", day: on("02-17"), reported: on("02-26")})
	y.drain(v, on("04-28"), 4, "")
	v.atf.run(v.km(on("09-08")))
	v.atf.values["Na"] += 64
	v.atf.values["K"] += 39
	y.sample(v, sampling{component: "transmission", day: on("09-08"), reported: on("09-15"), set: map[string]float64{"water": 0.16}})
	y.answer(v, at(on("09-15"), 14, 20), event.AnswerData{Answer: "acknowledge", Rule: "coolant in the fluid", Component: "transmission",
		By: "ines", Why: "off the road, towed to Ambry Lane"})
	y.drain(v, on("09-25"), 8, "cooler leaked under pressure; radiator and cooler renewed, lines and converter flushed")
	y.sample(v, sampling{component: "transmission", day: on("10-13"), reported: on("10-21")})
}

// newSealant: the pan of Bus 5 was sealed anew, and silicone is not dirt.
func (y *year) newSealant() {
	v := y.vehicle("bus-05")
	y.drain(v, on("02-10"), 4, "pan gasket wept; pan sealed anew with silicone")
	v.atf.values["Si"] += 38
	y.sample(v, sampling{component: "transmission", day: on("03-24"), reported: on("04-02")})
	v.atf.rate["Si"] = -0.6
	y.sample(v, sampling{component: "transmission", day: on("06-16"), reported: on("06-25")})
	y.drain(v, on("06-16"), 4, "second half drain, as after every repair of the pan")
	y.sample(v, sampling{component: "transmission", day: on("09-22"), reported: on("10-01")})
}

// milesTyped: Bus 6 has an instrument in miles, and a new driver a form in
// kilometres. On Van 2 a digit too many was never taken back.
func (y *year) milesTyped() {
	y.vehicle("bus-06").slips = map[int]slip{on("05-16"): {1, "km", on("05-19")}}
	y.vehicle("van-02").slips = map[int]slip{on("09-12"): {10, "km", 0}}
}

// newInstrument: the instrument of Bus 8 died; the schedule did not.
func (y *year) newInstrument() {
	v := y.vehicle("bus-08")
	day := on("04-03")
	last := unit.Quantity{Value: v.face(v.km(day), day), Unit: "km"}
	y.add(v, event.MeterReplacedEvent, y.id("/workshop/south", "meter"), at(day, 8, 30), time.Time{},
		&event.MeterReplacedData{Meter: "odometer", Last: last, First: unit.Quantity{Value: 4, Unit: "km"}})
	v.replaced, v.offset = day, v.km(day)-4
	y.sample(v, sampling{component: "transmission", day: on("10-06"), reported: on("10-15")})
}

// laidUp: the walkers' bus runs from April to October, gritters the other way.
func (y *year) laidUp() {
	v := y.vehicle("bus-11")
	out := event.AnswerData{Answer: "out of service", By: "ines", Why: "laid up until the walkers come back"}
	in := event.AnswerData{Answer: "in service", By: "ines", Why: "season begins on 1 April"}
	y.answer(v, at(1, 8, 0), out)
	y.answer(v, at(on("03-28"), 8, 0), in)
	y.answer(v, at(on("11-03"), 8, 0), out)
	y.sample(v, sampling{component: "transmission", day: on("07-07"), reported: on("07-16")})
	out.By, out.Why, in.By, in.Why = "abel", "winter service is over", "abel", "winter service begins"
	for _, id := range []string{"gritter-01", "gritter-02"} {
		y.answer(y.vehicle(id), at(on("04-19"), 8, 0), out)
		y.answer(y.vehicle(id), at(on("10-13"), 8, 0), in)
	}
}

// lateReport: a bottle of Bus 4 lay in the laboratory for two months, and then
// told that the iron had not jumped in June but in spring.
func (y *year) lateReport() {
	v := y.vehicle("bus-04")
	y.sample(v, sampling{component: "transmission", day: on("01-15"), reported: on("01-24")})
	v.atf.rate["Fe"] = 6.5
	y.sample(v, sampling{component: "transmission", day: on("04-15"), reported: on("06-20")})
	v.atf.rate["Fe"] = 2.2
	y.sample(v, sampling{component: "transmission", day: on("06-02"), reported: on("06-11")})
	v.atf.rate["Fe"] = 1.9
	y.drain(v, on("11-26"), 4, "")
}

// library: the mobile library drives so little that its oil is due by the
// calendar; the driver asks for a week or two.
func (y *year) library() {
	v := y.vehicle("library-01")
	y.answer(v, at(on("05-14"), 17, 30), event.AnswerData{Answer: "postpone", Task: "engine oil", Component: "engine", Until: "2031-06-02",
		By: "maud", Why: "book week in every village until the end of the month"})
}

// gritters: a badly seated air filter shows in the oil of Gritter 1.
func (y *year) gritters() {
	v := y.vehicle("gritter-01")
	day := on("02-03")
	v.oil.run(v.running(day))
	v.oil.values["Si"] += 40
	v.oil.values["Al"] += 9
	v.oil.values["Fe"] += 9
	y.sample(v, sampling{component: "engine", day: day, reported: on("02-11")})
	day = on("02-12")
	y.service(v, day, event.ServiceData{Tasks: []string{"gritter engine oil"}, Component: "engine", Filter: true,
		Fluid: &event.FluidData{Name: "5W-30", Drained: quantity(13.5, "L"), Filled: quantity(14, "L")},
		Note:  "air filter sat askew in its housing, seal renewed, intake hose cleaned"})
	v.oil.run(v.running(day))
	v.oil.exchange(1)
	v.done["gritter engine oil"] = v.stoodAt(day)
	y.checks(v, "gritter engine oil", day)
	y.sample(v, sampling{component: "engine", day: on("03-31"), reported: on("04-08")})
}

// correctedReport: the laboratory mixed up two bottles, and said so.
func (y *year) correctedReport() {
	v := y.vehicle("bus-09")
	number := y.sample(v, sampling{component: "transmission", day: on("05-12"), reported: on("05-21"), set: map[string]float64{"Fe": 151}})
	y.sample(v, sampling{component: "transmission", day: on("05-12"), reported: on("05-23"), number: number, revision: 2})
	y.drain(v, on("12-03"), 4, "")
}

// quietTransmissions are those of which there is nothing to tell.
func (y *year) quietTransmissions() {
	y.drain(y.vehicle("bus-02"), on("02-05"), 4, "")
	y.sample(y.vehicle("bus-06"), sampling{component: "transmission", day: on("05-06"), reported: on("05-15")})
	y.sample(y.vehicle("bus-01"), sampling{component: "transmission", day: on("08-18"), reported: on("08-27")})
	y.drain(y.vehicle("bus-01"), on("08-18"), 4, "")
}

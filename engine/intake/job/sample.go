package job

import (
	"cmp"
	"fmt"
	"strconv"
	"strings"
	"time"

	"telltale/engine/event"
	"telltale/rules/analytes"
	"telltale/rules/source"
	"telltale/rules/unit"
)

// Sample is a laboratory's sheet as it is typed: Results as Fe=74 Pb=<1 KV100=13.9, each
// in its analyte's own unit, or a temperature in the one in which people read.
type Sample struct {
	Vehicle, Component, Number, Drawn, Results string
	FluidAge, Laboratory                       string
	Revision                                   int
	After                                      bool // the work of that day
	Meters                                     []Meter
}

// Event is the sheet's event, checked.
func (s Sample) Event(k Known) (ev event.Event, err error) {
	if _, err = k.when(s.Drawn); err != nil {
		return ev, err
	}
	d := &event.SampleData{Number: s.Number, Revision: s.Revision, Laboratory: s.Laboratory}
	if d.Component, err = s.component(k); err != nil {
		return ev, err
	}
	if d.Number == "" {
		return ev, &Error{Fault: NoNumber, Option: "number", text: "number is missing: the laboratory's number of the sheet"}
	}
	if s.FluidAge != "" {
		if d.FluidAge, err = age(s.FluidAge, k.Reads); err != nil {
			return ev, err
		}
	}
	meters, err := (Job{Vehicle: s.Vehicle, Meters: s.Meters, reads: k.Reads}).meterValues(k.Registered.Meters)
	if err != nil {
		return ev, err
	}
	if d.Results, err = results(s.Results, k.Reads); err != nil {
		return ev, err
	}
	d.Meters = meters
	return s.Of(k, d)
}

// Of is the event of a sheet of which the data are read already, but for when it was drawn:
// of the sample, Vehicle, Drawn and After count.
func (s Sample) Of(k Known, d *event.SampleData) (ev event.Event, err error) {
	at, err := k.when(s.Drawn)
	if err != nil {
		return ev, err
	}
	if _, err := time.Parse(time.DateOnly, s.Drawn); err == nil {
		d.Drawn = s.Drawn
	}
	if s.After {
		d.Taken, d.Drawn = "after", at.In(k.Registered.Location()).Format(time.DateOnly)
	}
	return k.named(event.Event{Kind: event.SampleEvent, Vehicle: s.Vehicle, Time: at, Data: d})
}

// component is the one that was named, or the only one that there is.
func (s Sample) component(k Known) (string, error) {
	all := componentNames(k.Registered)
	switch {
	case s.Component != "":
		return ComponentMeant(s.Vehicle, k.Registered, s.Component)
	case len(all) == 1:
		return all[0], nil
	case len(all) == 0:
		return "", &Error{Fault: NoComponents, text: s.Vehicle + " has no components in the register, so the sample belongs to none"}
	}
	return "", &Error{Fault: NoComponentSaid, Have: all, text: fmt.Sprintf("which component? %s has %s", s.Vehicle, strings.Join(all, ", "))}
}

// age is a fluid's age, by distance or by hours.
func age(text string, reads unit.System) (*unit.Quantity, error) {
	q, err := quantity("fluid-age", text, unit.Distance, reads)
	if err == nil {
		return q, nil
	}
	if q, other := quantity("fluid-age", text, unit.Time, reads); other == nil {
		return q, nil
	}
	return nil, err
}

// results reads Fe=74 Pb=<1 in one text.
func results(text string, reads unit.System) (out []event.ResultData, err error) {
	for _, part := range strings.Fields(text) {
		name, value, ok := strings.Cut(strings.TrimRight(part, ",;"), "=")
		if !ok {
			return nil, &Error{Fault: NoResult, Option: "sample", text: fmt.Sprintf("sample %q is not a result like Fe=74", part)}
		}
		a, known := analytes.Find(name)
		if !known {
			return nil, noAnalyte(name)
		}
		r, err := result(a.Name, value, reads)
		if err != nil {
			return nil, err
		}
		out = append(out, r)
	}
	if out == nil {
		return nil, &Error{Fault: NoResult, Option: "sample", text: "sample is empty"}
	}
	return out, nil
}

func noAnalyte(name string) error {
	var all []string
	of := map[string]string{}
	for _, n := range analytes.Names() {
		a, _ := analytes.Of(n)
		all, of[n], of[a.Title] = append(all, n, a.Title), n, n
	}
	return &Error{Fault: NoSuchName, Option: "sample", Name: name, Near: of[source.Near(name, all)], Have: analytes.Names(),
		text: fmt.Sprintf("sample: no rule knows an analyte %q", name)}
}

// result reads a number in the analyte's own unit, or of a temperature in the one in which
// people read, below or above a limit where it says so.
func result(analyte, text string, reads unit.System) (r event.ResultData, err error) {
	kind, _ := unit.Of(analytes.UnitOf(analyte))
	r = event.ResultData{Analyte: analyte, Unit: cmp.Or(reads.Of(kind), analytes.UnitOf(analyte), "index")}
	number, into := text, &r.Value
	if cut, ok := strings.CutPrefix(text, "<"); ok {
		number, into = cut, &r.Below
	} else if cut, ok := strings.CutPrefix(text, ">"); ok {
		number, into = cut, &r.Above
	}
	v, err := strconv.ParseFloat(number, 64)
	if err != nil {
		return r, &Error{Fault: NoResult, Option: "sample", text: fmt.Sprintf("sample: %s %q is not a number, or one like <5", analyte, text)}
	}
	if _, decimals, _ := strings.Cut(number, "."); strings.HasSuffix(decimals, "0") {
		r.Decimals = len(decimals)
	}
	*into = &v
	return r, nil
}

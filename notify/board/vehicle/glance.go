package vehicle

import (
	"slices"
	"strings"

	"telltale/notify/board/frame"
)

// glancePage is what somebody sees who may not look at everything: what stands and the meters.
type glancePage struct {
	About  string
	Do     []frame.Link
	Stands []stand
	Now    []work
	Meters []meter
}

// glance is the vehicle's page for them.
func (v *told) glance() (*frame.Page, error) {
	reg := v.Register
	about := slices.DeleteFunc(slices.Compact([]string{reg.Kind, v.Vehicle.Vehicle, reg.Plate}), func(s string) bool { return s == "" })
	d := glancePage{About: clean(strings.Join(about, ", ")), Do: v.doings(), Stands: v.stands(), Meters: v.meters()}
	d.Now, _ = v.works()
	for i := range d.Meters {
		d.Meters[i].Doubts, d.Meters[i].More = nil, "" // they lead into the history
	}
	body, err := templates.Body("glance", d)
	return &frame.Page{Section: frame.Vehicles, Title: v.title(), Lead: v.lead(), Up: frame.Link{Words: "Vehicles", Path: "/vehicles"}, Body: body, Watch: v.Vehicle.Vehicle}, err
}

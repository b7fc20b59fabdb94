package tables

import (
	"fmt"
	"slices"
	"strings"

	"telltale/engine/alarm"
)

// Follow is what becomes of the alarms of one rule or task, of all rows together.
type Follow struct {
	Rule string
	// Change is what becomes of them: "now due", "cleared". To is the stage that they reach,
	// alarm.Normal where they reach none.
	Change   string
	To       alarm.Stage
	Times    int
	Vehicles []string // each once, in the order of the rows
}

// shownVehicles is on how many vehicles a line names them.
const shownVehicles = 3

// String gives it as a line: "engine oil: now due on bus-07".
func (f *Follow) String() string {
	line := f.Rule + ": " + f.Change + " " + f.On()
	if f.Times > len(f.Vehicles) {
		line += fmt.Sprintf(" (%d times)", f.Times)
	}
	return line
}

// On says on which vehicles, or on how many.
func (f *Follow) On() string {
	if len(f.Vehicles) <= shownVehicles {
		return "on " + strings.Join(f.Vehicles, ", ")
	}
	return fmt.Sprintf("on %d vehicles", len(f.Vehicles))
}

// Follows are what would follow of all new rows, in the order in which it first does.
func (d *Dry) Follows() (out []Follow) {
	for i := range d.Would {
		for _, t := range d.Would[i].Follows {
			f := Follow{Rule: t.Rule, Change: string(t.Transition)}
			if t.Transition == alarm.Raised || t.Transition == alarm.Worsened || t.Transition == alarm.Eased {
				f.Change, f.To = "now "+string(t.To), t.To
			}
			at := slices.IndexFunc(out, func(o Follow) bool { return o.Rule == f.Rule && o.Change == f.Change })
			if at < 0 {
				at, out = len(out), append(out, f)
			}
			out[at].Times++
			if v := d.Events[i].Vehicle; !slices.Contains(out[at].Vehicles, v) {
				out[at].Vehicles = append(out[at].Vehicles, v)
			}
		}
	}
	return out
}

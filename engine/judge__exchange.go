package engine

import (
	"fmt"
	"math"
	"strings"
)

// oddShare says what is odd about how much of the component's fluid was renewed by a
// drain; it is empty where nothing is.
func oddShare(d *FluidData, c *ComponentDef) string {
	renewed, capacity := litres(d.Filled), litres(c.Capacity)
	if math.IsNaN(renewed) {
		renewed = litres(d.Drained)
	}
	share := renewed / capacity
	switch {
	case d.Flush || !(capacity > 0):
	case share > 0.8 && strings.Contains(strings.ToLower(c.Kind), "automatic transmission"):
		return fmt.Sprintf("%.3g %% of the fluid of the %s would have been renewed, and a drain leaves the converter full: is the capacity of %s that of the pan alone? (Say flush where a machine renewed all of it.)", 100*share, c.Name, c.Capacity)
	case share > 1.1:
		return fmt.Sprintf("%.2g times what the %s holds would have been renewed: is its capacity of %s right? (Say flush where a machine renewed all of it.)", share, c.Name, c.Capacity)
	}
	return ""
}

// statedShare is the greatest share of a component's fluid that the service's tasks
// renew by plan; 0 where none states one.
func (f *view) statedShare(s *Service, comp int) float64 {
	share := 0.0
	for _, at := range f.applied().rules.Tasks {
		if at.Task.Share > share && at.Component == comp && f.settlesTask(s, at.Task, comp) {
			share = at.Task.Share
		}
	}
	return share
}

// Package operator is the board's pages for whoever runs the service: what was said, who
// was told of it and whether it arrived, what could not be used, what is usual in the
// fleet, who hears of what, and whether the service runs.
package operator

import (
	"context"
	"embed"
	"time"

	"telltale/engine"
	"telltale/engine/stream"
	"telltale/engine/stream/refusals"
	"telltale/notify/board/frame"
	"telltale/notify/board/limits"
	"telltale/notify/delivery"
	"telltale/notify/rights"
)

//go:embed web/*.html
var web embed.FS

var templates = frame.Parse(web)

// Pages are the operator's.
func Pages(f *frame.Frame) []frame.Route {
	s := &site{Frame: f, refused: f.Refused(), deliveries: f.Deliveries()}
	return []frame.Route{
		{Pattern: "GET /said", Needs: rights.Watch, Handle: s.said},
		{Pattern: "GET /said.csv", Needs: rights.Watch, Costs: limits.Fleet, Handle: s.saidTable},
		{Pattern: "GET /deliveries", Needs: rights.Watch, Handle: s.deliveryList},
		{Pattern: "GET /deliveries/{key}", Needs: rights.Watch, Handle: s.message},
		{Pattern: "GET /deliveries/{key}/raw", Needs: rights.Watch, Handle: s.raw},
		{Pattern: "POST /deliveries/{key}/again", Needs: rights.Watch, Handle: s.again},
		{Pattern: "GET /refused", Needs: rights.Watch, Handle: s.refusedList},
		{Pattern: "GET /refused/{seq}", Needs: rights.Watch, Handle: s.event},
		{Pattern: "GET /refused/{seq}/raw", Needs: rights.Watch, Handle: s.rawEvent},
		{Pattern: "GET /baselines", Needs: rights.Watch, Handle: s.baselines},
		{Pattern: "GET /people", Needs: rights.Watch, Handle: s.people},
		{Pattern: "GET /service", Needs: rights.Watch, Handle: s.service},
		{Pattern: "GET /words", Handle: s.words},
	}
}

type site struct {
	*frame.Frame
	refused    *refusals.Kept
	deliveries *delivery.Index
	reaches    hearing
}

// perPage is how many lines a list has on a page.
const perPage = 50

// titles are what people call vehicles, each asked for once.
type titles struct {
	site *site
	kept map[string]frame.Vehicle
	// gone are the partitions that did not answer, and are asked no more.
	gone map[int]bool
}

func (s *site) titles() *titles { return &titles{s, map[string]frame.Vehicle{}, map[int]bool{}} }

// of is the vehicle of that id: with its registration where it has one.
func (t *titles) of(ctx context.Context, id string) (frame.Vehicle, error) {
	if v, ok := t.kept[id]; ok {
		return v, nil
	}
	var reg engine.RegisteredVehicle
	if !t.gone[stream.Partition(id)] {
		var err error
		reg, err = t.site.Service.RegisteredAs(ctx, id)
		missing, err := frame.Missing(err)
		if err != nil {
			return frame.Vehicle{}, err
		}
		for _, p := range missing {
			t.gone[p] = true
		}
	}
	v := frame.Vehicle{ID: id, VehicleData: reg.VehicleData, Where: time.UTC}
	if reg.VehicleData != nil {
		v.ID = reg.Vehicle
	}
	t.kept[id] = v
	return v, nil
}

// titleOf is what people call a vehicle, registered or not.
func titleOf(v frame.Vehicle) string {
	if v.VehicleData == nil {
		return v.ID
	}
	return v.Title()
}

// moment writes a time of the viewer's wall.
func moment(v frame.Viewer, t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return v.Day(t) + ", " + t.In(v.Zone).Format("15:04")
}

package files

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"telltale/engine/intake"
	"telltale/engine/intake/table"
	"telltale/engine/stream/tables"
	"telltale/notify/board/frame"
	"telltale/rules/english"
)

// comparison is a table of vehicles beside the register. Nothing of it is sent: vehicles
// stand in the folder's vehicles.yaml.
type comparison struct {
	New              string // the lines of those that are new
	Changed, Missing []string
	MoreChanged      int
}

// dryVehicles shows what a table of vehicles says that the register does not.
func (s *site) dryVehicles(ctx context.Context, r *frame.Request, data *dryRun, m *table.Mapping, t *table.Table) (*frame.Page, error) {
	c, text, err := s.against(ctx, r, m, t)
	if err != nil {
		return nil, err
	}
	data.Vehicles = &comparison{Changed: c.Changed[:min(len(c.Changed), shownFaults)], MoreChanged: max(0, len(c.Changed)-shownFaults), Missing: c.Missing}
	data.Counts = []rows{{"Rows read", fmt.Sprint(t.Rows)}, {"Vehicles that are new", fmt.Sprint(len(c.New))}}
	if len(c.New) > 0 {
		lines := strings.SplitAfter(string(text), "\n")
		if len(lines) > 200 {
			lines = append(lines[:200], "…\n")
		}
		data.Vehicles.New = strings.Join(lines, "")
	}
	p := page("Vehicles of "+data.File, english.Sentences(english.Plural(len(c.New), "vehicle")+" would be new", "Nothing is sent: vehicles are written into vehicles.yaml of the folder"))
	p.Body, err = templates.Body("dry", data)
	return p, err
}

func (s *site) against(ctx context.Context, r *frame.Request, m *table.Mapping, t *table.Table) (c table.Comparison, text []byte, err error) {
	fleet, err := tables.Fleet(ctx, s.at(), r.Question().Sees)
	if err != nil {
		return c, nil, err
	}
	c = m.Against(fleet, t)
	text, err = intake.RegisterText(c.New, len(fleet.Vehicles) > 0)
	return c, text, err
}

// register is the lines of the vehicles that are new, as a file.
func (s *site) register(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	h := s.kept(r)
	if h == nil || h.mapped == nil {
		return nil, forgotten
	}
	d, m, err := s.read(ctx, r, h)
	if _, wrong := errors.AsType[table.Faults](err); wrong || m != nil && !m.Vehicles() {
		return nil, frame.NotFound
	}
	if err != nil {
		return nil, err
	}
	_, text, err := s.against(ctx, r, m, d.Table)
	return &frame.Page{File: &frame.File{Type: "application/yaml; charset=utf-8", Name: "vehicles-new.yaml", Body: text}}, err
}

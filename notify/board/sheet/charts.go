package sheet

import (
	"context"

	"telltale/engine/chart"
	"telltale/notify/board/frame"
)

// slimQuery asks for a picture as a phone shows it.
const slimQuery = "slim"

// chart draws the sample beside what is usual, and over the component's life.
func (r room) chart(ctx context.Context, req *frame.Request) (*frame.Page, error) {
	s, err := r.meant(ctx, req)
	if err != nil {
		return nil, err
	}
	v := *s.of
	v.Name, v.Drawn = s.vehicle.Title(), req.Viewer.Date(v.Drawn)
	return drawn(chart.Page(v, req.Viewer.Spelling, req.FormValue(slimQuery) != ""))
}

// made draws how much of an analyte was made up to each sample.
func (r room) made(ctx context.Context, req *frame.Request) (*frame.Page, error) {
	s, err := r.meant(ctx, req)
	if err != nil {
		return nil, err
	}
	m, ok := s.of.Chart(req.PathValue("analyte"))
	if !ok {
		return nil, frame.NotFound
	}
	v := *s.of
	v.Name = s.vehicle.Title()
	return drawn(chart.MadePage(v, m, req.Viewer.Spelling, req.FormValue(slimQuery) != ""))
}

func drawn(svg []byte, err error) (*frame.Page, error) {
	switch {
	case err != nil:
		return nil, err
	case svg == nil:
		return nil, frame.NotFound
	}
	return &frame.Page{File: &frame.File{Type: "image/svg+xml", Body: svg}}, nil
}

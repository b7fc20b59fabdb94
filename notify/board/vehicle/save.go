package vehicle

import (
	"bytes"
	"context"
	"encoding/json"
	"time"

	"telltale/notify/board/frame"
	"telltale/notify/handover"
)

// handOver is the whole history for whoever gets the vehicle, to be printed.
func (s site) handOver(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	v, list, err := s.askHistory(ctx, r)
	if err != nil {
		return nil, err
	}
	body, err := handover.Body(list, v.by.DatesIn)
	return &frame.Page{Section: frame.Vehicles, Title: "Service history of " + v.title(), Up: frame.Link{Words: "History", Path: v.path("history")}, Body: body}, err
}

func (s site) historyCSV(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	v, list, err := s.askHistory(ctx, r)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if err := handover.CSV(&b, list); err != nil {
		return nil, err
	}
	return &frame.Page{File: &frame.File{Type: "text/csv; charset=utf-8", Name: v.file("csv", r.Now), Body: b.Bytes()}}, nil
}

func (s site) historyJSON(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	v, list, err := s.askHistory(ctx, r)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	for i := range list { // a line an entry, as telltale history --json writes them
		if err := enc.Encode(&list[i]); err != nil {
			return nil, err
		}
	}
	return &frame.Page{File: &frame.File{Type: "application/x-ndjson", Name: v.file("jsonl", r.Now), Body: b.Bytes()}}, nil
}

// file is a name under which something of the vehicle is saved.
func (v *told) file(ext string, now time.Time) string {
	return "history-" + v.Vehicle.Vehicle + "-" + now.In(v.where).Format(time.DateOnly) + "." + ext
}

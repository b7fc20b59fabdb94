package trail

import (
	"bytes"
	"context"
	"strings"
	"time"

	"telltale/engine/stream/audit"
	"telltale/notify/board/frame"
	"telltale/notify/cells"
)

const (
	// mostRows is how many entries a file to save has at the most, the latest.
	mostRows = 10_000
	// rowsAtOnce is how many of them are read together.
	rowsAtOnce = 1_000
)

// file is who did what as a table to save.
func (s *site) file(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	rows := [][]string{{"time", "who", "called", "how", "from", "what", "outcome", "vehicle", "name", "by", "why", "words", "events"}}
	f := filterOf(r)
	f.Before = ""
	q, wrong, err := s.query(ctx, r, f)
	if err != nil {
		return nil, err
	}
	names := s.titles()
	for more := s.Audit != nil && wrong == ""; more && len(rows) <= mostRows; more = q.Before != 0 {
		q.Limit = min(rowsAtOnce, mostRows+1-len(rows))
		got, err := s.Audit.List(ctx, q)
		if err != nil {
			return nil, err
		}
		for _, e := range got.Entries {
			rows = append(rows, s.row(r, e.Entry, names.of(ctx, e.Vehicle)))
		}
		q.Before = got.Next
	}
	var b bytes.Buffer
	if err := cells.Write(&b, rows); err != nil {
		return nil, err
	}
	return &frame.Page{File: &frame.File{Type: "text/csv; charset=utf-8", Name: "audit.csv", Body: b.Bytes()}}, nil
}

func (s *site) row(r *frame.Request, e audit.Entry, v frame.Vehicle) []string {
	var ids []string
	for _, id := range e.Events {
		ids = append(ids, id.Source+" "+id.ID)
	}
	return []string{e.Time.In(r.Viewer.Zone).Format(time.RFC3339), e.Who, s.called(e.Who), string(e.How), e.From, string(e.What), string(e.Outcome),
		e.Vehicle, title(v), e.By, e.Why, e.Words, strings.Join(ids, ", ")}
}

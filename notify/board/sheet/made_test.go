package sheet_test

import (
	"fmt"
	"strings"
	"testing"

	"telltale/engine/stream/service"
	"telltale/notify/board"
	"telltale/notify/board/boardtest"
	"telltale/rules/english"
)

// worn are samples of an engine that makes iron as the batches of NIST/SEMATECH e-Handbook
// 6.3.2.2 flow (49.6, 47.6, 49.9 …), here in mg/kg for each 10,000 km, and then six times as
// fast.
func worn() string {
	var b strings.Builder
	b.WriteString("2030-01-01 vehicle van-1 van meter odometer component engine \"diesel engine\" fluid oil capacity 10 L\n" +
		"2030-01-02T01:00 service van-1 \"engine oil\" on engine odometer 100000 filled 10 L flush\n")
	iron := 0.0
	for i, rate := range []float64{49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1, 300} {
		iron += rate / 10
		fmt.Fprintf(&b, "2030-%02d-01 sample van-1 engine odometer %d age %d Fe %.2f KV100 13.9 number N-%02d\n", i+2, 101000+1000*i, 1000*(i+1), iron, i+1)
	}
	return b.String()
}

// TestMade: the individuals chart of what was made is a picture, its words, and a table of
// the samples, as the service has them: the last lies over the band.
func TestMade(t *testing.T) {
	f := fleet(t, "offer", worn())
	h := board.Handler(f.Frame)
	w := boardtest.Get(t, h, "/v/van-1/samples/engine")
	page := parsed(t, w)
	v, err := service.Samples.Of(t.Context(), f.Service, service.Question{Vehicle: "van-1", Component: "engine", Units: []string{}})
	if err != nil || len(v) != 1 || len(v[0].Made) != 1 {
		t.Fatalf("%+v, %v", v, err)
	}
	m := &v[0].Made[0]
	said := words(page)
	for _, p := range m.Said() {
		if !strings.Contains(said, strings.TrimSuffix(english.Sentence(p.Text), ".")) {
			t.Errorf("it does not say %q", p.Text)
		}
	}
	rows := cells(page, "Made in 1,000 km")
	if len(rows) != len(m.Points) {
		t.Fatalf("%d rows of %d samples", len(rows), len(m.Points))
	}
	for i, row := range rows {
		p := &m.Points[len(m.Points)-1-i]
		made := "–"
		if p.Rate != nil {
			made = english.Figures(*p.Rate)
		}
		if row[1] != p.Number || row[3] != p.Found()+" mg/kg" || row[4] != made {
			t.Errorf("%q, want %+v", row, p)
		}
	}
	if !strings.Contains(rows[0][5], "Over the band") || rows[1][5] != "" {
		t.Errorf("the last is %q, the one before %q", rows[0], rows[1])
	}
	drawn(t, h, page)
	if !strings.Contains(w.Body.String(), "/v/van-1/samples/engine/N-11/made/Fe?slim=1") {
		t.Error("there is no picture for a phone")
	}
}

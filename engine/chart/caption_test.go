package chart

import (
	"math"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/plot/vg"

	"telltale/engine/origin"
)

// Under the bars stands where the metals come from, word for word, in lines that fit the
// width, for which the picture is as much higher; on a phone they are more. Nothing stands
// there where no source can be told.
func TestCaption(t *testing.T) {
	v := verdict()
	v.Origin = origin.Of([]origin.Excess{{Analyte: "Cu", Value: 91, Error: 15}, {Analyte: "Si", Value: 65, Error: 8}, {Analyte: "Al", Value: 14, Error: 5}})
	svg, err := SVG(v)
	if err != nil {
		t.Fatal(err)
	}
	want := "Where it may come from: " + v.Origin.Words() + "."
	all := texts(t, svg)
	at := slices.IndexFunc(all, func(s string) bool { return strings.HasPrefix(s, "Where it may") })
	wide, slim := caption(v, width-2*margin), caption(v, narrow-2*margin)
	if len(wide) < 2 || len(slim) <= len(wide) {
		t.Errorf("%d lines, narrow %d", len(wide), len(slim))
	}
	if at < 0 || strings.Join(all[at:at+len(wide)], " ") != want || strings.Join(slim, " ") != want {
		t.Errorf("drawn %q, want %q", all, want)
	}
	plain, told := drawn(verdict(), width), drawn(v, width)
	if got := told.height - plain.height; math.Abs(float64(got-vg.Length(len(wide))*leading)) > 1e-9 || got <= 0 {
		t.Errorf("higher by %v for %d lines", got, len(wide))
	}
	v.Origin = origin.Of([]origin.Excess{{Analyte: "Ag", Value: 20, Error: 5}})
	if c := caption(v, width); c != nil {
		t.Errorf("caption %q", c)
	}
	if l := strings.Join(legend(v.Results, narrow), " "); l != "Limits: a watch (advisory), c look (caution), w stop (warning). Hollow dot: below the limit of detection." {
		t.Errorf("legend %q", l)
	}
	if v.Results = v.Results[1:2]; legend(v.Results, narrow) != nil {
		t.Error("marks are explained that are not drawn")
	}
}

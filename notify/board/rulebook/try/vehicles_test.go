package try

import (
	"fmt"
	"net/url"
	"slices"
	"strings"
	"testing"

	"telltale/engine"
	"telltale/engine/event"
	"telltale/notify/board/form"
)

// A sample is the same whatever order vehicles come in, and of every part of the fleet; of a
// tag there are not too many, and what is retired is left out.
func TestOver(t *testing.T) {
	var all []engine.RegisteredVehicle
	for i := range 2000 {
		depot := []string{"north", "south"}[i/1000]
		all = append(all, engine.RegisteredVehicle{Vehicle: fmt.Sprintf("bus-%04d", i), VehicleData: &event.VehicleData{Tags: map[string]string{"depot": depot, "road": fmt.Sprint(i / 400)}, Retired: i%10 == 0}})
	}
	over := func(v url.Values) ([]engine.RegisteredVehicle, string, string) {
		f := form.Read(v, form.Typist{})
		a := &asking{Form: f, Of: f.Field("of", "Of"), Vehicle: f.Field("vehicle", "Vehicle"), Tag: f.Field("tag", "Tag")}
		out, words := a.over(all)
		var wrong []string
		for _, s := range f.Faults() {
			wrong = append(wrong, s.Text)
		}
		return out, words, strings.Join(wrong, " ")
	}
	first, words, wrong := over(url.Values{"of": {ofSample}})
	if len(first) != sampleSize || words != "a sample of 200 vehicles" || wrong != "" {
		t.Errorf("%d, %s, %s", len(first), words, wrong)
	}
	slices.Reverse(all)
	again, _, _ := over(url.Values{"of": {ofSample}})
	north := 0
	for i := range first {
		if first[i].Vehicle != again[i].Vehicle || first[i].Retired {
			t.Fatalf("%d: %s, then %s", i, first[i].Vehicle, again[i].Vehicle)
		}
		if first[i].Tags["depot"] == "north" {
			north++
		}
	}
	// Of 200 drawn from halves, within four standard deviations (sqrt(200/4) = 7.07) of 100.
	if north < 72 || north > 128 {
		t.Errorf("%d of %d are of the north", north, len(first))
	}
	if out, words, wrong := over(url.Values{"of": {ofTag}, "tag": {"road=2"}}); len(out) != 360 || words != "360 vehicles with road 2" || wrong != "" {
		t.Errorf("%d, %s, %s", len(out), words, wrong)
	}
	if _, _, wrong := over(url.Values{"of": {ofTag}, "tag": {"depot=north"}}); wrong != "900 vehicles have it, and at most 500 can be looked at: choose another tag, or a sample." {
		t.Error(wrong)
	}
	all = nil
	if _, _, wrong := over(url.Values{"of": {ofSample}}); wrong != "No vehicle is registered yet." {
		t.Error(wrong)
	}
}

package source

import (
	"fmt"
	"reflect"
	"testing"
)

func TestNearest(t *testing.T) {
	fleet := []string{"bus-01", "bus-07", "bus-17", "van-07", "gritter-2", "Bus-07 "}
	for name, want := range map[string][]string{
		"bus-70": {"Bus-07 ", "bus-07"}, "bus7": {"Bus-07 ", "bus-07", "bus-17"}, "bus-07": {"Bus-07 ", "bus-01", "bus-17"},
		"gritter 2": {"gritter-2"}, "tractor": nil, "bus-О7": {"Bus-07 ", "bus-07", "bus-17"}, "": nil,
	} {
		if got := Nearest(name, fleet, 3); !reflect.DeepEqual(got, want) {
			t.Errorf("%q: %q, want %q", name, got, want)
		}
	}
}

func BenchmarkNearest(b *testing.B) {
	var fleet []string
	for i := range 100_000 {
		fleet = append(fleet, fmt.Sprintf("vehicle-%06d", i))
	}
	for b.Loop() {
		Nearest("vehicel-012345", fleet, 3)
	}
}

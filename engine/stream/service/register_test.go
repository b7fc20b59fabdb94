package service

import (
	"reflect"
	"testing"

	"telltale/engine/stream/server/servertest"
	"telltale/testdata/quick"
)

// TestRegisterOfOne asks for one vehicle's registration: by its key, by what people call it,
// and by a name that nothing has.
func TestRegisterOfOne(t *testing.T) {
	quick.Beside(t)
	srv := servertest.Embed(t, t.TempDir())
	l := open(t, srv)
	s := run(t, l, quiet)
	m, err := s.Respond()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { m.Stop() })
	for _, v := range aFleet() {
		send(t, l, vehicle(v))
	}
	caughtUp(t, s)
	for name, want := range map[string][]string{"bus-03": {"bus-03"}, "BUS 03": {"bus-03"}, "bus-99": nil, "": aFleet()} {
		list, err := Register.Ask(t.Context(), srv.Conn(), Question{Vehicle: name})
		var got []string
		for _, v := range list {
			got = append(got, v.Vehicle)
		}
		if err != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("registered as %q: %q (%v), want %q", name, got, err, want)
		}
	}
}

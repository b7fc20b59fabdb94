package job

import (
	"errors"
	"math"
	"testing"

	"telltale/engine/event"
	"telltale/rules/unit"
)

// A gauge of tread reads in 32nds of an inch in the USA; an inch is 25.4 mm exactly (NIST
// SP 811, B.8), so 4/32 in are 3.175 mm.
func TestMeasuredAsTyped(t *testing.T) {
	m := Measures{"front tread": "mm", "rest voltage": "V"}
	for text, want := range map[string]float64{
		"front tread=6.5mm": 6.5, "Front-Tread = 6.5 mm": 6.5, "front tread=4/32in": 3.175, "front tread=10/32 in": 7.9375, "front tread=0.25in": 6.35, "front tread=0.65cm": 6.5,
	} {
		r, err := m.value(text)
		if err != nil {
			t.Errorf("%s: %v", text, err)
			continue
		}
		if got := *r.Value * map[string]float64{"mm": 1, "in": 25.4, "cm": 10}[r.Unit]; math.Abs(got-want) > 1e-9 {
			t.Errorf("%s is %v mm, want %v", text, got, want)
		}
	}
	for text, typed := range map[string]string{
		"front tread=5": "front tread=5mm", "front tread=1,234 mm": "", "front tread=4/0in": "", "front tread=4/32": "", "front tread=12V": "",
	} {
		var e *Error
		if _, err := m.value(text); !errors.As(err, &e) || e.Fault != NoQuantity || e.Typed != typed {
			t.Errorf("%s: %v, meant %q, want %q", text, err, e.Typed, typed)
		}
	}
	var e *Error
	if _, err := m.value("front tread=6,5 mm"); !errors.As(err, &e) || e.Pointed != "front tread=6.5mm" {
		t.Errorf("6,5 mm: %v, meant %q", err, e.Pointed)
	}
	if _, err := quantity("odometer", "101240,5 km", unit.Distance, unit.Metric); !errors.As(err, &e) || e.Pointed != "101240.5km" {
		t.Errorf("101240,5 km: %v, meant %q", err, e.Pointed)
	}
	k := known
	k.Reads, k.Measures = unit.System{Distance: "mi"}, m
	ev, err := Measurement{Vehicle: "van-1", Values: []string{"front tread=5mm"}, Meters: []Meter{{"odometer", Odometer, "51000"}}}.Event("", k)
	if err != nil {
		t.Fatal(err)
	}
	if got := ev.Data.(*event.SampleData).Meters["clock"].String(); got != "51000 mi" {
		t.Errorf("a bare meter beside a measure is %s", got)
	}
}

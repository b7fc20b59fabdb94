package job

import (
	"errors"
	"math"
	"testing"
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
		"front tread=6,5 mm": "front tread=6.5mm", "front tread=5": "front tread=5mm", "front tread=1,234 mm": "", "front tread=4/0in": "", "front tread=4/32": "", "front tread=12V": "",
	} {
		var e *Error
		if _, err := m.value(text); !errors.As(err, &e) || e.Fault != NoQuantity || e.Typed != typed {
			t.Errorf("%s: %v, meant %q, want %q", text, err, e.Typed, typed)
		}
	}
}

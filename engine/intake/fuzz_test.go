package intake

import (
	"reflect"
	"testing"
)

// FuzzDecode looks for a panic, and for an event that is not the same after it was
// written and read again.
func FuzzDecode(f *testing.F) {
	for _, c := range envelopeCases(f) {
		f.Add([]byte(c.Event))
	}
	for _, s := range examples(f) {
		f.Add([]byte(s))
	}
	for kind, cases := range map[string][]dataCase{
		"reading": readingCases, "meter-replaced": meterReplacedCases, "vehicle": vehicleCases, "service": serviceCases,
		"sample": sampleCases, "answer": answerCases, "void": voidCases,
	} {
		for _, c := range cases {
			f.Add([]byte(envelop(kind, c.data)))
		}
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		ev, err := Decode(b)
		if err != nil {
			return
		}
		out, err := Encode(ev)
		if err != nil {
			t.Fatalf("%s: %v", b, err)
		}
		back, err := Decode(out)
		if err != nil {
			t.Fatalf("%s became %s: %v", b, out, err)
		}
		if !reflect.DeepEqual(back, ev) {
			t.Fatalf("%s became %s", b, out)
		}
		if v, err := Untoken(Token(ev.Vehicle)); ev.Vehicle != "" && (err != nil || v != ev.Vehicle) {
			t.Fatalf("vehicle %q became %q, %v", ev.Vehicle, v, err)
		}
	})
}

func BenchmarkDecode(b *testing.B) {
	text := []byte(reading(`{"meter":"odometer","value":81234.5,"unit":"km"}`))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Decode(text); err != nil {
			b.Fatal(err)
		}
	}
}

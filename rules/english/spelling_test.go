package english

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestSpelling(t *testing.T) {
	for _, c := range []struct {
		text, want string
		keep       []string
	}{
		{"Inspect brakes, steering and tyres", "Inspect brakes, steering and tires", nil},
		{"Aluminium 17 mg/kg; ALUMINIUM; aluminium-tin", "Aluminum 17 mg/kg; ALUMINUM; aluminum-tin", nil},
		{"petrol, litres and kilometres, the colour of a grey, discoloured vapour", "gasoline, liters and kilometers, the color of a gray, discoloured vapor", nil},
		{"oxidised, oxidising, oxidises, neutralised, pressurised", "oxidized, oxidizing, oxidizes, neutralized, pressurized", nil},
		{"a labelled can, the centre, its centres", "a labeled can, the center, its centers", nil},
		{"Tyre van: check the tyres of Tyre van", "Tyre van: check the tires of Tyre van", []string{"", "Tyre van"}},
		{"raised, promised, exercise, meter, program", "raised, promised, exercise, meter, program", nil},
		{"", "", nil},
	} {
		if got := American.Of(c.text, c.keep...); got != c.want {
			t.Errorf("%q: %q, want %q", c.text, got, c.want)
		}
		if got := British.Of(c.text, c.keep...); got != c.text {
			t.Errorf("%q: %q in British", c.text, got)
		}
	}
}

// What is kept comes through whole, and spelling twice is spelling once.
func TestSpellingKeeps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		words := []string{"tyre", "Petrol", "x", "colours", "Bus 7", " ", ", ", "é", "oxidised"}
		parts := rapid.SliceOfN(rapid.SampledFrom(words), 0, 8).Draw(t, "parts")
		name := strings.Join(rapid.SliceOfN(rapid.SampledFrom(words), 1, 3).Draw(t, "name"), " ")
		text := strings.Join(parts, " ")
		once := American.Of(text+" | "+name+" | "+text, name)
		if !strings.Contains(once, name) {
			t.Fatalf("%q lost %q", once, name)
		}
		if twice := American.Of(once, name); twice != once {
			t.Fatalf("%q, then %q", once, twice)
		}
	})
}

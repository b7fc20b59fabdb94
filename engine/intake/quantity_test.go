package intake

import "testing"

// PT13H28M30S is how telematics of the AEMP 1.x form writes 13.475 h; the forms are
// ISO 8601's, from memory, and the sums of the others worked by hand.
func TestParseHours(t *testing.T) {
	for _, c := range []struct {
		text string
		want float64
	}{
		{"PT13H28M30S", 13.475}, {"PT0S", 0}, {"PT36H", 36}, {"P1DT12H", 36}, {"P2W", 336}, {"P1D", 24},
		{"PT1.5H", 1.5}, {"PT1H30,5M", 1 + 30.5/60}, {"PT0.75S", 0.75 / 3600}, {"PT90M", 1.5}, {"P0.5D", 12}, {"PT007H", 7},
	} {
		got, err := parseHours(c.text)
		if err != nil || got != c.want {
			t.Errorf("%s: %v, %v, want %v", c.text, got, err, c.want)
		}
	}
	for _, s := range []string{
		"", "P", "PT", "P1DT", "1H", "PT1", "PTH", "P1Y", "P1M", "P1W2D", "PT1H2H", "PT30M1H", "PT1.5H30M", "P1.5DT1H",
		"-PT1H", "+PT1H", "PT-1H", "pt1h", "PT1H ", "PT1.H", "PT.5H", "PT1.0000000001H", "PT1e3H", "P1H", "PT1D",
	} {
		if got, err := parseHours(s); err == nil {
			t.Errorf("%q: read as %v h", s, got)
		}
	}
}

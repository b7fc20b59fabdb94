package lab

import "testing"

func TestExchanges(t *testing.T) {
	tests := []struct {
		name                      string
		now, fresh, target, share float64
		up                        bool
		n                         int
		ok                        bool
	}{
		// Residual after n exchanges is (1-f)^n, elementary: for f = 0.35 it is .65
		// .4225 .27463 .17851 .11603, for f = 0.5 .5 .25 .125, for f = 0.85 .15 .0225.
		{"to 12 %", 100, 0, 12, 0.35, false, 5, true},
		{"to 18 %", 100, 0, 18, 0.35, false, 4, true},
		{"exactly reached", 100, 0, 12.5, 0.5, false, 3, true},
		{"to 2.25 %", 100, 0, 2.25, 0.85, false, 2, true},
		{"already there", 10, 0, 12, 0.35, false, 0, true},
		{"a whole exchange", 100, 0, 1, 1, false, 1, true},
		{"an additive comes back", 100, 300, 250, 0.5, true, 2, true},
		{"an additive is there", 310, 300, 250, 0.5, true, 0, true},
		{"above what fresh fluid holds", 100, 300, 301, 0.5, true, 0, false},
		{"below what fresh fluid holds", 100, 6, 5, 0.5, false, 0, false},
		{"share unknown", 100, 0, 5, nan, false, 0, false},
		{"nothing exchanged", 100, 0, 5, 0, false, 0, false},
	}
	for _, tt := range tests {
		n, ok := exchanges(tt.now, tt.fresh, tt.target, tt.share, tt.up)
		if n != tt.n || ok != tt.ok {
			t.Errorf("%s: %d, %v; want %d, %v", tt.name, n, ok, tt.n, tt.ok)
		}
	}
	if DilutionNote("Na") != "" || DilutionNote("Cu") == "" {
		t.Error("the note belongs to wear metals alone")
	}
}

// 100 mg/kg of sodium over 4 when fresh, half of the fluid a drain: 52, 28, 16, 10.
func TestExchangesTo(t *testing.T) {
	of := func(share float64) Sheet {
		return Sheet{Fresh: map[string]float64{"Na": 4, "P": 800}, History: History{
			{Exchange: true, Share: share}, {Results: []Result{{Analyte: "Na", Value: 100}, {Analyte: "P", Value: 200}}}}}
	}
	for _, c := range []struct {
		s       Sheet
		analyte string
		target  float64
		n       float64
		why     string
	}{
		{of(.5), "Na", 15, 4, ""},
		{of(.5), "Na", 100, 0, ""},
		{of(.5), "Na", 3, 0, "a target that exchanges can reach"},
		{of(.5), "P", 600, 2, ""}, // 500, 650: an additive goes up
		{of(nan), "Na", 15, 0, "an exchange of a known share"},
		{of(.5), "K", 15, 0, "potassium (K) in the sample"},
	} {
		n, why, ok := c.s.ExchangesTo(c.analyte, c.target)
		if n != c.n || why != c.why || ok != (c.why == "") {
			t.Errorf("%s to %v: %v, %q", c.analyte, c.target, n, why)
		}
	}
}

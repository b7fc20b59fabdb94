package stream

import "testing"

// TestByHand: what people and tablets enter can be found to be taken back; what gateways and
// laboratories send is not among it.
func TestByHand(t *testing.T) {
	for source, want := range map[string]bool{"/people/ines": true, "/devices/north-bay-2": true, "/record": true, "/gateway/3": false, "/laboratory/valley": false, "/register": false} {
		if got := byHand(source); got != want {
			t.Errorf("%s: %t", source, got)
		}
	}
}

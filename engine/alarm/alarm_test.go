package alarm

import "testing"

// TestDifference is a table of differences, and of those that are not told.
func TestDifference(t *testing.T) {
	for _, tt := range []struct {
		said, now Standing
		from, to  int
		there     bool
		want      Change
	}{
		{Unacknowledged, StandsNormal, 2, 0, false, Withdrawn},
		{Unacknowledged, Returned, 2, 0, true, Cleared},
		{StandsNormal, Unacknowledged, 0, 1, true, Raised},
		{Acknowledged, Unacknowledged, 1, 2, true, Worsened},
		{Unacknowledged, Unacknowledged, 3, 1, true, Eased},
		{Unacknowledged, Acknowledged, 2, 2, true, NowAcknowledged},
		{Unacknowledged, Shelved, 2, 2, true, NowShelved},
		{Shelved, Unacknowledged, 2, 2, true, Unshelved},
		{Acknowledged, Unacknowledged, 2, 2, true, Raised},
		{Acknowledged, Acknowledged, 2, 2, true, ""},
		{Returned, StandsNormal, 0, 0, false, ""},    // grown old
		{Acknowledged, OutOfService, 2, 2, true, ""}, // of the vehicle
		{OutOfService, Acknowledged, 2, 2, true, ""},
	} {
		if got := Difference(tt.said, tt.now, tt.from, tt.to, tt.there); got != tt.want {
			t.Errorf("%s at %d, now %s at %d: %q, want %q", tt.said, tt.from, tt.now, tt.to, got, tt.want)
		}
	}
}

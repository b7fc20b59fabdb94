package engine

import "testing"

// TestReconcileWord is a table of differences, and of those that are not told.
func TestReconcileWord(t *testing.T) {
	for _, tt := range []struct {
		said, now string
		from, to  int
		there     bool
		want      string
	}{
		{unacknowledged, normal, 2, 0, false, withdrawn},
		{unacknowledged, returned, 2, 0, true, cleared},
		{normal, unacknowledged, 0, 1, true, raised},
		{acknowledged, unacknowledged, 1, 2, true, worsened},
		{unacknowledged, unacknowledged, 3, 1, true, eased},
		{unacknowledged, acknowledged, 2, 2, true, acked},
		{unacknowledged, shelved, 2, 2, true, shelvedNow},
		{shelved, unacknowledged, 2, 2, true, unshelved},
		{acknowledged, unacknowledged, 2, 2, true, raised},
		{acknowledged, acknowledged, 2, 2, true, ""},
		{returned, normal, 0, 0, false, ""},          // grown old
		{acknowledged, outOfService, 2, 2, true, ""}, // of the vehicle
		{outOfService, acknowledged, 2, 2, true, ""},
	} {
		if got := reconcileWord(tt.said, tt.now, tt.from, tt.to, tt.there); got != tt.want {
			t.Errorf("%s at %d, now %s at %d: %q, want %q", tt.said, tt.from, tt.now, tt.to, got, tt.want)
		}
	}
}
